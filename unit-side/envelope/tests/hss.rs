//! HSS-LMS: the standard's own examples, changed ones, and update files that are signed with it.

mod support;

use ed25519_dalek::Signer as _;
use hex_literal::hex;
use packstaff_envelope::hss::sign::{Branches, SecretTree};
use packstaff_envelope::hss::{self, OtsKind, PUBLIC_KEY, TreeKind};
use packstaff_envelope::{Algorithm, Anchor, HEADER_MAX_NARROW, HEADER_MAX_WIDE, Kid, Refusal, Signer};
use packstaff_envelope::{EncodeError, UnitKey, encode_signed, look, open};
use proptest::prelude::*;
use support::{SIGNER_KID, Vector, anchor, draft, generations, text};

const TREE_KID: &[u8] = b"tree-1";

struct TestTree {
    secret: SecretTree,
    branches: Branches,
}

impl TestTree {
    fn new(tree: TreeKind, ots: OtsKind, id: [u8; 16], seed: [u8; 32]) -> Self {
        let secret = SecretTree::new(tree, ots, id, &seed);
        let roots = (0..secret.branch_count()).map(|index| secret.branch(index));
        let branches = Branches::of(&secret, roots.collect()).unwrap();
        Self { secret, branches }
    }

    fn small() -> Self {
        Self::new(TreeKind::H5, OtsKind::W8, [0x31; 16], [0x32; 32])
    }

    fn public_key(&self) -> [u8; PUBLIC_KEY] {
        self.secret.public_key(&self.branches)
    }

    fn anchor(&self) -> Anchor {
        Anchor::hss_lms(Kid::new(TREE_KID).unwrap(), self.public_key())
    }

    fn signer(&self, leaf: u32) -> Signer<'_> {
        Signer::new(Kid::new(TREE_KID).unwrap(), Algorithm::HssLms, move |bytes| {
            self.secret.sign(&self.branches, leaf, bytes)
        })
    }
}

fn ed25519_signer() -> Signer<'static> {
    Signer::new(Kid::new(SIGNER_KID).unwrap(), Algorithm::Ed25519, |bytes| {
        support::signer().sign(bytes).to_bytes().to_vec()
    })
}

fn file_by(signers: Vec<Signer<'_>>) -> Vec<u8> {
    let (keys, text) = (generations(), text());
    encode_signed(&draft(b"a small image", &keys, &text), signers, HEADER_MAX_WIDE).unwrap()
}

fn refusal(file: &[u8], anchors: &[Anchor]) -> Option<Refusal> {
    open(file, anchors, &generations()[0]).err()
}

/// RFC 8554, appendix F, by way of the crate that `vectors/rfc-8554.txt` names.
fn standard(case: u8) -> ([u8; PUBLIC_KEY], Vec<u8>, Vec<u8>) {
    let vector = Vector::read("rfc-8554.txt");
    let field = |name: &str| vector.bytes(&format!("{name}_{case}"));
    (
        field("public_key").try_into().unwrap(),
        field("message"),
        field("signature"),
    )
}

#[test]
fn the_standards_examples_hold() {
    for case in [1, 2] {
        let (key, message, signature) = standard(case);
        assert!(hss::holds(&key, &message, &signature), "test case {case}");
        let mut other = message.clone();
        *other.last_mut().unwrap() ^= 1;
        assert!(
            !hss::holds(&key, &other, &signature),
            "test case {case}, another message"
        );
    }
}

/// The IETF COSE working group's example, which is that of RFC 8778's draft: it holds, and signing again with the key of
/// RFC 8554's test case 2 (its seed from memory, proved by the public key) gives the same bytes.
#[test]
fn the_cose_example_holds_and_is_made_again() {
    let vector = Vector::read("cose-sign1-hsslms.txt");
    let (key, signed) = (vector.array("pub"), vector.bytes("to_be_signed"));
    let object = vector.bytes("cose_sign1");
    let signature = &object[object.len() - 2512..];
    assert!(hss::holds(&key, &signed, signature));
    assert_eq!(hss::stated_leaf(signature), Some(0));
    let tree = TestTree::new(
        TreeKind::H10,
        OtsKind::W4,
        hex!("d08fabd4a2091ff0a8cb4ed834e74534"),
        hex!("558b8966c48ae9cb898b423c83443aae014a72f1b1ab5cc85cf1d892903b5439"),
    );
    assert_eq!(tree.public_key(), key);
    assert!(tree.secret.sign(&tree.branches, 0, &signed) == signature);
}

/// In the signature, in the public key, in the length: nothing may differ.
#[test]
fn any_changed_byte_of_an_example_is_refused() {
    let (key, message, signature) = standard(1);
    let mut changed = signature.clone();
    for place in 0..signature.len() {
        changed[place] ^= 1 << (place % 8);
        assert!(!hss::holds(&key, &message, &changed), "byte {place} of the signature");
        changed[place] = signature[place];
    }
    for place in 0..PUBLIC_KEY {
        for bit in 0..8 {
            let mut other = key;
            other[place] ^= 1 << bit;
            assert!(!hss::holds(&other, &message, &signature), "byte {place} of the key");
        }
    }
    for len in (0..signature.len()).step_by(37).chain([signature.len() - 1]) {
        assert!(!hss::holds(&key, &message, &signature[..len]), "{len} bytes");
    }
    assert!(!hss::holds(&key, &message, &[&signature[..], &[0]].concat()));
}

#[test]
fn more_levels_than_are_checked_are_refused() {
    let tree = TestTree::small();
    let signature = tree.secret.sign(&tree.branches, 0, b"message");
    for levels in [0, 2, 3, 8, u32::MAX] {
        let mut key = tree.public_key();
        key[..4].copy_from_slice(&u32::to_be_bytes(levels));
        assert!(!hss::holds(&key, b"message", &signature), "{levels}");
        let mut longer = signature.clone();
        longer[..4].copy_from_slice(&levels.wrapping_sub(1).to_be_bytes());
        assert!(!hss::holds(&key, b"message", &longer), "{levels}");
    }
}

#[test]
fn a_file_signed_with_a_tree() {
    let tree = TestTree::small();
    let file = file_by(vec![tree.signer(17)]);
    assert_eq!(refusal(&file, &[tree.anchor()]), None);
    assert_eq!(refusal(&file, &[anchor()]), Some(Refusal::UnknownSigner));
    assert_eq!(refusal(&file, &[]), Some(Refusal::UnknownSigner));
    let other = TestTree::new(TreeKind::H5, OtsKind::W8, [0x31; 16], [0x33; 32]);
    assert_eq!(refusal(&file, &[other.anchor()]), Some(Refusal::BadSignature));
    // Names need not be unique: it is enough that one key of that name verifies.
    assert_eq!(refusal(&file, &[other.anchor(), tree.anchor()]), None);
    // A name is nothing without its kind.
    let same_name = Anchor::ed25519(Kid::new(TREE_KID).unwrap(), support::signer_key());
    assert_eq!(refusal(&file, &[same_name]), Some(Refusal::UnknownSigner));
    let seen = look(&file).unwrap();
    assert_eq!(seen.signers.len(), 1);
    assert_eq!((seen.signers[0].algorithm, seen.signers[0].leaf), (Some(-46), Some(17)));
}

#[test]
fn a_unit_that_trusts_two_kinds_demands_both() {
    let tree = TestTree::small();
    let both = file_by(vec![ed25519_signer(), tree.signer(0)]);
    let turned = file_by(vec![tree.signer(0), ed25519_signer()]);
    for file in [&both, &turned] {
        assert_eq!(refusal(file, &[anchor()]), None, "a unit of the one kind");
        assert_eq!(refusal(file, &[tree.anchor()]), None, "a unit of the other kind");
        assert_eq!(refusal(file, &[tree.anchor(), anchor()]), None, "a unit of both");
    }
    let demands_both = [tree.anchor(), anchor()];
    let only_tree = file_by(vec![tree.signer(1)]);
    assert_eq!(refusal(&only_tree, &demands_both), Some(Refusal::SignatureMissing));
    assert_eq!(
        refusal(&support::sample_file(), &demands_both),
        Some(Refusal::SignatureMissing)
    );
    // One that does not hold is never made good by the other.
    let forged = Signer::new(Kid::new(TREE_KID).unwrap(), Algorithm::HssLms, |_| vec![0; 1296]);
    let half_forged = file_by(vec![ed25519_signer(), forged]);
    assert_eq!(refusal(&half_forged, &demands_both), Some(Refusal::BadSignature));
    assert_eq!(refusal(&half_forged, &[anchor()]), None);
}

#[test]
fn any_changed_byte_of_a_file_is_refused() {
    let tree = TestTree::small();
    let file = file_by(vec![tree.signer(31)]);
    let anchors = [tree.anchor()];
    assert_eq!(refusal(&file, &anchors), None);
    let mut changed = file.clone();
    for (place, byte) in file.iter().enumerate() {
        for value in [byte ^ (1 << (place % 8)), !byte] {
            changed[place] = value;
            assert!(
                refusal(&changed, &anchors).is_some(),
                "byte {place} set to {value:#04x}"
            );
        }
        changed[place] = *byte;
    }
}

/// What `HEADER_MAX_WIDE` promises.
#[test]
fn the_promised_headers_fit() {
    let eight: Vec<UnitKey> = (0..8)
        .map(|index| support::unit_key(&format!("generation-00{index:03}"), index))
        .collect();
    let block = |len: usize| Signer::new(Kid::new(&[b'k'; 16]).unwrap(), Algorithm::HssLms, move |_| vec![0; len]);
    let size = |draft: &packstaff_envelope::Draft<'_>, signers, room| encode_signed(draft, signers, room).map(|_| ());
    let (few, text) = (generations(), text());
    let mut widest = draft(b"image", &eight, &text);
    (widest.sequence, widest.version) = (u64::MAX, &[u32::MAX; 3]);
    size(&widest, vec![ed25519_signer(), block(1936)], HEADER_MAX_WIDE).unwrap();
    size(&draft(b"image", &few, &text), vec![block(2672)], HEADER_MAX_WIDE).unwrap();
    size(&draft(b"image", &few, &text), vec![block(2644)], HEADER_MAX_WIDE).unwrap();
    let refused = size(&draft(b"image", &few, &text), vec![block(1616)], HEADER_MAX_NARROW).unwrap_err();
    assert!(
        matches!(
            refused,
            EncodeError::HeaderTooLarge {
                needed: 2049..,
                room: HEADER_MAX_NARROW
            }
        ),
        "{refused}"
    );
    let nobody = size(&draft(b"image", &few, &text), vec![], HEADER_MAX_WIDE).unwrap_err();
    assert!(matches!(nobody, EncodeError::Signers { found: 0 }));
    let three = vec![ed25519_signer(), block(9), block(9)];
    let three = size(&draft(b"image", &few, &text), three, HEADER_MAX_WIDE).unwrap_err();
    assert!(matches!(three, EncodeError::Signers { found: 3 }));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn any_message_by_any_leaf(message in prop::collection::vec(any::<u8>(), 0..200), leaf in 0_u32..32, ots in prop::sample::select(OtsKind::ALL.to_vec()), id in any::<[u8; 16]>(), seed in any::<[u8; 32]>()) {
        let tree = TestTree::new(TreeKind::H5, ots, id, seed);
        let signature = tree.secret.sign(&tree.branches, leaf, &message);
        prop_assert!(hss::holds(&tree.public_key(), &message, &signature));
        prop_assert_eq!(hss::stated_leaf(&signature), Some(leaf));
        prop_assert!(signature == tree.secret.sign(&tree.branches, leaf, &message), "the same again is no second signature");
        let other = [&message[..], &[0]].concat();
        prop_assert!(!hss::holds(&tree.public_key(), &other, &signature));
    }

    #[test]
    fn any_bytes_are_refused(key in any::<[u8; PUBLIC_KEY - 12]>(), kinds in any::<(u8, u8, u8)>(), signature in prop::collection::vec(any::<u8>(), 0..3000)) {
        let mut whole = [0; PUBLIC_KEY];
        (whole[3], whole[7], whole[11]) = (kinds.0 % 4, kinds.1 % 12, kinds.2 % 6);
        whole[12..].copy_from_slice(&key);
        prop_assert!(!hss::holds(&whole, b"message", &signature));
    }

    #[test]
    fn any_changes_of_an_example_are_refused(changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..4), cut in 0_usize..4000) {
        let (key, message, signature) = standard(2);
        let mut changed = signature.clone();
        for (place, byte) in changes {
            changed[place.index(signature.len())] = byte;
        }
        changed.truncate(cut.max(1));
        if changed != signature {
            prop_assert!(!hss::holds(&key, &message, &changed));
        }
    }
}
