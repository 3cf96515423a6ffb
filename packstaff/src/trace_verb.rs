//! The verb `trace`.

use crate::{HOLDS, args, say};
use miette::{IntoDiagnostic, Result, WrapErr};
use packstaff::told::ForPeople;
use packstaff::trace::{Given, text, trace};

pub(crate) fn run(ask: &args::Trace) -> Result<u8> {
    let bench = packstaff::machine::open(&ask.product).told()?;
    let keyring = bench.keyring(&mut ask.secret.unlock()).told()?;
    let given = Given {
        flash: ask.flash.clone(),
        stick: ask.stick.clone(),
        code: ask.code.clone(),
        settings: ask.settings.clone(),
    };
    let traced = trace(
        &bench,
        keyring.keyring(),
        ask.board.as_deref(),
        ask.generation.as_deref(),
        &given,
    )?;
    if let Some(file) = &ask.reply {
        packstaff_product::write_whole(file, traced.reply.as_bytes(), packstaff_product::Access::Shared)
            .into_diagnostic()
            .wrap_err("the reply")?;
    }
    match ask.json {
        true => say(&(serde_json::to_string_pretty(&traced).into_diagnostic()? + "\n"))?,
        false => say(&text(&traced))?,
    }
    Ok(HOLDS)
}
