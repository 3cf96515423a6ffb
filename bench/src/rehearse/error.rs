//! Why there is no rehearsal, or none with an answer.

use super::cases::Beginning;
use crate::open::OpenError;
use crate::settings::SettingsError;
use packstaff_envelope::Refusal;
use packstaff_keeper::ConfigFault;
use packstaff_product::LedgerError;
use packstaff_rehearsal::explore::{Strayed, Unfinished};
use packstaff_rehearsal::picture::grouped;
use packstaff_rehearsal::power_up::Ending;
use packstaff_settings::generate::GenerateError;
use packstaff_stick::StickError;
use packstaff_unit::blueprint::BlueprintError;
use packstaff_unit::part::UnknownPart;
use thiserror::Error;

/// Why a rehearsal could not be held, or gave no answer. A claim that does not hold is an answer.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum RehearseError {
    /// The product file has no such board.
    #[error("there is no board {0}")]
    NoBoard(String),
    /// No such version was released.
    #[error("the ledger has no release of {0}")]
    NotReleased(String),
    /// Nothing was released yet.
    #[error("the ledger has no release: there is nothing to rehearse")]
    NothingReleased,
    /// A version that units which have run a higher issue refuse.
    #[error(
        "{version} cannot be the end of every install on board {board}: it has issue {issue}, and {highest} with issue \
         {highest_issue} bars it"
    )]
    Barred {
        /// The version asked for.
        version: String,
        /// The board revision.
        board: String,
        /// Its issue.
        issue: u64,
        /// The version that bars it.
        highest: String,
        /// That version's issue.
        highest_issue: u64,
    },
    /// No case begins with this.
    #[error("no install begins with {0}")]
    NoSuchBeginning(Beginning),
    /// A version that was not released for this board.
    #[error("there is no release of {version} for board {board}")]
    NotForBoard {
        /// The version.
        version: String,
        /// The board revision.
        board: String,
    },
    /// No generation of keys is served: no unit can be simulated.
    #[error("product.toml serves no key generation")]
    NoGeneration,
    /// Something in the product folder cannot be used.
    #[error(transparent)]
    Open(#[from] OpenError),
    /// A recorded file is not as it was.
    #[error("the ledger's archive: {0}")]
    Archive(#[source] LedgerError),
    /// An image that is longer than any unit's memory.
    #[error("{file} is recorded with an image of {bytes} bytes, and no unit has more than 4 GiB")]
    ImageTooLong {
        /// The update file's name.
        file: String,
        /// Bytes of its image.
        bytes: u64,
    },
    /// A unit to begin with cannot be made.
    #[error("the ledger's file for an earlier version: {file} cannot be installed on a new unit: {ending:?}")]
    NotInstalled {
        /// The update file's name.
        file: String,
        /// How its install ended.
        ending: Ending,
    },
    /// No unit of this board can be built.
    #[error(transparent)]
    Blueprint(#[from] BlueprintError),
    /// A stick cannot be made.
    #[error(transparent)]
    Stick(#[from] StickError),
    /// A damaged copy is not refused as it should be.
    #[error("{file} with a wrong byte at {at} should be refused for its payload, and is not: {found}")]
    DamageUnseen {
        /// The update file's name.
        file: String,
        /// Where the wrong byte is.
        at: usize,
        /// What came of opening it.
        found: String,
    },
    /// An update file does not open.
    #[error("{file} does not open: {why}")]
    NotOpened {
        /// The update file's name.
        file: String,
        /// Why.
        why: Refusal,
    },
    /// The settings' layouts cannot be had.
    #[error(transparent)]
    Settings(#[from] SettingsError),
    /// A settings memory that is not in the parts table.
    #[error(transparent)]
    Part(#[from] UnknownPart),
    /// A version's tables cannot be made.
    #[error("the tables of {version}: {why}")]
    Tables {
        /// The version.
        version: String,
        /// Why.
        why: GenerateError,
    },
    /// More bytes than any keeper holds.
    #[error("{what} has {bytes} bytes: no keeper holds that")]
    SettingsTooLong {
        /// What.
        what: String,
        /// Its bytes.
        bytes: usize,
    },
    /// The keeper cannot work with as many places as are explored.
    #[error("{0}")]
    SettingsPlace(ConfigFault),
    /// A part that cannot be a settings memory.
    #[error("{0} cannot be simulated as a settings memory")]
    NotSimulated(String),
    /// The way to a claim that does not hold cannot be followed again.
    #[error(transparent)]
    Strayed(#[from] Strayed),
    /// There are more nodes than were allowed for.
    #[error(
        "{case}: there are more than {} nodes: the rehearsal was given up, and says nothing about this case",
        grouped(*nodes as u64)
    )]
    TooLarge {
        /// The case.
        case: String,
        /// Nodes that were allowed for.
        nodes: usize,
        /// Bytes of memory that each takes.
        node_bytes: usize,
    },
    /// The exploration ended without an answer.
    #[error("{case}: {why}")]
    NoAnswer {
        /// The case.
        case: String,
        /// Why.
        why: Unfinished,
    },
}
