//! The description of a unit with a maker's own loader: `unit.toml` in the loader's folder, and the files that it names.

mod reading;
mod written;

pub use reading::read;

use crate::sandbox::Limits;
use packstaff_installer::Region;
use packstaff_rehearsal::areas::without;
use packstaff_rehearsal::claims::ReleasedImage;
use packstaff_rehearsal::explore::Faults;
use packstaff_unit::flash::FlashLayout;
use packstaff_unit::stick::Stick;
use std::path::PathBuf;
use std::sync::Arc;

/// The file's name in the loader's folder.
pub const FILE: &str = "unit.toml";

/// A genuine image.
#[derive(Clone, Debug)]
pub struct Image {
    /// What to call it.
    pub name: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// Size and digest.
    pub release: ReleasedImage,
    /// Its issue: images of a lower one are barred once it has run. 0 where the loader has no floor.
    pub issue: u64,
}

/// A stick.
#[derive(Clone, Debug)]
pub struct NamedStick {
    /// What to call it.
    pub name: String,
    /// What is on it.
    pub stick: Stick,
    /// The image that a good stick installs, by its place among the images; none for a stick that must change nothing.
    pub installs: Option<usize>,
}

/// A range that stories and pictures call by a name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NamedRange {
    /// What to call it.
    pub name: String,
    /// The cells.
    pub range: Region,
}

/// How a unit is before anything happens to it.
#[derive(Clone, Debug)]
pub struct Beginning {
    /// What to call it.
    pub name: String,
    /// The stick that it was given once, without any fault, by its place among the sticks.
    pub after_stick: Option<usize>,
    /// What its flash holds before that.
    pub contents: Vec<(u32, Vec<u8>)>,
}

/// A kind of unit with a maker's own loader.
#[derive(Clone, Debug)]
pub struct UnitKind {
    /// The loader's module.
    pub module: Vec<u8>,
    /// The loader's file.
    pub loader: PathBuf,
    /// The flash.
    pub layout: Arc<FlashLayout>,
    /// All of it.
    pub part: Region,
    /// Where an image lies: it begins, and is started, at the first address.
    pub slot: Region,
    /// Ranges that the loader may change.
    pub may_change: Vec<Region>,
    /// Ranges that the maker says are erased before they are read, wherever the loader does not read them before it asks for a
    /// stick.
    pub erased_before_read: Vec<Region>,
    /// Ranges with names, which do not overlap. Each is all among those that the loader may change, or all outside of them.
    pub named: Vec<NamedRange>,
    /// Genuine images.
    pub images: Vec<Image>,
    /// Sticks.
    pub sticks: Vec<NamedStick>,
    /// Units.
    pub beginnings: Vec<Beginning>,
    /// Whether the loader keeps a floor.
    pub floor: bool,
    /// What may go wrong.
    pub faults: Faults,
    /// What the loader may use up.
    pub limits: Limits,
}

impl UnitKind {
    /// Whether the loader may change all of these cells.
    pub fn may_be_changed(&self, cells: Region) -> bool {
        without(cells, &self.may_change).is_empty()
    }
}
