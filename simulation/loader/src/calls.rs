//! The calls between a loader and its unit: names, codes and types, as `include/packstaff_loader.h` has them.

use packstaff_installer::Reason;

/// The module that the calls are imported from.
pub const MODULE: &str = "packstaff";

/// What a loader exports: power has come on.
pub const BOOT: &str = "loader_boot";

/// The loader's memory, as the linker exports it.
pub const MEMORY: &str = "memory";

/// A call that was carried out.
pub const DONE: i32 = 0;

/// A call that could not be carried out.
pub const FAILED: i32 = 1;

/// A call that a loader may make.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Call {
    /// Its name in the module.
    pub name: &'static str,
    /// How many 32-bit numbers it takes.
    pub takes: usize,
    /// How many it gives: none or one.
    pub gives: usize,
}

impl Call {
    /// All of them.
    pub const ALL: [Self; 8] = [
        Self::new("flash_read", 3, 1),
        Self::new("flash_blank", 2, 1),
        Self::new("flash_erase", 1, 1),
        Self::new("flash_program", 3, 1),
        Self::new("stick_blocks", 0, 1),
        Self::new("stick_read", 2, 1),
        Self::new("start", 1, 0),
        Self::new("wait", 1, 0),
    ];

    const fn new(name: &'static str, takes: usize, gives: usize) -> Self {
        Self { name, takes, gives }
    }

    /// The call of this name.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|call| call.name == name)
    }
}

/// The reasons that a loader may wait for, by their number in the header.
pub const REASONS: [(u32, &str, Reason); 11] = [
    (1, "PACKSTAFF_NO_FIRMWARE", Reason::NoImage),
    (2, "PACKSTAFF_FIRMWARE_DAMAGED", Reason::ImageDamaged),
    (3, "PACKSTAFF_FLASH_FAULT", Reason::FlashFault),
    (4, "PACKSTAFF_FLASH_DIFFERS", Reason::FlashDiffers),
    (5, "PACKSTAFF_STICK_UNREADABLE", Reason::StickUnreadable),
    (6, "PACKSTAFF_NO_UPDATE", Reason::NoUpdate),
    (7, "PACKSTAFF_STICK_CHANGED", Reason::StickChanged),
    (8, "PACKSTAFF_UPDATE_DAMAGED", Reason::PAYLOAD_DAMAGED),
    (9, "PACKSTAFF_OTHER_PRODUCT", Reason::OtherProduct),
    (10, "PACKSTAFF_BARRED", Reason::BelowFloor),
    (11, "PACKSTAFF_TOO_LARGE", Reason::TooLarge),
];

/// The reason of this number.
pub fn reason(number: u32) -> Option<Reason> {
    REASONS
        .iter()
        .find(|(known, ..)| *known == number)
        .map(|(_, _, reason)| *reason)
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEADER: &str = include_str!("../include/packstaff_loader.h");

    #[test]
    fn the_header_has_the_same_reasons() {
        for (number, name, reason) in REASONS {
            let entry = HEADER
                .lines()
                .find(|line| line.trim_start().starts_with(&format!("{name} = ")))
                .unwrap_or_else(|| panic!("{name} is not in the header"));
            let (_, rest) = entry.split_once(" = ").unwrap();
            let value: String = rest.chars().take_while(char::is_ascii_digit).collect();
            assert_eq!(value, number.to_string(), "{name}");
            let comment = rest.split_once("/* ").unwrap().1;
            let code: String = comment.chars().take_while(char::is_ascii_alphanumeric).collect();
            assert_eq!(code, reason.code().to_string(), "{name}");
        }
        let entries = HEADER.lines().filter(|line| {
            let line = line.trim_start();
            line.starts_with("PACKSTAFF_") && line.contains(" = ")
        });
        assert_eq!(entries.count(), REASONS.len());
    }

    #[test]
    fn the_header_has_the_same_calls() {
        for call in Call::ALL {
            assert!(HEADER.contains(&format!("PACKSTAFF_CALL({}) ", call.name)), "{call:?}");
        }
        // One more line defines the macro for each of the two compilations.
        assert_eq!(HEADER.matches("PACKSTAFF_CALL(").count(), Call::ALL.len() + 2);
        assert!(HEADER.contains(&format!("import_module(\"{MODULE}\")")));
        assert!(HEADER.contains(&format!("export_name(\"{BOOT}\")")));
        assert!(HEADER.contains(&format!("#define PACKSTAFF_DONE {DONE}\n")));
        assert!(HEADER.contains(&format!("#define PACKSTAFF_FAILED {FAILED}\n")));
        assert!(HEADER.contains(&format!("#define PACKSTAFF_BLOCK {}\n", packstaff_fat::BLOCK)));
    }
}
