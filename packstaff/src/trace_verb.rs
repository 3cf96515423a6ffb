//! The verb `trace`.

use crate::told::ForPeople;
use crate::{HOLDS, args, say};
use miette::{IntoDiagnostic, Result, WrapErr};
use packstaff_bench::trace::{Given, Known, trace};
use packstaff_words::reasons::read_code;
use packstaff_words::trace::{account, json, letter};

pub(crate) fn run(ask: &args::Trace) -> Result<u8> {
    let bench = crate::machine::open(&ask.product).told()?;
    let keyring = bench.keyring(&mut ask.secret.unlock()).told()?;
    let given = Given {
        flash: ask.flash.clone(),
        stick: ask.stick.clone(),
        code: ask.code.as_deref().map(read_code).transpose().told()?,
        settings: ask.settings.clone(),
    };
    let known = Known {
        board: ask.board.as_deref(),
        generation: ask.generation.as_deref(),
    };
    let traced = trace(&bench, keyring.keyring(), known, &given).told()?;
    if let Some(file) = &ask.reply {
        let letter = letter(&bench, &traced);
        packstaff_product::write_whole(file, letter.as_bytes(), packstaff_product::Access::Shared)
            .into_diagnostic()
            .wrap_err("the reply")?;
    }
    match ask.json {
        true => say(&(serde_json::to_string_pretty(&json(&bench, &traced)).into_diagnostic()? + "\n"))?,
        false => say(&account(&bench, &traced))?,
    }
    Ok(HOLDS)
}
