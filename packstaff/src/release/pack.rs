//! Packing: each board's image becomes an update file, or is found to be one already.

use super::Packed;
use super::build::Images;
use super::signing::Signing;
use crate::progress::Progress;
use crate::told::ForPeople;
use miette::{Diagnostic, IntoDiagnostic, Result, WrapErr};
use packstaff_bench::notes::Notes;
use packstaff_bench::open::{Bench, EXTENSION, unit_key};
use packstaff_envelope::encode::iv;
use packstaff_envelope::{Draft, Signer, TextEntry, TextItem, UnitKey, encode_signed, open};
use packstaff_product::{Board, KeyringFile, Version};
use packstaff_words::report::{Cell, Report};
use packstaff_words::text::hex;
use thiserror::Error;
use zeroize::Zeroizing;

/// A name for an update file that no stick could hold.
#[derive(Debug, Error, Diagnostic)]
#[error("no name of at most 8 letters can be made for board {board} of {short} {version}")]
#[diagnostic(help("give the product a shorter `short` name, or the board a shorter revision, in product.toml"))]
pub struct NameError {
    short: String,
    board: String,
    version: String,
}

/// The name of a board's update file: upper case, 8 and 3 characters, so that every computer and every unit reads it alike.
///
/// # Errors
/// Short name, revision and version are too long together.
pub fn file_name(short: &str, board: &str, version: &Version) -> Result<String, NameError> {
    let numbers = version.numbers();
    let numbers: Vec<_> = numbers.as_slice().iter().map(u32::to_string).collect();
    let start = format!("{short}{board}").to_ascii_uppercase();
    let candidates = [
        format!("{start}-{}", numbers.join("-")),
        format!("{start}{}", numbers.join("-")),
        format!("{start}{}", numbers.concat()),
    ];
    candidates
        .into_iter()
        .find(|name| name.len() <= 8)
        .map(|name| format!("{name}.{EXTENSION}"))
        .ok_or_else(|| NameError {
            short: short.to_owned(),
            board: board.to_owned(),
            version: version.text().to_owned(),
        })
}

pub(super) fn pack(
    bench: &Bench,
    keyring: &KeyringFile,
    version: &Version,
    notes: &Notes,
    images: Images,
    progress: &Progress,
    report: &mut Report,
) -> Result<Vec<Packed>> {
    let product = &bench.product;
    let known = |board: &Board| {
        let release = bench.ledger.find(version.text(), product.policy.issue)?;
        Some((release, release.record.board(&board.revision)?))
    };
    let new = |revision: &String| product.board(revision).is_some_and(|board| known(board).is_none());
    let new = images.iter().filter(|(revision, _)| new(revision)).count();
    let signing = Signing::ready(bench, keyring, new, progress)?;
    progress.say("packing");
    let recipients = keyring
        .keyring()
        .serving_keys(&product.keys.serve)
        .into_diagnostic()
        .wrap_err("the generations that product.toml serves")?
        .into_iter()
        .map(|(generation, key)| unit_key(&generation, *key))
        .collect::<Result<Vec<_>, _>>()
        .told()?;
    let mut packed = Vec::new();
    for (column, board) in product.boards.iter().enumerate() {
        let Some((_, image)) = images.iter().find(|(revision, _)| *revision == board.revision) else {
            continue;
        };
        let (name, file) = match known(board) {
            Some((release, record)) => (record.file.clone(), release.update_file(record).into_diagnostic()?),
            None => {
                let name = file_name(&product.short, &board.revision, version)?;
                let signers = signing.signers()?;
                let file = encode(bench, signers, &recipients, version, notes, board, image)?;
                if let Some(cell) = signing.left()? {
                    report.set("Update file", "one-time-keys", "HSS-LMS signatures left", column, cell);
                }
                (name, file)
            }
        };
        let mut manifest = None;
        for recipient in &recipients {
            let generation = recipient.kid.to_string();
            let id = format!("opens-{generation}");
            let title = format!("Units of generation {generation} open it");
            let anchors = bench.anchors(keyring.keyring(), &generation).told()?;
            let cell = match open(&file, &anchors, recipient) {
                Ok(opened) if opened.image == *image => {
                    manifest = Some(opened.manifest);
                    Cell::pass("")
                }
                Ok(opened) => Cell::fail(
                    format!(
                        "an image with the SHA-256 {}",
                        hex(&packstaff_envelope::sha256(&opened.image))
                    ),
                    format!("the build's image, {}", hex(&packstaff_envelope::sha256(image))),
                    "The file holds another image than the build. Nothing may go out like this: please report it.",
                ),
                Err(refusal) => Cell::fail(
                    format!("refused: {refusal}"),
                    "a file that these units read",
                    "If the release is in the ledger already, its keys are no longer those of the keyring: raise the issue in product.toml and release again.",
                ),
            };
            report.set("Update file", &id, &title, column, cell);
        }
        if let Some(manifest) = manifest {
            let made = Packed {
                board: board.clone(),
                image: image.clone(),
                file,
                name,
                manifest,
            };
            report.set(
                "Update file",
                "file",
                "Signed, encrypted, read back",
                column,
                made.summary(),
            );
            packed.push(made);
        }
    }
    Ok(packed)
}

fn encode(
    bench: &Bench,
    signers: Vec<Signer<'_>>,
    recipients: &[UnitKey],
    version: &Version,
    notes: &Notes,
    board: &Board,
    image: &[u8],
) -> Result<Vec<u8>> {
    let product = &bench.product;
    let mut random = Zeroizing::new([0; 44]);
    getrandom::fill(random.as_mut_slice())
        .map_err(|error| miette::miette!("the system gives no random numbers: {error}"))?;
    let (key, nonce) = random
        .split_first_chunk::<32>()
        .ok_or_else(|| miette::miette!("44 bytes hold 32"))?;
    let nonce = nonce
        .first_chunk::<12>()
        .ok_or_else(|| miette::miette!("44 bytes hold 32 and 12"))?;
    let text = text(bench, version, notes, board);
    let numbers = version.numbers();
    let draft = Draft {
        sequence: product.policy.issue,
        version: numbers.as_slice(),
        vendor: *product.maker.vendor.as_bytes(),
        class: *board.class.as_bytes(),
        image,
        text: &text,
        recipients,
        content_key: *key,
        iv: iv(*nonce),
    };
    encode_signed(&draft, signers, product.keys.header_room() as usize)
        .into_diagnostic()
        .wrap_err_with(|| format!("the update file for board {}", board.revision))
}

fn text(bench: &Bench, version: &Version, notes: &Notes, board: &Board) -> Vec<TextEntry> {
    let product = &bench.product;
    let entry = |item, text: &str| TextEntry {
        language: product.owner.language.clone(),
        item,
        value: text.to_owned(),
    };
    vec![
        entry(
            TextItem::ManifestDescription,
            &format!("{} {}", product.name, version.text()),
        ),
        entry(TextItem::UpdateDescription, &notes.changes.join(" ")),
        entry(TextItem::VendorName, &product.maker.name),
        entry(TextItem::ModelName, &product.name),
        entry(TextItem::VendorDomain, &product.maker.domain),
        entry(TextItem::ModelInfo, &board.model),
        entry(TextItem::ComponentVersion, version.text()),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use packstaff_product::Scheme;

    #[test]
    fn names_fit_eight_and_three() {
        let name = |short, board, version: &str| file_name(short, board, &Scheme::Dotted.read(version).unwrap());
        assert_eq!(name("KC4", "C", "2.1").unwrap(), "KC4C-2-1.UPD");
        assert_eq!(name("KC4", "C", "2.10").unwrap(), "KC4C2-10.UPD");
        assert_eq!(name("KC4", "C", "2.10.7").unwrap(), "KC4C2107.UPD");
        assert!(name("KC45", "C2", "2.10.7").is_err());
    }
}
