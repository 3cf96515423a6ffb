//! Sticks: what was made, and what an examination found, as people read it and as JSON.

use crate::readme::{OnStick, SheetPlace, readme};
use crate::text::visible;
use packstaff_bench::sticks::{Examined, Filled, Made, StickVersion, What};
use packstaff_product::Product;
use packstaff_stick::examine::{Content, Finding, Seen, UnitView, Verdict};
use packstaff_stick::table::{Declared, Partition, Scheme};
use serde::Serialize;
use std::fmt::Write;

/// The short text for owners on a stick of these versions.
pub fn readme_of(product: &Product, versions: &[StickVersion]) -> String {
    let held = versions.iter().map(|held| OnStick {
        version: &held.version,
        files: held
            .files
            .iter()
            .map(|file| (file.board.as_str(), file.name.as_str()))
            .collect(),
    });
    readme(product, &held.collect::<Vec<_>>(), SheetPlace::Apart)
}

/// What a stick that was made is like; `done` says what was done with it, such as `wrote stick.img`.
pub fn made(made: &Made, done: &str) -> String {
    let table = match made.is_partitioned {
        true => "in a partition",
        false => "without a table",
    };
    let mut text = format!(
        "{done}: {} bytes, {} {table}, {} clusters of {} bytes, label {}\n",
        made.bytes,
        made.kind,
        made.clusters,
        made.cluster_bytes,
        made.label.as_deref().unwrap_or("none"),
    );
    for (name, bytes) in &made.files {
        // Writing to a string does not fail.
        let _ = writeln!(text, "  {name:<12} {bytes} bytes");
    }
    text
}

/// What was brought to a folder.
pub fn filled(filled: &Filled) -> String {
    let Filled {
        delivered,
        other_updates,
    } = filled;
    let mut text = String::new();
    for (name, bytes) in &delivered.written {
        line(&mut text, format!("wrote {name} and read it back: {bytes} bytes"));
    }
    for name in &delivered.kept {
        line(&mut text, format!("{name} was there already with the same contents"));
    }
    if !other_updates.is_empty() {
        let others = other_updates.join(", ");
        line(
            &mut text,
            format!("Other updates are there too, and the unit will show them: {others}"),
        );
    }
    let eject = match delivered.is_fat {
        Some(true) => "Eject the stick before you pull it out.",
        Some(false) => "This folder is not on a FAT volume: a unit reads the files only from a FAT stick.",
        None => "If this is a stick, eject it before you pull it out.",
    };
    line(&mut text, eject.to_owned());
    text
}

/// Whether the stick does what it is for, in the report's words.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Answer {
    /// A unit takes the update, and nothing speaks against it.
    Ready,
    /// A unit takes the update today.
    Doubtful,
    /// No unit takes anything from it.
    #[serde(rename = "not ready")]
    NotReady,
}

/// How the stick is divided, in the report's words.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum TableKind {
    /// Not at all.
    None,
    /// By a master boot record.
    Mbr,
    /// By a GUID partition table.
    Gpt,
    /// By both.
    Hybrid,
}

/// What an examination found.
#[derive(Clone, Debug, Serialize)]
pub struct Report {
    /// What was examined.
    pub path: String,
    /// What that is.
    pub what: String,
    /// Whether it does what it is for.
    pub verdict: Answer,
    /// Its bytes; `null` for loose files.
    pub bytes: Option<u64>,
    /// How it is divided; `null` for loose files.
    pub table: Option<TableKind>,
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
    /// The report of an examination; `path` is what was examined.
    pub fn new(path: String, examined: &Examined) -> Self {
        let found = &examined.found;
        let is_files = found.blocks == 0 && found.volumes.is_empty();
        let partition = |number: Option<u32>| {
            let mut all = found.table.partitions.iter();
            all.find(|partition| Some(partition.number) == number)
        };
        let volumes = found.volumes.iter().map(|volume| VolumeRow {
            partition: volume.partition,
            declared: partition(volume.partition).map(declared),
            format: volume.format.family.to_string(),
            start: volume.start,
            bytes: volume.blocks * 512,
            doubt: volume.format.doubt,
        });
        Self {
            path,
            what: what(&examined.what),
            verdict: match found.verdict {
                Verdict::Ready => Answer::Ready,
                Verdict::Doubtful => Answer::Doubtful,
                Verdict::NotReady => Answer::NotReady,
            },
            bytes: (!is_files).then_some(found.blocks * 512),
            table: (!is_files).then_some(match found.table.scheme {
                Scheme::None => TableKind::None,
                Scheme::Mbr => TableKind::Mbr,
                Scheme::Gpt => TableKind::Gpt,
                Scheme::Hybrid => TableKind::Hybrid,
            }),
            volumes: volumes.collect(),
            label: found.label.clone(),
            listing_reads: found.listing_reads,
            reads: found.reads,
            units_asked: examined.units_asked,
            units: found.views.iter().map(|view| unit_row(view, &found.files)).collect(),
            files: found.files.iter().map(file_row).collect(),
            findings: found.findings.iter().map(finding_row).collect(),
        }
    }
}

fn what(what: &What) -> String {
    match what {
        What::Folder => "a folder".to_owned(),
        What::Archive => "a zip archive".to_owned(),
        What::ArchivedImage { name } => format!("a zip archive with the image {name}"),
        What::Image => "an image".to_owned(),
        What::Stick => "a stick".to_owned(),
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
        Content::Update(update) if seen.is_update() => Some(update),
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
            TableKind::None => "none",
            TableKind::Mbr => "master boot record",
            TableKind::Gpt => "GUID partition table",
            TableKind::Hybrid => "GUID partition table and master boot record",
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
        Answer::Ready if !report.units_asked => {
            "Ready, as far as can be said without --product: a whole update is where a unit looks for it."
        }
        Answer::Ready => stick.0,
        Answer::Doubtful => stick.1,
        Answer::NotReady => stick.2,
    }
}

/// A number of bytes, in the unit that people use for sticks.
fn size(bytes: u64) -> String {
    let shown = |value: f64, unit: &str| format!("{value:.1} {unit}");
    match bytes {
        0..=9_999 => format!("{bytes} bytes"),
        10_000..=1_048_575 => shown(bytes as f64 / 1024.0, "KiB"),
        1_048_576..=1_073_741_823 => shown(bytes as f64 / 1_048_576.0, "MiB"),
        _ => shown(bytes as f64 / 1_073_741_824.0, "GiB"),
    }
}
