//! The bytes printed in `docs/src/update-file.md` are those of a real file, written by the encoder and taken apart here.
//!
//! After a change of the format, `PACKSTAFF_WRITE_DOCS=1 cargo test -p packstaff-envelope --test document` renews them.

mod support;

use packstaff_envelope::cbor::{Cursor, Head, Major};
use packstaff_envelope::{
    Draft, HEADER_MAX_NARROW, HEADER_MAX_WIDE, HeaderReader, Part, TextEntry, TextItem, UnitKey, encode,
};
use std::fmt::Write as _;
use std::path::PathBuf;
use support::{SIGNER_KID, sign, unit_key};

/// What an item is part of, and so what its numbers mean.
#[derive(Clone, Copy, PartialEq)]
enum Within {
    Envelope,
    Wrapper,
    Digest,
    Sign1,
    Header,
    Manifest,
    Common,
    Components,
    Component,
    Numbers,
    Commands,
    Parameters,
    Encrypt,
    Recipients,
    Recipient,
    Languages,
    Text,
    SlotText,
    Nothing,
}

/// Name, meaning of what is inside, and whether a string of bytes holds an item.
type Meaning = (&'static str, Within, bool);

fn keyed(within: Within, key: i64) -> Meaning {
    use Within::*;
    match (within, key) {
        (Envelope, 2) => ("authentication wrapper", Wrapper, true),
        (Envelope, 3) => ("manifest", Manifest, true),
        (Envelope, 23) => ("text", Languages, true),
        (Header, 1) => ("algorithm", Nothing, false),
        (Header, 4) => ("key identifier", Nothing, false),
        (Header, 5) => ("IV", Nothing, false),
        (Manifest, 1) => ("structure version", Nothing, false),
        (Manifest, 2) => ("sequence number (issue)", Nothing, false),
        (Manifest, 3) => ("common", Common, true),
        (Manifest, 6) => ("set-version", Numbers, true),
        (Manifest, 7) => ("validate", Commands, true),
        (Manifest, 9) => ("invoke", Commands, true),
        (Manifest, 20) => ("install", Commands, true),
        (Manifest, 23) => ("digest of the text", Digest, false),
        (Common, 2) => ("components", Components, false),
        (Common, 4) => ("shared sequence", Commands, true),
        (Parameters, 1) => ("vendor identifier", Nothing, false),
        (Parameters, 2) => ("class identifier", Nothing, false),
        (Parameters, 3) => ("image digest", Digest, true),
        (Parameters, 14) => ("image size", Nothing, false),
        (Parameters, 19) => ("encryption information", Encrypt, true),
        (Parameters, 21) => ("URI", Nothing, false),
        (Parameters, 22) => ("source component", Nothing, false),
        (Text, 2) => ("update description", Nothing, false),
        (SlotText, 2) => ("model name", Nothing, false),
        (SlotText, 6) => ("component version", Nothing, false),
        (_, other) => panic!("no name for key {other}"),
    }
}

fn placed(within: Within, index: usize) -> Meaning {
    use Within::*;
    match (within, index) {
        (Wrapper, 0) => ("digest of the manifest", Digest, true),
        (Wrapper, _) => ("authentication block", Sign1, true),
        (Sign1, 0) => ("protected header", Header, true),
        (Sign1, 1) => ("unprotected header", Header, false),
        (Sign1, 2) => ("payload: detached", Nothing, false),
        (Sign1, _) => ("signature", Nothing, false),
        (Digest, 0) => ("SHA-256", Nothing, false),
        (Digest, _) => ("digest", Nothing, false),
        (Components, 0) => ("0: the slot", Component, false),
        (Components, _) => ("1: the payload in this file", Component, false),
        (Encrypt, 0) | (Recipient, 0) => ("protected header: empty", Nothing, false),
        (Encrypt | Recipient, 1) => ("unprotected header", Header, false),
        (Encrypt, 2) => ("ciphertext: detached", Nothing, false),
        (Encrypt, _) => ("recipients", Recipients, false),
        (Recipients, _) => ("recipient", Recipient, false),
        (Recipient, _) => ("wrapped content key", Nothing, false),
        _ => ("", Nothing, false),
    }
}

fn command(number: u64) -> &'static str {
    match number {
        1 => "condition: vendor identifier",
        2 => "condition: class identifier",
        3 => "condition: image match",
        12 => "set component index",
        20 => "override parameters",
        21 => "fetch",
        22 => "copy",
        23 => "invoke",
        other => panic!("no name for command {other}"),
    }
}

struct Listing<'a> {
    file: &'a [u8],
    out: String,
}

impl<'a> Listing<'a> {
    fn of(file: &'a [u8]) -> String {
        let mut listing = Self {
            file,
            out: String::new(),
        };
        let rest = listing.item(file, 0, ("SUIT envelope", Within::Envelope, false));
        assert!(rest.is_empty());
        listing.out
    }

    /// Lists one item of those at the start of `bytes`; gives what follows it.
    fn item(&mut self, bytes: &'a [u8], depth: usize, (name, within, holds): Meaning) -> &'a [u8] {
        let (head, mut rest) = Head::split(bytes).unwrap();
        let head_bytes = &bytes[..bytes.len() - rest.len()];
        let said = |what: String| {
            if name.is_empty() {
                what
            } else {
                format!("{name}: {what}")
            }
        };
        let count = head.argument as usize;
        match head.major {
            Major::Unsigned => self.line(bytes, head_bytes, depth, &said(count.to_string())),
            Major::Negative => self.line(bytes, head_bytes, depth, &said((!(head.argument as i64)).to_string())),
            Major::Simple => self.line(bytes, head_bytes, depth, &said("null".into())),
            Major::Tag => {
                self.line(bytes, head_bytes, depth, &said(format!("tag {count}")));
                rest = self.item(rest, depth + 1, ("", within, false));
            }
            Major::Text => {
                let (text, after) = rest.split_at(count);
                self.line(bytes, head_bytes, depth, &said(format!("text of {count}")));
                self.line(
                    rest,
                    text,
                    depth + 1,
                    &format!("\"{}\"", std::str::from_utf8(text).unwrap()),
                );
                rest = after;
            }
            Major::Bytes => {
                let (string, after) = rest.split_at(count);
                let noun = if count == 1 { "byte" } else { "bytes" };
                let contents = if holds { " that hold" } else { "" };
                self.line(bytes, head_bytes, depth, &said(format!("{count} {noun}{contents}")));
                if holds {
                    assert!(self.item(string, depth + 1, ("", within, false)).is_empty());
                } else if count > 0 {
                    self.line(rest, string, depth + 1, "");
                }
                rest = after;
            }
            Major::Array => {
                self.line(bytes, head_bytes, depth, &said(format!("array of {count}")));
                rest = self.array(rest, count, depth + 1, within);
            }
            Major::Map => {
                self.line(bytes, head_bytes, depth, &said(format!("map of {count}")));
                for _ in 0..count {
                    rest = self.pair(rest, depth + 1, within);
                }
            }
        }
        rest
    }

    fn array(&mut self, mut rest: &'a [u8], count: usize, depth: usize, within: Within) -> &'a [u8] {
        let mut last = 0;
        for index in 0..count {
            let number = Cursor::new(rest, Part::Envelope).uint();
            let meaning = match (within, index % 2) {
                (Within::Commands, 0) => {
                    last = number.unwrap();
                    (command(last), Within::Nothing, false)
                }
                (Within::Commands, _) if last == 20 => ("", Within::Parameters, false),
                (Within::Commands, _) if last == 12 => ("index", Within::Nothing, false),
                (Within::Commands, _) => ("reporting policy", Within::Nothing, false),
                _ => placed(within, index),
            };
            // A command's number needs no second mention: its bytes stand beside the name.
            let step = usize::from(within == Within::Commands && index % 2 == 1);
            rest = self.item(rest, depth + step, meaning);
        }
        rest
    }

    fn pair(&mut self, bytes: &'a [u8], depth: usize, within: Within) -> &'a [u8] {
        let (head, rest) = Head::split(bytes).unwrap();
        if head.major == Major::Unsigned {
            let meaning = keyed(within, head.argument as i64);
            self.line(
                bytes,
                &bytes[..bytes.len() - rest.len()],
                depth,
                &format!("key {}", head.argument),
            );
            return self.item(rest, depth + 1, meaning);
        }
        let meaning = match within {
            Within::Envelope => ("payload: the encrypted image", Within::Nothing, false),
            Within::Languages => ("", Within::Text, false),
            _ => ("", Within::SlotText, false),
        };
        let rest = self.item(bytes, depth, ("key", Within::Nothing, false));
        self.item(rest, depth + 1, meaning)
    }

    /// Lists `shown`, which stands at the start of `bytes`, sixteen bytes in a line.
    fn line(&mut self, bytes: &[u8], shown: &[u8], depth: usize, note: &str) {
        let start = bytes.as_ptr() as usize - self.file.as_ptr() as usize;
        for (index, row) in shown.chunks(16).enumerate() {
            let digits: Vec<String> = row.iter().map(|byte| format!("{byte:02x}")).collect();
            let note = if index == 0 { note } else { "" };
            let indented = format!("{:indent$}{}", "", digits.join(" "), indent = depth);
            let line = format!("{:04x}  {indented:<62}{note}", start + index * 16);
            writeln!(self.out, "{}", line.trim_end()).unwrap();
        }
    }
}

fn sample() -> Vec<u8> {
    let entry = |item, value: &str| TextEntry {
        language: "en".into(),
        item,
        value: value.into(),
    };
    let keys: [UnitKey; 1] = [unit_key("g1", 0x11)];
    let draft = Draft {
        sequence: 1,
        version: &[2, 1],
        vendor: [0xaa; 16],
        class: [0xbb; 16],
        image: b"An image of 27 bytes, KC-4.",
        text: &[
            entry(TextItem::UpdateDescription, "Slower ramps"),
            entry(TextItem::ModelName, "KC-4"),
            entry(TextItem::ComponentVersion, "2.1"),
        ],
        recipients: &keys,
        content_key: core::array::from_fn(|index| 0x40 + index as u8),
        iv: packstaff_envelope::encode::iv([0xf0; 12]),
    };
    encode(&draft, SIGNER_KID, sign).unwrap()
}

fn document() -> PathBuf {
    [env!("CARGO_MANIFEST_DIR"), "..", "..", "docs", "src", "update-file.md"]
        .iter()
        .collect()
}

#[test]
fn the_document_shows_real_bytes() {
    const OPEN: &str = "```text\n0000  d8 6b";
    let listing = Listing::of(&sample());
    let document_text = std::fs::read_to_string(document()).unwrap();
    let start = document_text.find(OPEN).expect("the document has the listing") + "```text\n".len();
    let end = start + document_text[start..].find("```").expect("the listing ends");
    if std::env::var_os("PACKSTAFF_WRITE_DOCS").is_some() {
        let renewed = [&document_text[..start], &listing, &document_text[end..]].concat();
        std::fs::write(document(), renewed).unwrap();
    } else {
        assert!(
            document_text[start..end] == listing,
            "docs/src/update-file.md shows other bytes; this file's first lines say how to renew it"
        );
    }
}

#[test]
fn the_listing_shows_every_byte_once() {
    let file = sample();
    let mut seen = Vec::new();
    for line in Listing::of(&file).lines() {
        assert_eq!(usize::from_str_radix(&line[..4], 16).unwrap(), seen.len(), "{line}");
        let digits = line[6..]
            .trim_start()
            .split(' ')
            .map_while(|word| (word.len() == 2).then(|| hex::decode(word).ok())?);
        digits.take(16).for_each(|byte| seen.extend(byte));
    }
    assert_eq!(seen, file);
}

/// The sizes that the document states.
#[test]
fn the_document_states_real_sizes() {
    let text = std::fs::read_to_string(document()).unwrap();
    let stated = |what: &str, size: usize| {
        let sentence = format!("{what} {size} bytes");
        assert!(text.contains(&sentence), "the document does not say: {sentence}");
    };
    let wide = size_of::<HeaderReader>();
    stated("the reader's state is", wide);
    stated("the reader's state is", wide - (HEADER_MAX_WIDE - HEADER_MAX_NARROW));
    let file = sample();
    let seen = packstaff_envelope::look(&file).unwrap();
    stated("the sample is", file.len());
    stated("of which the manifest is", seen.manifest.size as usize);
}
