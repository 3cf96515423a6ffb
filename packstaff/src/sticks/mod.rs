//! The verb `stick`: sticks that work, and what is wrong with those that do not.

mod examine;
mod make;
mod report;

pub use examine::{Ask, examine, verdict_word};
pub use make::{Form, Ingredients, Shape, bytes_of, files, releases, shape};
pub use report::{Report, text};

/// A number of bytes, in the unit that people use for sticks.
pub(crate) fn size(bytes: u64) -> String {
    let shown = |value: f64, unit: &str| format!("{value:.1} {unit}");
    match bytes {
        0..=9_999 => format!("{bytes} bytes"),
        10_000..=1_048_575 => shown(bytes as f64 / 1024.0, "KiB"),
        1_048_576..=1_073_741_823 => shown(bytes as f64 / 1_048_576.0, "MiB"),
        _ => shown(bytes as f64 / 1_073_741_824.0, "GiB"),
    }
}

/// Text for a terminal, whose names come from outside: line by line without what plays tricks on it.
#[must_use]
pub fn printable(text: &str) -> String {
    text.lines().map(|line| crate::look::visible(line) + "\n").collect()
}
