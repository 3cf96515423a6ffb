//! From reset to `run`, and from there to the image. Vector table, reset and VTOR: Armv7-M Architecture Reference Manual
//! (DDI 0403), B1.5 and B3.2.5.

use core::arch::{asm, global_asm};

/// What unused stack is filled with.
const PAINT: u32 = 0x5AC5_A35C;

// Before anything runs in Rust: the stack is painted, .data copied, .bss cleared. Every exception but reset stops the unit.
global_asm!(
    ".section .vectors, \"a\"",
    ".word stack_top",
    ".word reset",
    ".rept 14",
    ".word stop",
    ".endr",
    ".section .text.reset, \"ax\"",
    ".thumb_func",
    ".global reset",
    "reset:",
    "cpsid i",
    "ldr r0, =bss_start",
    "ldr r1, =bss_end",
    "movs r2, #0",
    "1: cmp r0, r1",
    "bcs 2f",
    "str r2, [r0]",
    "adds r0, #4",
    "b 1b",
    "2: ldr r1, =stack_top",
    "ldr r2, ={paint}",
    "3: cmp r0, r1",
    "bcs 4f",
    "str r2, [r0]",
    "adds r0, #4",
    "b 3b",
    "4: ldr r0, =data_start",
    "ldr r1, =data_end",
    "ldr r3, =data_from",
    "5: cmp r0, r1",
    "bcs 6f",
    "ldr r2, [r3]",
    "str r2, [r0]",
    "adds r0, #4",
    "adds r3, #4",
    "b 5b",
    "6: bl run",
    ".thumb_func",
    "stop: b stop",
    ".pool",
    paint = const PAINT,
);

unsafe extern "C" {
    static mut bss_end: u32;
    static mut stack_top: u32;
}

/// Paints the unused stack again, down from a little below the caller's frame.
pub fn paint_stack() {
    let here: u32;
    // SAFETY: reads the stack pointer.
    unsafe { asm!("mov {}, sp", out(reg) here, options(nomem, nostack, preserves_flags)) };
    let mut at = &raw const bss_end as u32;
    while at < here.saturating_sub(64) {
        // SAFETY: aligned words between .bss and the stack in use are nobody's.
        unsafe { core::ptr::with_exposed_provenance_mut::<u32>(at as usize).write_volatile(PAINT) };
        at += 4;
    }
}

/// How many bytes of stack were ever used since the last painting, from the stack's top.
pub fn stack_used() -> u32 {
    let top = &raw const stack_top as u32;
    let mut at = &raw const bss_end as u32;
    // SAFETY: aligned words up to the stack's top are memory.
    while at < top && unsafe { core::ptr::with_exposed_provenance::<u32>(at as usize).read_volatile() } == PAINT {
        at += 4;
    }
    top - at
}

/// Bytes of stack in use at this moment, above the caller.
#[inline(always)]
pub fn stack_depth() -> u32 {
    let here: u32;
    // SAFETY: reads the stack pointer.
    unsafe { asm!("mov {}, sp", out(reg) here, options(nomem, nostack, preserves_flags)) };
    (&raw const stack_top as u32).wrapping_sub(here)
}

/// Gives the processor to the image whose vector table lies at `address`, as after a reset.
///
/// # Safety
/// An image that the installer wants started lies there.
pub unsafe fn image(address: u32) -> ! {
    let table = core::ptr::with_exposed_provenance::<u32>(address as usize);
    // SAFETY: the caller's; the vector table's first two words are the stack pointer and the entry, and VTOR is a register
    // of this core.
    unsafe {
        let stack = table.read_volatile();
        let entry = table.add(1).read_volatile();
        core::ptr::with_exposed_provenance_mut::<u32>(0xE000_ED08).write_volatile(address);
        asm!("dsb", "isb", "msr msp, {stack}", "bx {entry}", stack = in(reg) stack, entry = in(reg) entry, options(noreturn));
    }
}
