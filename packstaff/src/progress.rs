//! Tells a person at a terminal what is going on; silent elsewhere.

use std::io::{IsTerminal, Write};

/// One line on standard error that is overwritten as the work goes on.
pub struct Progress {
    shown: bool,
}

impl Progress {
    /// Shown if standard error is a terminal and `quiet` is not asked for.
    pub fn new(quiet: bool) -> Self {
        Self {
            shown: !quiet && std::io::stderr().is_terminal(),
        }
    }

    /// Shows what is being done now.
    pub fn say(&self, what: &str) {
        if self.shown {
            let mut err = std::io::stderr().lock();
            // A terminal that cannot be written to is no reason to stop.
            let _ = write!(err, "\r\x1b[K{what} ...");
            let _ = err.flush();
        }
    }

    /// Takes the line away.
    pub fn done(&self) {
        if self.shown {
            let _ = write!(std::io::stderr().lock(), "\r\x1b[K");
        }
    }
}

impl packstaff_bench::Progress for Progress {
    fn at(&self, step: &packstaff_bench::Step<'_>) {
        self.say(&packstaff_words::progress::line(step));
    }
}
