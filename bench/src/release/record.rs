//! What a release leaves in the ledger.

use super::Edition;
use super::pack::Packed;
use crate::notes::Notes;
use packstaff_envelope::Algorithm;
use packstaff_envelope::look::ClaimedSigner;
use packstaff_product::keyring::signer_fingerprint;
use packstaff_product::ledger::{BoardRecord, SettingsRecord, TreeSignature};
use packstaff_product::{Keyring, Product, Record};

/// Name of the layout file in the ledger.
pub(super) const LAYOUT: &str = "settings.toml";

/// The record of a release.
pub(super) fn record<'p>(
    product: &Product,
    edition: &Edition,
    notes: &Notes,
    keyring: &Keyring,
    packed: impl Iterator<Item = &'p Packed>,
) -> Record {
    let boards = packed.filter_map(|packed| {
        Some(BoardRecord {
            revision: packed.board.clone(),
            class: product.board(&packed.board)?.class,
            file: packed.name.clone(),
            file_size: packed.file.len() as u64,
            file_sha256: packstaff_envelope::sha256(&packed.file),
            image_size: packed.image.len() as u64,
            image_sha256: packed.manifest.image_digest,
            manifest_sha256: packed.manifest.digest,
            signer: signer(keyring, &packed.file),
            tree: tree_signature(keyring, &packed.file),
            generations: product.keys.serve.clone(),
        })
    });
    Record {
        version: edition.version.text().to_owned(),
        numbers: edition.version.numbers(),
        issue: edition.issue,
        date: edition.date,
        kind: notes.kind(),
        notes: notes.changes.clone(),
        settings: None,
        boards: boards.collect(),
    }
}

/// The fingerprint of the key that signed: Ed25519, unless HSS-LMS signed alone.
fn signer(keyring: &Keyring, file: &[u8]) -> String {
    let ed25519 = |signer: &ClaimedSigner| signer.algorithm == Some(Algorithm::Ed25519.number());
    let signers = packstaff_envelope::look(file)
        .map(|seen| seen.signers)
        .unwrap_or_default();
    match keyring.tree_key() {
        Ok(key) if !signers.iter().any(ed25519) => key.listing().fingerprint,
        _ => signer_fingerprint(&keyring.public_key()),
    }
}

/// Which of the HSS-LMS key's one-time keys signed a file. The file was opened before, so that what it says holds.
fn tree_signature(keyring: &Keyring, file: &[u8]) -> Option<TreeSignature> {
    let key = keyring.tree_key().ok()?;
    let signers = packstaff_envelope::look(file).ok()?.signers;
    let of_key = |signer: &&ClaimedSigner| signer.kid.is_some_and(|kid| kid.as_bytes() == key.kid());
    Some(TreeSignature {
        signer: key.listing().fingerprint,
        one_time_key: signers.iter().find(of_key)?.leaf?,
    })
}

/// How the ledger knows a layout file.
pub(super) fn layout(content: &[u8]) -> SettingsRecord {
    SettingsRecord {
        file: LAYOUT.to_owned(),
        file_size: content.len() as u64,
        file_sha256: packstaff_envelope::sha256(content),
    }
}
