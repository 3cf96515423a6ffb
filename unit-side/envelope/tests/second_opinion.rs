//! Files that we write, opened by Python's cbor2, cryptography and pyhsslms: no line in common with our decoder. And
//! HSS-LMS signatures in both directions: pyhsslms checks ours, and we check its.

mod support;

use packstaff_envelope::hss::sign::{Branches, SecretTree};
use packstaff_envelope::hss::{self, OtsKind, TreeKind};
use packstaff_envelope::{
    Algorithm, Draft, HEADER_MAX_WIDE, Kid, Signer, TextEntry, UnitKey, encode, encode_signed, look,
};
use std::path::Path;
use std::process::{Command, Output};
use support::{SIGNER_KID, draft, generations, sign, signer_key, text, unit_key};

const NEEDS: &str = "this test needs Python 3 with the libraries cbor2, cryptography and pyhsslms: in a virtual environment \
    (`apt install python3-venv` on Debian) `pip install cbor2 cryptography pyhsslms`, with PACKSTAFF_PYTHON set to that \
    environment's python; `cargo xtask check python` does it";

fn python() -> Command {
    Command::new(std::env::var_os("PACKSTAFF_PYTHON").unwrap_or_else(|| "python3".into()))
}

fn ready_python() -> Command {
    let ready = python().args(["-c", "import cbor2, cryptography, pyhsslms"]).output();
    assert!(ready.is_ok_and(|output| output.status.success()), "{NEEDS}");
    python()
}

fn said(output: &Output) -> String {
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8_lossy(&output.stdout).trim().to_owned()
}

/// Opens the file of `draft` in Python; compares the image; gives what the manifest says, as JSON.
fn opened_by_python(draft: &Draft<'_>, key: &UnitKey) -> String {
    let file = encode(draft, SIGNER_KID, sign).unwrap();
    file_opened_by_python(draft, &file, &hex::encode(signer_key()), key)
}

fn file_opened_by_python(draft: &Draft<'_>, file: &[u8], public_keys: &str, key: &UnitKey) -> String {
    let folder = tempfile::tempdir().unwrap();
    let (path, image) = (folder.path().join("update.suit"), folder.path().join("image.bin"));
    std::fs::write(&path, file).unwrap();
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/open_update.py");
    let output = ready_python()
        .arg(script)
        .arg(&path)
        .arg(public_keys)
        .arg(key.kid.to_string())
        .arg(hex::encode(key.key))
        .arg(&image)
        .output()
        .unwrap();
    let said = said(&output);
    assert!(
        std::fs::read(&image).unwrap() == draft.image,
        "Python recovered another image"
    );
    said
}

fn image(len: usize) -> Vec<u8> {
    (0..len).map(|index| (index * 7 + index / 256) as u8).collect()
}

#[test]
fn python_opens_a_file_and_agrees() {
    let (image, keys, text) = (image(70_001), generations(), text());
    let draft = draft(&image, &keys, &text);
    let digest = hex::encode(
        look(&encode(&draft, SIGNER_KID, sign).unwrap())
            .unwrap()
            .manifest_digest,
    );
    for key in &keys {
        let expected = format!(
            "{{\"class\": \"{}\", \"manifest_digest\": \"{digest}\", \"recipients\": [\"g1\", \"g2\"], \
             \"sequence\": 7, \"signer\": \"maker-1\", \"text\": {{\"en\": {{\
             \"file\": {{\"2\": \"Slower ramps below 200 degrees\"}}, \
             \"slot\": {{\"2\": \"KC-4\", \"6\": \"2.1\"}}}}}}, \"vendor\": \"{}\", \"version\": [2, 1]}}",
            "bb".repeat(16),
            "aa".repeat(16),
        );
        assert_eq!(opened_by_python(&draft, key), expected);
    }
}

#[test]
fn python_opens_the_smallest_and_the_widest() {
    let none: [TextEntry; 0] = [];
    let one = [unit_key("g", 0x77)];
    opened_by_python(&draft(&[0], &one, &none), &one[0]);

    let eight: Vec<UnitKey> = (1..=8)
        .map(|index| unit_key(&format!("generation-00{index:03}"), index))
        .collect();
    let image = image(300);
    let mut wide = draft(&image, &eight, &none);
    (wide.sequence, wide.version) = (u64::MAX, &[u32::MAX, 0, 24]);
    let said = opened_by_python(&wide, &eight[7]);
    assert!(
        said.contains("\"sequence\": 18446744073709551615") && said.contains("[4294967295, 0, 24]"),
        "{said}"
    );
}

fn tree(ots: OtsKind) -> (SecretTree, Branches) {
    let secret = SecretTree::new(TreeKind::H5, ots, [0x41; 16], &[0x42; 32]);
    let roots = (0..secret.branch_count()).map(|index| secret.branch(index)).collect();
    let branches = Branches::of(&secret, roots).unwrap();
    (secret, branches)
}

#[test]
fn python_opens_a_file_with_two_signatures() {
    let (secret, branches) = tree(OtsKind::W8);
    let (image, keys, text) = (image(3000), generations(), text());
    let draft = draft(&image, &keys, &text);
    let tree_signer = || {
        Signer::new(Kid::new(b"tree-1").unwrap(), Algorithm::HssLms, |bytes| {
            secret.sign(&branches, 9, bytes)
        })
    };
    let hash_key = hex::encode(secret.public_key(&branches));
    let file = encode_signed(&draft, vec![tree_signer()], HEADER_MAX_WIDE).unwrap();
    let said = file_opened_by_python(&draft, &file, &hash_key, &keys[0]);
    assert!(said.contains("\"signer\": \"tree-1\""), "{said}");

    let ed25519 = Signer::new(Kid::new(SIGNER_KID).unwrap(), Algorithm::Ed25519, |bytes| {
        sign(bytes).into()
    });
    let file = encode_signed(&draft, vec![ed25519, tree_signer()], HEADER_MAX_WIDE).unwrap();
    let both = format!("{},{hash_key}", hex::encode(signer_key()));
    let said = file_opened_by_python(&draft, &file, &both, &keys[1]);
    assert!(said.contains("\"signer\": \"maker-1 and tree-1\""), "{said}");
}

/// Both directions, every width of digits; for the other library's keys also with two levels.
#[test]
fn another_library_signs_and_checks() {
    let script = "
import sys, pyhsslms as p
mode, kind, *rest = sys.argv[1:]
if mode == 'check':
    key, message, signature = (bytes.fromhex(field) for field in rest)
    print(p.HssPublicKey.deserialize(key).verify(message, signature))
else:
    ots = [p.lmots_sha256_n32_w1, p.lmots_sha256_n32_w2, p.lmots_sha256_n32_w4, p.lmots_sha256_n32_w8][int(kind)]
    key = p.HssPrivateKey(levels=int(rest[0]), lms_type=p.lms_sha256_m32_h5, lmots_type=ots)
    for message in (b'one', b'two'):
        print(key.publicKey().serialize().hex(), message.hex(), key.sign(message).hex())
";
    for (index, ots) in OtsKind::ALL.into_iter().enumerate() {
        let (secret, branches) = tree(ots);
        let signature = secret.sign(&branches, 21, b"a message of ours");
        let with = |message: &[u8]| {
            let mut asked = ready_python();
            asked.args(["-c", script, "check", "-", &hex::encode(secret.public_key(&branches))]);
            said(
                &asked
                    .args([hex::encode(message), hex::encode(&signature)])
                    .output()
                    .unwrap(),
            )
        };
        assert_eq!(with(b"a message of ours"), "True", "{ots:?}");
        assert_eq!(with(b"a message of theirs"), "False", "{ots:?}");

        for levels in ["1", "2"] {
            let theirs = ready_python()
                .args(["-c", script, "sign", &index.to_string(), levels])
                .output();
            let theirs = said(&theirs.unwrap());
            assert_eq!(theirs.lines().count(), 2);
            for line in theirs.lines() {
                let fields: Vec<_> = line.split(' ').map(|field| hex::decode(field).unwrap()).collect();
                let [key, message, signature] = fields.as_slice() else {
                    panic!("{line}")
                };
                let key = key.as_slice().try_into().unwrap();
                assert!(hss::holds(key, message, signature), "{ots:?}, {levels} levels");
                assert!(!hss::holds(key, b"another", signature));
            }
        }
    }
}
