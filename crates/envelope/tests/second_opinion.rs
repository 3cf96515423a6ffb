//! Files that we write, opened by Python's cbor2 and cryptography: no line in common with our decoder.

mod support;

use envelope::{Draft, TextEntry, UnitKey, encode, look};
use std::path::Path;
use std::process::Command;
use support::{SIGNER_KID, draft, generations, sign, signer_key, text, unit_key};

const NEEDS: &str = "this test needs Python 3 with the libraries cbor2 and cryptography: \
    `apt install python3-cbor2 python3-cryptography` on Debian, or in a virtual environment \
    `pip install cbor2 cryptography` with PACKSTAFF_PYTHON set to that environment's python";

fn python() -> Command {
    Command::new(std::env::var_os("PACKSTAFF_PYTHON").unwrap_or_else(|| "python3".into()))
}

/// Opens the file of `draft` in Python; compares the image; gives what the manifest says, as JSON.
fn opened_by_python(draft: &Draft<'_>, key: &UnitKey) -> String {
    let ready = python().args(["-c", "import cbor2, cryptography"]).output();
    assert!(ready.is_ok_and(|output| output.status.success()), "{NEEDS}");
    let folder = tempfile::tempdir().unwrap();
    let (file, image) = (folder.path().join("update.suit"), folder.path().join("image.bin"));
    std::fs::write(&file, encode(draft, SIGNER_KID, sign).unwrap()).unwrap();
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/open_update.py");
    let output = python()
        .arg(script)
        .arg(&file)
        .arg(hex::encode(signer_key()))
        .arg(key.kid.to_string())
        .arg(hex::encode(key.key))
        .arg(&image)
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(
        std::fs::read(&image).unwrap() == draft.image,
        "Python recovered another image"
    );
    String::from_utf8(output.stdout).unwrap().trim().into()
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
