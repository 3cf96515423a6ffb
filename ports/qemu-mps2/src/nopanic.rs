//! A panic cannot be linked: what would handle it calls a function that does not exist.

use core::panic::PanicInfo;

#[panic_handler]
fn panic(_: &PanicInfo<'_>) -> ! {
    unsafe extern "C" {
        fn a_way_into_a_panic_is_left() -> !;
    }
    if cfg!(panics_stay) {
        loop {
            core::hint::spin_loop();
        }
    }
    // SAFETY: never linked.
    unsafe { a_way_into_a_panic_is_left() }
}
