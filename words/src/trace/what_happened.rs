//! What happened: every hypothesis in a few sentences.

use super::versions;
use crate::text::{bytes, capital};
use packstaff_trace::{FlashAccount, Hypothesis, Where, Work};
use std::fmt::Write;

fn place(place: Where) -> &'static str {
    match place {
        Where::Slot => "the slot",
        Where::SecondSlot => "the second slot",
        Where::Stage => "the stage",
    }
}

pub(super) fn happened(flash: &FlashAccount) -> Vec<String> {
    let mut text: Vec<_> = flash.hypotheses.iter().map(hypothesis).collect();
    if text.len() > 1 {
        text.insert(
            0,
            "More than one course of events leaves flash like this; likeliest first:".to_owned(),
        );
    }
    text
}

fn hypothesis(hypothesis: &Hypothesis) -> String {
    let mut said = work(hypothesis);
    if let Some(torn) = hypothesis.torn {
        let _ = write!(said, " Power failed inside the granule at {torn:#010x}.");
    }
    if !hypothesis.remains.is_empty() {
        let _ = write!(said, " Remains of {} lie there.", versions(&hypothesis.remains));
    }
    if let Some(runs) = hypothesis
        .runs
        .as_ref()
        .filter(|runs| hypothesis.work != Work::Nothing && !hypothesis.installing.contains(runs))
    {
        let _ = write!(said, " Meanwhile the unit still has {runs}.");
    }
    said
}

/// What was being done, and how far it came.
fn work(hypothesis: &Hypothesis) -> String {
    let version = versions(&hypothesis.installing);
    let at = place(hypothesis.place);
    match hypothesis.work {
        Work::Nothing if hypothesis.installing.is_empty() => {
            "The unit is as a new one: nothing was ever installed, and no install is under way.".to_owned()
        }
        Work::Nothing => format!("The unit holds {version}, whole, and no install is under way."),
        Work::Recording if hypothesis.written.is_some() => {
            format!(
                "An install of {version} was broken off at its last step: all of it is written, and it was being recorded."
            )
        }
        Work::Recording => format!(
            "{} is installed. What the unit keeps of it in the register was still being written; the next start finishes that.",
            capital(&version)
        ),
        Work::Writing => match hypothesis.written {
            Some((done, of)) if done == of => {
                format!(
                    "An install of {version} was broken off when all {} were written to {at}, before it was recorded.",
                    bytes(u64::from(of))
                )
            }
            Some((done, of)) => format!(
                "An install of {version} was broken off while it was being written to {at}: {done} of {of} bytes are there ({} %).",
                u64::from(done) * 100 / u64::from(of.max(1))
            ),
            None => format!(
                "What was written to {at} is of no release: the stick did not answer the second time as it had the first. Such an image \
                 is never started."
            ),
        },
        Work::Erasing if hypothesis.installing.is_empty() => format!(
            "An install was broken off while {at} was being erased, before anything was written: flash does not show which version was \
             to come."
        ),
        Work::Erasing => format!(
            "An install of {version} was broken off while {at} was being erased, before anything was written{}.",
            if hypothesis.by_stick {
                " (the version is the stick's: flash does not show it)"
            } else {
                ""
            }
        ),
        Work::Damaged => format!(
            "{} was damaged: the image there is not the one that its record names, and no power cut during an install leaves it so.",
            capital(at)
        ),
    }
}
