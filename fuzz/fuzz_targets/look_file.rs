//! Any bytes as any file: `look` always says something, and nothing that plays tricks on a terminal.

#![no_main]

use libfuzzer_sys::fuzz_target;
use packstaff_bench::look::describe;
use packstaff_words::look::account;

fuzz_target!(|bytes: &[u8]| {
    let seen = account(&describe("file", bytes));
    assert!(!seen.kind.is_empty());
    let text = seen.text();
    assert!(text.chars().all(|c| c == '\n' || !c.is_control()), "{text:?}");
});
