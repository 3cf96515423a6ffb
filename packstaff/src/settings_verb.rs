//! The verb `settings`.

use crate::args::{SettingsAct, SettingsForm};
use crate::told::ForPeople;
use crate::{HOLDS, REFUSED, say};
use miette::{IntoDiagnostic, Result, WrapErr};
use packstaff_bench::settings::{NewLayout, carry, check, history, import, layout_of, read_dump, record_of};
use packstaff_product::{Access, write_whole};
use packstaff_settings::carry::History;
use packstaff_settings::dump::{Reading, image};
use packstaff_settings::generate::{Request, generate};
use packstaff_settings::layout::Layout;
use packstaff_words::settings as words;
use serde_json::Value as Json;
use std::path::Path;

pub(crate) fn run(act: SettingsAct) -> Result<u8> {
    match act {
        SettingsAct::Check { product, json } => {
            let checked = check(&crate::machine::open(&product).told()?).told()?;
            match json {
                true => print_json(&words::matrix_json(&checked.matrix))?,
                false => say(&words::check(&checked))?,
            }
            Ok(code(checked.objections.is_empty()))
        }
        SettingsAct::Diff {
            product,
            from,
            to,
            json,
        } => {
            let plan = history_of(&product)?.plan(&from, &to).into_diagnostic()?;
            match json {
                true => print_json(&words::plan_json(&plan))?,
                false => say(&words::diff(&plan))?,
            }
            Ok(code(plan.objections().is_empty()))
        }
        SettingsAct::Read {
            dump,
            version,
            product,
            form,
        } => {
            let history = history_of(&product)?;
            let layout = layout_of(&history, &version).told()?;
            let reading = read_dump(&history, layout, &dump).told()?;
            show(&reading, form)?;
            Ok(code(reading.chosen.is_some()))
        }
        SettingsAct::Carry {
            dump,
            from,
            to,
            product,
            form,
            out,
        } => {
            let history = history_of(&product)?;
            let carrying = carry(&history, &from, &to, &dump).told()?;
            match form {
                SettingsForm::Text => say(&words::carried(&carrying).into_diagnostic()?)?,
                form => show(&carrying.after().told()?, form)?,
            }
            if let Some(out) = out {
                write_image(carrying.to, &carrying.made.record, None, &out)?;
            }
            Ok(code(carrying.before.chosen.is_some()))
        }
        SettingsAct::Generate {
            product,
            version,
            out,
            prefix,
            room,
        } => {
            let request = Request {
                version: &version,
                prefix: &prefix,
                room,
            };
            write_code(&history_of(&product)?, &request, &out)
        }
        SettingsAct::Write {
            values,
            version,
            out,
            base,
            size,
            product,
        } => {
            let history = history_of(&product)?;
            let layout = layout_of(&history, &version).told()?;
            let record = record_of(&history, layout, &values, base.as_deref()).told()?;
            write_image(layout, &record, size, &out)?;
            Ok(HOLDS)
        }
        SettingsAct::Import {
            elf,
            name,
            version,
            number,
            copy,
            out,
        } => {
            let new = NewLayout {
                version,
                number,
                copies: copy,
            };
            let text = words::layout_file(&import(&elf, &name, new).told()?);
            // What is written must be readable: copies that overlap, for one, are only found by reading.
            Layout::from_text("the new layout file", &text).told()?;
            match out {
                None => say(&text)?,
                Some(out) => write_whole(&out, text.as_bytes(), Access::Shared).into_diagnostic()?,
            }
            Ok(HOLDS)
        }
    }
}

const fn code(holds: bool) -> u8 {
    if holds { HOLDS } else { REFUSED }
}

fn history_of(product: &Path) -> Result<History> {
    history(&crate::machine::open(product).told()?).told()
}

fn write_code(history: &History, request: &Request<'_>, folder: &Path) -> Result<u8> {
    let files = generate(history, request).into_diagnostic()?;
    std::fs::create_dir_all(folder)
        .into_diagnostic()
        .wrap_err_with(|| format!("the folder {} cannot be made", folder.display()))?;
    for file in &files {
        let path = folder.join(&file.name);
        write_whole(&path, file.text.as_bytes(), Access::Shared).into_diagnostic()?;
        say(&format!("{:>7} bytes  {}\n", file.text.len(), path.display()))?;
    }
    Ok(HOLDS)
}

fn show(reading: &Reading, form: SettingsForm) -> Result<()> {
    match form {
        SettingsForm::Text => say(&words::reading(reading)),
        SettingsForm::Toml => say(&reading.settings.to_toml()),
        SettingsForm::Json => print_json(&words::reading_json(reading)),
    }
}

fn write_image(layout: &Layout, record: &[u8], size: Option<u64>, out: &Path) -> Result<()> {
    let made = image(layout, record, 1, size).into_diagnostic()?;
    // Calibration and secrets may be in it.
    write_whole(out, &made, Access::Private).into_diagnostic()?;
    say(&format!(
        "wrote {}: {} bytes, settings of version {}\n",
        out.display(),
        made.len(),
        layout.version
    ))
}

fn print_json(value: &Json) -> Result<()> {
    say(&(serde_json::to_string_pretty(value).into_diagnostic()? + "\n"))
}
