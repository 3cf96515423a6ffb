//! What is on a stick, what a unit will see of it, and what to tell its owner.
//!
//! Everything that a unit would do is done by the unit's own code: `fat` mounts and lists, and for [`UnitKind`]s that are given, the
//! very installer looks through the stick. The rest looks where units do not: other formats and partitions, folders, bins, deleted
//! entries, the marks of a volume, archives.

pub mod bundle;
mod content;
mod files;
mod finding;
mod gather;
pub mod names;
mod unit_view;
mod units;
mod volumes;
mod walk;

use std::collections::BTreeMap;

use packstaff_fat::{DeviceBlock, Kind, Mount, Step, Volume};
use packstaff_installer::Reason;

pub use content::{Content, Damage, content, is_healed_by_a_copy};
pub use finding::{Finding, Severity};
pub use gather::{LooseFile, Seen};
pub use unit_view::{Judged, Offered, UnitKind, UnitView, ViewError};

use crate::recognise::{Family, Format, recognise};
use crate::table::{Scheme, Table, table};
use crate::{BlockSource, Counted, StickSpec, Window, build, listing};
use finding::{COPY, ERASE, FETCH, NOTHING, OTHER_STICK};
use gather::Gathered;
use units::UnitVerdict;

/// Partitions that are looked at.
const PARTITIONS_MAX: usize = 16;

/// What is examined.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Medium {
    /// The stick itself.
    Stick,
    /// Its image, which may not hold all of it.
    Image,
    /// Files without a stick around them: a folder or an archive.
    Files,
}

/// A release's file, as the ledger keeps it, to compare damaged ones with.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Original {
    /// What to call it.
    pub name: String,
    /// All of it.
    pub bytes: Vec<u8>,
}

/// What an examination goes by.
#[derive(Clone, Copy, Debug)]
pub struct Options<'a> {
    /// What is examined.
    pub medium: Medium,
    /// The ending of update files' names, such as `UPD`.
    pub ending: &'a str,
    /// The units that the stick may be for; none to look at the stick alone.
    pub units: &'a [UnitKind],
    /// Files to compare damaged ones with.
    pub originals: &'a [Original],
}

/// A volume that was found.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct VolumeFound {
    /// The partition that it is in, by number.
    pub partition: Option<u32>,
    /// First 512-byte block.
    pub start: u64,
    /// Length in 512-byte blocks, as far as the stick reaches.
    pub blocks: u64,
    /// What it is.
    pub format: Format,
}

/// Whether the stick does what it is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// A unit takes the update, and nothing speaks against it.
    Ready,
    /// A unit takes the update today.
    Doubtful,
    /// No unit takes anything from it.
    NotReady,
}

/// All that an examination found.
#[derive(Clone, Debug)]
pub struct Examination {
    /// What was examined.
    pub medium: Medium,
    /// Its length in 512-byte blocks; 0 for loose files.
    pub blocks: u64,
    /// How it is divided.
    pub table: Table,
    /// The volumes on it.
    pub volumes: Vec<VolumeFound>,
    /// The volume whose files are told of below, if one can be read.
    pub volume: Option<Volume>,
    /// Its label.
    pub label: Option<String>,
    /// Whether a unit reads that volume.
    pub is_read_by_units: bool,
    /// Files that are updates or look like them.
    pub files: Vec<Seen>,
    /// What each kind of unit makes of the stick.
    pub views: Vec<UnitView>,
    /// What was found, the gravest first.
    pub findings: Vec<Finding>,
    /// Blocks that the unit's reader reads to mount and to list the top of the stick.
    pub listing_reads: Option<u64>,
    /// Blocks that were read in all.
    pub reads: u64,
    /// Whether it does what it is for.
    pub verdict: Verdict,
}

/// Examines a stick or its image. Reads only.
///
/// # Errors
/// A unit that is given cannot be built. Whatever is wrong with the stick is a finding.
pub fn examine(source: &mut dyn BlockSource, options: &Options<'_>) -> Result<Examination, ViewError> {
    let mut source = Counted::new(source);
    let mut examination = Examination::of(options.medium, source.blocks());
    let findings = &mut Vec::new();
    let mut counted = Counted::new(&mut source);
    let listed = listing(&mut counted);
    examination.listing_reads = listed.is_ok().then(|| counted.reads());
    let mounted = match listed {
        Ok(listing) => Ok(listing.volume),
        Err(crate::ReadError::Fat(error)) => Err(error),
        Err(error) => {
            findings.push(unreadable(&error.to_string()));
            Err(packstaff_fat::Error::NoSignature { block: 0 })
        }
    };
    let device_block = match mounted {
        Ok(_) => DeviceBlock::B512,
        Err(_) => larger_blocks(&mut source).map_or(DeviceBlock::B512, |(block, _)| block),
    };
    examination.table = table(&mut source, device_block);
    examination.volumes = volumes_of(&mut source, &examination.table);
    volumes::of_table(
        &examination.table,
        &examination.volumes,
        options.medium,
        mounted.err(),
        findings,
    );

    match mounted {
        Ok(volume) => {
            examination.is_read_by_units = true;
            examination.volume = Some(volume);
            inspect(&mut source, &volume, true, options, &mut examination, findings);
            if let Some(distance) = volumes::repeats(&mut source, &volume) {
                findings.push(
                    Finding::new(
                        "smaller-than-it-claims",
                        Severity::Risk,
                        "The stick is smaller than it claims to be, and loses what is written to it.",
                        format!("its first blocks come again {distance} blocks further on"),
                    )
                    .remedy(OTHER_STICK),
                );
            }
        }
        Err(error) => {
            if let Some((block, volume)) = larger_blocks(&mut source) {
                findings.push(
                    Finding::new(
                        "large-blocks",
                        Severity::Stops,
                        "The stick is of an unusual kind, whose blocks are larger than the unit expects.",
                        format!("its table counts blocks of {} bytes", block.blocks() * 512),
                    )
                    .code(error)
                    .remedy(OTHER_STICK),
                );
                examination.volume = Some(volume);
                inspect(&mut source, &volume, true, options, &mut examination, findings);
                // Large sectors are to be expected there, and do no harm beside this.
                findings.retain(|finding| finding.id != "large-sectors");
            } else {
                refused(&mut source, error, options, &mut examination, findings);
            }
        }
    }
    elsewhere(&mut source, options, &mut examination, findings);
    for kind in options.units {
        examination.views.push(unit_view::view(kind, &mut source)?);
    }
    of_units(options, &mut examination, findings)?;
    examination.reads = source.reads();
    examination.conclude(std::mem::take(findings), options);
    Ok(examination)
}

/// Examines files that are not on a stick: as if they were to be copied to one as they are.
///
/// # Errors
/// A unit that is given cannot be built.
pub fn examine_files(files: Vec<LooseFile>, options: &Options<'_>) -> Result<Examination, ViewError> {
    let mut examination = Examination::of(Medium::Files, 0);
    let mut findings = Vec::new();
    let gathered = gather::loose(files, options.ending);
    of_gathered(gathered, options, &mut examination, &mut findings);
    of_units(options, &mut examination, &mut findings)?;
    examination.conclude(findings, options);
    Ok(examination)
}

/// A file or folder somewhere on a volume.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Placed {
    /// Folders and name, with a slash between: for showing and comparing, never a path to open.
    pub path: String,
    /// Its directory entry.
    pub entry: packstaff_fat::Entry,
}

/// Everything on a volume, folder by folder from the top; at most 20,000 files and folders, and 24 folders deep.
pub fn everything(source: &mut dyn BlockSource, volume: &Volume) -> Vec<Placed> {
    let tree = walk::tree(source, volume);
    let placed = |node: &walk::Node| Placed {
        path: node.path(),
        entry: node.listed.entry,
    };
    tree.nodes.iter().map(placed).collect()
}

fn unreadable(why: &str) -> Finding {
    Finding::new(
        "unreadable",
        Severity::Stops,
        "A part of the stick cannot be read: it is broken.",
        why,
    )
    .code(Reason::StickUnreadable)
    .remedy(OTHER_STICK)
}

/// The volume of a stick whose table counts blocks of more than 512 bytes.
fn larger_blocks(source: &mut dyn BlockSource) -> Option<(DeviceBlock, Volume)> {
    let sizes = [DeviceBlock::B4096, DeviceBlock::B2048, DeviceBlock::B1024];
    sizes.into_iter().find_map(|size| Some((size, mount(source, size)?)))
}

fn mount(source: &mut dyn BlockSource, size: DeviceBlock) -> Option<Volume> {
    let mut mount = Mount::with_device_block(source.blocks(), size);
    let mut held = None;
    loop {
        match mount.step(held.as_ref()).ok()? {
            Step::Read(number) => held = Some(source.read(number).ok()?),
            Step::Ready(volume) => return Some(volume),
        }
    }
}

fn volumes_of(source: &mut dyn BlockSource, table: &Table) -> Vec<VolumeFound> {
    if table.scheme == Scheme::None {
        let blocks = source.blocks();
        let format = recognise(&mut Window::new(source, 0, blocks));
        return vec![VolumeFound {
            partition: None,
            start: 0,
            blocks,
            format,
        }];
    }
    let found = table.partitions.iter().take(PARTITIONS_MAX).map(|partition| {
        let mut window = Window::new(source, partition.start, partition.blocks);
        VolumeFound {
            partition: Some(partition.number),
            start: partition.start,
            blocks: window.blocks(),
            format: recognise(&mut window),
        }
    });
    let mut found: Vec<_> = found.collect();
    // The image of a CD begins before its own table, and covers it.
    let blocks = source.blocks();
    let whole = recognise(&mut Window::new(source, 0, blocks));
    if whole.family == Family::Iso9660 {
        found.push(VolumeFound {
            partition: None,
            start: 0,
            blocks,
            format: whole,
        });
    }
    found
}

/// Everything on a volume that can be listed.
fn inspect(
    source: &mut dyn BlockSource,
    volume: &Volume,
    is_whole_stick: bool,
    options: &Options<'_>,
    examination: &mut Examination,
    findings: &mut Vec<Finding>,
) {
    let tree = walk::tree(source, volume);
    examination.label.clone_from(&tree.label);
    let allocation = volumes::allocation(source, volume);
    if let Some(block) = tree.unreadable {
        findings.push(unreadable(&format!("block {block} cannot be read")));
    }
    for path in &tree.met_again {
        findings.push(
            Finding::new(
                "folder-met-again",
                Severity::Note,
                "Two folders on the stick have been given the same place.",
                "its first cluster is that of another folder; it was not entered again",
            )
            .about(path),
        );
    }
    for (path, error) in &tree.stopped {
        findings.push(volumes::of_stopped(path, *error));
    }
    let gathered = gather::of_tree(source, volume, &tree, options.ending);
    let is_all_known = allocation.is_whole && !tree.is_cut && !gathered.owners.is_cut && tree.stopped.is_empty();
    let is_lost = |cluster: &&u32| {
        let first = volume.cluster_first_block(**cluster);
        !gathered.owners.has(first) && !tree.folder_clusters.contains(&first)
    };
    let slack: u32 = gathered.slack;
    let lost = allocation.used.iter().filter(is_lost).count() as u32;
    // Chains that are broken have clusters behind the break; they are told of as broken files.
    let has_broken = gathered.has_broken;
    let lost = if is_all_known && !has_broken {
        lost.saturating_sub(slack)
    } else {
        0
    };
    volumes::of_state(volume, &allocation, lost, is_whole_stick, findings);
    for deleted in &tree.deleted {
        let path = deleted
            .folders
            .iter()
            .map(String::as_str)
            .chain([deleted.name.as_str()]);
        let path = path.collect::<Vec<_>>().join("/");
        if deleted.folders.is_empty() && names::is_like_an_update(&deleted.name, options.ending) {
            findings.push(files::of_deleted(&path, deleted.size, deleted.written));
        }
    }
    if tree.is_cut || gathered.is_cut || gathered.owners.is_cut {
        findings.push(Finding::new(
            "not-all-examined",
            Severity::Note,
            "There is more on the stick than was looked at.",
            "more files, folders or bytes than an examination goes through",
        ));
    }
    of_gathered(gathered, options, examination, findings);
}

/// What is found in the files, however they came.
fn of_gathered(gathered: Gathered, options: &Options<'_>, examination: &mut Examination, findings: &mut Vec<Finding>) {
    let files = gathered.files;
    let has_sound = files.iter().any(|seen| seen.is_good(options.ending));
    let mut by_digest: BTreeMap<[u8; 32], Vec<&str>> = BTreeMap::new();
    for seen in &files {
        let beside = files.iter().any(|other| {
            other.is_update()
                && seen
                    .name
                    .strip_prefix("._")
                    .is_some_and(|name| name.eq_ignore_ascii_case(&other.name))
        });
        let of_file = files::of_file(seen, beside, options.ending, options.originals);
        // What is elsewhere beside a good file at the top does no harm.
        findings.extend(of_file.into_iter().map(|mut finding| {
            if has_sound && seen.is_update() && !seen.is_good(options.ending) {
                finding.severity = Severity::Note;
                finding.remedy = NOTHING.to_owned();
            }
            finding
        }));
        if seen.is_good(options.ending) {
            by_digest
                .entry(packstaff_envelope::sha256(&seen.bytes))
                .or_default()
                .push(seen.path.as_str());
        }
        if seen.pieces > 1 && seen.broken.is_none() {
            findings.push(
                Finding::new(
                    "in-pieces",
                    Severity::Note,
                    "The file lies on the stick in several pieces. That is no fault.",
                    format!("{} extents", seen.pieces),
                )
                .about(&seen.path),
            );
        }
        if let Some(other) = &seen.shares_with {
            findings.push(
                Finding::new(
                    "shared-clusters",
                    Severity::Risk,
                    "Two files on the stick have been given the same place, so that one of them is damaged.",
                    format!("shares clusters with {other}"),
                )
                .about(&seen.path)
                .remedy(COPY),
            );
        }
    }
    for names in by_digest.values().filter(|names| names.len() > 1) {
        findings.push(
            Finding::new(
                "twice",
                Severity::Note,
                "The same file is there more than once; the unit shows each of them.",
                "equal contents",
            )
            .about(several(names)),
        );
    }
    if has_sound {
        // What was deleted has been replaced.
        findings.retain(|finding| finding.id != "deleted");
    }
    if gathered.at_top > 500 {
        findings.push(Finding::new(
            "many-files",
            Severity::Note,
            "There are very many files at the top of the stick, so that the unit takes longer to look through it.",
            format!("{} entries", gathered.at_top),
        ));
    }
    if !gathered.leftovers.is_empty() {
        findings.push(Finding::new(
            "leftovers",
            Severity::Note,
            "Computers have left files of their own on the stick. They do no harm.",
            gathered.leftovers.join(", "),
        ));
    }
    if !gathered.repairs.is_empty() {
        findings.push(
            Finding::new(
                "repaired",
                Severity::Risk,
                "A computer has repaired this stick before: it has lost data.",
                gathered.repairs.join(", "),
            )
            .remedy(OTHER_STICK),
        );
    }
    examination.files = files;
}

/// The unit reads no volume: why, and what is on the first that could be read all the same.
fn refused(
    source: &mut dyn BlockSource,
    error: packstaff_fat::Error,
    options: &Options<'_>,
    examination: &mut Examination,
    findings: &mut Vec<Finding>,
) {
    if findings.iter().any(|finding| finding.id == "unreadable") {
        return;
    }
    let backup = examination.volumes.iter().any(|found| {
        matches!(found.format.family, Family::DamagedFat(_))
            && volumes::has_backup(&mut Window::new(source, found.start, found.blocks))
    });
    volumes::of_refusal(
        error,
        &examination.table,
        &examination.volumes,
        options.medium,
        backup,
        findings,
    );
    let readable = examination
        .volumes
        .iter()
        .find(|found| is_fat(found) && !is_for_starting(&examination.table, found));
    let Some(found) = readable.cloned() else {
        return;
    };
    let mut window = Window::new(source, found.start, found.blocks);
    if let Some(volume) = mount(&mut window, DeviceBlock::B512) {
        examination.volume = Some(volume);
        inspect(&mut window, &volume, false, options, examination, findings);
    }
}

const fn is_fat(found: &VolumeFound) -> bool {
    matches!(found.format.family, Family::Fat(_))
}

fn is_for_starting(table: &Table, found: &VolumeFound) -> bool {
    let partition = table
        .partitions
        .iter()
        .find(|partition| Some(partition.number) == found.partition);
    partition.is_some_and(|partition| partition.declared.is_efi_system())
}

/// Updates in volumes that the unit does not look into.
fn elsewhere(
    source: &mut dyn BlockSource,
    options: &Options<'_>,
    examination: &mut Examination,
    findings: &mut Vec<Finding>,
) {
    if !examination.is_read_by_units {
        return;
    }
    let read = examination.volume.map_or(0, |volume| volume.first_block());
    let has_sound = examination.files.iter().any(|seen| seen.is_good(options.ending));
    for found in examination
        .volumes
        .iter()
        .filter(|found| is_fat(found) && found.start != read)
    {
        let Ok(listing) = listing(&mut Window::new(source, found.start, found.blocks)) else {
            continue;
        };
        for listed in listing.entries {
            let name = listed.to_string();
            if listed.entry.is_directory() || !names::is_like_an_update(&name, options.ending) {
                continue;
            }
            let severity = if has_sound { Severity::Note } else { Severity::Stops };
            findings.push(
                Finding::new(
                    "in-another-partition",
                    severity,
                    "The file is in a part of the stick that the unit does not look into.",
                    format!(
                        "in partition {}; the unit reads the one that begins at block {read}",
                        found.partition.unwrap_or(0)
                    ),
                )
                .about(name)
                .code(Reason::NoUpdate)
                .remedy(if has_sound { NOTHING } else { ERASE }),
            );
        }
    }
}

/// What the units make of each whole file: of those that they list, and of those that they would list in the right place.
fn of_units(
    options: &Options<'_>,
    examination: &mut Examination,
    findings: &mut Vec<Finding>,
) -> Result<(), ViewError> {
    if options.units.is_empty() {
        return Ok(());
    }
    for seen in examination.files.iter().filter(|seen| seen.is_update()) {
        let listed = |view: &UnitView| {
            let is_it = |judged: &&Judged| seen.is_at_top && Some(judged.file.position) == seen.position;
            let verdict = match &view.files.iter().find(is_it)?.verdict {
                Ok(offered) => Ok(offered.refused_later),
                Err(Reason::OtherName) => return None,
                Err(reason) => Err(*reason),
            };
            Some(UnitVerdict {
                unit: view.unit.clone(),
                board: view.board.clone(),
                verdict,
            })
        };
        let mut verdicts: Vec<_> = examination.views.iter().filter_map(listed).collect();
        if verdicts.is_empty() {
            verdicts = in_the_right_place(options, seen)?;
        }
        findings.extend(units::of_verdicts(&seen.path, &verdicts));
    }
    // What is wrong with the others was found without a unit; what a unit shows for it, the unit knows best.
    for seen in examination
        .files
        .iter()
        .filter(|seen| !seen.is_update() && seen.is_at_top)
    {
        let judged = examination.views.first().and_then(|view| {
            view.files
                .iter()
                .find(|judged| Some(judged.file.position) == seen.position)
        });
        let reason = judged.and_then(|judged| match &judged.verdict {
            Ok(offered) => offered.refused_later,
            Err(reason) => Some(*reason),
        });
        let about = |finding: &&mut Finding| finding.about.as_deref() == Some(&seen.path) && finding.code.is_some();
        if let (Some(reason), Some(finding)) = (reason, findings.iter_mut().find(about)) {
            finding.code = Some(reason.code());
        }
    }
    for view in &examination.views {
        if view.left_out > 0 {
            findings.push(
                Finding::new(
                    "list-is-full",
                    Severity::Risk,
                    "There are more update files on the stick than the unit can show.",
                    format!(
                        "{}: {} files found no room in a list of {}",
                        view.unit,
                        view.left_out,
                        packstaff_installer::ROWS
                    ),
                )
                .remedy("Leave only the file on the stick that is for your unit."),
            );
            break;
        }
    }
    Ok(())
}

/// A file on a stick of its own, as it should be.
fn in_the_right_place(options: &Options<'_>, seen: &Seen) -> Result<Vec<UnitVerdict>, ViewError> {
    let stamp = packstaff_fat::Calendar {
        year: 2000,
        month: 1,
        day: 1,
        hour: 12,
        minute: 0,
        second: 0,
    };
    let spec = StickSpec {
        kind: Kind::Fat32,
        size: StickSpec::USUAL_SIZE,
        ..StickSpec::usual(1, stamp)
    };
    let Ok(image) = build(&spec.with_file(format!("UPDATE.{}", options.ending), seen.bytes.clone())) else {
        return Ok(Vec::new());
    };
    let mut verdicts = Vec::new();
    for kind in options.units {
        let view = unit_view::view(kind, &mut &image)?;
        if let Some(judged) = view.files.into_iter().next() {
            verdicts.push(UnitVerdict {
                unit: view.unit,
                board: view.board,
                verdict: judged.verdict.map(|offered| offered.refused_later),
            });
        }
    }
    Ok(verdicts)
}

impl Examination {
    const fn of(medium: Medium, blocks: u64) -> Self {
        Self {
            medium,
            blocks,
            table: Table {
                scheme: Scheme::None,
                partitions: Vec::new(),
                flaws: Vec::new(),
            },
            volumes: Vec::new(),
            volume: None,
            label: None,
            is_read_by_units: false,
            files: Vec::new(),
            views: Vec::new(),
            findings: Vec::new(),
            listing_reads: None,
            reads: 0,
            verdict: Verdict::NotReady,
        }
    }

    /// Whether some unit takes something: a whole file in the right place, that at least one kind of unit takes if kinds are given.
    fn is_taken(&self, options: &Options<'_>) -> bool {
        let refused: Vec<_> = self
            .findings
            .iter()
            .filter(|finding| finding.severity == Severity::Stops)
            .collect();
        let good = |seen: &Seen| {
            seen.is_good(options.ending)
                && !refused
                    .iter()
                    .any(|finding| finding.about.as_deref() == Some(&seen.path))
        };
        // A root that breaks off keeps the unit from everything in it.
        let is_broken = refused
            .iter()
            .any(|finding| matches!(finding.id, "folder-damaged" | "unreadable"));
        (self.is_read_by_units || self.medium == Medium::Files) && !is_broken && self.files.iter().any(good)
    }

    fn conclude(&mut self, findings: Vec<Finding>, options: &Options<'_>) {
        self.findings = findings;
        let is_taken = self.is_taken(options);
        if is_taken {
            // What is wrong with other files does not keep the unit from this one.
            for finding in self
                .findings
                .iter_mut()
                .filter(|finding| finding.severity == Severity::Stops)
            {
                finding.severity = Severity::Note;
                finding.code = None;
            }
        }
        // That something was deleted explains it only where nothing else does.
        let is_known = |finding: &&mut Finding| finding.id == "deleted";
        let stops = |finding: &Finding| finding.severity == Severity::Stops && finding.id != "deleted";
        if self.findings.iter().any(stops) {
            for deleted in self.findings.iter_mut().filter(is_known) {
                deleted.severity = Severity::Note;
                deleted.code = None;
            }
        }
        let is_explained = self.findings.iter().any(|finding| finding.severity == Severity::Stops);
        if !is_taken && !is_explained {
            self.findings.push(
                Finding::new(
                    "no-update",
                    Severity::Stops,
                    "There is no update on the stick.",
                    "nothing that looks like an update file, anywhere",
                )
                .code(Reason::NoUpdate)
                .remedy(FETCH),
            );
        }
        self.findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
        self.findings = merged(std::mem::take(&mut self.findings));
        let is_doubtful = self.findings.iter().any(|finding| finding.severity == Severity::Risk);
        self.verdict = match (is_taken, is_doubtful) {
            (false, _) => Verdict::NotReady,
            (true, true) => Verdict::Doubtful,
            (true, false) => Verdict::Ready,
        };
    }
}

/// Findings that say the same of several files, as one.
fn merged(findings: Vec<Finding>) -> Vec<Finding> {
    let mut groups: Vec<(Finding, Vec<String>)> = Vec::new();
    for mut finding in findings {
        let about = finding.about.take();
        match groups.iter_mut().find(|(first, _)| *first == finding) {
            Some((_, names)) => names.extend(about),
            None => groups.push((finding, about.into_iter().collect())),
        }
    }
    let join = |(mut finding, names): (Finding, Vec<String>)| {
        let names: Vec<_> = names.iter().map(String::as_str).collect();
        finding.about = (!names.is_empty()).then(|| several(&names));
        finding
    };
    groups.into_iter().map(join).collect()
}

/// A few names, and how many more there are.
fn several(names: &[&str]) -> String {
    const SHOWN: usize = 4;
    match names.len() {
        0..=SHOWN => names.join(", "),
        count => format!("{} and {} more", names[..SHOWN].join(", "), count - SHOWN),
    }
}
