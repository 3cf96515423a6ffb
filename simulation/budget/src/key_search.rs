//! How long a key can be searched for: so long that search is not how a product is broken.

use crate::YEAR_S;
use crate::range::{OutOfRange, demand};
use serde::Serialize;

/// Age of the universe in years: 13.787 thousand million, give or take 0.020 (Planck Collaboration 2018 results VI, Astronomy &
/// Astrophysics 641, A6; the figure is from memory).
pub const UNIVERSE_YEARS: f64 = 13.787e9;

/// Expected duration of a search.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Search {
    /// Keys tried a second.
    pub keys_per_s: f64,
    /// Seconds until the key is found, on average.
    pub mean_s: f64,
    /// The same in years.
    pub mean_years: f64,
    /// The same in ages of the universe.
    pub universes: f64,
}

/// Searching for a key of `bits` bits (1 to 512), uniformly chosen, at `keys_per_s` trials a second (1e-3 to 1e30).
///
/// On average half of all keys are tried: `2^(bits - 1) / rate`.
///
/// # Errors
/// An input out of its range.
pub fn search(bits: u32, keys_per_s: f64) -> Result<Search, OutOfRange> {
    demand("the length of the key", "bits", f64::from(bits), 1.0..=512.0)?;
    demand("the rate of trials", "keys a second", keys_per_s, 1e-3..=1e30)?;
    let mean_s = 2_f64.powi(bits as i32 - 1) / keys_per_s;
    let mean_years = mean_s / YEAR_S;
    Ok(Search {
        keys_per_s,
        mean_s,
        mean_years,
        universes: mean_years / UNIVERSE_YEARS,
    })
}

/// Trials a second that find a key of `bits` bits (1 to 512), on average, within `s` seconds (1e-3 to 1e30).
///
/// # Errors
/// An input out of its range.
pub fn rate_for(bits: u32, s: f64) -> Result<f64, OutOfRange> {
    demand("the length of the key", "bits", f64::from(bits), 1.0..=512.0)?;
    demand("the duration of the search", "s", s, 1e-3..=1e30)?;
    Ok(2_f64.powi(bits as i32 - 1) / s)
}

/// Where a key is lost in practice, likeliest first, and what bounds the loss. Our own judgement; the threat model says more.
pub const WEAK_POINTS: [&str; 4] = [
    "One unit, opened: every unit of a generation has the same key, and whoever reads it out of one can read the files of all of them. Small generations make the loss small; no unit holds what is needed to make a file that units accept.",
    "The maker's own computer: the keyring with its passphrase, and the builds before they are packed.",
    "What a unit gives off while it decrypts (current, time, radio): the portable cipher runs in constant time, and nothing else is done against it.",
    "A passphrase that people choose: searching for one of those is a matter of hours to years, not of ages.",
];

#[cfg(test)]
mod tests {
    use super::*;

    fn close(ours: f64, theirs: f64, part: f64) {
        assert!((ours / theirs - 1.0).abs() < part, "{ours} {theirs}");
    }

    /// NIST's fact sheet on AES: a machine that tries 2^55 keys a second would take about 149 trillion years for a key of 128
    /// bits, on average.
    #[test]
    fn nist_s_fact_sheet() {
        close(search(128, 2_f64.powi(55)).unwrap().mean_years, 149e12, 0.005);
    }

    /// Computed apart with exact integers: half of 2^256 at 1e9 keys a second is 1.835e60 years, at 1e18 1.835e51; in ages of
    /// 13.8e9 years 1.33e50 and 1.33e41; one age of the universe takes 1.33e59 keys a second.
    #[test]
    fn exact_integers() {
        close(search(256, 1e9).unwrap().mean_years, 1.835e60, 1e-3);
        close(search(256, 1e18).unwrap().mean_years, 1.835e51, 1e-3);
        close(search(256, 1e9).unwrap().universes, 1.33e50, 5e-3);
        close(rate_for(256, 13.8e9 * YEAR_S).unwrap(), 1.33e59, 5e-3);
        close(search(256, 1.0).unwrap().mean_s, 5.789604e76, 1e-6);
    }

    #[test]
    fn a_search_and_its_rate_belong_together() {
        let search = search(80, 1e12).unwrap();
        close(rate_for(80, search.mean_s).unwrap(), 1e12, 1e-12);
        assert!(super::search(256, 0.0).is_err());
        assert!(super::search(0, 1.0).is_err());
    }
}
