//! Update files of any bytes, in pieces of any size.
//!
//! The first byte chooses. Odd: the rest is the file. Even: a good file with bytes changed, each by three bytes of
//! input: a place and the new value. The second byte is the size of the pieces.

#![no_main]

use std::sync::OnceLock;

use packstaff_envelope::{Anchor, Fed, HeaderReader, Kid, Manifest, Refusal, UnitKey, look, open};
use libfuzzer_sys::fuzz_target;
use sample::field;

#[path = "support/sample.rs"]
mod sample;

const SAMPLE: &str = include_str!("../../unit-side/envelope/tests/vectors/own-profile-sample.txt");

/// A good file that another program wrote, and the keys to it.
struct Good {
    file: Vec<u8>,
    anchor: Anchor,
    key: UnitKey,
    manifest: Manifest,
}

fn good() -> &'static Good {
    static GOOD: OnceLock<Good> = OnceLock::new();
    GOOD.get_or_init(|| {
        let file = field(SAMPLE, "envelope");
        let anchor = Anchor::ed25519(
            Kid::new(b"author-1").unwrap(),
            field(SAMPLE, "sign_pub").try_into().unwrap(),
        );
        let key = UnitKey {
            kid: Kid::new(b"gen1").unwrap(),
            key: field(SAMPLE, "kek_gen1").try_into().unwrap(),
        };
        let manifest = open(&file, &[anchor], &key).unwrap().manifest;
        Good {
            file,
            anchor,
            key,
            manifest,
        }
    })
}

fn fed(file: &[u8], piece: usize) -> Result<HeaderReader, Refusal> {
    let mut reader = HeaderReader::new(file.len() as u32);
    let mut complete = false;
    for piece in file.chunks(piece) {
        let fed = reader.feed(piece)?;
        assert!(!complete || fed == Fed::Complete, "complete once, complete always");
        complete = fed == Fed::Complete;
    }
    // An empty file has no piece, and needs one to be refused.
    reader.feed(&[])?;
    Ok(reader)
}

fuzz_target!(|input: &[u8]| {
    let [choice, piece, rest @ ..] = input else {
        return;
    };
    let good = good();
    let file = if choice % 2 == 1 {
        rest.to_vec()
    } else {
        let mut file = good.file.clone();
        for change in rest.chunks_exact(3) {
            let place = usize::from(u16::from_le_bytes([change[0], change[1]])) % file.len();
            file[place] = change[2];
        }
        file
    };

    let whole = fed(&file, usize::MAX);
    assert_eq!(whole, fed(&file, usize::from(*piece).max(1)), "pieces do not matter");
    // Shape, without keys: this goes on into the manifest without a signature.
    let seen = look(&file);
    let Ok(reader) = whole else {
        assert!(seen.is_err());
        return;
    };
    let _ = reader.content_key(&good.key);
    if let Ok(manifest) = reader.verify(&[good.anchor]) {
        // Nobody can forge a signature, so this is the good file's manifest, wherever its payload now begins.
        let expected = Manifest {
            payload_offset: manifest.payload_offset,
            ..good.manifest
        };
        assert_eq!(manifest, expected);
        let seen = seen.expect("a verified file can be looked at");
        assert!(seen.manifest_digest_holds && seen.sizes_hold);
        assert_eq!(seen.payload.offset, manifest.payload_offset);
    }
    if open(&file, &[good.anchor], &good.key).is_ok() {
        assert!(
            file == good.file || file.len() < good.file.len(),
            "only the text can be missing"
        );
    }
});
