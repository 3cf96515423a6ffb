//! What is being done, as a line for somebody who waits.

use packstaff_bench::Step;

/// The line for a step, without a full stop.
pub fn line(step: &Step<'_>) -> String {
    match step {
        Step::CheckingBuilds => "checking the builds".to_owned(),
        Step::OpeningKeyring => "opening the keyring".to_owned(),
        Step::ComputingTree { done, all } => format!("computing the HSS-LMS key's tree, {done} of {all}"),
        Step::Packing => "packing".to_owned(),
        Step::Installing { board, to, .. } => format!("installing once, without a cut: board {board}, to {to}"),
        Step::TrialInstall { board } => format!("installing on a simulated board {board}"),
        Step::MakingStick => "making the stick".to_owned(),
        // Steps that this version has no words for are shown as nothing.
        _ => String::new(),
    }
}
