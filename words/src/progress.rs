//! What is being done, as a line for somebody who waits.

use packstaff_bench::{Explored, Step};
use packstaff_rehearsal::picture::grouped;

/// The line for a step, without a full stop.
pub fn line(step: &Step<'_>) -> String {
    match step {
        Step::CheckingBuilds => "checking the builds".to_owned(),
        Step::OpeningKeyring => "opening the keyring".to_owned(),
        Step::ComputingTree { done, all } => format!("computing the HSS-LMS key's tree, {done} of {all}"),
        Step::Packing => "packing".to_owned(),
        Step::Installing { board, to, .. } => format!("installing once, without a cut: board {board}, to {to}"),
        Step::TrialInstall { board } => format!("installing on a simulated board {board}"),
        Step::Exploring { what, .. } => explored(what),
        Step::MakingStick => "making the stick".to_owned(),
        Step::TryingPort { case } => (*case).to_owned(),
        // Steps that this version has no words for are shown as nothing.
        _ => String::new(),
    }
}

/// How fast an exploration goes, and what it takes: whoever has a clock knows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pace {
    /// Nodes in a second.
    pub nodes_per_s: f64,
    /// The most memory that was used so far, in bytes; `None` if it is not known.
    pub peak_bytes: Option<u64>,
}

/// The line for a step, with its pace if it is an exploration that has begun.
pub fn paced_line(step: &Step<'_>, pace: &Pace) -> String {
    let Step::Exploring {
        what,
        counts: Some(counts),
    } = step
    else {
        return line(step);
    };
    let memory = pace
        .peak_bytes
        .map_or("unknown".to_owned(), |bytes| format!("{} MiB", bytes >> 20));
    format!(
        "{}: {} worlds, {} cuts, {:.0} nodes a second, {} ahead, peak memory {memory}",
        explored(what),
        grouped(counts.worlds as u64),
        grouped(counts.cuts),
        pace.nodes_per_s,
        grouped(counts.ahead as u64),
    )
}

fn explored(what: &Explored<'_>) -> String {
    match what {
        Explored::Installs { board, to } => format!("rehearsing board {board}, to {to}"),
        Explored::Settings { memory } => format!("rehearsing settings in {memory}"),
        Explored::OwnLoader { to } => format!("rehearsing the loader, to {to}"),
        _ => "rehearsing".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use packstaff_bench::Counts;

    #[test]
    fn an_exploration_tells_its_numbers_and_its_pace() {
        let what = Explored::Installs { board: "C", to: "2.0" };
        let pace = Pace {
            nodes_per_s: 1234.4,
            peak_bytes: Some(5 << 20),
        };
        let begun = Step::Exploring { what, counts: None };
        assert_eq!(paced_line(&begun, &pace), "rehearsing board C, to 2.0");
        let counts = Some(Counts {
            worlds: 1500,
            nodes: 9000,
            ahead: 70,
            cuts: 20_000,
        });
        assert_eq!(
            paced_line(&Step::Exploring { what, counts }, &pace),
            "rehearsing board C, to 2.0: 1,500 worlds, 20,000 cuts, 1234 nodes a second, 70 ahead, peak memory 5 MiB"
        );
    }
}
