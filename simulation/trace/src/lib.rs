//! What happened to a unit, told from what its owner can send: a read-out of its flash, whole or in parts; an image of the
//! stick; the reason code on its display.
//!
//! Nothing is guessed. [`Tracer::account`] lists every [`Hypothesis`] of what happened that leaves flash as it was read, likeliest first; where there
//! is more than one, the account says that it cannot tell. What the unit will do next, and which stick would repair it, is not
//! concluded from rules: the installer itself is run on the contents, in the simulation.
//!
//! A read-out cannot show everything: cells that were programmed when power failed may read as whole now and otherwise
//! later. So an account always names a stick for the case that the unit waits after all.

#![forbid(unsafe_code)]

mod account;
mod cells;
mod compare;
mod hypothesis;
mod inconsistency;
mod known;
mod place;
mod readout;
mod records;
mod repair;
mod sectors;
mod start;
mod stick_seen;

pub use account::{Account, DescriptorAccount, Evidence, FlashAccount, Named, RegisterAccount, Tracer, Unseen};
pub use cells::{Cells, Span};
pub use hypothesis::{Hypothesis, Where, Work};
pub use inconsistency::{Inconsistency, has_nothing_to_start};
pub use known::{KindOfUnit, Release, ReleaseId};
pub use readout::{Readout, ReadoutError};
pub use records::{DescriptorSeen, MarkSeen, RecordSeen, Records};
pub use repair::{Fix, Refused, Repair};
pub use sectors::{Purpose, SectorSeen, Seen};
pub use start::{Failure, Next, Outcome};
pub use stick_seen::{FileSeen, FileState, Intended, Shown, StickInput, StickSeen, Unreadable};
