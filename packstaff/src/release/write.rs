//! What a release leaves behind: the record, and a folder that appears whole or not at all.

use super::Packed;
use miette::{Diagnostic, IntoDiagnostic, Result, WrapErr};
use packstaff_bench::notes::Notes;
use packstaff_bench::open::EXTENSION;
use packstaff_envelope::Algorithm;
use packstaff_envelope::look::ClaimedSigner;
use packstaff_product::keyring::signer_fingerprint;
use packstaff_product::ledger::{BoardRecord, SettingsRecord, TreeSignature};
use packstaff_product::{Date, Keyring, Record, Version};
use packstaff_stick::StickImage;
use packstaff_words::report::Report;
use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::{fs, io};
use thiserror::Error;

/// Name of the layout file in the ledger.
pub(super) const LAYOUT: &str = "settings.toml";
const STICK: &str = "stick.img";
const SHEET: &str = "sheet.html";
const REPORT: &str = "report.json";

pub(super) fn record(
    version: &Version,
    date: Date,
    issue: u64,
    notes: &Notes,
    keyring: &Keyring,
    packed: &[Packed],
    serve: &[String],
) -> Record {
    let boards = packed.iter().map(|packed| BoardRecord {
        revision: packed.board.revision.clone(),
        class: packed.board.class,
        file: packed.name.clone(),
        file_size: packed.file.len() as u64,
        file_sha256: packstaff_envelope::sha256(&packed.file),
        image_size: packed.image.len() as u64,
        image_sha256: packed.manifest.image_digest,
        manifest_sha256: packed.manifest.digest,
        signer: signer(keyring, &packed.file),
        tree: tree_signature(keyring, &packed.file),
        generations: serve.to_vec(),
    });
    Record {
        version: version.text().to_owned(),
        numbers: version.numbers(),
        issue,
        date,
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

/// Something that stands where the release is to go.
#[derive(Debug, Error, Diagnostic)]
pub(super) enum InTheWay {
    /// A file.
    #[error("{} is there already and is not a folder", .0.display())]
    #[diagnostic(help("name another folder with --out"))]
    File(PathBuf),
    /// A folder that holds anything else than a release.
    #[error("{} holds {}, which is no part of a release: it would be lost", folder.display(), stranger.to_string_lossy())]
    #[diagnostic(help("name an empty folder or a new one with --out, or move that away"))]
    Stranger {
        /// The folder.
        folder: PathBuf,
        /// What is in it.
        stranger: OsString,
    },
}

/// A folder is replaced as a whole, so it must hold nothing but an earlier release.
pub(super) fn may_replace(folder: &Path) -> Result<()> {
    let failed = || format!("{} cannot be listed", folder.display());
    let entries = match fs::read_dir(folder) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
        Err(error) if error.kind() == io::ErrorKind::NotADirectory => {
            return Err(InTheWay::File(folder.to_owned()).into());
        }
        entries => entries.into_diagnostic().wrap_err_with(failed)?,
    };
    for entry in entries {
        let name = entry.into_diagnostic().wrap_err_with(failed)?.file_name();
        let known = name.to_str().is_some_and(|name| {
            [STICK, SHEET, REPORT].contains(&name)
                || name.strip_suffix(EXTENSION).is_some_and(|start| start.ends_with('.'))
        });
        if !known {
            return Err(InTheWay::Stranger {
                folder: folder.to_owned(),
                stranger: name,
            }
            .into());
        }
    }
    Ok(())
}

/// Writes the release's folder beside its place, then puts it there. What was there before is put aside first, and removed
/// last.
pub(super) fn out(
    folder: &Path,
    packed: &[Packed],
    image: &StickImage,
    page: &str,
    report: &Report,
) -> Result<Vec<String>> {
    let parent = folder
        .parent()
        .filter(|parent| !parent.as_os_str().is_empty())
        .unwrap_or(Path::new("."));
    fs::create_dir_all(parent)
        .into_diagnostic()
        .wrap_err_with(|| format!("{} cannot be made", parent.display()))?;
    let fresh = tempfile::Builder::new()
        .prefix(".packstaff-")
        .tempdir_in(parent)
        .into_diagnostic()
        .wrap_err_with(|| format!("{} cannot be written to", parent.display()))?;
    let mut names = Vec::new();
    let mut write = |name: &str, content: &[u8]| -> Result<()> {
        let path = fresh.path().join(name);
        fs::write(&path, content)
            .into_diagnostic()
            .wrap_err_with(|| format!("{name} cannot be written"))?;
        names.push(folder.join(name).display().to_string());
        Ok(())
    };
    for packed in packed {
        write(&packed.name, &packed.file)?;
    }
    write(SHEET, page.as_bytes())?;
    write(REPORT, json(report)?.as_bytes())?;
    image
        .write_to(fresh.path().join(STICK))
        .into_diagnostic()
        .wrap_err("the stick image")?;
    names.push(folder.join(STICK).display().to_string());
    // Looked at again: the rehearsal takes its time, and somebody may have put a file there meanwhile.
    may_replace(folder)?;
    put_in_place(fresh, folder)?;
    Ok(names)
}

/// Writes the final report over the one that was written before the folder was in place.
pub(super) fn report(folder: &Path, report: &Report) -> Result<()> {
    let path = folder.join(REPORT);
    packstaff_product::write_whole(&path, json(report)?.as_bytes(), packstaff_product::Access::Shared).into_diagnostic()
}

fn json(report: &Report) -> Result<String> {
    serde_json::to_string_pretty(report)
        .map(|text| text + "\n")
        .into_diagnostic()
}

fn put_in_place(fresh: tempfile::TempDir, folder: &Path) -> Result<()> {
    let failed = |what: &str| format!("{} cannot be {what}", folder.display());
    let old = fresh.path().with_extension("old");
    let fresh: PathBuf = fresh.keep();
    let had = folder.exists();
    if had {
        fs::rename(folder, &old)
            .into_diagnostic()
            .wrap_err_with(|| failed("put aside"))?;
    }
    if let Err(error) = fs::rename(&fresh, folder) {
        if had {
            fs::rename(&old, folder)
                .into_diagnostic()
                .wrap_err_with(|| failed("put back"))?;
        }
        let _ = fs::remove_dir_all(&fresh);
        return Err(error).into_diagnostic().wrap_err_with(|| failed("put in place"));
    }
    if had {
        fs::remove_dir_all(&old)
            .into_diagnostic()
            .wrap_err_with(|| failed("cleared of what was there before"))?;
    }
    Ok(())
}
