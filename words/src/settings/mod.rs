//! Settings in words: of a release, for its report and its sheet; and of layouts, plans and dumps, as tables and as JSON.

mod check;
mod import;
mod json;
mod owner;
mod remedy;
mod rows;
mod tables;

pub use check::check;
pub use import::layout_file;
pub use json::{matrix_json, plan_json, reading_json};
pub use owner::{Sentences, owners_sentences};
pub use rows::set_release;
pub use tables::{carried, diff, matrix, reading};
