//! No way into a panic is left: if there were one, the call below would be linked, and fails the link of whatever loader uses
//! the library, by this name.

#![allow(unsafe_code, reason = "a function that nobody defines")]

unsafe extern "C" {
    fn packstaff_library_could_panic() -> !;
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    // SAFETY: no program with this call in it can be linked.
    unsafe { packstaff_library_could_panic() }
}
