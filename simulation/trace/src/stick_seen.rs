//! The owner's stick: what the unit makes of it, and which releases are on it.

use crate::known::{KindOfUnit, ReleaseId};
use crate::start::{Worlds, run};
use packstaff_envelope::{Refusal, VersionNumbers, open};
use packstaff_installer::{Finding, Reason};
use packstaff_rehearsal::power_up::Owner;
use packstaff_stick::{BlockSource, FnSource, ReadError, listing, read_file};
use std::io;

/// Largest file of a stick that is looked into, in bytes.
const FILE_MAX: u32 = 16 << 20;
/// Files that are looked into at most: a crafted stick can list the same blocks as thousands of large files.
const FILES_MAX: usize = 64;
/// Bytes that are looked into in all.
const ALL_MAX: u64 = 64 << 20;
/// How every update file begins: the tag of a SUIT envelope.
const TAG: [u8; 2] = [0xd8, 0x6b];

/// A stick, and what to call it.
#[derive(Clone, Debug)]
pub struct StickInput {
    /// A file's name.
    pub name: String,
    /// The stick.
    pub stick: packstaff_unit::stick::Stick,
}

/// What is on it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StickSeen {
    /// Why its file system cannot be read.
    pub unreadable: Option<Unreadable>,
    /// Files that are updates, or look like it.
    pub files: Vec<FileSeen>,
    /// Other files and folders in its root.
    pub others: u32,
    /// What units of each generation show, in the state that was read; without a read-out, as new ones.
    pub shows: Vec<Shown>,
}

/// Why a stick, or a file on it, cannot be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unreadable {
    /// Its file system is not as it should be.
    Fat(packstaff_fat::Error),
    /// A block cannot be read.
    Block,
}

impl Unreadable {
    /// What a unit shows for it.
    pub const fn reason(self) -> Reason {
        match self {
            Self::Fat(error) => Reason::Stick(error.kind()),
            Self::Block => Reason::StickUnreadable,
        }
    }
}

impl From<ReadError> for Unreadable {
    fn from(error: ReadError) -> Self {
        match error {
            ReadError::Fat(error) => Self::Fat(error),
            _ => Self::Block,
        }
    }
}

/// An update file on a stick.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FileSeen {
    /// Its name. It comes from outside: show it with care.
    pub name: String,
    /// What it is.
    pub state: FileState,
}

/// What an update file on a stick is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum FileState {
    /// Exactly this release's file.
    Release {
        /// Which.
        id: ReleaseId,
    },
    /// This release's file, but not whole: what is signed in it is, the rest is not.
    Damaged {
        /// Which.
        id: ReleaseId,
        /// What is wrong.
        refusal: Refusal,
    },
    /// A file that is signed by this maker, and that is not in the ledger for this board.
    NotOurs {
        /// Its version's integers.
        version: VersionNumbers,
        /// Its issue.
        issue: u64,
        /// Which units it is for.
        intended: Intended,
    },
    /// A file that no unit accepts.
    Refused(Refusal),
    /// A file that cannot be read to its end.
    Unreadable(Unreadable),
    /// Not read: it is too large.
    TooLarge,
}

impl FileState {
    /// What a unit shows for such a file by itself, if that is sure.
    pub const fn reason(&self) -> Option<Reason> {
        match self {
            Self::Damaged { refusal, .. } | Self::Refused(refusal) => Some(Reason::File(*refusal)),
            Self::Unreadable(why) => Some(why.reason()),
            Self::Release { .. } | Self::NotOurs { .. } | Self::TooLarge => None,
        }
    }
}

/// Which units a file is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Intended {
    /// Those of this board.
    ThisBoard,
    /// Those of another board revision of this product.
    OtherBoard,
    /// Those of another product.
    OtherProduct,
}

/// What a unit makes of the stick.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Shown {
    /// The generation of the unit's keys.
    pub generation: String,
    /// Versions that it offers.
    pub offers: Vec<String>,
    /// What it shows, if its owner picks nothing.
    pub reasons: Vec<Reason>,
}

/// Looks at a stick, and puts it into the unit.
pub(crate) fn look(kind: &KindOfUnit, worlds: &Worlds, input: &StickInput) -> StickSeen {
    let shows = kind.generations.iter().map(|(generation, blueprint)| {
        let ran = run(kind, blueprint, &worlds.best, Some(&input.stick), Owner::Declines);
        // That nothing was picked is this trial's doing.
        let shown = ran.reasons.iter().copied();
        let mut reasons: Vec<_> = shown.filter(|reason| *reason != Reason::Declined).collect();
        let rows = ran.listing.iter().flat_map(|listing| listing.rows());
        reasons.extend(rows.filter_map(|(_, row)| match row.finding {
            Finding::Refused(reason) => Some(reason),
            Finding::Offered(_) => None,
        }));
        reasons.dedup();
        let offers = ran.listing.iter().flat_map(|listing| listing.offers());
        Shown {
            generation: generation.clone(),
            offers: offers.map(|(_, _, offer)| offer.version.to_string()).collect(),
            reasons,
        }
    });
    let mut seen = StickSeen {
        unreadable: None,
        files: Vec::new(),
        others: 0,
        shows: shows.collect(),
    };
    let stick = input.stick.clone();
    let blocks = stick.blocks();
    let mut source = FnSource::new(blocks, move |block| {
        stick
            .block(block)
            .ok_or_else(|| io::Error::other("the block cannot be read"))
    });
    match listing(&mut source) {
        Err(error) => seen.unreadable = Some(error.into()),
        Ok(listing) => files(kind, &mut source, &listing, &mut seen),
    }
    seen
}

fn files(kind: &KindOfUnit, source: &mut impl BlockSource, listing: &packstaff_stick::Listing, seen: &mut StickSeen) {
    let extension = kind.blueprint().map(|blueprint| blueprint.extension);
    let mut left = ALL_MAX;
    for listed in &listing.entries {
        let named = listed.to_string().to_ascii_uppercase();
        let ends = extension.is_some_and(|ending| {
            let ending = String::from_utf8_lossy(&ending).trim_end().to_owned();
            named.ends_with(&format!(".{ending}"))
        });
        if listed.entry.is_directory() || seen.files.len() >= FILES_MAX {
            seen.others += 1;
            continue;
        }
        let name = listed.to_string();
        if listed.entry.size > FILE_MAX || u64::from(listed.entry.size) > left {
            if ends {
                let state = FileState::TooLarge;
                seen.files.push(FileSeen { name, state });
            } else {
                seen.others += 1;
            }
            continue;
        }
        left -= u64::from(listed.entry.size);
        match read_file(&mut *source, &listing.volume, &listed.entry) {
            Ok(content) if ends || content.starts_with(&TAG) => seen.files.push(FileSeen {
                name,
                state: state(kind, &content),
            }),
            Err(error) if ends => {
                let state = FileState::Unreadable(error.into());
                seen.files.push(FileSeen { name, state });
            }
            _ => seen.others += 1,
        }
    }
}

fn state(kind: &KindOfUnit, content: &[u8]) -> FileState {
    if let Some(release) = kind.releases.iter().find(|release| release.file == content) {
        return FileState::Release { id: release.id() };
    }
    let mut refused = None::<Refusal>;
    for (_, blueprint) in &kind.generations {
        match open(content, &blueprint.anchors, &blueprint.key) {
            Ok(opened) => {
                let class = opened.manifest.class;
                let intended = match class == blueprint.class {
                    true => Intended::ThisBoard,
                    false if blueprint.siblings.contains(&class) => Intended::OtherBoard,
                    false => Intended::OtherProduct,
                };
                return FileState::NotOurs {
                    version: opened.manifest.version,
                    issue: opened.manifest.sequence,
                    intended,
                };
            }
            Err(refusal) => {
                // A key that does not fit says less than anything else.
                refused = match refused {
                    Some(known) if refusal == Refusal::NoRecipient => Some(known),
                    _ => Some(refusal),
                };
            }
        }
    }
    let refusal = refused.unwrap_or(Refusal::NotAnUpdate);
    match beginning_of(kind, content) {
        Some(id) => FileState::Damaged { id, refusal },
        None => FileState::Refused(refusal),
    }
}

/// The release whose file begins like this one: what is signed in it is the same.
fn beginning_of(kind: &KindOfUnit, content: &[u8]) -> Option<ReleaseId> {
    let alike = |release: &crate::known::Release| {
        let pairs = release.file.iter().zip(content);
        pairs.take_while(|(one, other)| one == other).count()
    };
    let best = kind.releases.iter().max_by_key(|release| alike(release))?;
    // The header of an update file: wrapper, signature and manifest, without which nothing can be said of it.
    let header = best.file.len().saturating_sub(best.image.len());
    (alike(best) >= header.min(best.file.len()) && header > 0).then(|| best.id())
}
