//! THREAT.IMG.DISCLOSURE (RFC 9124, 4.2.12): what somebody learns from many releases at once.
//!
//! The update files are those of the demo's ledger, as real releases left them there.

use packstaff_bench::open::Bench;
use std::path::Path;

struct Pair {
    name: String,
    image: Vec<u8>,
    payload: Vec<u8>,
}

fn releases() -> Vec<Pair> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo/kc4");
    let bench = Bench::open(&folder).unwrap();
    let mut pairs = Vec::new();
    for release in bench.ledger.releases() {
        for record in &release.record.boards {
            let file = release.update_file(record).unwrap();
            let offset = packstaff_envelope::look(&file).unwrap().payload.offset as usize;
            let board = record.revision.to_ascii_lowercase();
            let version = &release.record.version;
            let build = folder.join(format!("firmware/built/{version}/kc4-{board}.bin"));
            pairs.push(Pair {
                name: record.file.clone(),
                image: std::fs::read(build).unwrap(),
                payload: file[offset..].to_vec(),
            });
        }
    }
    pairs
}

/// In counter mode, two payloads under one key and one counter differ exactly where their images do (RFC 9459, 8): whoever
/// has one image would have the other. No two files may share a single block of keystream at the same place.
#[test]
fn no_two_files_share_a_block_of_keystream() {
    let pairs = releases();
    assert!(pairs.len() >= 4, "the demo has at least two releases of two boards");
    for (index, one) in pairs.iter().enumerate() {
        assert_eq!(one.image.len(), one.payload.len(), "{}", one.name);
        for other in &pairs[..index] {
            let blocks = one.image.len().min(other.image.len()) / 16;
            let difference = |a: &[u8], b: &[u8], block: usize| -> Vec<u8> {
                let at = block * 16..(block + 1) * 16;
                a[at.clone()].iter().zip(&b[at]).map(|(a, b)| a ^ b).collect()
            };
            for block in 0..blocks {
                assert_ne!(
                    difference(&one.payload, &other.payload, block),
                    difference(&one.image, &other.image, block),
                    "{} and {} share block {block} of their keystream",
                    one.name,
                    other.name
                );
            }
        }
    }
}

/// Eight bytes of an image in a row are in no file: neither in its own nor in another's.
#[test]
fn no_piece_of_an_image_is_in_a_file() {
    let pairs = releases();
    let pieces: std::collections::HashSet<&[u8]> = pairs
        .iter()
        .flat_map(|pair| pair.image.chunks_exact(8))
        .filter(|piece| piece.iter().any(|byte| *byte != piece[0]))
        .collect();
    assert!(pieces.len() > 1000);
    for pair in &pairs {
        assert!(
            !pair.payload.windows(8).any(|window| pieces.contains(window)),
            "{}",
            pair.name
        );
    }
}
