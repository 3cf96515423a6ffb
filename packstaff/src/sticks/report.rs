//! An examination, as people read it and as JSON.

use super::{size, verdict_word};
use crate::look::visible;
use packstaff_stick::examine::{Examination, Finding, Seen, UnitView, Verdict};
use packstaff_stick::table::{Declared, Partition, Scheme};
use serde::Serialize;
use std::fmt::Write;

/// What an examination found.
#[derive(Clone, Debug, Serialize)]
pub struct Report {
    /// What was examined.
    pub path: String,
    /// What that is.
    pub what: String,
    /// `ready`, `doubtful` or `not ready`.
    pub verdict: &'static str,
    /// Its bytes; `null` for loose files.
    pub bytes: Option<u64>,
    /// How it is divided: `none`, `mbr`, `gpt` or `hybrid`; `null` for loose files.
    pub table: Option<&'static str>,
    /// The volumes on it.
    pub volumes: Vec<VolumeRow>,
    /// The label of the volume that was listed.
    pub label: Option<String>,
    /// Blocks that a unit's reader reads to mount the stick and to list its top.
    pub listing_reads: Option<u64>,
    /// Blocks that were read in all.
    pub reads: u64,
    /// Whether units of a product were asked.
    pub units_asked: bool,
    /// What each kind of unit makes of it.
    pub units: Vec<UnitRow>,
    /// Files that are updates, or look like them.
    pub files: Vec<FileRow>,
    /// What was found, the gravest first.
    pub findings: Vec<FindingRow>,
    #[serde(skip)]
    is_good: bool,
}

/// A volume.
#[derive(Clone, Debug, Serialize)]
pub struct VolumeRow {
    /// Number of its partition.
    pub partition: Option<u32>,
    /// What the table says that it is.
    pub declared: Option<String>,
    /// What it is.
    pub format: String,
    /// First 512-byte block.
    pub start: u64,
    /// Its bytes.
    pub bytes: u64,
    /// Why its signature alone must not be trusted.
    pub doubt: Option<&'static str>,
}

/// What units of one kind make of the stick.
#[derive(Clone, Debug, Serialize)]
pub struct UnitRow {
    /// Which.
    pub unit: String,
    /// What they offer to their owner.
    pub offers: Vec<OfferRow>,
    /// What they show instead.
    pub shows: Option<String>,
    /// Blocks that they read before they ask.
    pub reads: u64,
}

/// A file that a unit offers.
#[derive(Clone, Debug, Serialize)]
pub struct OfferRow {
    /// Its name.
    pub file: String,
    /// The version.
    pub version: String,
    /// The issue.
    pub issue: u64,
    /// What the unit shows when it has read all of the file, if it then stops.
    pub refused_later: Option<String>,
}

/// A file.
#[derive(Clone, Debug, Serialize)]
pub struct FileRow {
    /// Folders and name.
    pub path: String,
    /// Its bytes.
    pub bytes: u64,
    /// Version and issue, not verified, if it is a whole update.
    pub version: Option<String>,
    /// Issue, not verified.
    pub issue: Option<u64>,
}

/// A finding.
#[derive(Clone, Debug, Serialize)]
pub struct FindingRow {
    /// Its name, which never changes.
    pub id: &'static str,
    /// `stops`, `risk` or `note`.
    pub severity: &'static str,
    /// What it is about, if not the whole stick.
    pub about: Option<String>,
    /// The code that the unit shows for it.
    pub code: Option<String>,
    /// For the owner.
    pub owner: String,
    /// What the owner does.
    pub remedy: String,
    /// For the maker.
    pub maker: String,
}

impl Report {
    pub(super) fn new(path: String, what: String, found: Examination, units_asked: bool) -> Self {
        let is_files = found.blocks == 0 && found.volumes.is_empty();
        Self {
            path,
            what,
            verdict: verdict_word(found.verdict),
            bytes: (!is_files).then_some(found.blocks * 512),
            table: (!is_files).then_some(match found.table.scheme {
                Scheme::None => "none",
                Scheme::Mbr => "mbr",
                Scheme::Gpt => "gpt",
                Scheme::Hybrid => "hybrid",
            }),
            volumes: found
                .volumes
                .iter()
                .map(|volume| VolumeRow {
                    partition: volume.partition,
                    declared: found
                        .table
                        .partitions
                        .iter()
                        .find(|partition| Some(partition.number) == volume.partition)
                        .map(declared),
                    format: volume.format.family.to_string(),
                    start: volume.start,
                    bytes: volume.blocks * 512,
                    doubt: volume.format.doubt,
                })
                .collect(),
            label: found.label.clone(),
            listing_reads: found.listing_reads,
            reads: found.reads,
            units_asked,
            units: found.views.iter().map(|view| unit_row(view, &found.files)).collect(),
            files: found.files.iter().map(file_row).collect(),
            findings: found.findings.iter().map(finding_row).collect(),
            is_good: found.verdict != Verdict::NotReady,
        }
    }

    /// Whether a unit takes something from it.
    #[must_use]
    pub const fn is_good(&self) -> bool {
        self.is_good
    }
}

fn declared(partition: &Partition) -> String {
    let words = partition.declared.words();
    match partition.declared {
        Declared::Byte(byte) => format!("type {byte:02X}, {words}"),
        Declared::Guid(_) => match &partition.name {
            Some(name) => format!("{words}, named {name:?}"),
            None => words.to_owned(),
        },
    }
}

fn unit_row(view: &UnitView, files: &[Seen]) -> UnitRow {
    let name = |position: u32, short: String| {
        let seen = files.iter().find(|seen| seen.is_at_top && seen.is_entry(position));
        seen.map_or(short, |seen| seen.name.clone())
    };
    UnitRow {
        unit: view.unit.clone(),
        offers: view
            .files
            .iter()
            .filter_map(|judged| {
                let offered = judged.verdict.as_ref().ok()?;
                Some(OfferRow {
                    file: name(judged.file.position, judged.file.short.to_string()),
                    version: offered.version.to_string(),
                    issue: offered.issue,
                    refused_later: offered.refused_later.map(|reason| reason.code().to_string()),
                })
            })
            .collect(),
        shows: view.told.map(|reason| reason.code().to_string()),
        reads: view.reads,
    }
}

fn file_row(seen: &Seen) -> FileRow {
    let update = match &seen.content {
        packstaff_stick::examine::Content::Update(update) if seen.is_update() => Some(update),
        _ => None,
    };
    FileRow {
        path: seen.path.clone(),
        bytes: seen.size,
        version: update.map(|update| update.version.to_string()),
        issue: update.map(|update| update.sequence),
    }
}

fn finding_row(finding: &Finding) -> FindingRow {
    FindingRow {
        id: finding.id,
        severity: finding.severity.word(),
        about: finding.about.clone(),
        code: finding.code.map(|code| code.to_string()),
        owner: finding.owner.clone(),
        remedy: finding.remedy.clone(),
        maker: finding.maker.clone(),
    }
}

/// For a terminal or an e-mail.
#[must_use]
pub fn text(report: &Report) -> String {
    let mut out = String::new();
    let size = report
        .bytes
        .map_or(String::new(), |bytes| format!(" of {}", size(bytes)));
    line(&mut out, format!("{}: {}{size}", report.path, report.what));
    facts(&mut out, report);
    for unit in &report.units {
        line(&mut out, String::new());
        units(&mut out, unit);
    }
    for finding in &report.findings {
        line(&mut out, String::new());
        let about = finding
            .about
            .as_ref()
            .map_or(String::new(), |about| format!(": {about}"));
        let code = finding
            .code
            .as_ref()
            .map_or(String::new(), |code| format!(" (the unit shows {code})"));
        line(
            &mut out,
            format!("{} {}{about}{code}", finding.severity.to_uppercase(), finding.id),
        );
        line(&mut out, format!("  owner  {}", finding.owner));
        line(&mut out, format!("  do     {}", finding.remedy));
        line(&mut out, format!("  maker  {}", finding.maker));
    }
    line(&mut out, String::new());
    line(&mut out, conclusion(report).to_owned());
    out
}

fn line(out: &mut String, text: String) {
    // Writing to a string does not fail.
    let _ = writeln!(out, "{}", visible(&text));
}

fn facts(out: &mut String, report: &Report) {
    let mut fact = |name: &str, value: String| line(out, format!("  {name:<12} {value}"));
    if let Some(table) = report.table {
        let table = match table {
            "mbr" => "master boot record",
            "gpt" => "GUID partition table",
            "hybrid" => "GUID partition table and master boot record",
            _ => "none",
        };
        fact("table", table.to_owned());
    }
    for volume in &report.volumes {
        let name = volume
            .partition
            .map_or("volume".to_owned(), |number| format!("partition {number}"));
        let declared = volume
            .declared
            .as_ref()
            .map_or(String::new(), |declared| format!(" ({declared})"));
        fact(
            &name,
            format!(
                "{}{declared}, {} from block {}",
                volume.format,
                size(volume.bytes),
                volume.start
            ),
        );
    }
    if let Some(label) = &report.label {
        fact("label", label.clone());
    }
    for file in &report.files {
        let version = file.version.as_ref().map_or(String::new(), |version| {
            format!(", version {version}, issue {}", file.issue.unwrap_or(0))
        });
        fact("file", format!("{}, {}{version}", file.path, size(file.bytes)));
    }
    if let Some(reads) = report.listing_reads {
        fact(
            "blocks read",
            format!("{reads} to list the top of the stick; {} in all", report.reads),
        );
    }
}

fn units(out: &mut String, unit: &UnitRow) {
    line(out, format!("A unit ({}) reads {} blocks and", unit.unit, unit.reads));
    for offer in &unit.offers {
        let later = offer.refused_later.as_ref().map_or(String::new(), |code| {
            format!(", but shows {code} when it has read all of it")
        });
        line(
            out,
            format!(
                "  offers {}: version {}, issue {}{later}",
                offer.file, offer.version, offer.issue
            ),
        );
    }
    match &unit.shows {
        Some(code) => line(out, format!("  shows {code}")),
        None if unit.offers.is_empty() => line(out, "  offers nothing".to_owned()),
        None => {}
    }
}

fn conclusion(report: &Report) -> &'static str {
    let stick = if report.bytes.is_some() {
        (
            "Ready: a unit takes an update from this stick.",
            "Doubtful: a unit takes an update from this stick, but see what is found above.",
            "Not ready: no unit takes an update from this stick.",
        )
    } else {
        (
            "Ready: copied to a good stick as they are, these files give a unit its update.",
            "Doubtful: copied to a good stick these files give a unit its update, but see what is found above.",
            "Not ready: these files give no unit an update.",
        )
    };
    match report.verdict {
        "ready" if !report.units_asked => {
            "Ready, as far as can be said without --product: a whole update is where a unit looks for it."
        }
        "ready" => stick.0,
        "doubtful" => stick.1,
        _ => stick.2,
    }
}
