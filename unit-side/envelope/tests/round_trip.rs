//! What goes in comes out, in pieces of any size; and no changed byte goes unnoticed.

mod support;

use packstaff_envelope::encode::iv;
use packstaff_envelope::{Draft, EncodeError, Fed, HeaderReader, Kid, Refusal, TextEntry, TextItem, UnitKey};
use packstaff_envelope::{encode, encode_checked, look, open};
use proptest::prelude::*;
use support::{SIGNER_KID, anchor, draft, generations, sample_file, sign, text, unit_key};

fn any_key() -> impl Strategy<Value = UnitKey> {
    (prop::collection::vec(any::<u8>(), 1..=16), any::<[u8; 32]>()).prop_map(|(kid, key)| UnitKey {
        kid: Kid::new(&kid).unwrap(),
        key,
    })
}

fn any_text() -> impl Strategy<Value = Vec<TextEntry>> {
    let item = prop::sample::select(vec![
        TextItem::ManifestDescription,
        TextItem::UpdateDescription,
        TextItem::VendorName,
        TextItem::ModelInfo,
        TextItem::CurrentVersion,
    ]);
    let language = prop::sample::select(vec!["en", "de", "de-CH", "x-kiln"]);
    let entries = prop::collection::btree_map((language, item), "[a-zA-Z0-9 \u{e4}\u{4e2d}\n]{0,40}", 0..8);
    entries.prop_map(|entries| {
        let entry = |((language, item), value): ((&str, TextItem), String)| TextEntry {
            language: language.into(),
            item,
            value,
        };
        entries.into_iter().map(entry).collect()
    })
}

/// Feeds a file in pieces, cut where `cuts` say, until the header is complete.
fn feed(file: &[u8], cuts: &[prop::sample::Index]) -> Result<HeaderReader, Refusal> {
    let mut places: Vec<usize> = cuts.iter().map(|cut| cut.index(file.len() + 1)).collect();
    places.extend([0, file.len()]);
    places.sort_unstable();
    let mut reader = HeaderReader::new(file.len() as u32);
    for piece in places.windows(2) {
        reader.feed(&file[piece[0]..piece[1]])?;
    }
    Ok(reader)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn any_draft_comes_back(
        sequence in any::<u64>(),
        version in prop::collection::vec(any::<u32>(), 1..=3),
        (vendor, class) in any::<([u8; 16], [u8; 16])>(),
        image in prop::collection::vec(any::<u8>(), 1..2000),
        recipients in prop::collection::vec(any_key(), 1..=8),
        text in any_text(),
        (content_key, random) in any::<([u8; 32], [u8; 12])>(),
        cuts in any::<Vec<prop::sample::Index>>(),
    ) {
        prop_assume!((1..recipients.len()).all(|index| recipients[..index].iter().all(|other| other.kid != recipients[index].kid)));
        let draft = Draft { sequence, version: &version, vendor, class, image: &image, text: &text, recipients: &recipients, content_key, iv: iv(random) };
        let file = encode_checked(&draft, &anchor(), sign).unwrap();
        prop_assert_eq!(&encode(&draft, SIGNER_KID, sign).unwrap(), &file, "the same draft gives the same bytes");

        let reader = feed(&file, &cuts).unwrap();
        prop_assert_eq!(&reader, &feed(&file, &[]).unwrap(), "pieces do not matter");
        let manifest = reader.verify(&[anchor()]).unwrap();
        prop_assert_eq!(manifest.sequence, sequence);
        prop_assert_eq!(manifest.version.as_slice(), &version[..]);
        prop_assert_eq!((manifest.vendor, manifest.class), (vendor, class));
        for recipient in &recipients {
            prop_assert_eq!(&open(&file, &[anchor()], recipient).unwrap().image, &image);
        }

        let seen = look(&file).unwrap();
        let mut entries = seen.text_entries;
        entries.sort();
        let mut expected = text.clone();
        expected.sort();
        prop_assert_eq!(entries, expected);
        prop_assert_eq!(seen.recipients, recipients.iter().map(|recipient| recipient.kid).collect::<Vec<_>>());
        prop_assert_eq!(seen.payload.offset, manifest.payload_offset);
    }

    #[test]
    fn any_bytes_are_refused_calmly(bytes in prop::collection::vec(any::<u8>(), 0..400), size in any::<u32>(), cuts in any::<Vec<prop::sample::Index>>()) {
        let mut reader = HeaderReader::new(size);
        let _ = reader.feed(&bytes);
        prop_assert!(reader.verify(&[anchor()]).is_err());
        prop_assert!(feed(&bytes, &cuts).and_then(|reader| reader.verify(&[anchor()])).is_err());
        prop_assert!(look(&bytes).is_err());
    }

    /// Bytes that begin well get further into the reader than random ones.
    #[test]
    fn any_change_of_several_bytes_is_refused(changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..6), cuts in any::<Vec<prop::sample::Index>>()) {
        let file = sample_file();
        let mut changed = file.clone();
        for (place, byte) in changes {
            changed[place.index(file.len())] = byte;
        }
        if changed != file {
            prop_assert!(open(&changed, &[anchor()], &generations()[0]).is_err());
        }
        let (whole, pieces) = (feed(&changed, &[]), feed(&changed, &cuts));
        prop_assert_eq!(whole, pieces, "pieces do not matter");
    }
}

/// In a file with one signature, no change at all is harmless.
#[test]
fn any_changed_byte_is_refused() {
    let file = sample_file();
    let key = &generations()[0];
    assert!(open(&file, &[anchor()], key).is_ok());
    let mut changed = file.clone();
    for (place, byte) in file.iter().enumerate() {
        let bits = (0..8).map(|bit| byte ^ (1 << bit));
        for value in bits.chain([0x00, 0xff, !byte]).filter(|value| value != byte) {
            changed[place] = value;
            assert!(
                open(&changed, &[anchor()], key).is_err(),
                "byte {place} set to {value:#04x}"
            );
        }
        changed[place] = *byte;
    }
}

/// Signed by the trusted key after the change, so that all of the manifest's parser is reached.
#[test]
fn any_changed_byte_of_a_signed_manifest_is_read_calmly() {
    use support::forge::{Forge, Raw};
    let mut forge = Forge::sample();
    let manifest = forge.manifest.encode();
    let key = &generations()[0];
    let mut accepted = Vec::new();
    for place in 0..manifest.len() {
        for value in [
            0x00,
            0x01,
            0x17,
            0x18,
            0x1b,
            0x20,
            0x40,
            0x5f,
            0x80,
            0xa0,
            0xd8,
            0xf6,
            0xff,
            manifest[place] ^ 1,
        ] {
            let mut changed = manifest.clone();
            changed[place] = value;
            if changed == manifest {
                continue;
            }
            forge.manifest = Raw(changed);
            if open(&forge.build(), &[anchor()], key).is_ok() {
                accepted.push(place);
            }
        }
    }
    accepted.dedup();
    // Free values: sequence (1 byte), version (2), vendor and class (32), reporting policies (8), and the other
    // generation's recipient (kid 2, wrapped key 40). Text and image are held by digests, sizes by each other.
    assert_eq!(accepted.len(), 1 + 2 + 32 + 8 + 42, "{accepted:?}");
}

#[test]
fn one_byte_at_a_time_stops_at_the_payload() {
    let file = sample_file();
    let payload = look(&file).unwrap().payload.offset as usize;
    let mut reader = HeaderReader::new(file.len() as u32);
    for (place, byte) in file.iter().enumerate() {
        let expected = if place + 1 < payload { Fed::More } else { Fed::Complete };
        assert_eq!(reader.feed(&[*byte]), Ok(expected), "byte {place}");
    }
    assert_eq!(reader.position() as usize, payload);
}

#[test]
fn the_largest_header_fits() {
    let recipients: Vec<UnitKey> = (0..8)
        .map(|index| unit_key(&format!("generation-00{index:03}"), index))
        .collect();
    assert!(recipients.iter().all(|recipient| recipient.kid.as_bytes().len() == 16));
    let mut draft = draft(b"image", &recipients, &[]);
    (draft.sequence, draft.version) = (u64::MAX, &[u32::MAX; 3]);
    let file = encode(&draft, &[b'k'; 16], sign).unwrap();
    let seen = look(&file).unwrap();
    assert!(seen.wrapper.size + seen.manifest.size <= 1224, "{seen:?}");
}

#[test]
fn what_cannot_be_encoded() {
    let (keys, text) = (generations(), text());
    let good = draft(b"image", &keys, &text);
    let fails = |change: &dyn Fn(&mut Draft<'_>)| {
        let mut draft = good.clone();
        change(&mut draft);
        encode(&draft, SIGNER_KID, sign).unwrap_err()
    };
    assert!(matches!(fails(&|d| d.version = &[]), EncodeError::Version { found: 0 }));
    assert!(matches!(
        fails(&|d| d.version = &[1, 2, 3, 4]),
        EncodeError::Version { found: 4 }
    ));
    assert!(matches!(fails(&|d| d.image = &[]), EncodeError::EmptyImage));
    assert!(matches!(
        fails(&|d| d.recipients = &[]),
        EncodeError::Recipients { found: 0 }
    ));
    assert!(matches!(fails(&|d| d.iv = [1; 16]), EncodeError::IvCounter));
    let twice = [keys[0].clone(), keys[0].clone()];
    let mut draft = good.clone();
    draft.recipients = &twice;
    assert!(matches!(
        encode(&draft, SIGNER_KID, sign).unwrap_err(),
        EncodeError::RecipientTwice { .. }
    ));
    assert!(matches!(
        encode(&good, b"", sign).unwrap_err(),
        EncodeError::SignerKid { found: 0 }
    ));
    assert!(matches!(
        encode(&good, &[0; 17], sign).unwrap_err(),
        EncodeError::SignerKid { found: 17 }
    ));
}

/// A signer that does not have the key it names is found out before a file is given out.
#[test]
fn a_wrong_signature_is_not_given_out() {
    let (keys, text) = (generations(), text());
    let wrong = |_: &[u8]| [0; 64];
    let error = encode_checked(&draft(b"image", &keys, &text), &anchor(), wrong).unwrap_err();
    assert!(matches!(error, EncodeError::ReadBack(Refusal::BadSignature)));
}

#[test]
fn the_image_cannot_be_found_in_the_file() {
    let image = b"a secret of the maker, longer than one block".repeat(20);
    let keys = generations();
    let file = encode(&draft(&image, &keys, &[]), SIGNER_KID, sign).unwrap();
    assert!(
        !file
            .windows(8)
            .any(|window| image.windows(8).any(|piece| piece == window))
    );
}
