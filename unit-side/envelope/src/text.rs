//! The text for people, written and read on the host. A unit only digests it.
//!
//! Laid out as draft-ietf-suit-manifest-37, 8.4.4 says: language, then what is described. Nothing is ever decided from it.

use crate::cbor::Cursor;
use crate::encode::{EncodeError, encoded};
use crate::header::TEXT_MAX;
use crate::ids;
use crate::refusal::{Part, Refusal};
use alloc::string::String;
use alloc::vec::Vec;

/// Longest language tag, in bytes (RFC 5646, 4.4.1 asks for room for 35).
pub const LANGUAGE_MAX: usize = 35;

/// What a piece of text describes. The numbers are those of draft-ietf-suit-manifest-37, 11.6 and 11.7, the last two
/// of draft-ietf-suit-update-management-14, 3.3 and 3.4.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum TextItem {
    /// The file as such (key 1).
    ManifestDescription,
    /// What the update does for the owner (key 2).
    UpdateDescription,
    /// The maker's name (component key 1).
    VendorName,
    /// The product's name (component key 2).
    ModelName,
    /// The maker's domain, from which the vendor identifier is made (component key 3).
    VendorDomain,
    /// The board's description, from which the class identifier is made (component key 4).
    ModelInfo,
    /// What the image is (component key 5).
    ComponentDescription,
    /// The image's version as text (component key 6).
    ComponentVersion,
    /// Which version the update needs (component key 7).
    VersionRequired,
    /// Which version the update was made from (component key 8).
    CurrentVersion,
}

/// Descriptions of the file: keys of the language's own map.
const OF_FILE: [(u64, TextItem); 2] = [
    (ids::TEXT_MANIFEST_DESCRIPTION, TextItem::ManifestDescription),
    (ids::TEXT_UPDATE_DESCRIPTION, TextItem::UpdateDescription),
];

/// Descriptions of the flash slot's content: keys of the component's map.
const OF_SLOT: [(u64, TextItem); 8] = [
    (1, TextItem::VendorName),
    (2, TextItem::ModelName),
    (3, TextItem::VendorDomain),
    (4, TextItem::ModelInfo),
    (5, TextItem::ComponentDescription),
    (6, TextItem::ComponentVersion),
    (7, TextItem::VersionRequired),
    (8, TextItem::CurrentVersion),
];

/// The component identifier `[h'00']` as a map key.
const SLOT_KEY: [u8; 3] = [0x81, 0x41, ids::COMPONENT_SLOT[0]];

/// One piece of text.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct TextEntry {
    /// Language tag (RFC 5646), such as `en` or `de-CH`.
    pub language: String,
    /// What it describes.
    pub item: TextItem,
    /// The text. May have line breaks, but no other control characters.
    pub value: String,
}

impl TextEntry {
    /// The text without characters that could play tricks on a terminal: control characters other than the line
    /// break, and those that change the direction of writing, become U+FFFD.
    pub fn shown(&self) -> String {
        self.value
            .chars()
            .map(|char| if tricky(char) { '\u{fffd}' } else { char })
            .collect()
    }
}

fn tricky(char: char) -> bool {
    let turns =
        matches!(char, '\u{061c}' | '\u{200e}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}');
    turns || (char.is_control() && char != '\n')
}

/// Encodes text, in whatever order it is given.
pub(crate) fn encode(entries: &[TextEntry]) -> Result<Vec<u8>, EncodeError> {
    if let Some(bad) = entries.iter().find(|entry| !is_language(&entry.language)) {
        return Err(EncodeError::Language {
            found: bad.language.clone(),
        });
    }
    if let Some(bad) = entries.iter().find(|entry| entry.value.chars().any(tricky)) {
        return Err(EncodeError::TextCharacters {
            language: bad.language.clone(),
            item: bad.item,
        });
    }
    let mut entries: Vec<&TextEntry> = entries.iter().collect();
    // The deterministic order of text keys is that of their encoded bytes: the length comes first.
    entries.sort_by_key(|entry| (entry.language.len(), &entry.language, entry.item));
    for pair in entries.windows(2) {
        if let [a, b] = pair
            && (&a.language, a.item) == (&b.language, b.item)
        {
            return Err(EncodeError::TextTwice {
                language: a.language.clone(),
                item: a.item,
            });
        }
    }
    let languages: Vec<&[&TextEntry]> = entries.chunk_by(|a, b| a.language == b.language).collect();
    let bytes = encoded(|out| {
        out.map(languages.len() as u64)?;
        for entries in languages {
            let of_file = entries.partition_point(|entry| entry.item < TextItem::VendorName);
            let (file, slot) = entries.split_at_checked(of_file).unwrap_or_default();
            out.str(entries.first().map_or("", |entry| &entry.language))?;
            out.map(file.len() as u64 + u64::from(!slot.is_empty()))?;
            for entry in file {
                out.u64(number(entry.item))?.str(&entry.value)?;
            }
            if !slot.is_empty() {
                out.array(1)?.bytes(&ids::COMPONENT_SLOT)?.map(slot.len() as u64)?;
                for entry in slot {
                    out.u64(number(entry.item))?.str(&entry.value)?;
                }
            }
        }
        Ok(())
    })?;
    match bytes.len() as u64 {
        ..=TEXT_MAX => Ok(bytes),
        found => Err(EncodeError::TextTooLarge { found }),
    }
}

/// Reads a text element's content.
///
/// What this version does not know is skipped: text is for people, and nothing is decided from it.
///
/// # Errors
/// [`Refusal::Malformed`] in [`Part::Text`].
pub fn decode(text: &[u8]) -> Result<Vec<TextEntry>, Refusal> {
    let mut entries = Vec::new();
    let mut cursor = Cursor::new(text, Part::Text);
    let mut languages = cursor.map()?;
    while let Some(key) = languages.next(&mut cursor)? {
        let language = Cursor::new(key, Part::Text).text()?;
        let mut keys = cursor.map()?;
        while let Some(key) = keys.next(&mut cursor)? {
            if key == SLOT_KEY {
                let mut keys = cursor.map()?;
                while let Some(key) = keys.next(&mut cursor)? {
                    read_entry(&mut cursor, language, key, &OF_SLOT, &mut entries)?;
                }
            } else {
                read_entry(&mut cursor, language, key, &OF_FILE, &mut entries)?;
            }
        }
    }
    cursor.end()?;
    Ok(entries)
}

fn read_entry(
    cursor: &mut Cursor<'_>,
    language: &str,
    key: &[u8],
    known: &[(u64, TextItem)],
    entries: &mut Vec<TextEntry>,
) -> Result<(), Refusal> {
    let number = Cursor::new(key, Part::Text).uint().ok();
    match known.iter().find(|(known, _)| Some(*known) == number) {
        Some((_, item)) => {
            let value = cursor.text()?.into();
            entries.push(TextEntry {
                language: language.into(),
                item: *item,
                value,
            });
        }
        None => {
            cursor.item()?;
        }
    }
    Ok(())
}

fn number(item: TextItem) -> u64 {
    OF_FILE
        .iter()
        .chain(&OF_SLOT)
        .find(|(_, known)| *known == item)
        .map_or(0, |(number, _)| *number)
}

fn is_language(tag: &str) -> bool {
    let subtag = |part: &str| (1..=8).contains(&part.len()) && part.bytes().all(|byte| byte.is_ascii_alphanumeric());
    tag.len() <= LANGUAGE_MAX && tag.split('-').all(subtag)
}

#[cfg(test)]
mod tests {
    use super::*;
    use hex_literal::hex;

    fn entry(language: &str, item: TextItem, value: &str) -> TextEntry {
        TextEntry {
            language: language.into(),
            item,
            value: value.into(),
        }
    }

    #[test]
    fn order_of_entries_does_not_matter() {
        let mut entries = vec![
            entry("de", TextItem::ModelName, "KC-4"),
            entry("en", TextItem::UpdateDescription, "Slower ramps"),
            entry("de-CH", TextItem::CurrentVersion, "1.8"),
            entry("en", TextItem::ManifestDescription, "KC-4"),
        ];
        let bytes = encode(&entries).unwrap();
        entries.reverse();
        assert_eq!(encode(&entries).unwrap(), bytes);
        let mut read = decode(&bytes).unwrap();
        assert_eq!(read[0].language, "de");
        assert_eq!(read[3].language, "de-CH");
        read.sort();
        entries.sort();
        assert_eq!(read, entries);
    }

    #[test]
    fn unknown_text_is_skipped() {
        // {"en": {2: "a", 3: "{}", [h'00']: {2: "b", 99: [1]}, [h'01']: {2: "c"}}}
        let text = hex!("a1 62656e a4 02 6161 03 627b7d 814100 a2 02 6162 1863 8101 814101 a1 02 6163");
        let expected = [
            entry("en", TextItem::UpdateDescription, "a"),
            entry("en", TextItem::ModelName, "b"),
        ];
        assert_eq!(decode(&text).unwrap(), expected);
    }

    #[test]
    fn text_that_plays_tricks() {
        let tricks = entry("en", TextItem::ModelName, "a\u{1b}[2Jb\u{202e}c\nd");
        assert_eq!(tricks.shown(), "a\u{fffd}[2Jb\u{fffd}c\nd");
        assert!(matches!(encode(&[tricks]), Err(EncodeError::TextCharacters { .. })));
    }

    #[test]
    fn what_cannot_be_written() {
        let twice = [
            entry("en", TextItem::ModelName, "a"),
            entry("en", TextItem::ModelName, "b"),
        ];
        assert!(matches!(encode(&twice), Err(EncodeError::TextTwice { .. })));
        for tag in ["", "e n", "-en", "en-", "toolongsub", "en-\u{e4}"] {
            assert!(
                matches!(
                    encode(&[entry(tag, TextItem::ModelName, "a")]),
                    Err(EncodeError::Language { .. })
                ),
                "{tag}"
            );
        }
        let long = entry("en", TextItem::ModelName, &"x".repeat(TEXT_MAX as usize));
        assert!(matches!(encode(&[long]), Err(EncodeError::TextTooLarge { .. })));
    }
}
