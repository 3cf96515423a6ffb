//! Sticks of one or several recorded versions.

use crate::told::ForPeople;
use miette::{IntoDiagnostic, Result, miette};
use packstaff_bench::open::Bench;
use packstaff_bench::stick_spec;
use packstaff_fat::DeviceBlock;
use packstaff_product::{Date, Version};
use packstaff_stick::{Kind, StickFile, StickSpec};
use packstaff_words::release::{SheetIs, readme};

/// Name of the short text on the stick.
const README: &str = "README.TXT";

/// A form of FAT.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// FAT12.
    Fat12,
    /// FAT16.
    Fat16,
    /// FAT32.
    Fat32,
}

/// How a stick is to be formatted; what is left out is chosen.
#[derive(Clone, Debug, Default)]
pub struct Shape {
    /// Bytes of the whole stick.
    pub size: Option<u64>,
    /// The form of FAT.
    pub form: Option<Form>,
    /// No partition table.
    pub no_table: bool,
    /// Bytes of a cluster.
    pub cluster: Option<u64>,
    /// Bytes of a sector.
    pub sector: u64,
    /// The label.
    pub label: Option<String>,
}

/// A version to put on the stick.
pub struct Ingredients {
    /// The version.
    pub version: Version,
    /// When it was released.
    pub date: Date,
    /// Board revision, name and contents of each file.
    pub files: Vec<(String, String, Vec<u8>)>,
}

/// Reads a size such as `300M`: bytes, or powers of 1024 with K, M or G.
///
/// # Errors
/// It is none.
pub fn bytes_of(text: &str) -> Result<u64, String> {
    let wrong = || format!("{text:?} is no size; write it as 512, 64M or 4G");
    let (digits, factor) = match text.char_indices().last() {
        Some((at, 'k' | 'K')) => (&text[..at], 1 << 10),
        Some((at, 'm' | 'M')) => (&text[..at], 1 << 20),
        Some((at, 'g' | 'G')) => (&text[..at], 1 << 30),
        _ => (text, 1u64),
    };
    let number: u64 = digits.parse().map_err(|_| wrong())?;
    number.checked_mul(factor).ok_or_else(wrong)
}

/// Finds the recorded files of versions, of all boards or of some.
///
/// # Errors
/// A version was never released, or none of its files is for those boards.
pub fn releases(bench: &Bench, versions: &[String], boards: &[String]) -> Result<Vec<Ingredients>> {
    for board in boards {
        bench.board(board).told()?;
    }
    let mut all: Vec<Ingredients> = Vec::new();
    for text in versions {
        let version = bench.version(text).told()?;
        if all.iter().any(|earlier| earlier.version.text() == version.text()) {
            return Err(miette!("version {version} is named twice; name it once"));
        }
        let release = bench
            .ledger
            .latest_issue_of(version.text())
            .ok_or_else(|| miette!("the ledger has no release of {version}: release it first"))?;
        let wanted = release
            .record
            .boards
            .iter()
            .filter(|board| boards.is_empty() || boards.contains(&board.revision));
        let mut files = Vec::new();
        for board in wanted {
            let contents = release.update_file(board).into_diagnostic()?;
            files.push((board.revision.clone(), board.file.clone(), contents));
        }
        if files.is_empty() {
            return Err(miette!(
                "{version} was released for no board {}; leave --board out, or name another version",
                boards.join(", ")
            ));
        }
        all.push(Ingredients {
            version,
            date: release.record.date,
            files,
        });
    }
    // The newest first: it stands first in the unit's list.
    all.sort_by(|one, other| other.version.numbers().as_slice().cmp(one.version.numbers().as_slice()));
    Ok(all)
}

/// The files for the stick, README included.
pub fn files(bench: &Bench, releases: &[Ingredients], with_readme: bool) -> Vec<StickFile> {
    let updates = releases
        .iter()
        .flat_map(|release| &release.files)
        .map(|(_, name, contents)| StickFile {
            name: name.clone(),
            contents: contents.clone(),
        });
    let mut files: Vec<_> = updates.collect();
    if with_readme {
        let shown: Vec<_> = releases
            .iter()
            .map(|release| {
                let files = release
                    .files
                    .iter()
                    .map(|(board, name, _)| (board.as_str(), name.as_str()));
                (&release.version, files.collect())
            })
            .collect();
        files.push(StickFile {
            name: README.to_owned(),
            contents: readme(&bench.product, &shown, SheetIs::Elsewhere).into_bytes(),
        });
    }
    files
}

/// How the stick is laid out: by what was asked for, and else by what most units and computers read.
///
/// # Errors
/// A sector or cluster size cannot be.
pub fn shape(bench: &Bench, releases: &[Ingredients], shape: &Shape, files: Vec<StickFile>) -> Result<StickSpec> {
    let numbers: Vec<u32> = releases
        .iter()
        .flat_map(|release| release.version.numbers().as_slice().to_vec())
        .collect();
    let date = releases
        .iter()
        .map(|release| release.date)
        .max()
        .ok_or_else(|| miette!("no version is named"))?;
    let usual = stick_spec::for_release(&bench.product.short, &numbers, date);
    let sector = u32::try_from(shape.sector)
        .ok()
        .and_then(DeviceBlock::from_bytes)
        .ok_or_else(|| {
            miette!(
                "a sector of {} bytes cannot be; choose 512, 1024, 2048 or 4096",
                shape.sector
            )
        })?;
    let cluster = |bytes: u64| {
        u32::try_from(bytes).map_err(|_| miette!("a cluster of {bytes} bytes cannot be; 65536 is the most"))
    };
    let size = shape.size.unwrap_or(match shape.form {
        Some(Form::Fat12) => 4 << 20,
        Some(Form::Fat16) => 64 << 20,
        Some(Form::Fat32) | None => StickSpec::USUAL_SIZE,
    });
    let kind = match shape.form {
        Some(Form::Fat12) => Kind::Fat12,
        Some(Form::Fat16) => Kind::Fat16,
        Some(Form::Fat32) => Kind::Fat32,
        // Where the forms of FAT meet, systems differ by a little: each form well within what is its own.
        None if size < 8 << 20 => Kind::Fat12,
        None if size < StickSpec::USUAL_SIZE => Kind::Fat16,
        None => Kind::Fat32,
    };
    let is_usual = kind == Kind::Fat32 && size <= 8 << 30 && sector == DeviceBlock::B512 && shape.form.is_none();
    Ok(StickSpec {
        kind,
        size,
        partitioned: !shape.no_table,
        sector,
        cluster: match shape.cluster {
            Some(bytes) => Some(cluster(bytes)?),
            None if is_usual => usual.cluster,
            None => None,
        },
        label: shape.label.clone().or(usual.label.clone()),
        files,
        ..usual
    })
}

#[cfg(test)]
mod tests {
    use super::bytes_of;

    #[test]
    fn sizes_are_read_as_people_write_them() {
        for (text, bytes) in [("512", 512), ("4K", 4096), ("64M", 64 << 20), ("2g", 2 << 30)] {
            assert_eq!(bytes_of(text), Ok(bytes), "{text}");
        }
        for text in [
            "",
            "M",
            "4T",
            "-1",
            "1.5G",
            "99999999999999999999",
            "18446744073709551615K",
            "4µ",
        ] {
            assert!(bytes_of(text).is_err(), "{text}");
        }
    }
}
