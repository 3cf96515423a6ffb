//! Every way of leaving the profile that we could think of, each refused for its own reason.
//!
//! Each file differs from a valid one in one thing, and is signed with the trusted key after the change, so that
//! nothing but that one thing is at fault.

mod support;

use packstaff_envelope::{Anchor, Fault, HEADER_MAX, HeaderReader, Part, Refusal, Where, look, open};
use support::forge::{Array, Bytes, Forge, Int, Item, Map, Null, Raw, Tag, Text, suit_digest, wrapped};
use support::{anchor, generations, sample_file};

fn refusal_of(file: &[u8]) -> Option<Refusal> {
    open(file, &[anchor()], &generations()[0]).err()
}

/// Checks that the manifest, changed and signed, is refused so.
#[track_caller]
fn refused(change: fn(&mut Item), expected: Refusal) {
    let mut forge = Forge::sample();
    change(&mut forge.manifest);
    assert_eq!(refusal_of(&forge.build()), Some(expected));
}

#[track_caller]
fn refused_wrapper(change: fn(&mut Item), expected: Refusal) {
    let forge = Forge {
        wrapper: change,
        ..Forge::sample()
    };
    assert_eq!(refusal_of(&forge.build()), Some(expected));
}

#[track_caller]
fn refused_envelope(change: fn(&mut Item), expected: Refusal) {
    let forge = Forge {
        envelope: change,
        ..Forge::sample()
    };
    assert_eq!(refusal_of(&forge.build()), Some(expected));
}

const fn malformed(part: Part, fault: Fault) -> Refusal {
    Refusal::Malformed(Where { part, fault })
}

const SHARED_PARAMETERS: [usize; 4] = [3, 4, 3, 0];
const SHARED: [usize; 2] = [3, 4];
const PAYLOAD_PARAMETERS: [usize; 2] = [20, 3];
const SLOT_PARAMETERS: [usize; 2] = [20, 11];
const ENCRYPTION: [usize; 3] = [20, 11, 19];
const RECIPIENTS: [usize; 4] = [20, 11, 19, 3];

/// The parameters of the shared sequence.
fn shared_parameters(manifest: &mut Item) -> &mut Vec<(Item, Item)> {
    manifest.pairs(&SHARED_PARAMETERS[..3])
}

fn insert(pairs: &mut Vec<(Item, Item)>, at: usize, key: Item, value: Item) {
    pairs.insert(at, (key, value));
}

#[test]
fn the_forge_makes_the_encoder_s_file() {
    assert_eq!(Forge::sample().build(), sample_file());
    assert_eq!(refusal_of(&sample_file()), None);
}

#[test]
fn text_can_be_cut_off_by_anybody() {
    let severed = Forge {
        text: None,
        ..Forge::sample()
    }
    .build();
    assert_eq!(refusal_of(&severed), None);
    assert_eq!(look(&severed).unwrap().text, None);
}

#[test]
fn another_text_is_refused() {
    let other = Forge {
        text: Some(Map(vec![])),
        ..Forge::sample()
    };
    assert_eq!(refusal_of(&other.build()), Some(Refusal::TextDigest));
    let mut unsigned = Forge::sample();
    unsigned.manifest.pairs(&[]).pop();
    assert_eq!(refusal_of(&unsigned.build()), Some(Refusal::TextDigest));
    unsigned.text = None;
    assert_eq!(refusal_of(&unsigned.build()), None);
}

#[test]
fn manifest_keys() {
    refused(
        |m| insert(m.pairs(&[]), 3, Int(4), Text("http://x.example")),
        Refusal::UnknownCritical(Part::Manifest),
    );
    refused(
        |m| insert(m.pairs(&[]), 3, Int(5), Array(vec![])),
        Refusal::UnknownCritical(Part::Manifest),
    );
    refused(
        |m| insert(m.pairs(&[]), 5, Int(8), Bytes(vec![])),
        Refusal::UnknownCritical(Part::Manifest),
    );
    refused(
        |m| insert(m.pairs(&[]), 7, Int(16), Bytes(vec![])),
        malformed(Part::Manifest, Fault::KeyOrder),
    );
    refused(
        |m| insert(m.pairs(&[]), 6, Int(16), Bytes(vec![])),
        Refusal::UnknownCritical(Part::Manifest),
    );
    refused(
        |m| insert(m.pairs(&[]), 8, Int(24), Bytes(vec![])),
        Refusal::UnknownCritical(Part::Manifest),
    );
    refused(
        |m| insert(m.pairs(&[]), 8, Int(-257), Null),
        Refusal::UnknownCritical(Part::Manifest),
    );
    refused(
        |m| insert(m.pairs(&[]), 8, Text("x"), Null),
        Refusal::UnknownCritical(Part::Manifest),
    );
    for key in 0..7 {
        let mut forge = Forge::sample();
        forge.manifest.pairs(&[]).remove(key);
        assert_eq!(
            refusal_of(&forge.build()),
            Some(Refusal::Missing(Part::Manifest)),
            "key {key}"
        );
        let mut forge = Forge::sample();
        forge.manifest.pairs(&[]).swap(key, key + 1);
        assert_eq!(
            refusal_of(&forge.build()),
            Some(malformed(Part::Manifest, Fault::KeyOrder)),
            "key {key}"
        );
    }
    refused(
        |m| insert(m.pairs(&[]), 1, Int(1), Int(1)),
        malformed(Part::Manifest, Fault::DuplicateKey),
    );
    refused(|m| *m = Array(vec![]), malformed(Part::Manifest, Fault::Kind));
    refused(
        |m| *m = Raw([m.encode(), vec![0]].concat()),
        malformed(Part::Manifest, Fault::ExtraBytes),
    );
    refused(
        |m| *m = Raw(m.encode().split_last().unwrap().1.to_vec()),
        malformed(Part::Manifest, Fault::Cut),
    );
    refused(|m| *m.at(&[1]) = Int(2), Refusal::Version);
    refused(|m| *m.at(&[2]) = Int(-1), malformed(Part::Manifest, Fault::Kind));
}

#[test]
fn encodings_that_are_not_the_one() {
    refused(
        |m| *m.at(&[1]) = Raw(vec![0x18, 0x01]),
        malformed(Part::Manifest, Fault::NotShortest),
    );
    refused(
        |m| *m.at(&[2]) = Raw(vec![0x1b, 0, 0, 0, 0, 0, 0, 0, 7]),
        malformed(Part::Manifest, Fault::NotShortest),
    );
    refused(
        |m| m.pairs(&[])[0].0 = Raw(vec![0x18, 0x01]),
        malformed(Part::Manifest, Fault::NotShortest),
    );
    refused(
        |m| *m.around(&[7]) = Raw(vec![0x5f, 0x44, 12, 0, 3, 15, 0xff]),
        malformed(Part::Manifest, Fault::Indefinite),
    );
    refused(
        |m| *m.at(&[7]) = Raw(vec![0x9f, 12, 0, 3, 15, 0xff]),
        malformed(Part::Validate, Fault::Indefinite),
    );
    refused(
        |m| *m.at(&[7]) = Raw(vec![0x84, 12, 0, 3, 15, 0]),
        malformed(Part::Validate, Fault::ExtraBytes),
    );
    refused(
        |m| *m.at(&[9]) = Raw(vec![0x84, 12, 0, 23]),
        malformed(Part::Invoke, Fault::Cut),
    );
    refused(
        |m| *m.at(&[6]) = Raw(vec![0x82, 0x18, 2, 1]),
        malformed(Part::SetVersion, Fault::NotShortest),
    );
    refused(
        |m| *m.at(&[2]) = Raw(vec![0xf9, 0x47, 0x00]),
        malformed(Part::Manifest, Fault::Kind),
    );
    refused(
        |m| *m.at(&[20, 3, 21]) = Raw(vec![0x63, 0x23, 0xff, 0x77]),
        Refusal::PayloadName,
    );
    refused(
        |m| m.items(&SHARED)[1] = Raw(vec![0x18, 0]),
        malformed(Part::Shared, Fault::NotShortest),
    );
    refused(
        |m| *m.at(&[3, 4]) = Raw([m.at(&[3, 4]).encode(), vec![0]].concat()),
        malformed(Part::Shared, Fault::ExtraBytes),
    );
    refused(
        |m| *m.at(&[3]) = Raw([m.at(&[3]).encode(), vec![0]].concat()),
        malformed(Part::Common, Fault::ExtraBytes),
    );
    refused(
        |m| *m.at(&[20]) = Raw([m.at(&[20]).encode(), vec![0]].concat()),
        malformed(Part::Install, Fault::ExtraBytes),
    );
    refused(
        |m| *m.around(&ENCRYPTION) = Bytes([Tag(96, Box::new(m.at(&ENCRYPTION).clone())).encode(), vec![0]].concat()),
        malformed(Part::Encryption, Fault::ExtraBytes),
    );
    refused(
        |m| *m.at(&[20, 3, 3]) = Raw([m.at(&[20, 3, 3]).encode(), vec![0]].concat()),
        malformed(Part::Install, Fault::ExtraBytes),
    );
    let nested = |m: &mut Item| insert(m.pairs(&[]), 8, Raw([vec![0x81; 20], vec![0]].concat()), Null);
    // No key of another kind is even looked at.
    refused(nested, Refusal::UnknownCritical(Part::Manifest));
}

#[test]
fn version_numbers() {
    refused(|m| *m.at(&[6]) = Array(vec![]), Refusal::ReleaseNumbers);
    refused(|m| *m.at(&[6]) = Array(vec![Int(1); 4]), Refusal::ReleaseNumbers);
    refused(|m| *m.at(&[6]) = Array(vec![Int(1), Int(-1)]), Refusal::ReleaseNumbers);
    refused(|m| *m.at(&[6]) = Array(vec![Int(1 << 32)]), Refusal::ReleaseNumbers);
}

#[test]
fn components() {
    refused(|m| *m.at(&[3, 2, 0, 0]) = Bytes(vec![2]), Refusal::Component);
    refused(|m| *m.at(&[3, 2, 0, 0]) = Bytes(vec![0, 0]), Refusal::Component);
    refused(
        |m| *m.at(&[3, 2, 0]) = Array(vec![Bytes(vec![0]), Bytes(vec![0])]),
        Refusal::Component,
    );
    refused(|m| m.items(&[3, 2]).swap(0, 1), Refusal::Component);
    refused(|m| m.items(&[3, 2]).truncate(1), Refusal::Component);
    refused(
        |m| m.items(&[3, 2]).push(Array(vec![Bytes(vec![2])])),
        Refusal::Component,
    );
    refused(|m| m.items(&SHARED)[1] = Int(1), Refusal::Component);
    refused(|m| m.items(&[20])[1] = Int(0), Refusal::Component);
    refused(|m| m.items(&[20])[9] = Int(2), Refusal::Component);
    refused(|m| *m.at(&[20, 11, 22]) = Int(0), Refusal::Component);
    refused(|m| m.items(&[7])[1] = Int(1), Refusal::Component);
    refused(|m| m.items(&[9])[1] = Int(1), Refusal::Component);
    refused(
        |m| insert(m.pairs(&[3]), 0, Int(1), Map(vec![])),
        Refusal::UnknownCritical(Part::Common),
    );
    refused(|m| drop(m.pairs(&[3]).remove(0)), Refusal::Missing(Part::Common));
    refused(|m| drop(m.pairs(&[3]).remove(1)), Refusal::Missing(Part::Common));
}

#[test]
fn shared_sequence() {
    for key in 0..4 {
        let mut forge = Forge::sample();
        shared_parameters(&mut forge.manifest).remove(key);
        assert_eq!(
            refusal_of(&forge.build()),
            Some(Refusal::Missing(Part::Shared)),
            "parameter {key}"
        );
    }
    refused(
        |m| shared_parameters(m).swap(0, 1),
        malformed(Part::Shared, Fault::KeyOrder),
    );
    refused(
        |m| shared_parameters(m)[1].0 = Int(1),
        malformed(Part::Shared, Fault::DuplicateKey),
    );
    refused(
        |m| insert(shared_parameters(m), 4, Int(21), Text("#fw")),
        Refusal::Template(Part::Shared),
    );
    refused(
        |m| insert(shared_parameters(m), 3, Int(5), Int(0)),
        Refusal::UnknownCritical(Part::Shared),
    );
    refused(
        |m| insert(shared_parameters(m), 4, Int(24), Bytes(vec![0; 16])),
        Refusal::UnknownCritical(Part::Shared),
    );
    refused(
        |m| shared_parameters(m)[0].1 = Bytes(vec![0; 15]),
        malformed(Part::Shared, Fault::Value),
    );
    refused(
        |m| shared_parameters(m)[0].1 = Tag(112, Box::new(Bytes(vec![0; 4]))),
        malformed(Part::Shared, Fault::Kind),
    );
    refused(
        |m| *m.at(&[3, 4, 3, 3, 0]) = Int(-43),
        Refusal::UnknownAlgorithm(Part::Shared),
    );
    refused(
        |m| *m.at(&[3, 4, 3, 3, 1]) = Bytes(vec![0; 48]),
        malformed(Part::Shared, Fault::Value),
    );
    // The vendor condition left out, or replaced, or asked twice instead of the class.
    refused(|m| drop(m.items(&SHARED).drain(4..6)), Refusal::Template(Part::Shared));
    refused(|m| m.items(&SHARED)[6] = Int(1), Refusal::Template(Part::Shared));
    refused(
        |m| m.items(&SHARED)[4] = Int(24),
        Refusal::UnknownCritical(Part::Shared),
    );
    refused(
        |m| m.items(&SHARED)[4] = Int(-300),
        Refusal::UnknownCritical(Part::Shared),
    );
    refused(|m| m.items(&SHARED)[5] = Int(16), malformed(Part::Shared, Fault::Value));
    refused(
        |m| m.items(&SHARED).extend([Int(20), Map(vec![])]),
        Refusal::Template(Part::Shared),
    );
}

#[test]
fn install_sequence() {
    for key in 0..3 {
        let mut forge = Forge::sample();
        forge.manifest.pairs(&PAYLOAD_PARAMETERS).remove(key);
        assert_eq!(
            refusal_of(&forge.build()),
            Some(Refusal::Missing(Part::Install)),
            "parameter {key}"
        );
    }
    refused(|m| drop(m.pairs(&SLOT_PARAMETERS).remove(0)), Refusal::NotEncrypted);
    refused(
        |m| drop(m.pairs(&SLOT_PARAMETERS).remove(1)),
        Refusal::Missing(Part::Install),
    );
    refused(
        |m| m.pairs(&PAYLOAD_PARAMETERS).swap(0, 1),
        malformed(Part::Install, Fault::KeyOrder),
    );
    refused(|m| *m.at(&[20, 3, 21]) = Text("#other"), Refusal::PayloadName);
    refused(
        |m| *m.at(&[20, 3, 21]) = Text("http://x.example/fw"),
        Refusal::PayloadName,
    );
    // The digest overridden later: the image would be whatever the second one says.
    refused(
        |m| insert(m.pairs(&SLOT_PARAMETERS), 0, Int(3), wrapped(suit_digest([0; 32]))),
        Refusal::Template(Part::Install),
    );
    refused(
        |m| insert(m.pairs(&SLOT_PARAMETERS), 0, Int(14), Int(1)),
        Refusal::Template(Part::Install),
    );
    refused(
        |m| insert(m.pairs(&SLOT_PARAMETERS), 0, Int(18), Bytes(vec![1])),
        Refusal::UnknownCritical(Part::Install),
    );
    refused(
        |m| insert(m.pairs(&SLOT_PARAMETERS), 2, Int(28), Bytes(vec![1])),
        Refusal::UnknownCritical(Part::Install),
    );
    refused(
        |m| m.items(&[20]).extend([Int(20), Map(vec![])]),
        Refusal::Template(Part::Install),
    );
    refused(|m| drop(m.items(&[20]).drain(6..8)), Refusal::Template(Part::Install));
    refused(|m| drop(m.items(&[20]).drain(14..16)), Refusal::Template(Part::Install));
    refused(|m| m.items(&[20]).swap(4, 6), Refusal::Template(Part::Install));
    refused(
        |m| m.items(&[20])[12] = Int(18),
        Refusal::UnknownCritical(Part::Install),
    );
    refused(
        |m| m.items(&[20])[12] = Int(15),
        Refusal::UnknownCritical(Part::Install),
    );
    // An install sequence that was cut off, and stated by its digest only, is legal SUIT but not this profile.
    refused(
        |m| *m.around(&[20]) = suit_digest([0; 32]),
        malformed(Part::Manifest, Fault::Kind),
    );
}

#[test]
fn sizes() {
    refused(|m| *m.at(&[20, 3, 14]) = Int(35), Refusal::SizeMismatch);
    refused(|m| shared_parameters(m)[3].1 = Int(35), Refusal::SizeMismatch);
    refused(|m| *m.at(&[20, 3, 14]) = Int(1 << 40), Refusal::SizeMismatch);
    let both = |m: &mut Item| {
        shared_parameters(m)[3].1 = Int(35);
        *m.at(&[20, 3, 14]) = Int(35);
    };
    refused(both, Refusal::SizeMismatch);
    let empty = Forge {
        payload: vec![],
        ..Forge::sample()
    };
    assert_eq!(refusal_of(&empty.build()), Some(Refusal::Empty));
}

#[test]
fn payload_and_image() {
    let mut other = Forge::sample();
    other.payload[35] ^= 1;
    assert_eq!(refusal_of(&other.build()), Some(Refusal::PayloadDigest));
    refused(
        |m| shared_parameters(m)[2].1 = wrapped(suit_digest([0; 32])),
        Refusal::ImageDigest,
    );
}

#[test]
fn encryption_information() {
    let part = Part::Encryption;
    refused(
        |m| *m.at(&[20, 11, 19, 1, 1]) = Int(-65534),
        Refusal::UnknownAlgorithm(part),
    );
    refused(|m| *m.at(&[20, 11, 19, 1, 1]) = Int(1), Refusal::UnknownAlgorithm(part));
    refused(
        |m| *m.at(&[20, 11, 19, 1, 5]) = Bytes(vec![0; 12]),
        malformed(part, Fault::Value),
    );
    refused(|m| drop(m.pairs(&[20, 11, 19, 1]).remove(0)), Refusal::Missing(part));
    refused(|m| drop(m.pairs(&[20, 11, 19, 1]).remove(1)), Refusal::Missing(part));
    refused(
        |m| m.pairs(&[20, 11, 19, 1]).swap(0, 1),
        malformed(part, Fault::KeyOrder),
    );
    refused(
        |m| m.pairs(&[20, 11, 19, 1])[1].0 = Int(6),
        Refusal::UnknownCritical(part),
    );
    refused(
        |m| *m.at(&[20, 11, 19, 0]) = Bytes(vec![0xa0]),
        malformed(part, Fault::Value),
    );
    refused(
        |m| *m.at(&[20, 11, 19, 2]) = Bytes(vec![0; 16]),
        malformed(part, Fault::Kind),
    );
    refused(
        |m| *m.at(&[20, 11, 19, 2]) = Raw(vec![0xf5]),
        malformed(part, Fault::Kind),
    );
    refused(|m| m.items(&ENCRYPTION).truncate(3), malformed(part, Fault::Value));
    refused(
        |m| {
            let inner = m.at(&ENCRYPTION).clone();
            *m.around(&ENCRYPTION) = wrapped(Tag(16, Box::new(inner)));
        },
        malformed(part, Fault::Kind),
    );
    refused(|m| m.items(&RECIPIENTS).clear(), malformed(part, Fault::Value));
    refused(
        |m| {
            let nine = vec![m.items(&RECIPIENTS)[0].clone(); 9];
            *m.items(&RECIPIENTS) = nine;
        },
        malformed(part, Fault::Value),
    );
}

#[test]
fn recipients() {
    let part = Part::Recipient;
    refused(
        |m| *m.at(&[20, 11, 19, 3, 0, 1, 1]) = Int(-3),
        Refusal::UnknownAlgorithm(part),
    );
    refused(
        |m| *m.at(&[20, 11, 19, 3, 0, 1, 1]) = Int(-29),
        Refusal::UnknownAlgorithm(part),
    );
    refused(
        |m| *m.at(&[20, 11, 19, 3, 0, 1, 4]) = Bytes(vec![]),
        malformed(part, Fault::Value),
    );
    refused(
        |m| *m.at(&[20, 11, 19, 3, 0, 1, 4]) = Bytes(vec![0; 17]),
        malformed(part, Fault::Value),
    );
    refused(
        |m| *m.at(&[20, 11, 19, 3, 0, 2]) = Bytes(vec![0; 24]),
        malformed(part, Fault::Value),
    );
    refused(
        |m| *m.at(&[20, 11, 19, 3, 0, 0]) = Bytes(vec![0xa0]),
        malformed(part, Fault::Value),
    );
    refused(
        |m| drop(m.pairs(&[20, 11, 19, 3, 0, 1]).remove(1)),
        Refusal::Missing(part),
    );
    refused(
        |m| m.pairs(&[20, 11, 19, 3, 0, 1])[1].0 = Int(5),
        Refusal::UnknownCritical(part),
    );
    refused(
        |m| *m.at(&[20, 11, 19, 3, 0, 1, 4]) = Bytes(b"g9".into()),
        Refusal::NoRecipient,
    );
    refused(
        |m| *m.at(&[20, 11, 19, 3, 0, 2]) = Bytes(vec![0; 40]),
        Refusal::KeyUnwrap,
    );
    // Identifiers are hints: a second recipient of the same name is tried as well.
    let mut forge = Forge::sample();
    let mut decoy = forge.manifest.items(&RECIPIENTS)[0].clone();
    *decoy.at(&[2]) = Bytes(vec![0; 40]);
    forge.manifest.items(&RECIPIENTS).insert(0, decoy);
    assert_eq!(refusal_of(&forge.build()), None);
}

#[test]
fn validate_and_invoke() {
    refused(|m| m.items(&[7])[2] = Int(6), Refusal::UnknownCritical(Part::Validate));
    refused(|m| m.items(&[7])[2] = Int(23), Refusal::Template(Part::Validate));
    refused(|m| m.items(&[7]).truncate(2), Refusal::Template(Part::Validate));
    refused(|m| m.items(&[9])[2] = Int(3), Refusal::Template(Part::Invoke));
    refused(
        |m| m.items(&[9]).extend([Int(3), Int(15)]),
        Refusal::Template(Part::Invoke),
    );
    // The reporting policy is a hint, and free.
    let mut forge = Forge::sample();
    forge.manifest.items(&[7])[3] = Int(0);
    assert_eq!(refusal_of(&forge.build()), None);
}

#[test]
fn signatures() {
    let part = Part::Signature;
    refused_wrapper(|w| w.items(&[]).truncate(1), Refusal::NoSignature);
    refused_wrapper(|w| *w.at(&[1, 1, 4]) = Bytes(b"maker-2".into()), Refusal::UnknownSigner);
    refused_wrapper(|w| *w.at(&[1, 3]) = Bytes(vec![0; 64]), Refusal::BadSignature);
    refused_wrapper(|w| *w.at(&[1, 3]) = Bytes(vec![0; 63]), malformed(part, Fault::Value));
    // The number is inside what is signed; EdDSA's general number is a second spelling that we do not take.
    refused_wrapper(|w| *w.at(&[1, 0, 1]) = Int(-8), Refusal::UnknownAlgorithm(part));
    refused_wrapper(|w| *w.at(&[1, 0, 1]) = Int(-9), Refusal::UnknownAlgorithm(part));
    refused_wrapper(|w| w.pairs(&[1, 0]).clear(), Refusal::Missing(part));
    refused_wrapper(
        |w| w.pairs(&[1, 0]).push((Int(2), Array(vec![Int(99)]))),
        Refusal::UnknownCritical(part),
    );
    refused_wrapper(
        |w| w.pairs(&[1, 1]).push((Int(5), Int(0))),
        Refusal::UnknownCritical(part),
    );
    refused_wrapper(|w| w.pairs(&[1, 1]).clear(), Refusal::Missing(part));
    refused_wrapper(|w| *w.at(&[1, 2]) = Bytes(vec![]), malformed(part, Fault::Kind));
    refused_wrapper(
        |w| *w.around(&[1]) = Bytes([w.at(&[1]).encode(), vec![0]].concat()),
        malformed(part, Fault::Kind),
    );
    refused_wrapper(
        |w| *w.around(&[1]) = Bytes([Tag(18, Box::new(w.at(&[1]).clone())).encode(), vec![0]].concat()),
        malformed(part, Fault::ExtraBytes),
    );
    refused_wrapper(
        |w| *w.around(&[1]) = wrapped(Tag(17, Box::new(Array(vec![])))),
        Refusal::UnknownAlgorithm(part),
    );
    refused_wrapper(|w| *w.at(&[0, 0]) = Int(-43), Refusal::UnknownAlgorithm(Part::Wrapper));
    refused_wrapper(|w| *w.at(&[0, 1]) = Bytes(vec![0; 32]), Refusal::ManifestDigest);
    refused_wrapper(
        |w| {
            let block = w.around(&[1]).clone();
            w.items(&[]).extend([block.clone(), block]);
        },
        malformed(Part::Wrapper, Fault::Value),
    );
    refused_wrapper(
        |w| *w = Raw([w.encode(), vec![0]].concat()),
        malformed(Part::Wrapper, Fault::ExtraBytes),
    );
    // A signature over another manifest.
    refused_wrapper(
        |w| *w.around(&[1]) = wrapped(Forge::block(&[0; 32])),
        Refusal::BadSignature,
    );
}

#[test]
fn two_blocks() {
    // Beside a good block, one that we cannot check is for other readers, whatever it holds.
    for foreign in [
        |w: &mut Item| w.items(&[]).insert(1, wrapped(Tag(17, Box::new(Array(vec![]))))),
        |w: &mut Item| {
            let mut other = w.around(&[1]).clone();
            *other.at(&[0, 1]) = Int(-46);
            *other.at(&[3]) = Bytes(vec![1; 1000]);
            w.items(&[]).push(other);
        },
        |w: &mut Item| {
            let mut other = w.around(&[1]).clone();
            *other.at(&[1, 4]) = Bytes(b"elsewhere".into());
            w.items(&[]).push(other);
        },
    ] {
        let forge = Forge {
            wrapper: foreign,
            ..Forge::sample()
        };
        assert_eq!(refusal_of(&forge.build()), None);
    }
    // One that we can check must hold.
    refused_wrapper(
        |w| {
            let mut bad = w.around(&[1]).clone();
            *bad.at(&[3]) = Bytes(vec![0; 64]);
            w.items(&[]).push(bad);
        },
        Refusal::BadSignature,
    );
}

#[test]
fn anchors_may_share_a_name() {
    let retired = Anchor::ed25519(anchor().kid, [0x5a; 32]);
    let file = sample_file();
    let key = &generations()[1];
    assert!(open(&file, &[retired, anchor()], key).is_ok());
    assert_eq!(open(&file, &[retired], key).unwrap_err(), Refusal::BadSignature);
    assert_eq!(open(&file, &[], key).unwrap_err(), Refusal::UnknownSigner);
}

#[test]
fn envelope_keys() {
    let part = Part::Envelope;
    refused_envelope(|e| drop(e.pairs(&[]).drain(..2)), Refusal::Missing(part));
    refused_envelope(|e| drop(e.pairs(&[]).remove(0)), malformed(part, Fault::KeyOrder));
    refused_envelope(|e| e.pairs(&[]).swap(0, 1), malformed(part, Fault::KeyOrder));
    refused_envelope(|e| e.pairs(&[])[1].0 = Int(2), malformed(part, Fault::KeyOrder));
    refused_envelope(|e| e.pairs(&[])[2].0 = Int(20), Refusal::UnknownCritical(part));
    refused_envelope(|e| e.pairs(&[])[0].0 = Int(1), Refusal::UnknownCritical(part));
    refused_envelope(
        |e| insert(e.pairs(&[]), 2, Int(16), Bytes(vec![])),
        Refusal::UnknownCritical(part),
    );
    // Two payloads, of which only one is named in the manifest.
    refused_envelope(
        |e| e.pairs(&[])[2] = (Text("#aa"), Bytes(vec![1])),
        Refusal::UnknownCritical(part),
    );
    refused_envelope(
        |e| e.pairs(&[]).push((Text("#zz"), Bytes(vec![1]))),
        Refusal::UnknownCritical(part),
    );
    refused_envelope(|e| drop(e.pairs(&[]).pop()), Refusal::Missing(part));
    refused_envelope(|e| e.pairs(&[])[3].0 = Text("#FW"), Refusal::PayloadName);
    refused_envelope(|e| e.pairs(&[])[3].0 = Text("firmware"), Refusal::PayloadName);
    refused_envelope(|e| e.pairs(&[])[3].1 = Text("firmware"), malformed(part, Fault::Kind));
    refused_envelope(
        |e| e.pairs(&[])[0].0 = Raw(vec![0x18, 2]),
        malformed(part, Fault::NotShortest),
    );
    refused_envelope(
        |e| e.pairs(&[])[1].1 = Raw(vec![0x5f]),
        malformed(part, Fault::Indefinite),
    );
    refused_envelope(|e| *e.at(&[]) = Raw(vec![0xbf]), malformed(part, Fault::Indefinite));
    refused_envelope(|e| *e.at(&[]) = Raw(vec![0x80]), malformed(part, Fault::Kind));
    refused_envelope(|e| *e = e.at(&[]).clone(), Refusal::NotAnUpdate);
    refused_envelope(|e| *e = Tag(1070, Box::new(e.at(&[]).clone())), Refusal::NotAnUpdate);
    refused_envelope(|e| e.pairs(&[])[1].1 = Bytes(vec![0; HEADER_MAX]), Refusal::TooLarge);
    refused_envelope(|e| e.pairs(&[])[2].1 = Bytes(vec![0; 16_385]), Refusal::TooLarge);
    refused_envelope(
        |e| e.pairs(&[])[1].1 = Raw(vec![0x5b, 0xff, 0, 0, 0, 0, 0, 0, 0]),
        Refusal::TooLarge,
    );
}

#[test]
fn ends() {
    let file = sample_file();
    let with_more = [&file[..], &[0]].concat();
    assert_eq!(refusal_of(&with_more), Some(Refusal::Trailing));
    for len in 0..file.len() {
        assert_eq!(refusal_of(&file[..len]), Some(Refusal::Truncated), "{len} bytes");
    }
    assert_eq!(refusal_of(b"PK\x03\x04"), Some(Refusal::NotAnUpdate));
    assert_eq!(refusal_of(b"\xff"), Some(Refusal::NotAnUpdate));
    assert_eq!(HeaderReader::new(10).verify(&[anchor()]), Err(Refusal::Incomplete));
    assert_eq!(
        HeaderReader::new(10).content_key(&generations()[0]),
        Err(Refusal::Incomplete)
    );
}

#[test]
fn a_refused_reader_stays_refused() {
    let mut reader = HeaderReader::new(100);
    assert_eq!(reader.feed(b"\xd8\x6c"), Err(Refusal::NotAnUpdate));
    assert_eq!(reader.feed(&sample_file()), Err(Refusal::NotAnUpdate));
    assert_eq!(reader.verify(&[anchor()]), Err(Refusal::NotAnUpdate));
}
