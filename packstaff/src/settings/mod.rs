//! Settings of a product: layouts out of the product folder and the ledger, and what is said about them.

mod layouts;
mod owner;
mod rows;
mod told;

pub use layouts::{Described, described, history, layout_path, of_version};
pub(crate) use layouts::{file, put_together};
pub(crate) use owner::owners_sentences;
pub(crate) use rows::release_rows;
pub use told::{carried, diff, matrix, matrix_json, plan_json, reading};
