//! A port before the judge, and beside the map that releases are made for.

use crate::board::slots;
use crate::{Bench, OpenError, Progress, Step};
use packstaff_installer::{Layout as Slots, Region};
use packstaff_port_check::cases::{Judged, Options, judge};
use packstaff_port_check::finding::Finding;
use packstaff_port_check::link::{Link, Way};
use packstaff_product::{Board, Range};
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::flash::{FlashLayout, Memory};
use std::time::Duration;
use thiserror::Error;

/// What is to be judged.
pub struct Ask<'a> {
    /// How the port is reached.
    pub way: Way,
    /// How long an answer may take.
    pub patience: Duration,
    /// How much is tried.
    pub options: Options,
    /// The product folder and the board revision whose map the port must have.
    pub product: Option<(&'a Bench, &'a str)>,
}

/// What a port was taken through.
#[derive(Clone, Debug)]
pub struct Checked {
    /// What came of the cases.
    pub judged: Judged,
    /// Its map beside the product file's, if there is one to compare with.
    pub map: Option<MapCheck>,
}

/// A port's map beside a board's.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MapCheck {
    /// The board revision.
    pub revision: String,
    /// The port's slot.
    pub slot: Region,
    /// Where they differ; nowhere, if the port is one for that board.
    pub differences: Vec<Difference>,
}

/// One thing in which two maps differ.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Difference {
    /// As product.toml has it.
    pub declared: Fact,
    /// As the port has it: the same fact.
    pub found: Fact,
}

/// One thing of a map.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Fact {
    /// The flash that the installer runs from.
    Flash(Sectors),
    /// The memory beside it, if there is one.
    Beside(Option<Sectors>),
    /// The installer's region.
    Installer(Region),
    /// The slot.
    Slot(Region),
    /// The floor's first record.
    FirstFloor(Region),
    /// The floor's second record.
    SecondFloor(Region),
    /// The second place.
    SecondPlace(Slots),
    /// Bytes of each sector.
    SectorSizes(Vec<u32>),
}

/// A flash, as an installer sees it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sectors {
    /// How many sectors.
    pub count: usize,
    /// First address.
    pub base: u32,
    /// Bytes that are programmed at a time.
    pub granule: u32,
    /// What an erased byte reads as.
    pub erased: u8,
}

/// Why a port cannot be judged.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum PortError {
    /// A board revision that the product file does not have.
    #[error("product.toml has no board {found}; it has {known}")]
    NoBoard {
        /// The revision asked for.
        found: String,
        /// Those that there are, with commas between.
        known: String,
    },
    /// The board cannot be used.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// The port could not be met.
    #[error(transparent)]
    Finding(#[from] Finding),
}

/// Takes a port through all cases.
///
/// # Errors
/// The port could not be met at all, or the product has no such board.
pub fn check(ask: Ask<'_>, progress: &dyn Progress) -> Result<Checked, PortError> {
    // The board is looked up first, so that a wrong name does not show after minutes.
    let board = ask.product.map(|(bench, revision)| board_of(bench, revision));
    let board = board.transpose()?;
    let link = Link::new(ask.way, ask.patience);
    let judged = judge(link, &ask.options, &mut |title| {
        progress.at(&Step::TryingPort { case: title });
    })?;
    let map = board
        .map(|(bench, board)| compare(bench, board, &judged.map))
        .transpose()?;
    Ok(Checked { judged, map })
}

fn board_of<'b>(bench: &'b Bench, revision: &str) -> Result<(&'b Bench, &'b Board), PortError> {
    let boards = &bench.product.boards;
    let known = || boards.iter().map(|board| board.revision.as_str()).collect::<Vec<_>>();
    let board = bench.product.board(revision).ok_or_else(|| PortError::NoBoard {
        found: revision.to_owned(),
        known: known().join(", "),
    })?;
    Ok((bench, board))
}

/// Whether the port's map is the one that releases are made and rehearsed for.
fn compare(bench: &Bench, board: &Board, port: &Blueprint) -> Result<MapCheck, OpenError> {
    let layout = bench.layout(board)?;
    let [first, second] = board.map.floor.map(region);
    let [port_first, port_second] = port.floors;
    let pair = |declared, found| Difference { declared, found };
    let mut differences = vec![
        pair(
            Fact::Flash(sectors(layout.own())),
            Fact::Flash(sectors(port.layout.own())),
        ),
        pair(
            Fact::Beside(layout.beside().map(sectors)),
            Fact::Beside(port.layout.beside().map(sectors)),
        ),
        pair(
            Fact::Installer(region(board.map.installer)),
            Fact::Installer(port.installer),
        ),
        pair(Fact::Slot(region(board.map.slot)), Fact::Slot(port.slot)),
        pair(Fact::FirstFloor(first), Fact::FirstFloor(port_first)),
        pair(Fact::SecondFloor(second), Fact::SecondFloor(port_second)),
        pair(
            Fact::SecondPlace(slots(&board.map.second)),
            Fact::SecondPlace(port.slots),
        ),
        pair(
            Fact::SectorSizes(sizes(&layout)),
            Fact::SectorSizes(sizes(&port.layout)),
        ),
    ];
    differences.retain(|pair| pair.declared != pair.found);
    Ok(MapCheck {
        revision: board.revision.clone(),
        slot: port.slot,
        differences,
    })
}

fn sectors(memory: &Memory) -> Sectors {
    let geometry = memory.geometry();
    Sectors {
        count: geometry.sectors().count(),
        base: geometry.base,
        granule: geometry.granule,
        erased: geometry.erased,
    }
}

fn sizes(layout: &FlashLayout) -> Vec<u32> {
    layout.sectors().iter().map(|sector| sector.size).collect()
}

fn region(range: Range) -> Region {
    Region {
        base: range.start(),
        size: range.size(),
    }
}
