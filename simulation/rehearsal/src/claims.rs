//! What must hold of a unit, whatever happens to it.

use crate::power_up::Ending;
use packstaff_installer::{REGISTER_LEN, Record, Region, Register};
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::drive::digest;
use packstaff_unit::flash::Flash;
use packstaff_unit::world::World;

/// An image that a unit may run: what its maker released.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct ReleasedImage {
    /// Bytes.
    pub image_size: u32,
    /// SHA-256 of the image.
    pub image_digest: [u8; 32],
}

/// A claim about units. Each has a statement that an owner could be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Claim {
    /// Nothing but a whole, authentic image ever starts.
    Authentic,
    /// With a good stick the unit ends up running what its owner picked.
    Arrives,
    /// Without any stick, a unit that had an image has one again. For layouts with two places only.
    StandsAlone,
    /// What was installed is what the owner picked.
    OwnersChoice,
    /// A descriptor that stands tells the truth.
    Truthful,
    /// What is started was programmed to the end.
    Solid,
    /// The floor never falls.
    FloorRises,
    /// The floor does not rise before its image is installed.
    FloorEarned,
    /// A stick without a good file changes nothing.
    Harmless,
    /// Nothing outside the slot and the floor sectors changes.
    KeepsOut,
    /// Settings and calibration stay as they are.
    SettingsKept,
    /// The installer asks of the part only what the part can do, and comes to an end.
    Sane,
}

/// A claim in words. Those of our installer are [`Claim::wording`]; other loaders may need others.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Wording {
    /// In a few words, for a table.
    pub title: &'static str,
    /// In plain words.
    pub statement: &'static str,
    /// What it would mean for an owner if it did not hold.
    pub consequence: &'static str,
}

impl Claim {
    /// All of them.
    pub const ALL: [Self; 12] = [
        Self::Authentic,
        Self::Arrives,
        Self::StandsAlone,
        Self::OwnersChoice,
        Self::Truthful,
        Self::Solid,
        Self::FloorRises,
        Self::FloorEarned,
        Self::Harmless,
        Self::KeepsOut,
        Self::SettingsKept,
        Self::Sane,
    ];

    /// A short name that does not change.
    pub const fn id(self) -> &'static str {
        match self {
            Self::Authentic => "authentic",
            Self::Arrives => "arrives",
            Self::StandsAlone => "stands-alone",
            Self::OwnersChoice => "owners-choice",
            Self::Truthful => "truthful",
            Self::Solid => "solid",
            Self::FloorRises => "floor-rises",
            Self::FloorEarned => "floor-earned",
            Self::Harmless => "harmless",
            Self::KeepsOut => "keeps-out",
            Self::SettingsKept => "settings-kept",
            Self::Sane => "sane",
        }
    }

    /// The claim of this short name.
    pub fn named(id: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|claim| claim.id() == id)
    }

    /// In words, of our installer.
    pub const fn wording(self) -> Wording {
        Wording {
            title: self.title(),
            statement: self.statement(),
            consequence: self.consequence(),
        }
    }

    /// The statement in a few words, for a table.
    pub const fn title(self) -> &'static str {
        match self {
            Self::Authentic => "Only whole released images start",
            Self::Arrives => "A good stick leads to the picked version",
            Self::StandsAlone => "No stick is needed after a cut",
            Self::OwnersChoice => "What is installed was picked",
            Self::Truthful => "A descriptor tells the truth",
            Self::Solid => "What starts was programmed to the end",
            Self::FloorRises => "What is barred stays barred",
            Self::FloorEarned => "Nobody is locked out early",
            Self::Harmless => "A bad stick changes nothing",
            Self::KeepsOut => "The installer stays whole",
            Self::SettingsKept => "Settings and calibration are kept",
            Self::Sane => "The part can do what is asked of it",
        }
    }

    /// What it would mean for an owner if it did not hold.
    pub const fn consequence(self) -> &'static str {
        match self {
            Self::Authentic => {
                "The unit runs half an image, or code that its maker never released. What it does then, nobody can say."
            }
            Self::Arrives => {
                "The unit is stuck. Its owner has a good stick and does everything right, and it does not help."
            }
            Self::StandsAlone => "The unit waits for a stick, though it has room for two images so that it need not.",
            Self::OwnersChoice => "The unit installs something that its owner did not ask for.",
            Self::Truthful => {
                "The unit takes what lies in its slot for a whole image, and it is not one. Only the digest at the next start stands in between."
            }
            Self::Solid => {
                "The unit runs well today. Some of its cells were not programmed to the end, and may read otherwise in a week."
            }
            Self::FloorRises => "A version that the maker has barred, for its faults, can be brought back.",
            Self::FloorEarned => {
                "The unit refuses the version that it had, before it has the new one. If the new one fails, its owner has nothing."
            }
            Self::Harmless => "A damaged file, or none, costs the unit the firmware that it had.",
            Self::KeepsOut => {
                "The installer itself, or something else that an install has no business with, is changed. If the installer is lost, so is the unit."
            }
            Self::SettingsKept => "Settings or calibration are lost.",
            Self::Sane => {
                "The installer asks for what the part cannot do, or does not come to an end. What a real part makes of it, nobody can say."
            }
        }
    }

    /// In plain words.
    pub const fn statement(self) -> &'static str {
        match self {
            Self::Authentic => "Nothing but a whole image that the maker released ever starts.",
            Self::Arrives => "With a good stick in place, the unit ends up running the version that its owner picked.",
            Self::StandsAlone => "Without any stick, a unit that had a version runs that one or the new one.",
            Self::OwnersChoice => "What is installed is what the owner picked.",
            Self::Truthful => "A descriptor that stands names the image that lies in its slot, whole.",
            Self::Solid => "An image that is started was programmed to the end: no cell of it is in doubt.",
            Self::FloorRises => "What the maker has barred stays barred: no older issue runs after a higher one.",
            Self::FloorEarned => {
                "The floor rises only when an image of that issue is installed: nobody is locked out early."
            }
            Self::Harmless => "A stick without a good file changes nothing.",
            Self::KeepsOut => {
                "An install changes nothing but the slot and the floor: the installer itself stays whole."
            }
            Self::SettingsKept => "Settings and calibration are as they were.",
            Self::Sane => "The installer asks only what the part can do, and comes to an end.",
        }
    }
}

/// A claim that does not hold, with the shortest way to it.
#[derive(Clone, Debug)]
pub struct Violation<S> {
    /// Which.
    pub claim: Claim,
    /// What was seen.
    pub seen: String,
    /// How to get there.
    pub story: S,
}

/// What a unit holds that the claims speak of, besides what it starts.
#[derive(Clone, Debug)]
pub struct Before {
    outside: Vec<(Region, [u8; 32])>,
    settings: [u8; 32],
    floor: u64,
}

/// The floor that a world's records say.
pub fn floor(blueprint: &Blueprint, world: &World) -> u64 {
    floor_of(blueprint, &world.flash)
}

/// The floor that the records in flash say.
pub fn floor_of(blueprint: &Blueprint, flash: &Flash) -> u64 {
    register_of(blueprint, flash).floor()
}

/// The register, as its records read.
pub fn register_of(blueprint: &Blueprint, flash: &Flash) -> Register {
    let record = |region: Region| Record::decode(&flash.bytes(region.base, REGISTER_LEN as u32).ok()?);
    Register {
        records: blueprint.floors.map(record),
    }
}

impl Before {
    /// Takes note of a world.
    pub fn of(blueprint: &Blueprint, world: &World) -> Self {
        let ours = |sector: &Region| {
            blueprint.places().any(|place| place.overlaps(*sector)) || blueprint.floors.contains(sector)
        };
        let outside = world
            .flash
            .layout()
            .sectors()
            .iter()
            .filter(|sector| !ours(sector))
            .filter_map(|sector| Some((*sector, digest(&world.flash, sector.base, sector.size).ok()?)))
            .collect();
        Self {
            outside,
            settings: packstaff_envelope::sha256(world.settings.bytes()),
            floor: floor(blueprint, world),
        }
    }

    /// The claims that do not hold of `world` any more.
    pub fn broken<'a>(&'a self, blueprint: &'a Blueprint, world: &'a World) -> impl Iterator<Item = Claim> + 'a {
        let changed = self
            .outside
            .iter()
            .any(|(sector, before)| digest(&world.flash, sector.base, sector.size).as_ref() != Ok(before));
        let settings = packstaff_envelope::sha256(world.settings.bytes()) != self.settings;
        let fell = floor(blueprint, world) < self.floor;
        [
            (changed, Claim::KeepsOut),
            (settings, Claim::SettingsKept),
            (fell, Claim::FloorRises),
        ]
        .into_iter()
        .filter_map(|(broken, claim)| broken.then_some(claim))
    }
}

/// Which release a unit has just started, if what it started is one.
pub fn running(
    blueprint: &Blueprint,
    world: &World,
    ending: Ending,
    releases: &[ReleasedImage],
) -> Option<ReleasedImage> {
    let Ending::Started { address } = ending else {
        return None;
    };
    if !blueprint.places().any(|place| place.base == address) {
        return None;
    }
    releases
        .iter()
        .find(|release| digest(&world.flash, address, release.image_size) == Ok(release.image_digest))
        .copied()
}
