//! Files of the demo with bytes changed: nothing panics, and what is still read is consistent.

mod common;

use common::{Numbers, kc4};
use packstaff_settings::dwarf;
use packstaff_settings::layout::Layout;

#[test]
fn damaged_layout_files() {
    let mut numbers = Numbers(0xfeed);
    let mut read = 0;
    for version in ["1.8", "2.0", "2.1"] {
        let text = std::fs::read_to_string(kc4().join(format!("settings/{version}.toml"))).unwrap();
        let words: Vec<&str> = text.split_inclusive(' ').collect();
        for _ in 0..300 {
            // A word taken out, doubled, or put in another's place.
            let mut changed = words.clone();
            let at = usize::try_from(numbers.below(words.len() as u64)).unwrap();
            let other = words[usize::try_from(numbers.below(words.len() as u64)).unwrap()];
            match numbers.below(3) {
                0 => drop(changed.remove(at)),
                1 => changed.insert(at, other),
                _ => changed[at] = other,
            }
            if let Ok(layout) = Layout::from_text("changed", &changed.concat()) {
                read += 1;
                let again = Layout::from_text("again", &layout.to_text()).unwrap_or_else(|error| panic!("{error}"));
                assert_eq!(again, layout);
                assert!(
                    layout
                        .leaves()
                        .iter()
                        .all(|leaf| leaf.at + leaf.size <= layout.record.size)
                );
            }
        }
    }
    // Neither all nor none: else the changes would be too rough or too gentle to show anything.
    assert!((20..880).contains(&read), "{read}");
}

#[test]
fn damaged_builds() {
    let elf = std::fs::read(kc4().join("firmware/built/2.1/kc4-c.elf")).unwrap();
    let whole = dwarf::import(&elf, "kc4_settings").unwrap();
    let mut numbers = Numbers(0xbeef);
    let mut other = 0;
    for _ in 0..300 {
        let mut changed = elf.clone();
        for _ in 0..1 + numbers.below(8) {
            let at = usize::try_from(numbers.below(elf.len() as u64)).unwrap();
            changed[at] = u8::try_from(numbers.below(256)).unwrap();
        }
        if numbers.below(8) == 0 {
            changed.truncate(usize::try_from(numbers.below(elf.len() as u64)).unwrap());
        }
        match dwarf::import(&changed, "kc4_settings") {
            Ok(imported) => other += usize::from(imported != whole),
            Err(error) => {
                other += 1;
                assert!(!error.to_string().is_empty());
            }
        }
    }
    assert!(other > 0, "no change touched the debug information");
}
