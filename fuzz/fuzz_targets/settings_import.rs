//! Any bytes as a build whose debug information is read.

#![no_main]

use libfuzzer_sys::fuzz_target;
use packstaff_settings::dwarf::{import, structs};

fuzz_target!(|elf: &[u8]| {
    for name in structs(elf).unwrap_or_default().iter().take(8) {
        let _ = import(elf, name);
    }
});
