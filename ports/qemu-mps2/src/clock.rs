//! Time: two of the board's timers (Arm CMSDK APB timer; DDI 0479), which count at 25 MHz. Run with `-icount shift=0` the
//! emulated core takes a nanosecond for every instruction: a tick is 40 instructions.

/// Instructions in a tick.
pub const INSTRUCTIONS_IN_A_TICK: u32 = 40;

const DEADLINE: usize = 0x4000_0000;
const RUNNING: usize = 0x4000_1000;
const CONTROL: usize = 0x0;
const VALUE: usize = 0x4;
const RELOAD: usize = 0x8;
const CLEAR: usize = 0xC;
const ENABLE: u32 = 1;
const INTERRUPT: u32 = 8;
/// NVIC: set-enable, clear-enable and clear-pending of the first 32 interrupts (DDI 0403, B3.4).
const ISER: usize = 0xE000_E100;
const ICER: usize = 0xE000_E180;
const ICPR: usize = 0xE000_E280;
/// The first timer's interrupt.
const LINE: u32 = 1 << 8;

fn set(register: usize, value: u32) {
    // SAFETY: every caller names a register of this board's timers or of the core's interrupt controller, and what it does
    // is no more than to count and to wake the core.
    unsafe { core::ptr::with_exposed_provenance_mut::<u32>(register).write_volatile(value) }
}

/// Starts the counting.
pub fn start() {
    set(RUNNING + RELOAD, u32::MAX);
    set(RUNNING + VALUE, u32::MAX);
    set(RUNNING + CONTROL, ENABLE);
}

/// Stops everything that was started here: an image finds the timers as after a reset.
pub fn stop() {
    set(RUNNING + CONTROL, 0);
    set(DEADLINE + CONTROL, 0);
    set(DEADLINE + CLEAR, 1);
    set(ICER, LINE);
    set(ICPR, LINE);
}

/// Ticks so far; the count comes round after 171 seconds.
#[inline(always)]
pub fn now() -> u32 {
    // SAFETY: a timer's count can always be read.
    u32::MAX - unsafe { core::ptr::with_exposed_provenance::<u32>(RUNNING + VALUE).read_volatile() }
}

/// Sleeps until `ticks` have passed since `since`; how long that was.
pub fn wait(since: u32, ticks: u32) -> u32 {
    let begun = now();
    loop {
        let passed = now().wrapping_sub(since);
        let left = ticks.saturating_sub(passed);
        if left == 0 {
            return now().wrapping_sub(begun);
        }
        if left < 8 {
            continue;
        }
        // Half of what is left, again and again: with `-icount sleep=off` QEMU 7.2 lets twice the time pass that it slept for.
        set(DEADLINE + RELOAD, left / 2);
        set(DEADLINE + VALUE, left / 2);
        set(DEADLINE + CONTROL, ENABLE | INTERRUPT);
        set(ISER, LINE);
        // The core wakes by a pending interrupt although interrupts are off, and none is taken (DDI 0403, B1.5.18).
        // SAFETY: waits.
        unsafe { core::arch::asm!("wfi", options(nomem, nostack)) };
        set(DEADLINE + CONTROL, 0);
        set(DEADLINE + CLEAR, 1);
        set(ICPR, LINE);
    }
}
