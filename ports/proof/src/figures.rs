//! What a port told of its time and its stack.

use std::collections::BTreeMap;
use std::fmt::Write;

/// Instructions in a tick of the board's timers, with `-icount shift=0`: they count at 25 MHz, an instruction takes 1 ns.
const INSTRUCTIONS_IN_A_TICK: u64 = 40;

/// What one run told: by phase, values by name.
pub(crate) struct Figures(BTreeMap<String, BTreeMap<String, u64>>);

impl Figures {
    /// From lines such as `figure: check steps=800 ticks=12 longest=3 digest=0 stack=0`.
    pub(crate) fn read(lines: &[String]) -> Result<Self, String> {
        let mut figures = BTreeMap::new();
        for line in lines.iter().filter_map(|line| line.strip_prefix("figure: ")) {
            let mut words = line.split(' ');
            let phase = words.next().unwrap_or_default().to_owned();
            let mut values = BTreeMap::new();
            for word in words {
                let value = word
                    .split_once('=')
                    .and_then(|(name, value)| Some((name.to_owned(), value.parse().ok()?)));
                let (name, value) = value.ok_or_else(|| format!("`{word}` in `{line}` is no figure"))?;
                values.insert(name, value);
            }
            figures.insert(phase, values);
        }
        if figures.is_empty() {
            return Err("the port told no figures".to_owned());
        }
        Ok(Self(figures))
    }

    fn value(&self, phase: &str, name: &str) -> u64 {
        let values = self.0.get(phase);
        values.and_then(|values| values.get(name)).copied().unwrap_or(0)
    }

    fn instructions(&self, phase: &str, name: &str) -> u64 {
        self.value(phase, name) * INSTRUCTIONS_IN_A_TICK
    }

    /// Of all phases.
    fn sum(&self, name: &str) -> u64 {
        let phases = self.0.keys().filter(|phase| *phase != "all");
        phases.map(|phase| self.instructions(phase, name)).sum()
    }
}

/// What was measured.
pub(crate) struct Measured {
    /// A new unit takes an image, waiting for flash.
    pub(crate) install: Figures,
    /// The same, going on while flash is busy.
    pub(crate) overlapped: Figures,
    /// The same, with the stack painted before each step.
    pub(crate) stack: Figures,
    /// The installed image is started; no stick.
    pub(crate) nothing_to_do: Figures,
    /// The installed image is started; a stick without a file.
    pub(crate) empty_stick: Figures,
}

impl Measured {
    /// A line for each figure: a name, and a number.
    pub(crate) fn report(&self, bytes: u64) -> String {
        let mut text = String::new();
        let mut line = |name: &str, value: u64| {
            let _ = writeln!(text, "{name} {value}");
        };
        let per_byte_milli = |instructions: u64| instructions * 1000 / bytes;
        let (install, quiet) = (&self.install, &self.nothing_to_do);
        line("image-bytes", bytes);
        line(
            "check-instructions-per-1000-bytes",
            per_byte_milli(install.instructions("check", "ticks")),
        );
        line(
            "program-instructions-per-1000-bytes",
            per_byte_milli(install.instructions("program", "ticks")),
        );
        // The program phase ends with the digest over what was programmed, and the confirm phase has nothing else of weight.
        let digested = ["program", "confirm", "erase"]
            .map(|phase| install.instructions(phase, "digest"))
            .iter()
            .sum();
        line("digest-instructions-per-1000-bytes", per_byte_milli(digested));
        line("manifest-instructions", install.instructions("survey", "longest"));
        line("boot-step-instructions", quiet.sum("ticks"));
        line(
            "boot-digest-instructions-per-1000-bytes",
            per_byte_milli(quiet.sum("digest")),
        );
        line("empty-stick-instructions", self.empty_stick.sum("ticks"));
        for (name, figures) in [("waiting", install), ("overlapped", &self.overlapped)] {
            line(
                &format!("{name}-all-instructions"),
                figures.instructions("all", "ticks"),
            );
            line(
                &format!("{name}-flash-instructions"),
                figures.instructions("all", "worked"),
            );
            line(
                &format!("{name}-waited-instructions"),
                figures.instructions("all", "waited"),
            );
        }
        for phase in ["inspect", "survey", "owner", "check", "erase", "program", "confirm"] {
            line(&format!("stack-{phase}-bytes"), self.stack.value(phase, "stack"));
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_read() {
        let lines = ["starting", "figure: check steps=3 ticks=20", "figure: all ticks=7"].map(str::to_owned);
        let figures = Figures::read(&lines).unwrap();
        assert_eq!(figures.instructions("check", "ticks"), 800);
        assert_eq!(figures.value("survey", "ticks"), 0);
        assert!(Figures::read(&[]).is_err());
        assert!(Figures::read(&["figure: check steps".to_owned()]).is_err());
    }
}
