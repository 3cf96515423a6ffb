//! Any text as a layout file: what is read says the same when it is written out and read again.

#![no_main]

use libfuzzer_sys::fuzz_target;
use packstaff_settings::layout::Layout;

fuzz_target!(|text: &str| {
    let Ok(layout) = Layout::from_text("fuzz", text) else {
        return;
    };
    let leaves = layout.leaves();
    assert!(leaves.iter().all(|leaf| leaf.at + leaf.size <= layout.record.size));
    let again = layout.to_text();
    let read = Layout::from_text("again", &again).unwrap_or_else(|error| panic!("{error}\n{again}"));
    assert_eq!(read, layout);
});
