//! What does not fit together, in words.

use packstaff_trace::Inconsistency;

/// A short name that does not change.
pub(super) const fn id(found: &Inconsistency) -> &'static str {
    match found {
        Inconsistency::ReadoutsDiffer { .. } => "readouts-differ",
        Inconsistency::OutsideFlash { .. } => "outside-flash",
        Inconsistency::NotByACut => "not-by-a-cut",
        Inconsistency::NotInTheLedger { .. } => "not-in-the-ledger",
        Inconsistency::BelowTheFloor { .. } => "below-the-floor",
        Inconsistency::CodeAgainstFlash { .. } => "code-against-flash",
        Inconsistency::CodeAgainstStick { .. } => "code-against-stick",
        Inconsistency::StickAgainstFlash { .. } => "stick-against-flash",
        Inconsistency::AnotherBoard { .. } => "another-board",
    }
}

/// What does not fit.
pub(super) fn what(found: &Inconsistency) -> String {
    match found {
        Inconsistency::ReadoutsDiffer { bytes } => format!("{bytes} bytes are not the same in two read-outs"),
        Inconsistency::OutsideFlash { bytes, first } => {
            format!("{bytes} bytes lie outside of this board's flash, the first of them at {first:#010x}")
        }
        Inconsistency::NotByACut => "no install leaves flash like this, whenever its power fails".to_owned(),
        Inconsistency::NotInTheLedger { version, issue } => format!(
            "the slot's descriptor names version {version}, issue {issue}, which is in no record of the ledger for this board"
        ),
        Inconsistency::BelowTheFloor { issue, floor } => {
            format!("the descriptor names issue {issue}, and the register says that issue {floor} was installed before")
        }
        Inconsistency::CodeAgainstFlash { shown } => {
            format!("the unit shows {}, and flash as it was read would start", shown.code())
        }
        Inconsistency::CodeAgainstStick { shown } => {
            format!("with this stick the unit does not show {}", shown.code())
        }
        Inconsistency::StickAgainstFlash { installing } => {
            let names: Vec<_> = installing.iter().map(|id| id.version.as_str()).collect();
            format!(
                "an install of {} was under way, and this stick does not hold it",
                names.join(" or ")
            )
        }
        Inconsistency::AnotherBoard { named, found } => {
            format!("what was sent holds nothing of board {named}, and something of board {found}")
        }
    }
}

/// What may explain it, and what to ask for.
pub(super) const fn explanation(found: &Inconsistency) -> &'static str {
    match found {
        Inconsistency::ReadoutsDiffer { .. } => {
            "Cells that a cut has left half programmed or half erased read differently from one time to the next: such cells \
             count as torn here. If they lie all over flash, the read-outs are of different moments or units, or the reading itself \
             is at fault: read again."
        }
        Inconsistency::OutsideFlash { .. } => {
            "They were left out. The read-out may be of another part, or begin at another address than was said."
        }
        Inconsistency::NotByACut => {
            "Flash was damaged or changed by something else than the installer, or the read-out is wrong or of another unit. \
             Ask for a second read-out. If it is the same, the unit wants a closer look: cells may be worn out."
        }
        Inconsistency::NotInTheLedger { .. } => {
            "It was signed with your key, or the unit would not have installed it. Look for a ledger that was not kept, or for \
             a unit of another board revision."
        }
        Inconsistency::BelowTheFloor { .. } => {
            "A unit refuses issues below its floor, so it cannot have installed this one afterwards. The pieces of the read-out \
             may be of different moments."
        }
        Inconsistency::CodeAgainstFlash { .. } => {
            "Either the read-out was taken at another moment, or is of another unit; or power failed while the last record was \
             being programmed: such cells may read as whole once and otherwise the next time. The stick named below helps in each \
             case."
        }
        Inconsistency::CodeAgainstStick { .. } => {
            "The image may be of another stick than the one that was in the unit, or the stick was changed since. Ask which."
        }
        Inconsistency::StickAgainstFlash { .. } => {
            "It is not the stick that was in the unit then, or its files were changed since."
        }
        Inconsistency::AnotherBoard { .. } => "Name that board with --board, or ask the owner which one it is.",
    }
}
