//! Trying another value of a budget without changing the product file.

use super::quantity::{self as q, Quantity};
use super::{Budget, Finish, PowerOff, Regulator};
use packstaff_document::nearest;
use thiserror::Error;

/// A value that cannot be tried.
#[derive(Clone, Debug, PartialEq, Error)]
pub enum WhatIfError {
    /// No such key.
    #[error("a budget has no key `{found}` that can be tried; {hint}")]
    UnknownKey {
        /// What was given.
        found: String,
        /// The key that was probably meant, or all of them.
        hint: String,
    },
    /// A value that the key does not take.
    #[error("`{key}` is {found}, which is not {expected}")]
    BadValue {
        /// The key.
        key: &'static str,
        /// What was given.
        found: String,
        /// What would do.
        expected: String,
    },
    /// Nothing in the product file has such a key.
    #[error("`{key}` has no place in this product's budget: {missing}")]
    NoPlace {
        /// The key.
        key: &'static str,
        /// What would have it.
        missing: &'static str,
    },
}

/// Puts a value wherever its key stands, and says in how many places.
type Put = fn(&mut Budget, f64) -> usize;

const EVERYWHERE: &str = "it has no [budget]";
const NO_SAVES: &str = "there is no [[budget.save]]";
const NO_BOARDS: &str = "there is no [[budget.board]] for the boards that are looked at";
const NO_POWER_OFF: &str = "no board that is looked at has a [budget.board.power_off]";
const NO_SWITCHING: &str = "no board that is looked at has a switching regulator";

/// Every number that can be tried: what it takes, where it goes, and what is missing if it goes nowhere.
const NUMBERS: &[(Quantity, Put, &str)] = &[
    (q::YEARS, |budget, to| one(&mut budget.years, to), EVERYWHERE),
    (
        q::UPDATES_PER_YEAR,
        |budget, to| one(&mut budget.updates_per_year, to),
        EVERYWHERE,
    ),
    (
        q::UPDATE_LIMIT_S,
        |budget, to| one(&mut budget.update_limit_s, Some(to)),
        EVERYWHERE,
    ),
    (
        q::INTERRUPTIONS,
        |budget, to| one(&mut budget.interruptions_per_year, to),
        EVERYWHERE,
    ),
    (
        q::KEY_TRIALS,
        |budget, to| one(&mut budget.key_trials_per_s, to),
        EVERYWHERE,
    ),
    (
        q::SHA256_CYCLES,
        |budget, to| one(&mut budget.rates.sha256_cycles_per_byte, Some(to)),
        EVERYWHERE,
    ),
    (
        q::AES_CYCLES,
        |budget, to| one(&mut budget.rates.aes_cycles_per_byte, Some(to)),
        EVERYWHERE,
    ),
    (
        q::SIGNATURE_CYCLES,
        |budget, to| one(&mut budget.rates.signature_cycles, Some(to)),
        EVERYWHERE,
    ),
    (
        q::STICK_KB,
        |budget, to| one(&mut budget.rates.stick_kb_per_s, Some(to)),
        EVERYWHERE,
    ),
    (
        q::STICK_KB_SLOWEST,
        |budget, to| one(&mut budget.rates.stick_kb_per_s_slowest, Some(to)),
        EVERYWHERE,
    ),
    (
        q::READY_S,
        |budget, to| one(&mut budget.rates.stick_ready_s, Some(to)),
        EVERYWHERE,
    ),
    (
        q::READY_S_LONGEST,
        |budget, to| one(&mut budget.rates.stick_ready_s_longest, Some(to)),
        EVERYWHERE,
    ),
    (
        q::PER_DAY,
        |budget, to| each(&mut budget.saves, |save| save.per_day = to),
        NO_SAVES,
    ),
    (
        q::PER_DAY_MOST,
        |budget, to| each(&mut budget.saves, |save| save.per_day_most = to),
        NO_SAVES,
    ),
    (
        q::OWNERS,
        |budget, to| each(&mut budget.boards, |board| board.owners = to),
        NO_BOARDS,
    ),
    (
        q::CLOCK_MHZ,
        |budget, to| each(&mut budget.boards, |board| board.clock_mhz = Some(to)),
        NO_BOARDS,
    ),
    (
        q::START_MV,
        |budget, to| power(budget, |off| off.start_mv = to),
        NO_POWER_OFF,
    ),
    (
        q::MINIMUM_MV,
        |budget, to| power(budget, |off| off.minimum_mv = to),
        NO_POWER_OFF,
    ),
    (
        q::LOAD_MA,
        |budget, to| power(budget, |off| off.load_ma = to),
        NO_POWER_OFF,
    ),
    (
        q::SAVING_LOAD_MA,
        |budget, to| power(budget, |off| off.saving_load_ma = Some(to)),
        NO_POWER_OFF,
    ),
    (q::EFFICIENCY, efficiency, NO_SWITCHING),
    (
        q::NOTICE_MS,
        |budget, to| power(budget, |off| off.notice_ms = to),
        NO_POWER_OFF,
    ),
    (
        q::CAPACITOR_UF,
        |budget, to| power(budget, |off| off.capacitor_uf = to),
        NO_POWER_OFF,
    ),
    (
        q::TOLERANCE,
        |budget, to| power(budget, |off| off.tolerance_percent = to),
        NO_POWER_OFF,
    ),
    (
        q::AGEING,
        |budget, to| power(budget, |off| off.ageing_percent = to),
        NO_POWER_OFF,
    ),
    (
        q::COLD,
        |budget, to| power(budget, |off| off.cold_percent = to),
        NO_POWER_OFF,
    ),
    (
        q::ESR_MOHM,
        |budget, to| power(budget, |off| off.esr_mohm = to),
        NO_POWER_OFF,
    ),
    (
        q::BUS_KHZ,
        |budget, to| power(budget, |off| off.bus_khz = to),
        NO_POWER_OFF,
    ),
];

fn one<T>(place: &mut T, to: T) -> usize {
    *place = to;
    1
}

fn each<T>(list: &mut [T], put: impl FnMut(&mut T)) -> usize {
    list.iter_mut().map(put).count()
}

fn power(budget: &mut Budget, put: impl FnMut(&mut PowerOff)) -> usize {
    let boards = budget.boards.iter_mut();
    boards.filter_map(|board| board.power_off.as_mut()).map(put).count()
}

fn efficiency(budget: &mut Budget, to: f64) -> usize {
    let mut places = 0;
    power(budget, |off| {
        if let Regulator::Switching { efficiency_percent } = &mut off.regulator {
            *efficiency_percent = to;
            places += 1;
        }
    });
    places
}

impl Budget {
    /// Every key that can be tried, with the numbers that it takes; `finish` takes `page` or `save`.
    pub fn quantities() -> impl Iterator<Item = &'static Quantity> {
        NUMBERS.iter().map(|(quantity, _, _)| quantity)
    }

    /// The same budget with another value wherever a key stands.
    ///
    /// Each value is looked at alone: what two of them make together is left to the arithmetic, which complains as well.
    ///
    /// # Errors
    /// The key is not known or stands nowhere, or the value is not one that it takes.
    pub fn with(&self, key: &str, value: &str) -> Result<Self, WhatIfError> {
        let mut changed = self.clone();
        if key == "finish" {
            let to = finish(value)?;
            placed(power(&mut changed, |off| off.finish = to), "finish", NO_POWER_OFF)?;
            return Ok(changed);
        }
        let known = NUMBERS.iter().find(|(quantity, _, _)| quantity.key == key);
        let (quantity, put, missing) = known.ok_or_else(|| unknown(key))?;
        let number = value.parse().ok().filter(|number| quantity.takes(*number));
        let number = number.ok_or_else(|| WhatIfError::BadValue {
            key: quantity.key,
            found: format!("{value:?}"),
            expected: quantity.expected(),
        })?;
        placed(put(&mut changed, number), quantity.key, missing)?;
        Ok(changed)
    }
}

fn finish(value: &str) -> Result<Finish, WhatIfError> {
    let known = Finish::WORDS.iter().find(|(word, _)| *word == value);
    known.map(|(_, to)| *to).ok_or_else(|| WhatIfError::BadValue {
        key: "finish",
        found: format!("{value:?}"),
        expected: "one of page, save".to_owned(),
    })
}

fn unknown(key: &str) -> WhatIfError {
    let known = || NUMBERS.iter().map(|(quantity, _, _)| quantity.key).chain(["finish"]);
    let hint = match nearest(key, known()) {
        Some(near) => format!("did you mean `{near}`?"),
        None => format!("there are {}", known().collect::<Vec<_>>().join(", ")),
    };
    WhatIfError::UnknownKey {
        found: key.to_owned(),
        hint,
    }
}

fn placed(places: usize, key: &'static str, missing: &'static str) -> Result<(), WhatIfError> {
    match places {
        0 => Err(WhatIfError::NoPlace { key, missing }),
        _ => Ok(()),
    }
}
