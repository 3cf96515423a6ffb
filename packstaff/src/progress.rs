//! Tells a person at a terminal what is going on; silent elsewhere.

use crate::memory;
use packstaff_bench::{Counts, Step};
use packstaff_words::progress::{Pace, line, paced_line};
use std::io::{IsTerminal, Write};
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

/// How often an exploration is told of.
const TELL_EVERY: Duration = Duration::from_millis(200);

/// One line on standard error that is overwritten as the work goes on.
pub(crate) struct Progress {
    shown: bool,
    exploration: Mutex<Clock>,
}

/// When an exploration began, and was told of last.
#[derive(Clone, Copy)]
struct Clock {
    begun: Instant,
    told: Instant,
}

impl Clock {
    fn begin() -> Self {
        let now = Instant::now();
        Self { begun: now, told: now }
    }
}

impl Progress {
    /// Shown if standard error is a terminal and `quiet` is not asked for.
    pub(crate) fn new(quiet: bool) -> Self {
        Self {
            shown: !quiet && std::io::stderr().is_terminal(),
            exploration: Mutex::new(Clock::begin()),
        }
    }

    /// Shows what is being done now.
    pub(crate) fn say(&self, what: &str) {
        if self.shown {
            let mut err = std::io::stderr().lock();
            // A terminal that cannot be written to is no reason to stop.
            let _ = write!(err, "\r\x1b[K{what} ...");
            let _ = err.flush();
        }
    }

    /// Takes the line away.
    pub(crate) fn done(&self) {
        if self.shown {
            let _ = write!(std::io::stderr().lock(), "\r\x1b[K");
        }
    }

    /// Shows how far an exploration has come, not more often than a person can read.
    fn explored(&self, step: &Step<'_>, counts: &Counts) {
        let begun = {
            let mut clock = self.exploration.lock().unwrap_or_else(PoisonError::into_inner);
            if clock.told.elapsed() < TELL_EVERY {
                return;
            }
            clock.told = Instant::now();
            clock.begun
        };
        self.say(&paced_line(
            step,
            &Pace {
                nodes_per_s: counts.nodes as f64 / begun.elapsed().as_secs_f64().max(0.001),
                peak_bytes: memory::peak(),
            },
        ));
    }
}

impl packstaff_bench::Progress for Progress {
    fn at(&self, step: &Step<'_>) {
        match step {
            _ if !self.shown => {}
            Step::Exploring {
                counts: Some(counts), ..
            } => self.explored(step, counts),
            Step::Exploring { counts: None, .. } => {
                *self.exploration.lock().unwrap_or_else(PoisonError::into_inner) = Clock::begin();
                self.say(&line(step));
            }
            _ => self.say(&line(step)),
        }
    }
}
