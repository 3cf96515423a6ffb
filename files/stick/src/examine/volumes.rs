//! Findings about the stick as a whole: its table, its format, the state of its volume.

use packstaff_fat::{BLOCK, Kind, Volume};

use super::finding::{COPY, ERASE, FORMAT, Finding, IMAGE_AGAIN, OTHER_STICK, Severity};
use super::{Medium, VolumeFound};
use crate::recognise::{Family, Format};
use crate::table::{Copy, Flaw, Scheme, Table};
use crate::{BlockSource, Window};
use Severity::{Note, Risk, Stops};

/// What is wrong with the table.
pub(super) fn of_table(
    table: &Table,
    found: &[VolumeFound],
    medium: Medium,
    refusal: Option<packstaff_fat::Error>,
    findings: &mut Vec<Finding>,
) {
    use packstaff_fat::Error::{PartitionEmpty, PartitionOutside};
    // What keeps the unit from the volume is told with the unit's own code.
    let is_told = matches!(refusal, Some(PartitionEmpty { .. } | PartitionOutside { .. }));
    for flaw in &table.flaws {
        if is_told && matches!(flaw, Flaw::Outside { .. } | Flaw::Empty { .. }) {
            continue;
        }
        let maker = flaw.to_string();
        findings.push(match flaw {
            Flaw::Overlap { .. } => Finding::new(
                "partitions-overlap",
                Risk,
                "Two parts of the stick lie over each other, so that what is written to one destroys the other.",
                maker,
            )
            .remedy(ERASE),
            Flaw::Outside { number } if medium == Medium::Image => Finding::new(
                "image-cut",
                Risk,
                "The image that was sent does not hold the whole stick.",
                format!("{maker}; the image was cut short, or the stick is smaller than it claims"),
            )
            .about(format!("partition {number}"))
            .remedy(IMAGE_AGAIN),
            Flaw::Outside { number } => Finding::new(
                "partition-outside",
                Risk,
                "The stick is smaller than its own table says.",
                maker,
            )
            .about(format!("partition {number}"))
            .remedy(ERASE),
            Flaw::Empty { number } => Finding::new("partition-empty", Risk, "The stick's table is damaged.", maker)
                .about(format!("partition {number}"))
                .remedy(ERASE),
            Flaw::Chain => Finding::new("partition-chain", Risk, "The stick's table is damaged.", maker).remedy(ERASE),
            Flaw::MarkGone => Finding::new(
                "table-damaged",
                Stops,
                "The very start of the stick is damaged, so that the unit finds nothing on it.",
                maker,
            )
            .code(packstaff_fat::Error::NoSignature { block: 0 })
            .remedy(ERASE),
            Flaw::Guid { copy, .. } => {
                let end = if *copy == Copy::Last {
                    "; this happens when an image is copied to a larger stick"
                } else {
                    ""
                };
                Finding::new(
                    "gpt-damaged",
                    Note,
                    "One of the two tables of the stick is damaged.",
                    maker + end,
                )
                .remedy(ERASE)
            }
        });
    }
    let formats = found.iter().filter(|volume| volume.partition.is_some());
    let shown = |volume: &VolumeFound| {
        let number = volume.partition.unwrap_or(0);
        format!("{number}: {}", volume.format.family)
    };
    if formats.clone().count() > 1 {
        findings.push(Finding::new(
            "several-partitions",
            Note,
            "The stick is divided into several parts. The unit looks into the first that it can read.",
            format!("partitions {}", formats.map(shown).collect::<Vec<_>>().join(", ")),
        ));
    }
    if table.scheme == Scheme::Hybrid {
        findings.push(Finding::new(
            "hybrid-table",
            Note,
            "The stick has two kinds of table at once. The unit uses the older kind.",
            "a GUID partition table whose protective record lists partitions of its own",
        ));
    }
}

/// Why the unit finds no volume at all.
pub(super) fn of_refusal(
    error: packstaff_fat::Error,
    table: &Table,
    found: &[VolumeFound],
    medium: Medium,
    backup: bool,
    findings: &mut Vec<Finding>,
) {
    if table.flaws.contains(&Flaw::MarkGone) {
        return;
    }
    let whole = found.iter().find(|volume| volume.partition.is_none());
    // What stands in the place of the volume says more than that there is none.
    let foreign = found
        .iter()
        .find(|volume| !matches!(volume.format.family, Family::Fat(_) | Family::Unknown));
    let finding = match (error, whole.or(foreign).map(|volume| &volume.format)) {
        (packstaff_fat::Error::EmptyDevice, _) => Finding::new(
            "no-blocks",
            Stops,
            "The stick reports that it has no room at all: it is broken, or was not plugged in firmly.",
            "the size is 0 blocks",
        )
        .remedy(OTHER_STICK),
        (packstaff_fat::Error::Gpt, _) => Finding::new(
            "gpt",
            Stops,
            "The stick was set up in a way that this unit does not read (\"GUID partition table\").",
            format!(
                "{} partitions by GUID, none in the protective record",
                table.partitions.len()
            ),
        )
        .remedy(ERASE),
        (packstaff_fat::Error::StartUpOnly, _) => Finding::new(
            "start-up-stick",
            Stops,
            "This stick was made to start a computer.",
            format!("the only candidate is an EFI system partition; {}", families(found)),
        )
        .remedy(ERASE),
        (packstaff_fat::Error::ExtendedOnly, _) => Finding::new(
            "extended-only",
            Stops,
            "The stick was divided in a way that this unit does not read.",
            "every partition is inside an extended one",
        )
        .remedy(ERASE),
        (packstaff_fat::Error::PartitionEmpty { .. } | packstaff_fat::Error::PartitionOutside { .. }, _) => {
            Finding::new(
                "partition-unusable",
                Stops,
                "The stick's table is damaged, so that the unit finds nothing on it.",
                error.to_string(),
            )
            .remedy(if medium == Medium::Image { IMAGE_AGAIN } else { ERASE })
        }
        (packstaff_fat::Error::VolumePastEnd { claimed, available }, _)
            if medium == Medium::Image && whole.is_some() =>
        {
            Finding::new(
                "image-cut",
                Stops,
                "The image that was sent does not hold the whole stick.",
                format!("the volume claims {claimed} blocks, the image has {available}"),
            )
            .remedy(IMAGE_AGAIN)
        }
        (_, Some(format)) => of_format(format, error, backup),
        (_, None) => Finding::new(
            "format-unknown",
            Stops,
            "The unit does not recognise what is on the stick.",
            error.to_string(),
        )
        .remedy(FORMAT),
    };
    findings.push(finding.code(error));
}

fn families(found: &[VolumeFound]) -> String {
    let shown = found.iter().map(|volume| volume.format.family.to_string());
    shown.collect::<Vec<_>>().join(", ")
}

/// The technical sentence alone, without what the owner should do.
fn of_format(format: &Format, error: packstaff_fat::Error, backup: bool) -> Finding {
    let mut maker = match format.family {
        Family::Packed(_) => format!("it is {}", format.family),
        _ => format!("the volume is {}", format.family),
    };
    if let Some(label) = &format.label {
        maker += &format!(", labelled {label:?}");
    }
    if let Some(doubt) = format.doubt {
        maker += &format!(", but {doubt}");
    }
    let wrong_format = |id, name: &str| {
        Finding::new(
            id,
            Stops,
            format!("The stick is formatted as {name}, which the unit cannot read."),
            maker.clone(),
        )
        .remedy(FORMAT)
    };
    match format.family {
        Family::ExFat => wrong_format("format-exfat", "exFAT"),
        Family::Ntfs => wrong_format("format-ntfs", "NTFS"),
        Family::Ext(_) => wrong_format("format-ext", "a Linux disk"),
        Family::HfsPlus => wrong_format("format-hfs-plus", "a Mac disk"),
        Family::Apfs => wrong_format("format-apfs", "a Mac disk"),
        Family::Iso9660 => Finding::new(
            "format-iso",
            Stops,
            "The stick is the copy of a CD, or was made to start a computer.",
            maker,
        )
        .remedy(ERASE),
        Family::Luks | Family::BitLocker => Finding::new(
            "encrypted",
            Stops,
            "The stick is encrypted, so that the unit cannot read it.",
            maker,
        )
        .remedy("Take an ordinary stick without a lock, formatted as FAT32, and copy the file to it."),
        Family::Packed(_) => Finding::new(
            "image-packed",
            Stops,
            "What was sent is a packed file, not the image of a stick.",
            maker,
        )
        .remedy("Unpack it first, and examine what is inside."),
        Family::Zeros | Family::Ones => Finding::new(
            "blank",
            Stops,
            "The stick is empty and not formatted.",
            format!("the first MiB holds {}", format.family),
        )
        .remedy(FORMAT),
        Family::DamagedFat(_) | Family::Fat(_) => {
            let backup = if backup {
                "; the copy of its first sector, in sector 6, is whole"
            } else {
                ""
            };
            Finding::new(
                "volume-damaged",
                Stops,
                "The stick's format is damaged, so that the unit cannot read it.",
                error.to_string() + backup,
            )
            .remedy(FORMAT)
        }
        Family::Unknown => Finding::new(
            "format-unknown",
            Stops,
            "The unit does not recognise what is on the stick.",
            error.to_string(),
        )
        .remedy(FORMAT),
    }
}

/// Blocks of a FAT that are compared with its copy, and counted: 16 MiB, enough for any stick up to 64 GB in 16 KiB clusters.
const FAT_MAX: u64 = 32_768;

/// What the allocation tables say.
#[derive(Debug, Default)]
pub(super) struct Allocation {
    /// Entries that say "in use", by number.
    pub(super) used: Vec<u32>,
    pub(super) bad: u32,
    /// The first block in which the copies differ.
    pub(super) differs: Option<u64>,
    /// Whether all of the FAT was looked at.
    pub(super) is_whole: bool,
    pub(super) marks: Option<packstaff_fat::Marks>,
}

/// Reads the FAT, and its copy beside it.
pub(super) fn allocation(source: &mut dyn BlockSource, volume: &Volume) -> Allocation {
    let mut found = Allocation::default();
    // The size of the FAT may be more than its clusters need.
    let needed = volume
        .kind()
        .fat_bytes(u64::from(volume.clusters()) + 2)
        .div_ceil(BLOCK as u64);
    let blocks = needed.min(volume.fat_blocks()).min(FAT_MAX);
    found.is_whole = blocks == needed;
    let mut bytes = Vec::new();
    let first = volume.fat_first_block();
    for index in 0..blocks {
        let Ok(block) = source.read(first + index) else {
            found.is_whole = false;
            break;
        };
        if index == 0 {
            found.marks = volume.marks(&block);
        }
        // With mirroring off, the copy is not kept up.
        if volume.fats() > 1 && volume.live_fat() == 0 && found.differs.is_none() {
            let copy = source.read(first + volume.fat_blocks() + index);
            if copy.is_ok_and(|copy| copy != block) {
                found.differs = Some(index);
            }
        }
        bytes.extend_from_slice(&block);
    }
    let entry = |n: usize| -> Option<u32> {
        let pair = |at: usize| Some(u16::from_le_bytes(*bytes.get(at..)?.first_chunk()?));
        Some(match volume.kind() {
            Kind::Fat12 if n % 2 == 1 => u32::from(pair(n + n / 2)? >> 4),
            Kind::Fat12 => u32::from(pair(n + n / 2)? & 0xFFF),
            Kind::Fat16 => u32::from(pair(2 * n)?),
            Kind::Fat32 => (u32::from(pair(4 * n + 2)?) << 16 | u32::from(pair(4 * n)?)) & 0x0FFF_FFFF,
        })
    };
    let bad = volume.kind().bad_mark();
    for number in 2..=volume.last_cluster() {
        match entry(number as usize) {
            None => break,
            Some(0) => {}
            Some(value) if value == bad => found.bad += 1,
            Some(_) => found.used.push(number),
        }
    }
    found
}

/// What the volume's own marks say.
pub(super) fn of_state(
    volume: &Volume,
    allocation: &Allocation,
    lost: u32,
    is_whole_stick: bool,
    findings: &mut Vec<Finding>,
) {
    let clean = allocation.marks.is_none_or(|marks| marks.clean);
    let cluster = volume.cluster_size();
    if volume.is_marked_dirty() || !clean {
        findings.push(
            Finding::new(
                "not-ejected",
                Risk,
                "The stick was pulled out of a computer before it was ejected, so that some of what was copied may be missing.",
                format!(
                    "marked as in use: {}",
                    if volume.is_marked_dirty() { "in the boot sector" } else { "in the second entry of the FAT" }
                ),
            )
            .remedy(COPY),
        );
    }
    if let Some(block) = allocation.differs {
        findings.push(
            Finding::new(
                "tables-differ",
                Risk,
                "The stick was pulled out while something was being written.",
                format!("the first FAT and its copy differ from block {block} on; the unit reads the first"),
            )
            .remedy(COPY),
        );
    }
    if lost > 0 {
        findings.push(
            Finding::new(
                "lost-clusters",
                Note,
                "The stick holds remains of files that no folder lists: a copy was broken off at some time.",
                format!("clusters in use that belong to no file: {lost}, of {cluster} bytes each"),
            )
            .remedy(COPY),
        );
    }
    if allocation.bad > 0 || allocation.marks.is_some_and(|marks| !marks.no_errors) {
        findings.push(
            Finding::new(
                "worn",
                Risk,
                "Parts of the stick have failed before: it is worn.",
                match allocation.bad {
                    0 => "a read or write error was marked in the FAT".to_owned(),
                    bad => format!("clusters marked as bad: {bad}"),
                },
            )
            .remedy(OTHER_STICK),
        );
    }
    if volume.is_undersized_fat32() {
        findings.push(
            Finding::new(
                "small-fat32",
                Risk,
                "The stick is formatted as FAT32 although it is very small; some units and computers do not read that.",
                format!(
                    "FAT32 with {} clusters; the specification wants 65525 or more",
                    volume.clusters()
                ),
            )
            .remedy(FORMAT),
        );
    }
    if cluster > 32_768 {
        findings.push(
            Finding::new(
                "large-clusters",
                Risk,
                "The stick is formatted in a way that some computers do not read.",
                format!("clusters of {cluster} bytes; 32768 is the most that all systems read"),
            )
            .remedy(FORMAT),
        );
    }
    if volume.sector_size() != 512 {
        findings.push(Finding::new(
            "large-sectors",
            Note,
            "The stick is formatted in an unusual way. This unit reads it; other devices may not.",
            format!("sectors of {} bytes", volume.sector_size()),
        ));
    }
    if is_whole_stick && volume.slot().is_none() && volume.hidden_sectors() > 0 {
        findings.push(Finding::new(
            "one-partition",
            Note,
            "What was sent is one part of the stick, not all of it.",
            format!(
                "the boot sector says that {} sectors lie before it",
                volume.hidden_sectors()
            ),
        ));
    }
}

/// A stick that claims more than it has shows its first blocks again, a power of two further on.
pub(super) fn repeats(source: &mut dyn BlockSource, volume: &Volume) -> Option<u64> {
    let mut start = [volume.first_block(), volume.fat_first_block()];
    start.sort_unstable();
    let mut originals = Vec::new();
    for number in start {
        originals.push((number, source.read(number).ok()?));
    }
    let mut distance = 2048;
    while distance < source.blocks() {
        let is_same = |(number, block): &(u64, packstaff_fat::Block)| {
            let again = number.checked_add(distance)?;
            source.read(again).ok().map(|there| there == *block)
        };
        if originals.iter().map(is_same).all(|same| same == Some(true)) {
            return Some(distance);
        }
        distance = distance.checked_mul(2)?;
    }
    None
}

/// Whether the copy of a FAT32 boot sector, in sector 6, is one that the unit would read.
pub(super) fn has_backup(window: &mut Window<'_>) -> bool {
    let Ok(copy) = window.read(6) else { return false };
    let blocks = window.blocks();
    let mut mount = packstaff_fat::Mount::new(blocks);
    let asked = mount.step(None);
    matches!(asked, Ok(packstaff_fat::Step::Read(0)))
        && matches!(mount.step(Some(&copy)), Ok(packstaff_fat::Step::Ready(_)))
}

/// The finding of a listing that stops early.
pub(super) fn of_stopped(path: &str, error: packstaff_fat::Error) -> Finding {
    let is_top = path.is_empty();
    let (severity, place) = if is_top {
        (Stops, "top of the stick")
    } else {
        (Note, "folder on the stick")
    };
    let finding = Finding::new(
        "folder-damaged",
        severity,
        format!(
            "The {} is damaged, so that only a part of it can be read.",
            if is_top { place } else { "folder" }
        ),
        error.to_string(),
    )
    .about(if is_top { "the top of the stick" } else { path })
    .remedy(COPY);
    if is_top { finding.code(error) } else { finding }
}
