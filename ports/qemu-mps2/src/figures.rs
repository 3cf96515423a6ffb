//! Figures: ticks and stack, by phase.

use crate::clock;
use crate::semihost::{print, print_number};
use crate::start;
use packstaff_installer::Phase;

const PHASES: [(Phase, &str); 8] = [
    (Phase::Inspect, "inspect"),
    (Phase::Survey, "survey"),
    (Phase::Owner, "owner"),
    (Phase::Check, "check"),
    (Phase::Erase, "erase"),
    (Phase::Program, "program"),
    (Phase::Confirm, "confirm"),
    (Phase::Start, "start"),
];

/// What one phase took.
#[derive(Clone, Copy, Default)]
struct Row {
    steps: u32,
    step_ticks: u32,
    longest: u32,
    digest_ticks: u32,
    stack: u32,
}

/// What all phases took.
pub struct Figures {
    rows: [Row; PHASES.len()],
    begun: u32,
}

impl Figures {
    /// None yet.
    pub fn new() -> Self {
        Self {
            rows: [Row::default(); PHASES.len()],
            begun: clock::now(),
        }
    }

    fn row(&mut self, phase: Phase) -> Option<&mut Row> {
        let index = PHASES.iter().position(|(known, _)| *known == phase)?;
        self.rows.get_mut(index)
    }

    /// A step of the machine that began at `since`, with `depth` bytes of stack in use before it.
    pub fn step(&mut self, phase: Phase, since: u32, depth: Option<u32>) {
        let ticks = clock::now().wrapping_sub(since);
        if let Some(row) = self.row(phase) {
            row.steps += 1;
            row.step_ticks += ticks;
            row.longest = row.longest.max(ticks);
            if let Some(depth) = depth {
                row.stack = row.stack.max(start::stack_used().saturating_sub(depth));
            }
        }
    }

    /// A digest that began at `since`.
    pub fn digest(&mut self, phase: Phase, since: u32) {
        let ticks = clock::now().wrapping_sub(since);
        if let Some(row) = self.row(phase) {
            row.digest_ticks += ticks;
        }
    }

    /// Tells them, a line a phase.
    pub fn tell(&self, waited: u32, worked: u32, reads: u32) {
        figure(
            "all",
            &[
                ("ticks", clock::now().wrapping_sub(self.begun)),
                ("waited", waited),
                ("worked", worked),
                ("blocks", reads),
            ],
        );
        for ((_, name), row) in PHASES.iter().zip(&self.rows) {
            figure(
                name,
                &[
                    ("steps", row.steps),
                    ("ticks", row.step_ticks),
                    ("longest", row.longest),
                    ("digest", row.digest_ticks),
                    ("stack", row.stack),
                ],
            );
        }
    }
}

fn figure(name: &str, values: &[(&str, u32)]) {
    print("figure: ");
    print(name);
    for (what, value) in values {
        print(" ");
        print(what);
        print("=");
        print_number(*value);
    }
    print("\n");
}
