//! Settings in words: of a release, for its report and its sheet; and of layouts, plans and dumps, as tables and as JSON.

mod owner;
mod remedy;
mod rows;
mod tables;

pub use owner::{Sentences, owners_sentences};
pub use rows::set_release;
pub use tables::{carried, diff, matrix, matrix_json, plan_json, reading};
