//! Names that every system shows alike, without a long name beside them.

use crate::StickError;

/// Punctuation that the FAT specification allows in short names ("FAT Directory Structure" and "Naming Conventions").
const PUNCTUATION: &[u8] = b"!#$%&'()-@^_`{}~";

/// Names that Windows gives to devices, whatever ending they have (from memory).
const DEVICES: [&str; 4] = ["CON", "PRN", "AUX", "NUL"];
const NUMBERED_DEVICES: [&str; 2] = ["COM", "LPT"];

fn is_allowed(c: char) -> bool {
    u8::try_from(c).is_ok_and(|byte| byte.is_ascii_uppercase() || byte.is_ascii_digit() || PUNCTUATION.contains(&byte))
}

/// The 11 bytes that a directory stores for a name such as `KC4-0142.UPD`.
///
/// # Errors
///
/// If the name is not 1 to 8 and at most 3 upper-case characters that all systems take.
pub fn short_name(name: &str) -> Result<[u8; 11], StickError> {
    let owned = || name.to_owned();
    if name.is_empty() {
        return Err(StickError::NameEmpty);
    }
    if let Some(character) = name.chars().find(|&c| c != '.' && !is_allowed(c.to_ascii_uppercase())) {
        return Err(StickError::NameCharacter {
            name: owned(),
            character,
        });
    }
    if name.bytes().any(|byte| byte.is_ascii_lowercase()) {
        return Err(StickError::NameLowerCase { name: owned() });
    }
    let (base, extension) = match name.split_once('.') {
        None => (name, ""),
        Some((base, extension)) if base.is_empty() || extension.is_empty() || extension.contains('.') => {
            return Err(StickError::NameDots { name: owned() });
        }
        Some(parts) => parts,
    };
    if base.len() > 8 || extension.len() > 3 {
        return Err(StickError::NameTooLong {
            name: owned(),
            base: base.len(),
            extension: extension.len(),
        });
    }
    let is_numbered = |device: &str| {
        base.strip_prefix(device)
            .is_some_and(|rest| rest.len() == 1 && rest.bytes().all(|byte| byte.is_ascii_digit()))
    };
    if DEVICES.contains(&base) || NUMBERED_DEVICES.iter().any(|device| is_numbered(device)) {
        return Err(StickError::NameOfDevice { name: owned() });
    }
    let mut stored = [b' '; 11];
    stored[..base.len()].copy_from_slice(base.as_bytes());
    stored[8..8 + extension.len()].copy_from_slice(extension.as_bytes());
    Ok(stored)
}

/// The 11 bytes that a directory stores for a label.
///
/// # Errors
///
/// If the label is not 1 to 11 upper-case characters that all systems take.
pub fn label(label: &str) -> Result<[u8; 11], StickError> {
    let has_room = (1..=11).contains(&label.len());
    let is_trimmed = !label.starts_with(' ') && !label.ends_with(' ');
    if !has_room || !is_trimmed || !label.chars().all(|c| c == ' ' || is_allowed(c)) {
        return Err(StickError::Label {
            label: label.to_owned(),
        });
    }
    let mut stored = [b' '; 11];
    stored[..label.len()].copy_from_slice(label.as_bytes());
    Ok(stored)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn good_names_are_padded() {
        for (name, stored) in [
            ("KC4-0142.UPD", b"KC4-0142UPD"),
            ("A", b"A          "),
            ("A.B", b"A       B  "),
            ("12345678.ABC", b"12345678ABC"),
            ("{~}.(!)", b"{~}     (!)"),
            ("COMB.TXT", b"COMB    TXT"),
            ("COM", b"COM        "),
        ] {
            assert_eq!(&short_name(name).unwrap(), stored, "{name}");
        }
    }

    #[test]
    fn bad_names_say_what_is_wrong() {
        use StickError as E;
        assert!(matches!(short_name(""), Err(E::NameEmpty)));
        assert!(matches!(short_name("kc4.UPD"), Err(E::NameLowerCase { .. })));
        assert!(matches!(
            short_name("KC4 142.UPD"),
            Err(E::NameCharacter { character: ' ', .. })
        ));
        assert!(matches!(
            short_name("KÄLTE.UPD"),
            Err(E::NameCharacter { character: 'Ä', .. })
        ));
        for character in "\"*+,/:;<=>?[\\]|\u{7f}\u{5}".chars() {
            let found = short_name(&format!("A{character}"));
            assert!(
                matches!(found, Err(E::NameCharacter { character: c, .. }) if c == character),
                "{character:?}"
            );
        }
        for name in [".UPD", "KC4.", "KC4.1.UPD", ".", ".."] {
            assert!(matches!(short_name(name), Err(E::NameDots { .. })), "{name}");
        }
        assert!(matches!(
            short_name("KC4-01420.UPD"),
            Err(E::NameTooLong {
                base: 9,
                extension: 3,
                ..
            })
        ));
        assert!(matches!(
            short_name("KC4.UPDT"),
            Err(E::NameTooLong {
                base: 3,
                extension: 4,
                ..
            })
        ));
        for name in ["CON", "NUL.TXT", "COM1.UPD", "LPT9"] {
            assert!(matches!(short_name(name), Err(E::NameOfDevice { .. })), "{name}");
        }
    }

    #[test]
    fn labels() {
        assert_eq!(&label("KC-4 UPDATE").unwrap(), b"KC-4 UPDATE");
        assert_eq!(&label("K").unwrap(), b"K          ");
        for bad in ["", "kiln", " K", "K ", "TWELVE CHARS", "A.B", "Ä"] {
            assert!(label(bad).is_err(), "{bad}");
        }
    }
}
