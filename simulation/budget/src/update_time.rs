//! How long an update takes, phase by phase.
//!
//! Operations are counted in the installer itself as it runs against a simulated unit; times come from the datasheet in the parts
//! table; rates of the stick and of the processor from [`Rates`]. The multiplication is [`Estimate::of`].

use crate::range::{OutOfRange, demand};
use packstaff_unit::part::Part;
use packstaff_unit::timing::{Estimate, FlashParts, FlashWork, Rates, Span, Work};
use serde::Serialize;

/// One phase of an update.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Phase {
    /// What the unit does.
    pub name: &'static str,
    /// Typical time, in seconds.
    pub typical_s: f64,
    /// Longest time, in seconds.
    pub longest_s: f64,
}

/// The time of an update.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct UpdateTime {
    /// Its phases, in the order in which they begin. They are taken one after another: a unit that decrypts while its flash is
    /// busy is faster.
    pub phases: [Phase; 4],
    /// Typical time of all, in seconds.
    pub typical_s: f64,
    /// Longest time of all, in seconds.
    pub longest_s: f64,
    /// The longest time during which flash is erased and programmed, in seconds: while it lasts, a cut means going on from the
    /// stick afterwards, unless the unit has a second place for an image.
    pub exposed_s: f64,
    /// Times that no data sheet in the parts table gives, in words: where one is missing, the phase is too short.
    pub gaps: Vec<&'static str>,
}

/// The time of counted work on a unit's parts. Rates: clock 0.1 to 1000 MHz; cycles up to 1e6 a byte and 1e10 a signature; 1 to 1e6 blocks
/// a second; 0 to 3600 s until the stick can be read.
///
/// # Errors
/// A rate out of its range.
pub fn update_time<'a>(work: &Work, parts: impl Into<FlashParts<'a>>, rates: &Rates) -> Result<UpdateTime, OutOfRange> {
    let parts = parts.into();
    demand("the clock", "Hz", rates.clock_hz, 1e5..=1e9)?;
    for (what, unit, found, most) in [
        ("digesting", "cycles a byte", rates.sha256_cycles_per_byte, 1e6),
        ("decrypting", "cycles a byte", rates.aes_cycles_per_byte, 1e6),
        ("verifying a signature", "cycles", rates.signature_cycles, 1e10),
        ("getting the stick ready", "s", rates.ready_s_typical, 3600.0),
        ("getting the stick ready, at most,", "s", rates.ready_s_longest, 3600.0),
    ] {
        demand(what, unit, found, 0.0..=most)?;
    }
    for found in [rates.blocks_per_s_typical, rates.blocks_per_s_slowest] {
        demand("reading the stick", "blocks a second", found, 1.0..=1e6)?;
    }
    Ok(UpdateTime {
        gaps: gaps(work, parts),
        ..UpdateTime::of(&Estimate::of(work, parts, rates))
    })
}

fn gaps(work: &Work, parts: FlashParts<'_>) -> Vec<&'static str> {
    let mut gaps = Vec::new();
    for gap in parts.with(work).flat_map(|(part, done)| gaps_of(part, done)) {
        if !gaps.contains(&gap) {
            gaps.push(gap);
        }
    }
    gaps
}

fn gaps_of(part: &Part, work: &FlashWork) -> Vec<&'static str> {
    let mut gaps = Vec::new();
    let used = part.sectors.iter().filter(|run| work.erases.contains_key(&run.size));
    let (mut none, mut no_longest) = (false, false);
    for run in used {
        none |= run.erase_typ_us.is_none() && run.erase_max_us.is_none();
        no_longest |= run.erase_max_us.is_none();
    }
    if none {
        gaps.push("a time of erasing");
    } else if no_longest {
        gaps.push("a longest time of erasing");
    }
    if work.programmed_bytes > 0 {
        match (part.program_typ_us, part.program_max_us) {
            (None, None) => gaps.push("a time of programming"),
            (Some(_), None) => gaps.push("a longest time of programming"),
            _ => {}
        }
    }
    gaps
}

impl UpdateTime {
    /// The phases of an estimate, by name. Gaps of the parts table are not looked for.
    pub fn of(estimate: &Estimate) -> Self {
        let phase = |name, span: Span| Phase {
            name,
            typical_s: span.typical_s,
            longest_s: span.longest_s,
        };
        let total = estimate.total();
        Self {
            phases: [
                phase("reading the stick", estimate.stick),
                phase("computing", estimate.compute),
                phase("erasing", estimate.erase),
                phase("programming", estimate.program),
            ],
            typical_s: total.typical_s,
            longest_s: total.longest_s,
            exposed_s: estimate.erase.longest_s + estimate.program.longest_s,
            gaps: Vec::new(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use packstaff_unit::part::PartsTable;

    /// The CH32V203's data sheet gives typical times alone (tables 4-17, 4-18); the LPC55S69's row has none at all.
    #[test]
    fn what_no_data_sheet_gives_is_said() {
        let gaps = |id: &str, size: u32| {
            let work = Work {
                own: FlashWork {
                    erases: [(size, 3)].into(),
                    programmed_bytes: 5120,
                },
                ..Work::default()
            };
            update_time(&work, PartsTable::built_in().part(id).unwrap(), &Rates::portable(48e6))
                .unwrap()
                .gaps
        };
        assert_eq!(gaps("stm32g474-512k", 2048), Vec::<&str>::new());
        assert_eq!(
            gaps("ch32v203-64k", 4096),
            ["a longest time of erasing", "a longest time of programming"]
        );
        assert_eq!(
            gaps("lpc55s69-640k", 512),
            ["a time of erasing", "a time of programming"]
        );
    }

    #[test]
    fn phases_add_up_and_rates_are_looked_at() {
        let work = Work {
            own: FlashWork {
                erases: [(2048, 108)].into(),
                programmed_bytes: 216_000,
            },
            stick_blocks: 1000,
            payload_bytes: 432_000,
            flash_bytes_digested: 216_000,
            signatures: 2,
            ..Work::default()
        };
        let part = PartsTable::built_in().part("stm32g474-512k").unwrap();
        let rates = Rates::portable(170e6);
        let time = update_time(&work, part, &rates).unwrap();
        let sum: f64 = time.phases.iter().map(|phase| phase.longest_s).sum();
        assert!((sum - time.longest_s).abs() < 1e-9);
        assert!(time.typical_s < time.longest_s && time.exposed_s < time.longest_s);
        let slower = Rates {
            clock_hz: 16e6,
            ..rates
        };
        assert!(update_time(&work, part, &slower).unwrap().typical_s > time.typical_s * 2.0);
        let stopped = Rates { clock_hz: 0.0, ..rates };
        assert_eq!(
            update_time(&work, part, &stopped).unwrap_err().to_string(),
            "the clock is 0 Hz, where 100000 to 1000000000 Hz are expected"
        );
        let still = Rates {
            blocks_per_s_slowest: f64::NAN,
            ..rates
        };
        assert!(update_time(&work, part, &still).is_err());
    }
}
