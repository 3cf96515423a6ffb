//! What happened to a unit, told: the account for the maker, the letter to the owner, and both for machines.

mod account;
mod contents;
mod inconsistency;
mod json;
mod letter;
mod remedy;
mod what_happened;

pub use account::account;
pub use json::json;
pub use letter::letter;

use packstaff_trace::ReleaseId;

/// "2.0", "1.8 or 2.0"; each version once.
fn versions(ids: &[ReleaseId]) -> String {
    one_of(ids, "or").unwrap_or_else(|| "a version that cannot be told".to_owned())
}

/// "1.8 and 2.0".
fn all(ids: &[ReleaseId]) -> String {
    one_of(ids, "and").unwrap_or_default()
}

fn one_of(ids: &[ReleaseId], between: &str) -> Option<String> {
    let mut names: Vec<&str> = ids.iter().map(|id| id.version.as_str()).collect();
    names.dedup();
    match names.as_slice() {
        [] => None,
        [only] => Some((*only).to_owned()),
        [most @ .., last] => Some(format!("{} {between} {last}", most.join(", "))),
    }
}
