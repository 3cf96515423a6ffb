//! What holds for any layouts and any bytes.

use packstaff_settings::carry::{Carrier, History, carry_record};
use packstaff_settings::dump::{copies, from_text, image, read, read_record, seal};
use packstaff_settings::layout::{Layout, Purpose};
use proptest::prelude::*;

/// One setting of a generated layout, before and after.
#[derive(Clone, Debug)]
struct Pair {
    old_type: &'static str,
    new_type: &'static str,
    /// A stored 1 is worth 1/10^this, before and after.
    old_places: u32,
    new_places: u32,
    fahrenheit: bool,
    renamed: bool,
    old_count: Option<u32>,
    more: u32,
}

/// Integers that a wider or equal type holds whole.
const WIDER: [(&str, &str); 9] = [
    ("u8", "u16"),
    ("u8", "u32"),
    ("i8", "i32"),
    ("u16", "u32"),
    ("u16", "i32"),
    ("i16", "i32"),
    ("i16", "i64"),
    ("u8", "u8"),
    ("i16", "i16"),
];

fn pair() -> impl Strategy<Value = Pair> {
    let types = prop::sample::select(&WIDER[..]);
    (
        types,
        0..3u32,
        0..3u32,
        any::<bool>(),
        any::<bool>(),
        prop::option::of(1..4u32),
        0..3u32,
    )
        .prop_map(
            |((old_type, new_type), old_places, more_places, fahrenheit, renamed, old_count, more)| {
                // Same width: the same steps, else the values would not fit.
                let same = old_type == new_type;
                Pair {
                    old_type,
                    new_type,
                    old_places,
                    new_places: if same { old_places } else { old_places + more_places % 2 },
                    // Degrees F in steps become degrees C in steps a tenth of theirs: fine enough to come back exactly.
                    fahrenheit: fahrenheit && new_type == "i64",
                    renamed,
                    old_count,
                    more,
                }
            },
        )
}

fn file(version: &str, number: u32, pairs: &[Pair], new: bool) -> String {
    let mut text = format!("format = 1\nversion = \"{version}\"\nnumber = {number}\nname = \"s{number}\"\nfield = [\n");
    text.push_str("    { name = \"magic\", type = \"u32\", holds = \"constant\", value = 0x12345678 },\n");
    text.push_str("    { name = \"turn\", type = \"u32\", holds = \"generation\" },\n");
    for (index, pair) in pairs.iter().enumerate() {
        let name = if new && pair.renamed {
            format!("new{index}")
        } else {
            format!("f{index}")
        };
        let (repr, places) = if new {
            (pair.new_type, pair.new_places)
        } else {
            (pair.old_type, pair.old_places)
        };
        let places = if new && pair.fahrenheit {
            pair.old_places + 1
        } else {
            places
        };
        let unit = match (pair.fahrenheit, new) {
            (true, false) => ", unit = \"°F\"",
            (true, true) => ", unit = \"°C\"",
            (false, _) => "",
        };
        let count = pair.old_count.map(|count| if new { count + pair.more } else { count });
        let count = count.map_or_else(String::new, |count| format!(", count = {count}"));
        text.push_str(&format!(
            "    {{ name = \"{name}\", type = \"{repr}\", scale = \"1/{}\"{unit}{count} }},\n",
            10u32.pow(places)
        ));
    }
    text.push_str("    { name = \"crc\", type = \"u32\", holds = \"crc32\" },\n]\n\n[memory]\ncopies = [0, 4096]\n");
    if new {
        text.push_str("\n[[from]]\nversion = \"1.0\"\nleft = \"It is not meant to go back.\"\npair = [\n");
        for (index, _) in pairs.iter().enumerate().filter(|(_, pair)| pair.renamed) {
            text.push_str(&format!("    {{ old = \"f{index}\", new = \"new{index}\" }},\n"));
        }
        text.push_str("]\n");
    }
    text
}

fn two(pairs: &[Pair]) -> (Layout, Layout) {
    let read = |version: &str, number, new| {
        let text = file(version, number, pairs, new);
        Layout::from_text(version, &text).unwrap_or_else(|error| panic!("{error}\n{text}"))
    };
    (read("1.0", 1, false), read("2.0", 2, true))
}

proptest! {
    /// From A to B and back is the identity on what both hold.
    #[test]
    fn there_and_back(pairs in prop::collection::vec(pair(), 1..8), bytes in prop::collection::vec(any::<u8>(), 400)) {
        let (old, new) = two(&pairs);
        let history = History::new(vec![old.clone(), new.clone()]).unwrap();
        let (up, down) = (history.plan("1.0", "2.0").unwrap(), history.plan("2.0", "1.0").unwrap());
        prop_assert_eq!(&up.carrier, &Carrier::Firmware);
        prop_assert!(up.lost.is_empty(), "{:?}", up.lost);
        let mut record = bytes[..old.record.size as usize].to_vec();
        seal(&old, &mut record, 3);
        let there = carry_record(&up, &record).unwrap();
        prop_assert!(there.notices.is_empty());
        let back = carry_record(&down, &there.record).unwrap();
        for leaf in old.leaves() {
            if matches!(leaf.purpose, Purpose::Setting(_)) {
                let range = leaf.at as usize..(leaf.at + leaf.size) as usize;
                prop_assert_eq!(&back.record[range.clone()], &record[range], "{}", leaf.path);
            }
        }
    }

    /// A layout says the same when it is written out and read again.
    #[test]
    fn layouts_read_back(pairs in prop::collection::vec(pair(), 1..8)) {
        let (old, new) = two(&pairs);
        for layout in [old, new] {
            let again = Layout::from_text("again", &layout.to_text());
            prop_assert_eq!(again.unwrap_or_else(|error| panic!("{error}")), layout);
        }
    }

    /// No bytes make the decoder panic, and what it finds whole is.
    #[test]
    fn any_dump_can_be_read(pairs in prop::collection::vec(pair(), 1..5), dump in prop::collection::vec(any::<u8>(), 0..6000), cut in 0..6000usize) {
        let (old, _) = two(&pairs);
        let dump = &dump[..cut.min(dump.len())];
        for copy in copies(&old, dump) {
            prop_assert!(!copy.is_whole() || copy.bytes.len() == old.record.size as usize);
        }
        if let Ok(reading) = read(&old, dump) {
            let _ = (reading.settings.to_json(), reading.settings.values().len());
            // Whatever was found, its text is TOML.
            toml::Table::try_from(toml::from_str::<toml::Table>(&reading.settings.to_toml()).unwrap()).unwrap();
        }
    }

    /// What an image holds is read from it, by value too.
    #[test]
    fn images_are_read_again(pairs in prop::collection::vec(pair(), 1..6), bytes in prop::collection::vec(any::<u8>(), 400)) {
        let (old, _) = two(&pairs);
        let mut record = bytes[..old.record.size as usize].to_vec();
        seal(&old, &mut record, 9);
        let dump = image(&old, &record, 9, None).unwrap();
        let reading = read(&old, &dump).unwrap();
        prop_assert_eq!(reading.chosen, Some(1));
        let text = reading.settings.to_toml();
        let mut again = from_text(&old, "values", &text, None).unwrap_or_else(|error| panic!("{error}\n{text}"));
        seal(&old, &mut again, 9);
        prop_assert_eq!(read_record(&old, &again).unwrap().settings, read_record(&old, &record).unwrap().settings);
    }

    /// No text makes the reader of layouts panic, and what is wrong comes with a line.
    #[test]
    fn any_text_can_be_given(text in "(format = 1\n)?[a-z\\[\\]{}=\", 0-9.\n]{0,200}") {
        if let Err(error) = Layout::from_text("x", &text) {
            prop_assert!(error.faults().iter().all(|fault| fault.line >= 1));
        }
    }
}
