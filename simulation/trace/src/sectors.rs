//! What each sector of flash holds, told by the digests of the same sector in every release.

use crate::cells::{Cells, Span};
use crate::known::{KindOfUnit, ReleaseId};
use packstaff_envelope::sha256;
use packstaff_installer::Region;
use packstaff_unit::blueprint::Blueprint;
use serde::Serialize;
use std::collections::BTreeMap;

/// What a sector holds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "holds")]
pub enum Seen {
    /// It reads as erased.
    Erased,
    /// Exactly what these releases have there.
    Release {
        /// The releases: several, where they do not differ there.
        of: Vec<ReleaseId>,
    },
    /// The beginning of what these releases have there, and erased cells.
    Begun {
        /// The releases.
        of: Vec<ReleaseId>,
        /// Bytes that agree.
        bytes: u32,
    },
    /// Some of what these releases have there, and something else: it is torn, or it was changed.
    Mixed {
        /// The release that most of it agrees with.
        of: Vec<ReleaseId>,
        /// Bytes that agree and are not erased.
        bytes: u32,
        /// Bytes from the start that agree.
        first: u32,
    },
    /// Nothing that any release has there.
    Other,
    /// Not in any read-out.
    NotRead,
    /// In the read-outs only in part; what is there agrees with these releases, or with none if the list is empty.
    Partly {
        /// The releases.
        of: Vec<ReleaseId>,
        /// Bytes that were read.
        bytes: u32,
    },
}

/// What sectors are for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Purpose {
    /// The slot, or the first of two.
    Slot,
    /// The stage, from which the slot is filled.
    Stage,
    /// The second slot.
    SecondSlot,
    /// The register of what was installed.
    Register,
    /// The installer itself.
    Installer,
    /// Nothing that an install reads or writes.
    Other,
}

/// A sector, or several in a row that hold the like.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SectorSeen {
    /// Where.
    pub span: Span,
    /// How many sectors.
    pub sectors: u32,
    /// What for.
    pub purpose: Purpose,
    /// What is there, where it is for images.
    pub seen: Option<Seen>,
    /// Bytes that differ between two read-outs.
    pub unsteady: u32,
    /// Bytes that the part could not read.
    pub unreadable: u32,
}

/// What each release has in one place, sector by sector, known by digests.
struct Book {
    /// Releases by the digest of what they have in a sector.
    by_digest: BTreeMap<(u32, [u8; 32]), Vec<usize>>,
}

impl Book {
    fn of(kind: &KindOfUnit, place: Region, sectors: &[Region], erased: u8) -> Self {
        let mut by_digest = BTreeMap::<_, Vec<usize>>::new();
        for (index, release) in kind.releases.iter().enumerate() {
            for sector in sectors {
                let part = part_of(&release.image, place, *sector, erased);
                by_digest.entry((sector.base, sha256(&part))).or_default().push(index);
            }
        }
        Self { by_digest }
    }
}

/// What an image in `place` has in a part of it, erased cells behind its end.
fn part_of(image: &[u8], place: Region, part: Region, erased: u8) -> Vec<u8> {
    let from = part.base.saturating_sub(place.base) as usize;
    let held = image.get(from..).unwrap_or_default();
    let mut bytes = held.get(..part.size as usize).unwrap_or(held).to_vec();
    bytes.resize(part.size as usize, erased);
    bytes
}

/// What the unit's sectors hold, upward; like ones in a row are one entry.
pub(crate) fn sectors(kind: &KindOfUnit, blueprint: &Blueprint, cells: &Cells) -> Vec<SectorSeen> {
    let all = blueprint.layout.sectors();
    let records = blueprint.config().place();
    let mut rows = Vec::<SectorSeen>::new();
    let places: Vec<_> = blueprint.places().collect();
    let books: Vec<_> = places
        .iter()
        .map(|place| {
            let within: Vec<_> = all
                .iter()
                .filter(|sector| sector.overlaps(*place))
                .map(|sector| body_of(*sector, records))
                .collect();
            (*place, Book::of(kind, *place, &within, cells.erased(*place)))
        })
        .collect();
    for sector in all {
        let book = books.iter().find(|(place, _)| place.overlaps(*sector));
        let purpose = match places.iter().position(|place| place.overlaps(*sector)) {
            Some(0) => Purpose::Slot,
            Some(_) => match blueprint.slots {
                packstaff_installer::Layout::Staged { .. } => Purpose::Stage,
                _ => Purpose::SecondSlot,
            },
            None if blueprint.floors.contains(sector) => Purpose::Register,
            None if blueprint.installer.overlaps(*sector) => Purpose::Installer,
            None => Purpose::Other,
        };
        let row = SectorSeen {
            span: (*sector).into(),
            sectors: 1,
            purpose,
            seen: book.map(|(place, book)| seen(kind, book, cells, *place, body_of(*sector, records))),
            unsteady: cells.unsteady_count(*sector),
            unreadable: cells.unreadable_count(*sector),
        };
        match rows.last_mut() {
            Some(last) if alike(last, &row) => {
                last.span.size = last.span.size.saturating_add(row.span.size);
                last.sectors += 1;
            }
            _ => rows.push(row),
        }
    }
    rows
}

/// A sector without the slot's descriptor, which is told of by itself.
fn body_of(sector: Region, records: packstaff_installer::Place) -> Region {
    if !sector.overlaps(records.record) {
        return sector;
    }
    Region {
        base: sector.base,
        size: records.record.base.saturating_sub(sector.base),
    }
}

fn alike(last: &SectorSeen, next: &SectorSeen) -> bool {
    let counted = |row: &SectorSeen| match row.seen {
        Some(Seen::Begun { .. } | Seen::Mixed { .. } | Seen::Partly { .. }) => true,
        _ => row.unsteady > 0 || row.unreadable > 0,
    };
    last.purpose == next.purpose && last.seen == next.seen && !counted(last) && !counted(next)
}

fn seen(kind: &KindOfUnit, book: &Book, cells: &Cells, place: Region, body: Region) -> Seen {
    let unknown = cells.unknown_count(body);
    if unknown == body.size {
        return Seen::NotRead;
    }
    if let Some(bytes) = cells.bytes(body) {
        if cells.may_be_blank(body) {
            return Seen::Erased;
        }
        if let Some(of) = book.by_digest.get(&(body.base, sha256(bytes))) {
            return Seen::Release { of: kind.ids(of) };
        }
    }
    let read: Vec<_> = cells.each(body).collect();
    let compared: Vec<_> = kind
        .releases
        .iter()
        .map(|release| {
            agreement(
                &read,
                &part_of(&release.image, place, body, cells.erased(place)),
                cells.erased(place),
            )
        })
        .collect();
    if unknown > 0 && cells.unsteady_count(body) == 0 {
        let of = with(&compared, |found| found.all && found.programmed > 0);
        return Seen::Partly {
            of: kind.ids(&of),
            bytes: cells.read_count(body),
        };
    }
    let begun = compared
        .iter()
        .filter(|found| found.begun)
        .map(|found| found.leading)
        .max();
    if let Some(bytes) = begun.filter(|bytes| *bytes > 0) {
        let of = with(&compared, |found| found.begun && found.leading == bytes);
        return Seen::Begun {
            of: kind.ids(&of),
            bytes,
        };
    }
    // Of random bytes, one in 256 agrees by chance; an eighth of a sector does not.
    let best = compared.iter().map(|found| found.programmed).max().unwrap_or(0);
    if best > body.size / 8
        || (best > 64
            && u64::from(best) * 2
                > read
                    .iter()
                    .flatten()
                    .filter(|byte| **byte != cells.erased(place))
                    .count() as u64)
    {
        let of = with(&compared, |found| found.programmed == best);
        let first = of
            .iter()
            .filter_map(|index| compared.get(*index))
            .map(|found| found.leading);
        return Seen::Mixed {
            first: first.max().unwrap_or(0),
            of: kind.ids(&of),
            bytes: best,
        };
    }
    Seen::Other
}

/// How the cells of a sector agree with a release.
struct Agreement {
    /// Every cell that was read agrees.
    all: bool,
    /// Cells that agree and are not erased.
    programmed: u32,
    /// Bytes from the start that agree.
    leading: u32,
    /// Everything behind these reads as erased.
    begun: bool,
}

fn agreement(read: &[Option<u8>], wanted: &[u8], erased: u8) -> Agreement {
    let pairs = || read.iter().zip(wanted);
    let agrees = |(read, wanted): &(&Option<u8>, &u8)| read.is_none_or(|read| read == **wanted);
    let leading = pairs().take_while(agrees).count();
    let behind = read.get(leading..).unwrap_or_default();
    Agreement {
        all: leading == read.len().min(wanted.len()),
        programmed: pairs()
            .filter(|(read, wanted)| **read == Some(**wanted) && **wanted != erased)
            .count() as u32,
        leading: leading as u32,
        begun: behind.iter().all(|read| *read == Some(erased)),
    }
}

fn with(compared: &[Agreement], holds: impl Fn(&Agreement) -> bool) -> Vec<usize> {
    let found = compared.iter().enumerate().filter(|(_, found)| holds(found));
    found.map(|(index, _)| index).collect()
}
