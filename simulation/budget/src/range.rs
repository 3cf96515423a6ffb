//! The range of an input.

use std::ops::RangeInclusive;

/// An input that no formula here is meant for.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("{what} is {found} {unit}, where {least} to {most} {unit} are expected")]
pub struct OutOfRange {
    /// What the input is.
    pub what: &'static str,
    /// Its value.
    pub found: f64,
    /// The unit of all three.
    pub unit: &'static str,
    /// The least that is taken.
    pub least: f64,
    /// The most that is taken.
    pub most: f64,
}

/// Demands that an input lies in its range; no number at all lies in none.
pub(crate) fn demand(
    what: &'static str,
    unit: &'static str,
    found: f64,
    range: RangeInclusive<f64>,
) -> Result<f64, OutOfRange> {
    match range.contains(&found) {
        true => Ok(found),
        false => Err(OutOfRange {
            what,
            found,
            unit,
            least: *range.start(),
            most: *range.end(),
        }),
    }
}
