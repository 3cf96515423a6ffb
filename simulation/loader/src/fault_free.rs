//! A loader to whose unit nothing happens: how units are made, and whether a loader is fit for a rehearsal at all.

use crate::fault::LoaderFault;
use crate::foreign::ForeignLoader;
use packstaff_rehearsal::explore::Loader;
use packstaff_unit::drive::{Answer, Wish, look};
use packstaff_unit::flash::Flash;
use packstaff_unit::stick::Stick;

/// What a loader came to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FaultFreeEnd {
    /// Its last wish: a wait or a start.
    pub wish: Wish,
    /// Calls that it made, with the last.
    pub calls: u32,
    /// Changes of flash among them.
    pub changes: u32,
}

impl FaultFreeEnd {
    /// In plain words, after "the loader".
    pub fn words(&self) -> String {
        match &self.wish {
            Wish::Start(address) => format!("started {address:#010x}"),
            Wish::Wait(reason) => format!("waited: {reason} ({})", reason.code()),
            other => format!("asked for {other:?}"),
        }
    }
}

/// Powers a unit up, and carries out what its loader asks for, to the end.
///
/// # Errors
/// What is wrong with the loader.
pub fn power_up(
    loader: &ForeignLoader<'_>,
    flash: &mut Flash,
    stick: Option<&Stick>,
) -> Result<FaultFreeEnd, LoaderFault> {
    let (mut history, mut wish) = loader.power_up();
    let (mut calls, mut changes) = (0, 0);
    loop {
        if let Some(fault) = loader.fault(&history) {
            return Err(fault);
        }
        calls += 1;
        let answer = match &wish {
            Wish::Wait(_) | Wish::Start(_) => return Ok(FaultFreeEnd { wish, calls, changes }),
            Wish::Change(change) => {
                changes += 1;
                flash.apply(change).map_err(LoaderFault::Refused)?;
                Answer::Done
            }
            other => look(other, flash, stick).unwrap_or(Answer::Failed),
        };
        wish = loader.step(&mut history, &answer);
    }
}
