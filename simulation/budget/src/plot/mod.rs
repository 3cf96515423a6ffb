//! Curves as SVG: a page's figure, or a file of its own.
//!
//! A line is told from another by its dashes and by the words at its end, not by its colour alone. Colours are two of those
//! of M. Okabe and K. Ito, *Color Universal Design* (2008); their values here are from memory.

mod axis;
mod chart;
mod hold_up;
mod wear;

pub use axis::Axis;
pub use chart::{Chart, Level, Line, Look, Moment};
pub use hold_up::{HoldUpPicture, farads, hold_up_chart};
pub use wear::{WearLine, wear_chart};
