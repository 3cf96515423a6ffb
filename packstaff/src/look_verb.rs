//! The verb `look`: what files are.

use crate::told::ForPeople;
use crate::{HOLDS, args, say, say_json};
use miette::Result;
use packstaff_bench::look::look;
use packstaff_words::look::account;

pub(crate) fn run(ask: &args::Look) -> Result<u8> {
    for file in &ask.files {
        let seen = account(&look(file).told()?);
        match ask.json {
            true => say_json(&seen)?,
            false => say(&format!("{}: {}", file.display(), seen.text()))?,
        }
    }
    Ok(HOLDS)
}
