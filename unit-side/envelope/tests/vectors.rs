//! Published examples, and one file written by another program. Each file in `vectors` names its source.

mod support;

use aes_kw::cipher::KeyInit;
use aes_kw::{KwAes128, KwAes256};
use ctr::cipher::{KeyIvInit, StreamCipher};
use p256::ecdsa::signature::Verifier;
use p256::ecdsa::{Signature, VerifyingKey};
use packstaff_envelope::cbor::Cursor;
use packstaff_envelope::signature::{SigStructure, ed25519_holds};
use packstaff_envelope::{Algorithm, Anchor, PayloadCipher, Sha256, TextItem, look, open, sha256};
use packstaff_envelope::{Fault, Fed, HeaderReader, Kid, Part, Refusal, UnitKey, VersionNumbers, Where};
use support::Vector;

const SUIT_EXAMPLES: [&str; 6] = [
    "suit-manifest-ex0.txt",
    "suit-manifest-ex1.txt",
    "suit-manifest-ex2.txt",
    "suit-manifest-ex3.txt",
    "suit-manifest-ex4.txt",
    "suit-manifest-ex5.txt",
];
const MAC_EXAMPLES: [&str; 3] = [
    "fwenc-manifest-aes-kw.txt",
    "fwenc-manifest-aes-kw-content.txt",
    "fwenc-manifest-aes-kw-slot.txt",
];
const ESDH_EXAMPLE: &str = "fwenc-manifest-esdh-content.txt";

fn cursor(bytes: &[u8]) -> Cursor<'_> {
    Cursor::new(bytes, Part::Envelope)
}

/// A published envelope, taken apart with the strict reader.
struct Published<'a> {
    digest_item: &'a [u8],
    stated_digest: [u8; 32],
    block: &'a [u8],
    /// The manifest's encoded byte string, head included.
    manifest: &'a [u8],
    /// Severed elements: key and encoded byte string.
    severed: Vec<(u64, &'a [u8])>,
}

impl<'a> Published<'a> {
    fn take_apart(envelope: &'a [u8]) -> Self {
        let mut outer = cursor(envelope);
        assert_eq!(outer.tag(), Ok(107));
        let mut keys = outer.map().unwrap();
        assert_eq!(keys.next_uint(&mut outer), Ok(Some(2)));
        let mut wrapper = outer.wrapped(Part::Wrapper).unwrap();
        assert_eq!(wrapper.array(), Ok(2));
        let digest_item = wrapper.bytes().unwrap();
        let block = wrapper.bytes().unwrap();
        wrapper.end().unwrap();
        let mut digest = cursor(digest_item);
        assert_eq!((digest.array(), digest.int()), (Ok(2), Ok(-16)));
        let stated_digest = *digest.array_of().unwrap();
        assert_eq!(keys.next_uint(&mut outer), Ok(Some(3)));
        let manifest = outer.item().unwrap();
        let mut severed = Vec::new();
        while let Some(key) = keys.next_uint(&mut outer).unwrap() {
            severed.push((key, outer.item().unwrap()));
        }
        outer.end().unwrap();
        Self {
            digest_item,
            stated_digest,
            block,
            manifest,
            severed,
        }
    }

    fn manifest_content(&self) -> &'a [u8] {
        cursor(self.manifest).bytes().unwrap()
    }
}

/// Reads one item strictly, and nothing after it.
fn strictly(bytes: &[u8]) -> Result<(), Refusal> {
    let mut outer = cursor(bytes);
    outer.item()?;
    outer.end()
}

/// The draft's examples state that they are in canonical form; the strict reader must agree.
#[test]
fn every_published_example_is_read_strictly() {
    for name in SUIT_EXAMPLES.iter().chain(&MAC_EXAMPLES).chain(&[ESDH_EXAMPLE]) {
        let envelope = Vector::read(name).bytes("envelope");
        assert_eq!(strictly(&envelope), Ok(()), "{name}");
        let parts = Published::take_apart(&envelope);
        assert_eq!(strictly(parts.block), Ok(()), "{name}");
        let manifest = parts.manifest_content();
        assert_eq!(strictly(manifest), Ok(()), "{name}");
        let mut inner = cursor(manifest);
        let mut keys = inner.map().unwrap();
        assert_eq!(keys.next_uint(&mut inner), Ok(Some(1)));
        assert_eq!(inner.uint(), Ok(1), "{name}: structure version");
        while let Some(key) = keys.next_uint(&mut inner).unwrap() {
            // Common block, validate, invoke, payload fetch and install are strings that hold an item.
            match key {
                3 | 7 | 9 | 16 => assert_eq!(strictly(inner.bytes().unwrap()), Ok(()), "{name}: key {key}"),
                20 if inner.rest()[0] >> 5 == 2 => {
                    assert_eq!(strictly(inner.bytes().unwrap()), Ok(()), "{name}: install")
                }
                _ => drop(inner.item().unwrap()),
            }
        }
        inner.end().unwrap();
    }
    for (name, field) in [
        ("cose-encrypt-a256kw.txt", "cose_encrypt"),
        ("fwenc-aeskw-aesctr.txt", "cose_encrypt"),
        ("fwenc-aeskw-aesgcm.txt", "cose_encrypt"),
        ("cose-sign1-ed25519.txt", "cose_sign1"),
        ("cose-sign1-hsslms.txt", "cose_sign1"),
    ] {
        let object = Vector::read(name).bytes(field);
        assert_eq!(strictly(&object), Ok(()), "{name}");
    }
}

/// One published recipient is not in deterministic order (label -1 before 4): the strict reader must notice.
#[test]
fn the_one_example_out_of_order_is_noticed() {
    let envelope = Vector::read(ESDH_EXAMPLE).bytes("envelope");
    // The recipient's unprotected header: {-1: {...}, 4: kid}.
    let at = envelope
        .windows(3)
        .position(|window| window == [0xa2, 0x20, 0xa4])
        .expect("the recipient's map");
    let order = Where {
        part: Part::Envelope,
        fault: Fault::KeyOrder,
    };
    assert_eq!(cursor(&envelope[at..]).item(), Err(Refusal::Malformed(order)));
}

#[test]
fn published_manifest_digests_hold() {
    for name in SUIT_EXAMPLES.iter().chain(&MAC_EXAMPLES).chain(&[ESDH_EXAMPLE]) {
        let envelope = Vector::read(name).bytes("envelope");
        let parts = Published::take_apart(&envelope);
        assert_eq!(sha256(parts.manifest), parts.stated_digest, "{name}");
        assert_ne!(
            sha256(parts.manifest_content()),
            parts.stated_digest,
            "{name}: the head is digested too"
        );
    }
}

/// Example 2 has severed its install sequence (20) and its text (23).
#[test]
fn published_digests_of_severed_elements_hold() {
    let vector = Vector::read("suit-manifest-ex2.txt");
    let envelope = vector.bytes("envelope");
    let parts = Published::take_apart(&envelope);
    assert_eq!(parts.severed.iter().map(|(key, _)| *key).collect::<Vec<_>>(), [20, 23]);
    let mut manifest = cursor(parts.manifest_content());
    let mut keys = manifest.map().unwrap();
    let mut found = 0;
    while let Some(key) = keys.next_uint(&mut manifest).unwrap() {
        let item = manifest.item().unwrap();
        if let Some((_, severed)) = parts.severed.iter().find(|(severed, _)| *severed == key) {
            let mut digest = cursor(item);
            assert_eq!((digest.array(), digest.int()), (Ok(2), Ok(-16)));
            assert_eq!(digest.array_of(), Ok(&sha256(severed)), "key {key}");
            found += 1;
        }
    }
    assert_eq!(found, 2);
    let text = cursor(parts.severed[1].1).bytes().unwrap();
    let entries = packstaff_envelope::text::decode(text).unwrap();
    assert!(
        entries
            .iter()
            .any(|entry| entry.item == TextItem::VendorDomain && !entry.value.is_empty())
    );
}

/// The Sig_structure or MAC_structure over a detached payload (RFC 9052, 4.4 and 6.3).
fn structure(context: &str, protected: &[u8], payload: &[u8]) -> Vec<u8> {
    let mut out = minicbor::Encoder::new(Vec::new());
    out.array(4)
        .unwrap()
        .str(context)
        .unwrap()
        .bytes(protected)
        .unwrap()
        .bytes(&[])
        .unwrap()
        .bytes(payload)
        .unwrap();
    out.into_writer()
}

/// ES256 in the manifest draft's examples, ESP256 in the encryption draft's: the same arithmetic.
#[test]
fn published_p256_signatures_hold() {
    for name in SUIT_EXAMPLES.iter().chain(&[ESDH_EXAMPLE]) {
        let vector = Vector::read(name);
        let envelope = vector.bytes("envelope");
        let parts = Published::take_apart(&envelope);
        let mut block = cursor(parts.block);
        assert_eq!((block.tag(), block.array()), (Ok(18), Ok(4)));
        let protected = block.bytes().unwrap();
        block.item().unwrap();
        block.null().unwrap();
        let signature: &[u8; 64] = block.array_of().unwrap();
        let point = [&[4], &vector.bytes("pub_x")[..], &vector.bytes("pub_y")].concat();
        let key = VerifyingKey::from_sec1_bytes(&point).unwrap();
        let signature = Signature::from_slice(signature).unwrap();
        let signed = structure("Signature1", protected, parts.digest_item);
        key.verify(&signed, &signature)
            .unwrap_or_else(|error| panic!("{name}: {error}"));
        assert!(key.verify(&[&signed[..], &[0]].concat(), &signature).is_err(), "{name}");
    }
}

/// HMAC with SHA-256 (RFC 2104), over our own SHA-256.
fn hmac_sha256(key: &[u8; 32], message: &[u8]) -> [u8; 32] {
    let padded = |pad: u8| {
        let mut block = [pad; 64];
        block.iter_mut().zip(key).for_each(|(byte, key)| *byte ^= key);
        let mut digest = Sha256::new();
        digest.update(&block);
        digest
    };
    let (mut inner, mut outer) = (padded(0x36), padded(0x5c));
    inner.update(message);
    outer.update(&inner.finish());
    outer.finish()
}

#[test]
fn published_macs_hold() {
    for name in MAC_EXAMPLES {
        let vector = Vector::read(name);
        let envelope = vector.bytes("envelope");
        let parts = Published::take_apart(&envelope);
        let mut block = cursor(parts.block);
        assert_eq!((block.tag(), block.array()), (Ok(17), Ok(4)));
        let protected = block.bytes().unwrap();
        block.item().unwrap();
        block.null().unwrap();
        let tag: &[u8; 32] = block.array_of().unwrap();
        assert_eq!(
            hmac_sha256(
                &vector.array("mac_key"),
                &structure("MAC0", protected, parts.digest_item)
            ),
            *tag,
            "{name}"
        );
    }
}

/// The IV and the first recipient's wrapped key of a COSE_Encrypt object.
fn encrypt_parts(object: &[u8]) -> (Vec<u8>, Vec<u8>) {
    let mut outer = cursor(object);
    assert_eq!((outer.tag(), outer.array()), (Ok(96), Ok(4)));
    outer.bytes().unwrap();
    let mut keys = outer.map().unwrap();
    let mut iv = Vec::new();
    while let Some(label) = keys.next_uint(&mut outer).unwrap() {
        match label {
            5 => iv = outer.bytes().unwrap().to_vec(),
            _ => drop(outer.item()),
        }
    }
    outer.item().unwrap();
    assert_eq!((outer.array(), outer.array()), (Ok(1), Ok(3)));
    assert_eq!(outer.bytes(), Ok(&[][..]), "key wrap protects no header");
    outer.item().unwrap();
    (iv, outer.bytes().unwrap().to_vec())
}

#[test]
fn published_key_wraps_open() {
    for name in ["fwenc-aeskw-aesctr.txt", "fwenc-aeskw-aesgcm.txt"] {
        let vector = Vector::read(name);
        let (iv, wrapped) = encrypt_parts(&vector.bytes("cose_encrypt"));
        let mut key = [0; 16];
        KwAes128::new(&vector.array::<16>("kek").into())
            .unwrap_key(&wrapped, &mut key)
            .unwrap();
        assert_eq!((key.to_vec(), iv), (vector.bytes("cek"), vector.bytes("iv")), "{name}");
    }
    let vector = Vector::read("cose-encrypt-a256kw.txt");
    let (_, wrapped) = encrypt_parts(&vector.bytes("cose_encrypt"));
    let mut key = [0; 16];
    KwAes256::new(&vector.array::<32>("kek").into())
        .unwrap_key(&wrapped, &mut key)
        .unwrap();
    assert_eq!(key, vector.array::<16>("cek"));
}

/// The drafts' only counter-mode example has a 128-bit key: it fixes how IV and counter are meant.
#[test]
fn the_published_counter_mode_example_decrypts() {
    let vector = Vector::read("fwenc-aeskw-aesctr.txt");
    let mut bytes = vector.bytes("ciphertext");
    let (key, iv) = (vector.array::<16>("cek"), vector.array::<16>("iv"));
    ctr::Ctr128BE::<aes::Aes128>::new(&key.into(), &iv.into()).apply_keystream(&mut bytes);
    assert_eq!(bytes, vector.bytes("plaintext"));
}

/// The encrypted content in the manifests is that of the plain example, under the same key: the unwrapped keys agree.
#[test]
fn keys_inside_published_manifests_open() {
    for name in MAC_EXAMPLES {
        let vector = Vector::read(name);
        let envelope = vector.bytes("envelope");
        let start = envelope
            .windows(4)
            .position(|window| window == [0xd8, 0x60, 0x84, 0x43])
            .unwrap();
        let (_, wrapped) = encrypt_parts(&envelope[start..]);
        let mut key = [0; 16];
        KwAes128::new(&vector.array::<16>("kek").into())
            .unwrap_key(&wrapped, &mut key)
            .unwrap();
        assert_eq!(key, Vector::read("fwenc-aeskw-aesgcm.txt").array::<16>("cek"), "{name}");
    }
}

/// An IETF COSE example with the general EdDSA number: the same signature primitive.
#[test]
fn the_published_ed25519_example_holds() {
    let vector = Vector::read("cose-sign1-ed25519.txt");
    let object = vector.bytes("cose_sign1");
    let mut outer = cursor(&object);
    assert_eq!((outer.tag(), outer.array()), (Ok(18), Ok(4)));
    let protected = outer.bytes().unwrap();
    outer.item().unwrap();
    let payload = outer.bytes().unwrap();
    let signature = outer.array_of().unwrap();
    let signed = structure("Signature1", protected, payload);
    assert_eq!(signed, vector.bytes("to_be_signed"));
    assert!(ed25519_holds(&vector.array("pub"), &signed, signature));
    assert!(!ed25519_holds(
        &vector.array("pub"),
        &[&signed[..], b"x"].concat(),
        signature
    ));
}

fn own_sample() -> (Vector, Vec<u8>, Anchor) {
    let vector = Vector::read("own-profile-sample.txt");
    let file = vector.bytes("envelope");
    let anchor = Anchor::ed25519(Kid::new(b"author-1").unwrap(), vector.array("sign_pub"));
    (vector, file, anchor)
}

/// The whole profile, in a file that this crate did not write, fed byte by byte.
#[test]
fn a_file_from_another_program_opens() {
    let (vector, file, anchor) = own_sample();
    let mut reader = HeaderReader::new(file.len() as u32);
    let fed = file
        .iter()
        .position(|byte| reader.feed(&[*byte]) == Ok(Fed::Complete))
        .unwrap();
    let manifest = reader.verify(&[anchor]).unwrap();
    assert_eq!(manifest.payload_offset as usize, fed + 1);
    assert_eq!(
        SigStructure::new(Algorithm::Ed25519, &manifest.digest)
            .as_bytes()
            .to_vec(),
        vector.bytes("to_be_signed")
    );
    assert_eq!(manifest.sequence, 7);
    assert_eq!(Some(manifest.version), VersionNumbers::new(&[1, 2, 3]));
    assert_eq!(manifest.vendor, vector.array("vendor_id"));
    assert_eq!(manifest.class, vector.array("class_id"));
    assert_eq!(manifest.iv, vector.array("iv"));
    let plaintext = vector.bytes("plaintext");
    assert_eq!(
        (manifest.image_size as usize, manifest.image_digest),
        (plaintext.len(), sha256(&plaintext))
    );
    let payload = &file[manifest.payload_offset as usize..];
    assert_eq!(payload, vector.bytes("ciphertext"));
    assert_eq!(sha256(payload), manifest.payload_digest);
    for (kid, field) in [("gen1", "kek_gen1"), ("gen2", "kek_gen2")] {
        let key = UnitKey {
            kid: Kid::new(kid.as_bytes()).unwrap(),
            key: vector.array(field),
        };
        let content_key = reader.content_key(&key).unwrap();
        assert_eq!(content_key, packstaff_envelope::ContentKey::new(vector.array("cek")));
        let mut image = payload.to_vec();
        PayloadCipher::new(&content_key, &manifest.iv).apply(0, &mut image);
        assert_eq!(image, plaintext);
        assert_eq!(open(&file, &[anchor], &key).unwrap().image, plaintext);
    }
    let stranger = UnitKey {
        kid: Kid::new(b"gen3").unwrap(),
        key: vector.array("kek_gen1"),
    };
    assert_eq!(reader.content_key(&stranger), Err(Refusal::NoRecipient));
    let wrong = UnitKey {
        kid: Kid::new(b"gen2").unwrap(),
        key: vector.array("kek_gen1"),
    };
    assert_eq!(reader.content_key(&wrong), Err(Refusal::KeyUnwrap));
}

#[test]
fn looking_at_a_file_from_another_program() {
    let (vector, file, _) = own_sample();
    let found = look(&file).unwrap();
    assert!(found.manifest_digest_holds && found.payload_digest_holds && found.sizes_hold);
    assert_eq!(found.text_digest_holds, Some(true));
    assert_eq!(
        found.recipients.iter().map(ToString::to_string).collect::<Vec<_>>(),
        ["gen1", "gen2"]
    );
    assert_eq!(found.signers.len(), 1);
    assert_eq!(
        (found.signers[0].algorithm, found.signers[0].kid),
        (Some(-19), Kid::new(b"author-1"))
    );
    assert_eq!(
        (found.wrapper.size, found.manifest.size, found.payload.size),
        (125, 371, 128)
    );
    let payload = &file[found.payload.offset as usize..];
    assert_eq!(payload, vector.bytes("ciphertext"));
    let text = |item| {
        found
            .text_entries
            .iter()
            .find(|entry| entry.item == item)
            .map(|entry| entry.value.as_str())
    };
    assert_eq!(text(TextItem::UpdateDescription), Some("Fixes the demo."));
    assert_eq!(text(TextItem::ModelName), Some("Demo board"));
    assert_eq!(text(TextItem::ComponentVersion), Some("1.2.3"));
    assert_eq!(found.text_entries.len(), 7);
}

/// Published envelopes are not of this profile: each is refused, and none by accident.
#[test]
fn other_profiles_are_refused() {
    for name in SUIT_EXAMPLES.iter().chain(&MAC_EXAMPLES).chain(&[ESDH_EXAMPLE]) {
        let envelope = Vector::read(name).bytes("envelope");
        let refusal = look(&envelope).unwrap_err();
        let shape = [
            Refusal::Missing(Part::Envelope),
            Refusal::UnknownCritical(Part::Envelope),
        ];
        assert!(shape.contains(&refusal), "{name}: {refusal}");
    }
}
