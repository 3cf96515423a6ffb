//! What stands inside the age file: a TOML document that general tools can read too.
//!
//! The signing key is a PKCS#8 PEM block (RFC 5958, RFC 7468, RFC 8410) with its first line at the start of a line, so
//! `openssl pkey` reads it straight from the decrypted text and skips the rest. It is PKCS#8 version 1, without the
//! public key, because OpenSSL 3.0 does not read version 2.

use super::{GenerationState, Keyring, KeyringError, TreeKey, UnitKeyEntry};
use crate::product_file::{FORMAT, generation_id};
use ed25519_dalek::SigningKey;
use ed25519_dalek::pkcs8::spki::der::pem::LineEnding;
use ed25519_dalek::pkcs8::{DecodePrivateKey, EncodePrivateKey, KeypairBytes};
use packstaff_document::Date;
use packstaff_document::{Entry, Notes, Section, parse};
use std::fmt::Write;
use zeroize::Zeroizing;

const ROOT_KEYS: &[&str] = &["format", "signing", "tree", "recipients", "generation"];
const SIGNING_KEYS: &[&str] = &["algorithm", "created", "pem"];
const GENERATION_KEYS: &[&str] = &["id", "created", "state", "key"];
const ALGORITHM: &str = "Ed25519";

/// Bytes that a keyring's text may need: more than enough, so that the text never moves while it is written.
fn room_for(keyring: &Keyring) -> usize {
    1024 + if keyring.tree.is_some() { 512 } else { 0 }
        + 256 * keyring.generations.len()
        + 80 * keyring.recipients.len()
}

pub(crate) fn write(keyring: &Keyring) -> Result<Zeroizing<String>, KeyringError> {
    let pair = KeypairBytes {
        secret_key: keyring.signing.to_bytes(),
        public_key: None,
    };
    let pem = pair
        .to_pkcs8_pem(LineEnding::LF)
        .map_err(|error| KeyringError::Seal(error.to_string()))?;
    let mut out = Zeroizing::new(String::with_capacity(room_for(keyring)));
    // Writing to a String cannot fail.
    let _ = writeln!(
        out,
        "# The keys of a product. Whoever reads this can make files that its units accept."
    );
    let _ = writeln!(out, "format = {FORMAT}");
    let recipients: Vec<String> = keyring
        .recipients
        .iter()
        .map(|recipient| format!("\"{recipient}\""))
        .collect();
    let _ = writeln!(out, "recipients = [{}]", recipients.join(", "));
    let _ = writeln!(
        out,
        "\n[signing]\nalgorithm = \"{ALGORITHM}\"\ncreated = {}",
        keyring.signing_created
    );
    let _ = writeln!(out, "pem = '''\n{}'''", *pem);
    if let Some(tree) = &keyring.tree {
        tree.write(&mut out);
    }
    for UnitKeyEntry {
        id,
        created,
        state,
        key,
    } in &keyring.generations
    {
        let key = Zeroizing::new(hex::encode(key.as_slice()));
        let _ = writeln!(out, "\n[[generation]]\nid = \"{id}\"\ncreated = {created}");
        let _ = writeln!(out, "state = \"{}\"\nkey = \"{}\"", state.word(), *key);
    }
    Ok(out)
}

/// Reads the text. No complaint repeats anything of it: it is secret.
pub(crate) fn read(bytes: &[u8]) -> Result<Keyring, KeyringError> {
    let damaged = |line, what: &str| KeyringError::DamagedContent {
        line,
        what: what.to_owned(),
    };
    let text = std::str::from_utf8(bytes).map_err(|_| damaged(1, "the text"))?;
    let notes = Notes::of_secret(text);
    let keyring = parse(&notes).and_then(|root| read_root(&Section::root(&notes, &root, ROOT_KEYS)));
    notes
        .finish_secret(keyring)
        .map_err(|(line, what)| damaged(line, &what))
}

fn read_root(root: &Section<'_, '_>) -> Option<Keyring> {
    root.value("format").and_then(|entry| entry.format(FORMAT))?;
    let recipients: Vec<Option<age::x25519::Recipient>> =
        root.value("recipients")?.list()?.iter().map(recipient).collect();
    let signing = root.table("signing", "[signing]", SIGNING_KEYS)?;
    signing.value("algorithm")?.word(&[(ALGORITHM, ())])?;
    let signing_created = signing.value("created")?.date()?;
    let pem = signing.value("pem")?;
    let Ok(key) = SigningKey::from_pkcs8_pem(pem.raw_text()?.trim()) else {
        return pem.refuse("a PKCS#8 PEM block", "");
    };
    let tree = match root.find("tree") {
        Some(entry) => Some(TreeKey::read(&entry.section("[tree]", TreeKey::KEYS)?)?),
        None => None,
    };
    let mut keyring = Keyring {
        signing: key,
        signing_created,
        tree,
        generations: Vec::new(),
        recipients: recipients.into_iter().collect::<Option<_>>()?,
    };
    for section in root.sections("generation", "[[generation]]", GENERATION_KEYS) {
        let entry = section.value("id")?;
        let id = generation_id(&entry)?;
        if keyring.generations.iter().any(|other| other.id == id) {
            return entry.refuse("a generation of its own", "");
        }
        let created: Date = section.value("created")?.date()?;
        let state = section.value("state")?.word(GenerationState::WORDS)?;
        let key = unit_key(&section.value("key")?)?;
        keyring.generations.push(UnitKeyEntry {
            id,
            created,
            state,
            key,
        });
    }
    Some(keyring)
}

fn recipient(entry: &Entry<'_, '_>) -> Option<age::x25519::Recipient> {
    match entry.raw_text()?.parse() {
        Ok(recipient) => Some(recipient),
        Err(_) => entry.refuse("an age recipient", ""),
    }
}

fn unit_key(entry: &Entry<'_, '_>) -> Option<Zeroizing<[u8; 32]>> {
    let mut key = Zeroizing::new([0; 32]);
    match hex::decode_to_slice(entry.raw_text()?, key.as_mut_slice()) {
        Ok(()) => Some(key),
        Err(_) => entry.refuse("a key of 64 hexadecimal digits", ""),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn sample() -> Keyring {
        let mut keyring = Keyring::generate("g1", Date::new(2026, 1, 5).unwrap()).unwrap();
        keyring.add_generation("g2", Date::new(2026, 1, 6).unwrap()).unwrap();
        keyring.recipients.push(age::x25519::Identity::generate().to_public());
        keyring.tree = Some(TreeKey::sample());
        keyring
    }

    #[test]
    fn the_text_never_outgrows_the_room_taken_for_it() {
        let mut keyring = sample();
        for number in 3..40 {
            keyring
                .add_generation(&format!("g-{number:06}"), Date::new(2026, 1, 6).unwrap())
                .unwrap();
            keyring.recipients.push(age::x25519::Identity::generate().to_public());
        }
        assert!(write(&keyring).unwrap().len() <= room_for(&keyring));
        assert!(
            read(write(&keyring).unwrap().as_bytes())
                .unwrap()
                .holds_the_same_as(&keyring)
        );
    }

    proptest! {
        /// Anybody who can seal for the maker's recipient can hand over any text.
        #[test]
        fn any_change_is_read_or_refused(at in 0_usize..1800, length in 0_usize..80, new in "[ -~\n]{0,24}|\\PC{0,8}") {
            let text = write(&sample()).unwrap();
            let at = at.min(text.len());
            let end = (at + length).min(text.len());
            let _ = read(format!("{}{new}{}", &text[..at], &text[end..]).as_bytes());
            let _ = read(new.as_bytes());
        }

        #[test]
        fn any_bytes_are_refused_as_an_age_file(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
            let secret = crate::keyring::unlock::Secret::Identities(vec![age::x25519::Identity::generate()]);
            prop_assert!(crate::keyring::sealing::open(&bytes, &secret).is_err());
        }
    }
}
