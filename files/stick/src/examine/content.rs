//! What a file is, by its contents. An update file is judged by itself, without any key: whether it is whole, and if not, which part
//! of it is not.

use packstaff_envelope::cbor::{Head, Major};
use packstaff_envelope::{Part, Refusal, Unverified, ids, look};

/// How every update file begins: CBOR tag 107 around a map (RFC 8949, 3.4; the SUIT manifest's section 11).
const ENVELOPE: [u8; 2] = [0xD8, 0x6B];
/// AppleDouble (RFC 1740, appendix B).
const COMPANION: [u8; 8] = [0x00, 0x05, 0x16, 0x07, 0x00, 0x02, 0x00, 0x00];
/// A Windows shortcut (Microsoft, Shell Link Binary File Format, 2.1).
const SHORTCUT: [u8; 8] = [0x4C, 0x00, 0x00, 0x00, 0x01, 0x14, 0x02, 0x00];

/// What a file is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Content {
    /// An update file that agrees with itself. Nothing is verified.
    Update(Box<Unverified>),
    /// An update file that is not whole.
    Torn(Damage),
    /// The shadow file that some desktops write beside a copied one.
    Companion,
    /// A zip archive.
    Zip,
    /// Packed in another way.
    Packed(&'static str),
    /// A pointer to a file that is elsewhere.
    Shortcut,
    /// A web page.
    WebPage,
    /// No bytes at all.
    Empty,
    /// Nothing but 00, or nothing but FF.
    Hollow(u8),
    /// Anything else.
    Other,
}

/// What is wrong with an update file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Damage {
    /// It ends early.
    Short {
        /// Bytes that it has.
        has: u64,
        /// Bytes that it says it has; at least so many, if even the payload's length is missing.
        needs: u64,
        /// Whether `needs` is all.
        is_exact: bool,
    },
    /// Bytes follow its end.
    Long {
        /// Bytes that it has.
        has: u64,
        /// Bytes that it says it has.
        needs: u64,
    },
    /// The signed description is another than the one that was signed.
    Manifest,
    /// The text for people is another.
    Text,
    /// The encrypted image is another.
    Payload {
        /// From this byte of the file on, all is 00 or all is FF, to the file's end.
        hollow_from: Option<u64>,
    },
    /// It is not built as an update file must be.
    Structure(Refusal),
}

impl Damage {
    /// Which part of the file it is in.
    #[must_use]
    pub fn part(&self) -> String {
        match self {
            Self::Short { .. } => "its end is missing".to_owned(),
            Self::Long { .. } => "something follows its end".to_owned(),
            Self::Manifest => "the signed description (manifest) has changed".to_owned(),
            Self::Text => "the text for people has changed".to_owned(),
            Self::Payload { .. } => "the firmware in it (payload) has changed".to_owned(),
            Self::Structure(refusal) => refusal.to_string(),
        }
    }
}

/// Recognises a file. `size` is what its directory entry says, `bytes` what could be read of it.
#[must_use]
pub fn content(bytes: &[u8], size: u64) -> Content {
    if size == 0 {
        return Content::Empty;
    }
    let whole = size == bytes.len() as u64;
    if bytes.starts_with(&ENVELOPE) {
        return update(bytes, size);
    }
    if bytes.starts_with(&COMPANION) {
        return Content::Companion;
    }
    // A file from `PK` on may be many things; a zip that begins with a file begins with this (APPNOTE 4.3.7).
    if bytes.starts_with(b"PK\x03\x04") {
        return Content::Zip;
    }
    // RFC 1952, 2.3.1; xz file format, 2.1.1.1; the others are from memory.
    for (mark, how) in [
        (&b"\x1F\x8B"[..], "gzip"),
        (b"\xFD7zXZ\0", "xz"),
        (b"7z\xBC\xAF\x27\x1C", "7z"),
        (b"Rar!\x1A\x07", "rar"),
    ] {
        if bytes.starts_with(mark) {
            return Content::Packed(how);
        }
    }
    if bytes.starts_with(&SHORTCUT) || bytes.starts_with(b"[InternetShortcut]") {
        return Content::Shortcut;
    }
    if is_web_page(bytes) {
        return Content::WebPage;
    }
    match bytes.first() {
        Some(&fill @ (0x00 | 0xFF)) if whole && bytes.iter().all(|byte| *byte == fill) => Content::Hollow(fill),
        _ => Content::Other,
    }
}

fn is_web_page(bytes: &[u8]) -> bool {
    let start = bytes.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(bytes).trim_ascii_start();
    let begins = |mark: &[u8]| {
        start
            .get(..mark.len())
            .is_some_and(|there| there.eq_ignore_ascii_case(mark))
    };
    begins(b"<!DOCTYPE html") || begins(b"<html")
}

fn update(bytes: &[u8], size: u64) -> Content {
    let (needs, is_exact) = stated_size(bytes);
    if size < needs || (bytes.len() as u64) < size {
        let has = size.min(bytes.len() as u64);
        let needs = needs.max(size);
        return Content::Torn(Damage::Short { has, needs, is_exact });
    }
    let seen = match look(bytes) {
        Ok(seen) => seen,
        Err(Refusal::Truncated) => {
            return Content::Torn(Damage::Short {
                has: size,
                needs: needs.max(size + 1),
                is_exact,
            });
        }
        Err(Refusal::Trailing) if is_exact => return Content::Torn(Damage::Long { has: size, needs }),
        Err(refusal) => return Content::Torn(Damage::Structure(refusal)),
    };
    if !seen.manifest_digest_holds {
        Content::Torn(Damage::Manifest)
    } else if seen.text_digest_holds == Some(false) {
        Content::Torn(Damage::Text)
    } else if !seen.payload_digest_holds || !seen.sizes_hold {
        let payload = seen.payload.offset as usize;
        Content::Torn(Damage::Payload {
            hollow_from: hollow_tail(bytes)
                .filter(|from| *from >= payload)
                .map(|from| from as u64),
        })
    } else {
        Content::Update(Box::new(seen))
    }
}

/// Where the last bytes begin that are all 00 or all FF, if they are a block or more.
fn hollow_tail(bytes: &[u8]) -> Option<usize> {
    let fill = *bytes.last().filter(|byte| matches!(byte, 0x00 | 0xFF))?;
    let from = bytes.iter().rposition(|byte| *byte != fill).map_or(0, |last| last + 1);
    (bytes.len() - from >= packstaff_fat::BLOCK).then_some(from)
}

/// How many bytes an update file says that it has, by the lengths on its outermost level, and whether that is all of them.
fn stated_size(bytes: &[u8]) -> (u64, bool) {
    let mut at = 0u64;
    let mut head = || {
        let rest = usize::try_from(at).ok().and_then(|at| bytes.get(at..)).unwrap_or(&[]);
        let (head, after) = Head::split(rest).ok()?;
        at += (rest.len() - after.len()) as u64;
        // Strings have that many bytes more.
        if matches!(head.major, Major::Bytes | Major::Text) {
            at = at.saturating_add(head.argument);
        }
        Some((head, at))
    };
    let mut stated = 0;
    let Some(((_, _), (map, _))) = head().zip(head()) else {
        return (0, false);
    };
    for _ in 0..map.argument.min(8) {
        let (Some((key, _)), Some((_, end))) = (head(), head()) else {
            return (stated, false);
        };
        stated = end;
        // The payload comes last: its key is a text, where all others are numbers.
        if key.major == Major::Text {
            return (stated, key.argument == ids::PAYLOAD_NAME.len() as u64);
        }
    }
    (stated, false)
}

/// Parts whose damage a copy of the file would heal.
#[must_use]
pub const fn is_healed_by_a_copy(refusal: Refusal) -> bool {
    matches!(
        refusal,
        Refusal::Truncated
            | Refusal::Trailing
            | Refusal::ManifestDigest
            | Refusal::TextDigest
            | Refusal::PayloadDigest
            | Refusal::Malformed(_)
            | Refusal::Missing(Part::Envelope)
    )
}
