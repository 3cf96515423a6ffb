//! Any bytes as any file: `look` always says something, and nothing that plays tricks on a terminal.

#![no_main]

use libfuzzer_sys::fuzz_target;
use packstaff::look::describe;

fuzz_target!(|bytes: &[u8]| {
    let seen = describe("file", bytes);
    assert!(!seen.kind.is_empty());
    let text = seen.text();
    assert!(text.chars().all(|c| c == '\n' || !c.is_control()), "{text:?}");
});
