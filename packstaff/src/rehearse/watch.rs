//! What a person is told while an exploration goes on.

use super::memory::peak;
use crate::progress::Progress;
use packstaff_rehearsal::picture::grouped;
use std::cell::Cell;
use std::time::{Duration, Instant};

/// So often.
const TELL_EVERY: Duration = Duration::from_millis(200);

/// Tells how far one exploration has come.
pub(super) struct Watch<'a> {
    words: String,
    progress: &'a Progress,
    begun: Instant,
    told: Cell<Instant>,
}

impl<'a> Watch<'a> {
    /// The exploration of these words begins.
    pub(super) fn begin(words: String, progress: &'a Progress) -> Self {
        progress.say(&words);
        let begun = Instant::now();
        Self {
            words,
            progress,
            begun,
            told: Cell::new(begun),
        }
    }

    /// It has come so far.
    pub(super) fn tell(&self, seen: packstaff_rehearsal::explore::Progress) {
        if self.told.get().elapsed() < TELL_EVERY {
            return;
        }
        self.told.set(Instant::now());
        let rate = seen.nodes as f64 / self.begun.elapsed().as_secs_f64().max(0.001);
        let memory = peak().map_or("unknown".to_owned(), |bytes| format!("{} MiB", bytes >> 20));
        self.progress.say(&format!(
            "{}: {} worlds, {} cuts, {rate:.0} nodes a second, {} ahead, peak memory {memory}",
            self.words,
            grouped(seen.worlds as u64),
            grouped(seen.cuts),
            grouped(seen.ahead as u64),
        ));
    }
}
