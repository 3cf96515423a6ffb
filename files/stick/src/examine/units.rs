//! Findings about what units make of a file that is whole.

use packstaff_envelope::Refusal;
use packstaff_installer::Reason;

use super::finding::{FETCH, Finding, Severity};

/// How units of one kind judge one file.
pub(super) struct UnitVerdict {
    pub(super) unit: String,
    pub(super) board: String,
    /// Taken, offered and later refused, or refused.
    pub(super) verdict: Result<Option<Reason>, Reason>,
}

/// What to say of a file after all kinds of units have judged it. Nothing, if all of them take it.
pub(super) fn of_verdicts(path: &str, verdicts: &[UnitVerdict]) -> Option<Finding> {
    let refused: Vec<_> = verdicts
        .iter()
        .filter_map(|of| match of.verdict {
            Ok(None) => None,
            Ok(Some(reason)) | Err(reason) => Some((&of.unit, reason)),
        })
        .collect();
    let (_, first) = refused.first()?;
    if refused.len() < verdicts.len() {
        let mut takers: Vec<_> = verdicts
            .iter()
            .filter(|of| of.verdict == Ok(None))
            .map(|of| of.board.as_str())
            .collect();
        takers.dedup();
        let refusers: Vec<_> = refused
            .iter()
            .map(|(unit, reason)| format!("{unit}: {}", reason.code()))
            .collect();
        return Some(
            Finding::new(
                "for-some-units",
                Severity::Note,
                format!(
                    "The file is for {}. Other units refuse it, without harm.",
                    takers.join(" and ")
                ),
                format!("refused by {}", refusers.join("; ")),
            )
            .about(path),
        );
    }
    // All refuse: of several reasons, the one that comes closest to taking it.
    let nearest = refused
        .iter()
        .map(|(_, reason)| *reason)
        .max_by_key(|reason| nearness(*reason))
        .unwrap_or(*first);
    let units: Vec<_> = refused
        .iter()
        .map(|(unit, reason)| format!("{unit}: {}", reason.code()))
        .collect();
    Some(of_reason(nearest, &units.join("; ")).about(path))
}

/// How many of a unit's checks a file passes before this one.
const fn nearness(reason: Reason) -> u8 {
    match reason {
        Reason::OtherMaker => 2,
        Reason::OtherProduct => 3,
        Reason::OtherBoard => 4,
        Reason::BelowFloor => 5,
        Reason::TooLarge => 6,
        Reason::File(Refusal::NoRecipient | Refusal::KeyUnwrap) => 7,
        Reason::File(Refusal::PayloadDigest | Refusal::ImageDigest) => 8,
        _ => 1,
    }
}

fn of_reason(reason: Reason, units: &str) -> Finding {
    let (id, owner) = match reason {
        Reason::OtherMaker => ("other-maker", "The file is by another maker."),
        Reason::OtherProduct => ("other-product", "The file is for another product."),
        Reason::OtherBoard => ("other-board", "The file is for another board revision of this unit."),
        Reason::BelowFloor => (
            "below-floor",
            "The maker has barred this version for units that have had a later one.",
        ),
        Reason::TooLarge => ("too-large", "The firmware in the file is too large for this unit."),
        Reason::File(Refusal::NoRecipient | Refusal::KeyUnwrap) => {
            ("other-keys", "The file is for units of another production period.")
        }
        Reason::File(Refusal::NoSignature | Refusal::UnknownSigner | Refusal::BadSignature) => (
            "not-signed",
            "The file is not by the maker of this unit: nobody that the unit trusts has signed it.",
        ),
        _ => ("refused", "The unit does not take this file."),
    };
    let remedy = match reason {
        Reason::File(Refusal::NoSignature | Refusal::UnknownSigner | Refusal::BadSignature) => {
            "Do not use this file. Get the update from us again."
        }
        Reason::OtherBoard | Reason::OtherProduct | Reason::OtherMaker => {
            "Look up on the sheet which file is for your unit, and copy that one."
        }
        Reason::BelowFloor => "Use a later version.",
        Reason::TooLarge | Reason::File(Refusal::NoRecipient | Refusal::KeyUnwrap) => {
            "Write to us with the serial number of your unit: you need another file."
        }
        _ => FETCH,
    };
    Finding::new(id, Severity::Stops, owner, format!("{reason} ({units})"))
        .code(reason)
        .remedy(remedy)
}
