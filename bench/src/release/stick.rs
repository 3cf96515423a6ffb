//! The stick that owners get: every board's update file, the sheet, and a short text.

use super::{Packed, ReleaseError};
use crate::open::Bench;
use crate::stick_spec;
use packstaff_product::{Date, Keyring, Version};
use packstaff_rehearsal::claims::running;
use packstaff_rehearsal::power_up::{Ending, Owner, power_up};
use packstaff_rehearsal::sticks::insert;
use packstaff_stick::{StickError, StickImage};
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::flash::SumKey;
use packstaff_unit::stick::Stick;

/// The stick as a new unit reads it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StickReading {
    /// The board revision.
    pub board: String,
    /// The generation.
    pub generation: String,
    /// What comes of it.
    pub taken: Taken,
}

/// Whether a unit takes its file from a stick.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Taken {
    /// The unit finds its file and runs it.
    Runs {
        /// Blocks that it read from the stick.
        blocks: u64,
    },
    /// It does not.
    Not(Ending),
}

impl StickReading {
    /// Whether the unit runs what was put on the stick.
    pub const fn holds(&self) -> bool {
        matches!(self.taken, Taken::Runs { .. })
    }
}

/// A new unit of one board and generation, which is to take its file from the stick.
#[derive(Clone, Debug)]
pub(super) struct NewUnit {
    pub(super) board: String,
    pub(super) generation: String,
    pub(super) blueprint: Blueprint,
}

/// The stick image of a version with these files, by name and content.
///
/// # Errors
/// The files do not fit a stick, or a name cannot stand on one.
pub fn stick_image(
    short: &str,
    version: &Version,
    date: Date,
    files: &[(&str, &[u8])],
) -> Result<StickImage, StickError> {
    let spec = stick_spec::for_release(short, version.numbers().as_slice(), date);
    let with = files
        .iter()
        .fold(spec, |spec, (name, content)| spec.with_file(*name, *content));
    packstaff_stick::build(&with)
}

/// New units of every board that has an update file, one of each served generation.
///
/// # Errors
/// The keyring lacks a key, or a board's map does not suit the installer.
pub(super) fn new_units<'p>(
    bench: &Bench,
    keyring: &Keyring,
    packed: impl Iterator<Item = &'p Packed>,
) -> Result<Vec<NewUnit>, ReleaseError> {
    let mut units = Vec::new();
    for packed in packed {
        let board = bench.board(&packed.board)?;
        for generation in &bench.product.keys.serve {
            units.push(NewUnit {
                board: packed.board.clone(),
                generation: generation.clone(),
                blueprint: bench.blueprint(board, keyring, generation)?,
            });
        }
    }
    Ok(units)
}

/// Every one of these units takes its update from this very stick, or does not.
pub(super) fn read<'p>(
    image: &StickImage,
    units: &[NewUnit],
    packed: impl Fn(&str) -> Option<&'p Packed>,
) -> Result<Vec<StickReading>, ReleaseError> {
    let stick = insert(image.clone());
    let mut readings = Vec::new();
    for unit in units {
        let Some(packed) = packed(&unit.board) else { continue };
        readings.push(StickReading {
            board: unit.board.clone(),
            generation: unit.generation.clone(),
            taken: take(unit, packed, stick.clone())?,
        });
    }
    Ok(readings)
}

fn take(unit: &NewUnit, packed: &Packed, stick: Stick) -> Result<Taken, ReleaseError> {
    let blueprint = &unit.blueprint;
    let mut world = blueprint.new_unit(Vec::new(), SumKey::fixed())?;
    world.stick = Some(stick);
    let seen = power_up(blueprint, &mut world, Owner::Picks(packed.manifest.digest), |_, _| {});
    Ok(
        match running(blueprint, &world, seen.ending, &[packed.released_image()]) {
            Some(_) => Taken::Runs {
                blocks: seen.work.stick_blocks,
            },
            None => Taken::Not(seen.ending),
        },
    )
}
