//! The demo's product file, and every complaint word for word.

mod common;

use common::{demo_text, parts, tool_output};
use packstaff_product::{Date, Hazard, Product, Range, Scheme, SecondPlace};
use proptest::prelude::*;

fn demo_product() -> Product {
    Product::read("product.toml", &demo_text(), parts()).unwrap_or_else(|error| panic!("{error}"))
}

#[test]
fn the_demo_reads_as_it_is_written() {
    let product = demo_product();
    assert_eq!(product.maker.domain, "ember-ash.example");
    assert_eq!(product.short, "KC4");
    assert_eq!(product.hazards, [Hazard::Heat, Hazard::Mains]);
    assert_eq!(product.supported_until, Date::new(2035, 12, 31).ok());
    assert_eq!(product.versions.scheme, Scheme::Dotted);
    let versions: Vec<_> = product.versions.list.iter().map(|version| version.text()).collect();
    assert_eq!(versions, ["1.8", "2.0", "2.1"]);
    assert_eq!((product.policy.issue, product.policy.oldest.text()), (1, "1.8"));
    assert_eq!(product.keys.serve, ["g1", "g2"]);
    let (c, d) = (product.board("C").unwrap(), product.board("D").unwrap());
    assert_eq!(c.map.slot, Range::new(0x0801_0000, 0x7_0000).unwrap());
    assert_eq!(c.map.slot.end(), 0x0808_0000);
    assert_eq!(d.map.slot.end(), 0x0804_0000);
    assert_eq!(d.map.floor.map(Range::size), [2048, 2048]);
    assert_eq!(d.build_path("2.1"), "firmware/built/2.1/kc4-d.elf");
    assert!(product.board("E").is_none());
}

/// Python's own `uuid` module as a second opinion on the demo's identifiers.
#[test]
fn python_derives_the_same_identifiers() {
    let product = demo_product();
    let script = "import sys, uuid\n\
                  vendor = uuid.uuid5(uuid.NAMESPACE_DNS, sys.argv[1])\n\
                  print(vendor, *[uuid.uuid5(vendor, model) for model in sys.argv[2:]])";
    let mut arguments = vec!["-c", script, product.maker.domain.as_str()];
    arguments.extend(product.boards.iter().map(|board| board.model.as_str()));
    let printed = tool_output("python3", "python3", &arguments, b"");
    let ours = [product.maker.vendor]
        .into_iter()
        .chain(product.boards.iter().map(|board| board.class));
    let ours: Vec<String> = ours.map(|uuid| uuid.to_string()).collect();
    assert_eq!(String::from_utf8(printed).unwrap().trim(), ours.join(" "));
}

/// Reads the demo's file with one text in place of another, and gives the complaints.
fn complaints(from: &str, to: &str) -> String {
    let text = demo_text();
    assert!(text.contains(from), "the demo no longer has {from:?}");
    let changed = text.replacen(from, to, 1);
    Product::read("product.toml", &changed, parts())
        .expect_err("it must be refused")
        .to_string()
}

/// What is changed in the demo's file, what it becomes, and every complaint.
const CASES: &[(&str, &str, &[&str])] = &[
    (
        "hazards = [",
        "harzards = [",
        &[
            "product.toml:9:1: [product] lacks `hazards`. Add a line `hazards = ...` there.",
            "product.toml:13:1: [product] has no key `harzards`. Did you mean `hazards`? Correct the name, or take the line out.",
        ],
    ),
    (
        "name = \"KC-4 kiln controller\"",
        "name = ",
        &[
            "product.toml:10:8: this is not TOML: string values must be quoted, expected literal string. Compare the line with its neighbours: texts stand in \"quotes\", lists in [brackets]. The format is TOML 1.0.",
        ],
    ),
    (
        "short = \"KC4\"",
        "short = \"kc-4x\"",
        &[
            "product.toml:11:9: `short` is \"kc-4x\", which is not 2 to 4 letters A-Z or digits. Choose a short name: it begins the names of update files, which every stick and unit must be able to spell.",
        ],
    ),
    (
        "short = \"KC4\"",
        "short = 4",
        &[
            "product.toml:11:9: `short` is a whole number, where a text in \"quotes\" is expected. Write a text in \"quotes\".",
        ],
    ),
    (
        "format = 1",
        "format = 2",
        &[
            "product.toml:2:10: `format` is 2, which is not a format that this program knows (1). Use the program that wrote it, or a later one.",
        ],
    ),
    (
        "format = 1",
        "",
        &["product.toml:1:1: the file lacks `format`. Add a line `format = ...` there."],
    ),
    (
        "[\"heat\", \"mains\"]",
        "[\"heat\", \"hot\", \"mians\", \"heat\"]",
        &[
            "product.toml:13:20: `hazards` is \"hot\", which is not one of mains, high-voltage, heat, motion, transmitter, battery, pressure, gas, chemicals, light, life-safety. Choose one of them.",
            "product.toml:13:27: `hazards` is \"mians\", which is not one of mains, high-voltage, heat, motion, transmitter, battery, pressure, gas, chemicals, light, life-safety. Did you mean \"mains\"?",
            "product.toml:13:36: the hazard \"heat\" stands here for the second time; the first is on line 13. Take one of them out, or give it another value.",
        ],
    ),
    (
        "2035-12-31",
        "\"2035-12-31\"",
        &[
            "product.toml:14:19: `supported_until` is a text, where a date such as 2026-01-05, without quotes is expected. Write a date such as 2026-01-05, without quotes.",
        ],
    ),
    (
        "domain = \"ember-ash.example\"",
        "domain = \"Ember-Ash.example\"",
        &[
            "product.toml:6:10: `domain` is \"Ember-Ash.example\", which is not a domain name in lower case. Write a domain that is yours, such as \"workshop.example\". Units carry an identifier made from it for life.",
        ],
    ),
    (
        "revision = \"D\"",
        "revision = \"C\"",
        &[
            "product.toml:34:12: the revision \"C\" stands here for the second time; the first is on line 17. Take one of them out, or give it another value.",
        ],
    ),
    (
        "part = \"stm32f405-512k\"",
        "part = \"stm32f450-512k\"",
        &[
            "product.toml:20:8: `part` names \"stm32f450-512k\", which is not in the parts table as a microcontroller. Did you mean `stm32f405-512k`?",
        ],
    ),
    (
        "part = \"stm32f405-512k\"",
        "part = \"stm32g474-512k\"",
        &[
            "product.toml:27:5: board C: first floor sector (0x08008000..=0x0800bfff) does not fit the part `stm32g474-512k`: it must be exactly one sector. Correct the range by the part's reference manual, or name the part that is really fitted.",
            "product.toml:28:5: board C: second floor sector (0x0800c000..=0x0800ffff) does not fit the part `stm32g474-512k`: it must be exactly one sector. Correct the range by the part's reference manual, or name the part that is really fitted.",
        ],
    ),
    (
        "settings_memory = \"24lc256\"",
        "settings_memory = \"stm32g474-512k\"",
        &[
            "product.toml:22:19: `settings_memory` names \"stm32g474-512k\", which is not in the parts table as a settings memory. Use a part of the table, or describe the part in a parts.toml beside this file.",
        ],
    ),
    (
        "core = \"Cortex-M4F\"",
        "core = \"Cortex-M3\"",
        &[
            "product.toml:21:8: `core` is \"Cortex-M3\", which is not the core of stm32f405-512k, \"Cortex-M4F\". Correct the core, or name the part that is really fitted.",
        ],
    ),
    (
        "slot = { start = 0x08010000, size = 0x70000 }",
        "slot = { start = 0x0800C000, size = 0x74000 }",
        &[
            "product.toml:30:8: board C: slot and board C: second floor sector overlap in 0x0800c000..=0x0800ffff. Move or shorten one of the two.",
        ],
    ),
    (
        "slot = { start = 0x08010000, size = 0x70000 }",
        "slot = { start = 0x08010000, size = 0x80000 }",
        &[
            "product.toml:30:8: board C: slot (0x08010000..=0x0808ffff) does not fit the part `stm32f405-512k`: there is no flash at 0x0808ffff. Correct the range by the part's reference manual, or name the part that is really fitted.",
        ],
    ),
    (
        "slot = { start = 0x08010000, size = 0x70000 }",
        "slot = { start = 0x08011000, size = 0x6f000 }",
        &[
            "product.toml:30:8: board C: slot (0x08011000..=0x0807ffff) does not fit the part `stm32f405-512k`: it starts inside the sector that begins at 0x08010000. Correct the range by the part's reference manual, or name the part that is really fitted.",
        ],
    ),
    (
        "slot = { start = 0x08010000, size = 0x70000 }",
        "slot = { start = 0x08010000, size = 0 }",
        &["product.toml:30:8: `slot`: a range of no bytes. Give `start` and `size` in bytes, hexadecimal if you like."],
    ),
    (
        "slot = { start = 0x08010000, size = 0x70000 }",
        "slot = { start = 0x08010000, length = 0x70000 }",
        &[
            "product.toml:30:8: the range lacks `size`. Add a line `size = ...` there.",
            "product.toml:30:30: the range has no key `length`. Take the line out, or use one of: start, size.",
        ],
    ),
    (
        "slot = { start = 0x08010000, size = 0x70000 }",
        "slot = { start = -1, size = 0x1_0000_0000 }",
        &[
            "product.toml:30:18: `start` is -1, which is not a whole number from 0 to 4294967295. Write a number from that range.",
            "product.toml:30:29: `size` is 0x100000000, which is not a whole number from 0 to 4294967295. Write a number from that range.",
        ],
    ),
    (
        "ram = { start = 0x20000000, size = 0x20000 }",
        "ram = { start = 0xFFFF0000, size = 0x20000 }",
        &[
            "product.toml:31:7: `ram`: 0x20000 bytes from 0xffff0000 reach beyond the 32-bit address space. Give `start` and `size` in bytes, hexadecimal if you like.",
        ],
    ),
    (
        "    { start = 0x0800C000, size = 0x4000 },\n",
        "",
        &[
            "product.toml:26:9: `floor` is a list of 1, which is not a list of two ranges. The floor is kept twice: name the two sectors that hold it.",
        ],
    ),
    (
        "    { start = 0x0800C000, size = 0x4000 },\n",
        "    { start = 0x0800C000, size = 0x2000 },\n",
        &[
            "product.toml:28:5: board C: second floor sector (0x0800c000..=0x0800dfff) does not fit the part `stm32f405-512k`: it ends inside the sector that ends at 0x0800ffff. Correct the range by the part's reference manual, or name the part that is really fitted.",
        ],
    ),
    (
        "firmware/built/{version}/kc4-c.elf",
        "firmware/built/2.1/kc4-c.elf",
        &[
            "product.toml:23:9: `build` is \"firmware/built/2.1/kc4-c.elf\", which is not a path with {version} in it and no other braces. Write {version} where the version text stands, such as \"built/{version}/c.elf\".",
        ],
    ),
    (
        "firmware/built/{version}/kc4-c.elf",
        "../{version}/kc4-c.elf",
        &[
            "product.toml:23:9: `build` is \"../{version}/kc4-c.elf\", which is not a path inside the product folder. Write it from the product folder down, with / between folders and without `..`.",
        ],
    ),
    (
        "list = [\"1.8\", \"2.0\", \"2.1\"]",
        "list = [\"1.8\", \"2.0\", \"2.1b\", \"1.08\"]",
        &[
            "product.toml:52:23: the version \"2.1b\" has 'b' in it. Use digits and points only. A trial version gets a number of its own, so that units can tell it apart.",
            "product.toml:52:31: the version \"1.08\" has a number with a leading zero. Write the number without it: an owner reads 1.08 and 1.8 as the same.",
        ],
    ),
    (
        "list = [\"1.8\", \"2.0\", \"2.1\"]",
        "list = [\"1.8\", \"2.0\", \"2\", \"1.10\"]",
        &[
            "product.toml:52:23: 2.0 and 2 are the same version, [2, 0]. Give one of them another number.",
            "product.toml:52:28: 1.10 is newer than 1.8 here, but a reader of decimal fractions takes it for older. Number it so that both readings agree, or set accept_disputed_order = true and tell owners which is newer.",
        ],
    ),
    (
        "scheme = \"dotted\"",
        "scheme = \"decimal\"",
        &["product.toml:50:1: [versions] lacks `places`. Add a line `places = ...` there."],
    ),
    (
        "oldest = \"1.8\"",
        "oldest = \"1.7\"",
        &["product.toml:56:10: `oldest` names 1.7, which is not in `list` of [versions]. Did you mean `1.8`?"],
    ),
    (
        "issue = 1",
        "issue = 0",
        &[
            "product.toml:55:9: `issue` is 0, which is not a whole number from 1 to 4294967295. Write a number from that range.",
        ],
    ),
    (
        "serve = [\"g1\", \"g2\"]",
        "serve = [\"g1\", \"g3\"]",
        &["product.toml:60:16: `serve` names \"g3\", which is not in the [[generation]] tables. Did you mean `g1`?"],
    ),
    (
        "serve = [\"g1\", \"g2\"]",
        "serve = [\"g1\"]",
        &[
            "product.toml:61:13: `new_units` is \"g2\", which is not a generation that `serve` has. Serve it too, or new units could never be updated.",
        ],
    ),
    (
        "choose = \"{version} ?\"",
        "choose = \"{vers} ?\"",
        &[
            "product.toml:73:10: `choose` is \"{vers} ?\", which is not a text with no braces but {version}. Use {version}, or no braces at all.",
        ],
    ),
    (
        "language = \"en\"",
        "language = \"English\"",
        &[
            "product.toml:81:12: `language` is \"English\", which is not a language tag. Write it as in BCP 47, such as \"en\" or \"de-CH\".",
        ],
    ),
    (
        "[screens]",
        "[screen]",
        &[
            "product.toml:1:1: the file lacks `screens`. Add a line `[screens]` there.",
            "product.toml:71:2: the file has no key `screen`. Did you mean `screens`? Correct the name, or take the line out.",
        ],
    ),
    (
        "[[board]]\nrevision = \"C\"",
        "[[boards]]\nrevision = \"C\"",
        &[
            "product.toml:16:3: the file has no key `boards`. Did you mean `board`? Correct the name, or take the line out.",
        ],
    ),
];

#[test]
fn every_mistake_is_named_with_its_place_and_its_remedy() {
    for (from, to, expected) in CASES {
        let found = complaints(from, to);
        assert_eq!(found.lines().collect::<Vec<_>>(), *expected, "{from} -> {to}");
    }
}

#[test]
fn labels_cover_the_words_that_are_wrong() {
    let text = demo_text().replace("hazards = [", "harzards = [");
    let error = Product::read("product.toml", &text, None).unwrap_err();
    let fault = error.faults().last().unwrap();
    assert_eq!(text.get(fault.span.clone()), Some("harzards"));
    assert_eq!(
        fault.problem.advice(),
        "Did you mean `hazards`? Correct the name, or take the line out."
    );
    assert_eq!(error.text(), text);
}

#[test]
fn without_parts_the_map_is_only_checked_against_itself() {
    let text = demo_text().replace("stm32f405-512k", "a-part-of-my-own");
    Product::read("product.toml", &text, None).unwrap();
    Product::read("product.toml", &text, parts()).unwrap_err();
}

#[test]
fn a_disputed_order_can_be_accepted_knowingly() {
    let text = demo_text().replace("\"2.1\"]", "\"2.1\", \"1.10\"]\naccept_disputed_order = true");
    let product = Product::read("product.toml", &text, parts()).unwrap();
    let order: Vec<_> = product.versions.list.iter().map(|version| version.text()).collect();
    assert_eq!(order, ["1.8", "1.10", "2.0", "2.1"]);
}

#[test]
fn reserved_ranges_are_kept_clear() {
    let reserved = |start: &str| {
        format!(
            "ram = {{ start = 0x20000000, size = 0x20000 }}\nreserved = [{{ start = {start}, size = 16, use = \"option bytes\" }}]"
        )
    };
    let with = |start: &str| demo_text().replacen("ram = { start = 0x20000000, size = 0x20000 }", &reserved(start), 1);
    let product = Product::read("product.toml", &with("0x1FFFC000"), parts()).unwrap();
    assert_eq!(product.boards[0].map.reserved[0].purpose, "option bytes");
    let error = Product::read("product.toml", &with("0x0807FFFF"), parts()).unwrap_err();
    assert_eq!(
        error.faults()[0].problem.to_string(),
        "board C: range reserved for option bytes and board C: slot overlap in 0x0807ffff..=0x0807ffff"
    );
}

/// Board C with these lines behind its slot, which is on line 30.
fn with_second_place(lines: &str) -> Result<Product, packstaff_product::DocumentError> {
    let slot = "slot = { start = 0x08010000, size = 0x70000 }";
    let text = demo_text().replacen(slot, &format!("{slot}\n{lines}"), 1);
    Product::read("product.toml", &text, parts())
}

#[test]
fn a_second_place_is_read() {
    let memory = "stage_memory = { part = \"w25q16jv-2m\", base = 0x90000000 }";
    let stage = "stage = { start = 0x90001000, size = 0x70000 }";
    let product = with_second_place(&format!("{memory}\n{stage}")).unwrap();
    let second = &product.boards[0].map.second;
    assert_eq!(second.range().unwrap().start(), 0x9000_1000);
    assert_eq!(second.memory().unwrap().part, "w25q16jv-2m");
    assert_eq!(product.boards[1].map.second, SecondPlace::None);
    // Board D has pages of 2 KiB behind its slot.
    let slot = "slot = { start = 0x0800A000, size = 0x36000 }";
    for (key, is_stage) in [("stage", true), ("second_slot", false)] {
        let text = demo_text().replacen(
            slot,
            &format!("{slot}\n{key} = {{ start = 0x08040000, size = 0x36000 }}"),
            1,
        );
        let product = Product::read("product.toml", &text, parts()).unwrap();
        let second = &product.boards[1].map.second;
        assert_eq!(matches!(second, SecondPlace::Stage { memory: None, .. }), is_stage);
        assert_eq!(second.range().unwrap().end(), 0x0807_6000);
    }
}

#[test]
fn what_is_wrong_with_a_second_place_is_told() {
    let memory = |base: &str| format!("stage_memory = {{ part = \"w25q16jv-2m\", base = {base} }}\n");
    let stage = "stage = { start = 0x90000000, size = 0x70000 }";
    for (lines, expected) in [
        (
            "second_slot = { start = 0x08040000, size = 0x40000 }".to_owned(),
            "product.toml:31:15: board C: second slot and board C: slot overlap in 0x08040000..=0x0807ffff. Move or shorten one of the two.",
        ),
        (
            format!("{stage}\nsecond_slot = {{ start = 0x90000000, size = 0x70000 }}"),
            "product.toml:32:15: `second_slot` stands beside `stage`: a unit has one or the other. With a stage, images are copied to the slot; with two slots, they run where they were put. Take one of the two out.",
        ),
        (
            memory("0x90000000"),
            "product.toml:31:16: `stage_memory` is given, but no `stage` in it. Say with `stage` which range of this memory images are put together in, or take `stage_memory` out.",
        ),
        (
            stage.to_owned(),
            "product.toml:31:9: board C: stage (0x90000000..=0x9006ffff) does not fit the part `stm32f405-512k`: there is no flash at 0x90000000. Correct the range by the part's reference manual, or name the part that is really fitted.",
        ),
        (
            memory("0x90000000") + "stage = { start = 0x90000800, size = 0x70000 }",
            "product.toml:32:9: board C: stage (0x90000800..=0x900707ff) does not fit the part `w25q16jv-2m`: it starts inside the sector that begins at 0x90000000. Correct the range by the part's reference manual, or name the part that is really fitted.",
        ),
        (
            memory("0x08000000") + "stage = { start = 0x08100000, size = 0x70000 }",
            "product.toml:31:16: `stage_memory` has addresses, 0x08000000..=0x081fffff, that are those of the flash of stm32f405-512k, 0x08000000..=0x0807ffff. Give as `base` the address that your driver shows the memory at: any from which all of it is apart from all else.",
        ),
        (
            memory("0xFFF00000") + "stage = { start = 0xFFF00000, size = 0x70000 }",
            "product.toml:31:16: `stage_memory` reaches beyond the 32-bit address space. Give as `base` the address that your driver shows the memory at: any from which all of it is apart from all else.",
        ),
        (
            memory("0x90000000").replace("q16", "q61") + stage,
            "product.toml:31:16: `stage_memory` names \"w25q61jv-2m\", which is not in the parts table as flash. Did you mean `w25q16jv-2m`?",
        ),
    ] {
        let error = with_second_place(&lines).unwrap_err();
        assert_eq!(error.to_string(), expected, "{lines}");
    }
}

proptest! {
    #[test]
    fn any_text_is_read_or_refused(text in "\\PC{0,200}|([a-z\\[\\]{}=.\"'#0-9\n ,-]{0,200})") {
        let _ = Product::read("any", &text, parts());
        let _ = packstaff_product::Record::from_text("any", &text);
    }

    /// The demo with one stretch cut out and another text put in: close enough to the real thing to get deep.
    #[test]
    fn any_change_of_the_demo_is_read_or_refused(at in 0_usize..4000, length in 0_usize..60, new in "([a-z\\[\\]{}=.\"'0-9\n ,-]{0,20})|\\PC{0,6}") {
        let text = demo_text();
        let at = at.min(text.len());
        let end = (at + length).min(text.len());
        prop_assume!(text.is_char_boundary(at) && text.is_char_boundary(end));
        let changed = format!("{}{new}{}", &text[..at], &text[end..]);
        if let Err(error) = Product::read("changed", &changed, parts()) {
            prop_assert!(!error.faults().is_empty());
            prop_assert!(error.faults().iter().all(|fault| fault.span.end <= changed.len()));
        }
    }
}
