//! A maker's own table of parts, and every complaint word for word.

use packstaff_parts::{PartKind, PartsTable, SecondProgram};
use proptest::prelude::*;

/// A part that there is not, with figures that the text of the tests takes apart.
const TABLE: &str = r#"format = 1

[[part]]
id = "wm32-128k"
name = "Workshop module, 128 KiB"
kind = "mcu-flash"
core = "Cortex-M4F"
size_bytes = 131072
base = 0x08000000
program_granule_bytes = 8
program_typ_us = 80
program_max_us = 100
endurance_min = 10000
endurance_typ = 100000
ecc = true
second_program = "zeros"
sectors = [{ count = 64, size = 2048, erase_typ_us = 22000, erase_max_us = 40000 }]
source = "the module's data sheet, table 7"
confirmed = true
unconfirmed = []

[[part]]
id = "wm-eeprom"
name = "The module's EEPROM"
kind = "i2c-eeprom"
size_bytes = 4096
program_granule_bytes = 1
page_bytes = 32
write_cycle_max_us = 5000
ecc = false
source = "the module's data sheet, table 9"
confirmed = false
unconfirmed = ["write_cycle_max_us"]
"#;

#[test]
fn the_built_in_table_is_sound() {
    let table = PartsTable::built_in();
    assert!(table.own().is_empty());
    assert_eq!(table.parts().count(), 42);
    assert!(table.flash("stm32f405-512k").is_some() && table.settings_memory("stm32f405-512k").is_none());
    assert!(table.flash("24lc256").is_none() && table.settings_memory("24lc256").is_some());
    let missing = table.part("stm32f999").unwrap_err().to_string();
    assert!(
        missing.starts_with("no part is called `stm32f999`; the parts table knows stm32f405-1m, "),
        "{missing}"
    );
}

#[test]
fn own_parts_stand_beside_the_built_in_ones() {
    let table = PartsTable::with_own("parts.toml", TABLE).unwrap();
    assert_eq!(table.parts().count(), 44);
    let flash = table.flash("wm32-128k").unwrap();
    assert_eq!(
        (flash.kind, flash.base, flash.size_bytes),
        (PartKind::McuFlash, 0x0800_0000, 128 << 10)
    );
    assert_eq!(
        (flash.second_program, flash.ecc, flash.erased()),
        (SecondProgram::Zeros, true, 0xff)
    );
    assert_eq!(flash.erase_us(2048), (22_000.0, 40_000.0));
    assert_eq!(flash.program_us(10), (800.0, 1000.0));
    let memory = table.settings_memory("wm-eeprom").unwrap();
    assert_eq!(
        (memory.page_bytes, memory.second_program),
        (Some(32), SecondProgram::Unknown)
    );
    assert!(table.flash("stm32g474-512k").is_some());
}

/// What is changed in the table, what it becomes, and every complaint.
const CASES: &[(&str, &str, &[&str])] = &[
    (
        "format = 1",
        "format = 2",
        &[
            "parts.toml:1:10: `format` is 2, which is not a format that this program knows (1). Use the program that wrote it, or a later one.",
        ],
    ),
    (
        "program_typ_us",
        "program_type_us",
        &[
            "parts.toml:11:1: [[part]] has no key `program_type_us`. Did you mean `program_typ_us`? Correct the name, or take the line out.",
        ],
    ),
    (
        "\"wm32-128k\"",
        "\"stm32g474-512k\"",
        &[
            "parts.toml:4:6: `id` is \"stm32g474-512k\", which is not a name of its own: a built-in part is called so. Use the built-in part and take this one out, or give this one another name, for its boards too.",
        ],
    ),
    (
        "\"wm32-128k\"",
        "\"WM32\"",
        &[
            "parts.toml:4:6: `id` is \"WM32\", which is not 1 to 32 letters a-z, digits or hyphens. Choose a short name such as \"stm32f405-1m\": boards name the part by it.",
        ],
    ),
    (
        "\"wm-eeprom\"",
        "\"wm32-128k\"",
        &[
            "parts.toml:23:6: the part \"wm32-128k\" stands here for the second time; the first is on line 4. Take one of them out, or give it another value.",
        ],
    ),
    (
        "kind = \"mcu-flash\"",
        "kind = \"mcu-flesh\"",
        &[
            "parts.toml:6:8: `kind` is \"mcu-flesh\", which is not one of mcu-flash, mcu-fram, mcu-eeprom, spi-nor, i2c-eeprom, spi-eeprom, i2c-fram, spi-fram. Did you mean \"mcu-flash\"?",
        ],
    ),
    (
        "size_bytes = 131072",
        "size_bytes = 131073",
        &[
            "parts.toml:17:11: `sectors` have 131072 bytes together, and `size_bytes` is 131073. List every sector once, upward from `base`, or correct the size.",
        ],
    ),
    (
        "base = 0x08000000",
        "base = 0xFFFFF000",
        &[
            "parts.toml:8:14: `size_bytes` is 131072, which is not a size that ends within 32-bit addresses from 0xfffff000. Give the figure of the data sheet.",
        ],
    ),
    (
        "granule_bytes = 8",
        "granule_bytes = 12",
        &[
            "parts.toml:10:25: `program_granule_bytes` is 12, which is not a power of two. Give the figure of the data sheet.",
        ],
    ),
    (
        "granule_bytes = 8",
        "granule_bytes = 4096",
        &[
            "parts.toml:17:33: `size` is 2048, which is not a multiple of the granule, 4096 bytes. Give the figure of the data sheet.",
        ],
    ),
    (
        "program_max_us = 100",
        "program_max_us = 60",
        &[
            "parts.toml:12:18: `program_max_us` is 60, which is not at least `program_typ_us`, 80. Give the figure of the data sheet.",
        ],
    ),
    (
        "erase_typ_us = 22000",
        "erase_typ_us = 0",
        &["parts.toml:17:54: `erase_typ_us` is 0, which is not a time above 0. Give the figure of the data sheet."],
    ),
    (
        "endurance_typ = 100000",
        "endurance_typ = 1000",
        &[
            "parts.toml:14:17: `endurance_typ` is 1000, which is not at least `endurance_min`, 10000. Give the figure of the data sheet.",
        ],
    ),
    (
        "ecc = true\n",
        "",
        &["parts.toml:3:1: [[part]] lacks `ecc`. Add a line `ecc = ...` there."],
    ),
    (
        "sectors = [{ count = 64, size = 2048, erase_typ_us = 22000, erase_max_us = 40000 }]\n",
        "",
        &["parts.toml:3:1: [[part]] lacks `sectors`. Add a line `sectors = ...` there."],
    ),
    (
        "page_bytes = 32\n",
        "page_bytes = 32\nsectors = [{ count = 1, size = 4096 }]\n",
        &[
            "parts.toml:29:11: `sectors` is given, but only flash is erased by sectors. Take the line out, or correct `kind`.",
        ],
    ),
    (
        "count = 64",
        "count = 0",
        &[
            "parts.toml:17:22: `count` is 0, which is not a whole number from 1 to 65536. Write a number from that range.",
        ],
    ),
    (
        "source = \"the module's data sheet, table 7\"\n",
        "",
        &["parts.toml:3:1: [[part]] lacks `source`. Add a line `source = ...` there."],
    ),
];

#[test]
fn every_complaint_has_its_line_and_what_to_do() {
    for (from, to, expected) in CASES {
        assert!(TABLE.contains(from), "the table no longer has {from:?}");
        let found = PartsTable::with_own("parts.toml", &TABLE.replacen(from, to, 1))
            .expect_err("it must be refused")
            .to_string();
        assert_eq!(found.lines().collect::<Vec<_>>(), *expected, "{from} -> {to}");
    }
}

#[test]
fn a_table_of_no_parts_is_refused() {
    let error = PartsTable::with_own("parts.toml", "format = 1\n").unwrap_err();
    assert_eq!(error.faults()[0].problem.to_string(), "the file lacks `part`");
}

proptest! {
    /// Whatever stands in the file, it is read or refused, and what is read adds up.
    #[test]
    fn any_change_of_a_byte_is_read_or_refused(at in 0..TABLE.len(), byte in 0x20_u8..0x7f) {
        let mut bytes = TABLE.as_bytes().to_vec();
        bytes[at] = byte;
        let text = String::from_utf8(bytes).unwrap();
        match PartsTable::with_own("parts.toml", &text) {
            Ok(table) => for part in table.own() {
                let bytes: u64 = part.sectors.iter().map(|run| u64::from(run.count) * u64::from(run.size)).sum();
                prop_assert!(part.sectors.is_empty() || bytes == u64::from(part.size_bytes));
                prop_assert_eq!(part.sectors.is_empty(), !part.is_program_flash());
                prop_assert!(PartsTable::built_in().part(&part.id).is_err());
            },
            Err(error) => prop_assert!(error.faults().iter().all(|fault| fault.span.end <= text.len())),
        }
    }
}
