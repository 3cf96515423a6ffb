//! The verb `settings`.

use crate::args::SettingsAct;
use crate::{HOLDS, REFUSED, say};
use miette::{IntoDiagnostic, Result, WrapErr};
use packstaff::told::ForPeople;
use packstaff_bench::settings::history;
use packstaff_product::{Access, write_whole};
use packstaff_settings::carry::{History, Reach, carry_record};
use packstaff_settings::dump::{DumpError, LARGEST_IMAGE, Reading, copies, from_text, image, read, read_record};
use packstaff_settings::dwarf::import;
use packstaff_settings::generate::{Request, generate};
use packstaff_settings::layout::{Keeping, Layout, Memory};
use packstaff_words::settings as told;
use serde_json::Value as Json;
use std::path::Path;

pub(crate) fn run(act: SettingsAct) -> Result<u8> {
    match act {
        SettingsAct::Check { product, json } => check(&product, json),
        SettingsAct::Diff {
            product,
            from,
            to,
            json,
        } => {
            let bench = packstaff::machine::open(&product).told()?;
            let plan = history(&bench).told()?.plan(&from, &to).into_diagnostic()?;
            match json {
                true => print_json(&told::plan_json(&plan))?,
                false => say(&told::diff(&plan))?,
            }
            Ok(if plan.objections().is_empty() { HOLDS } else { REFUSED })
        }
        SettingsAct::Read {
            dump,
            version,
            product,
            form,
        } => {
            let history = history(&packstaff::machine::open(&product).told()?).told()?;
            let layout = layout_of(&history, &version)?;
            let reading = read_dump(&history, layout, &dump)?;
            show(&reading, &form)?;
            Ok(if reading.chosen.is_some() { HOLDS } else { REFUSED })
        }
        SettingsAct::Carry {
            dump,
            from,
            to,
            product,
            form,
            out,
        } => {
            let history = history(&packstaff::machine::open(&product).told()?).told()?;
            let plan = history.plan(&from, &to).into_diagnostic()?;
            let (old, new) = (layout_of(&history, &from)?, layout_of(&history, &to)?);
            let before = read_dump(&history, old, &dump)?;
            let made = carry_record(&plan, &before.record)
                .into_diagnostic()
                .wrap_err_with(|| format!("the settings cannot be carried over from {from} to {to}"))?;
            match form.as_str() {
                "text" => say(&told::carried(&plan, &before, new, &made).into_diagnostic()?)?,
                _ => show(&sealed(new, &made.record)?, &form)?,
            }
            if let Some(out) = out {
                write_image(new, &made.record, None, &out)?;
            }
            Ok(if before.chosen.is_some() { HOLDS } else { REFUSED })
        }
        SettingsAct::Generate {
            product,
            version,
            out,
            prefix,
            room,
        } => {
            let history = history(&packstaff::machine::open(&product).told()?).told()?;
            let request = Request {
                version: &version,
                prefix: &prefix,
                room,
            };
            let files = generate(&history, &request).into_diagnostic()?;
            std::fs::create_dir_all(&out)
                .into_diagnostic()
                .wrap_err_with(|| format!("the folder {} cannot be made", out.display()))?;
            for file in &files {
                let path = out.join(&file.name);
                write_whole(&path, file.text.as_bytes(), Access::Shared).into_diagnostic()?;
                say(&format!("{:>7} bytes  {}\n", file.text.len(), path.display()))?;
            }
            Ok(HOLDS)
        }
        SettingsAct::Write {
            values,
            version,
            out,
            base,
            size,
            product,
        } => {
            let history = history(&packstaff::machine::open(&product).told()?).told()?;
            let layout = layout_of(&history, &version)?;
            let base = match base {
                Some(dump) => Some(read_dump(&history, layout, &dump)?.record),
                None => None,
            };
            let text = std::fs::read_to_string(&values)
                .into_diagnostic()
                .wrap_err_with(|| format!("{} cannot be read", values.display()))?;
            let record = from_text(layout, &values.display().to_string(), &text, base.as_deref()).told()?;
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
            let number = u16::try_from(number).map_err(|_| {
                miette::miette!(
                    help = "choose one up to 0xffff",
                    "a layout's number has 16 bits, and {number:#x} is given"
                )
            })?;
            let content = std::fs::read(&elf)
                .into_diagnostic()
                .wrap_err_with(|| format!("{} cannot be read", elf.display()))?;
            let imported = import(&content, &name).into_diagnostic()?;
            let layout = Layout {
                version,
                number,
                order: packstaff_settings::layout::ByteOrder::Little,
                memory: Memory {
                    keeping: Keeping::Copies(copy),
                    aside: None,
                },
                record: imported.record,
                carries: Vec::new(),
            };
            let mut text = String::from(
                "# Offsets and types are the build's. Add what it cannot know: units, scales, ranges, defaults, which fields are\n# calibration, a counter or a secret, and what holds a constant, the generation or a check value.\n",
            );
            for note in &imported.notes {
                text.push_str(&format!("# Look: {note}\n"));
            }
            text.push_str(&layout.to_text());
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

fn check(product: &Path, json: bool) -> Result<u8> {
    let bench = packstaff::machine::open(product).told()?;
    let matrix = history(&bench).told()?.matrix().into_diagnostic()?;
    let oldest = bench.product.policy.oldest.text();
    let reach = Reach { oldest: Some(oldest) };
    let mut objections = Vec::new();
    for version in &matrix.versions {
        for objection in matrix.objections(version, reach) {
            if !objections.contains(&objection) {
                objections.push(objection);
            }
        }
    }
    if json {
        print_json(&told::matrix_json(&matrix))?;
    } else {
        say(&format!(
            "{}, settings of {} versions\n\n",
            bench.product.name,
            matrix.versions.len()
        ))?;
        say(&told::matrix(&matrix))?;
        for objection in &objections {
            say(&format!("\nNO {objection}.\n   {}.\n", objection.advice()))?;
        }
        let conclusion = match objections.len() {
            0 => "No calibration and no counter is lost without a reason.".to_owned(),
            1 => "One thing stands in the way of a release.".to_owned(),
            count => format!("{count} things stand in the way of a release."),
        };
        say(&format!("\n{conclusion}\n"))?;
    }
    Ok(if objections.is_empty() { HOLDS } else { REFUSED })
}

fn layout_of<'h>(history: &'h History, version: &str) -> Result<&'h Layout> {
    history.layout(version).ok_or_else(|| {
        let known: Vec<&str> = history.layouts().iter().map(|layout| layout.version.as_str()).collect();
        miette::miette!(
            help = format!("add settings/{version}.toml to the product folder, or correct the version"),
            "there is no layout of version {version}; there are layouts of {}",
            known.join(", ")
        )
    })
}

fn read_dump(history: &History, layout: &Layout, path: &Path) -> Result<Reading> {
    let failed = || format!("{} cannot be read", path.display());
    let size = std::fs::metadata(path).into_diagnostic().wrap_err_with(failed)?.len();
    if size > LARGEST_IMAGE {
        return Err(miette::miette!(
            help = "a dump begins at address 0 of the settings memory and ends where that ends",
            "{} has {size} bytes, more than any settings memory",
            path.display()
        ));
    }
    let dump = std::fs::read(path).into_diagnostic().wrap_err_with(failed)?;
    read(layout, &dump).map_err(|error| {
        let whole = |other: &&Layout| {
            copies(other, &dump)
                .iter()
                .any(packstaff_settings::dump::Copy::is_whole)
        };
        let help = match history.layouts().iter().find(whole) {
            Some(other) => format!("it holds whole settings of version {0}: say {0} instead", other.version),
            None => "a dump begins at address 0 of the settings memory; check how it was read out".to_owned(),
        };
        miette::miette!(
            help = help,
            "{} is no dump of version {}: {error}",
            path.display(),
            layout.version
        )
    })
}

fn sealed(layout: &Layout, record: &[u8]) -> Result<Reading, miette::Report> {
    let mut record = record.to_vec();
    packstaff_settings::dump::seal(layout, &mut record, 1);
    read_record(layout, &record).map_err(|error: DumpError| miette::miette!("{error}"))
}

fn show(reading: &Reading, form: &str) -> Result<()> {
    match form {
        "toml" => say(&reading.settings.to_toml()),
        "json" => print_json(&serde_json::json!({
            "whole": reading.chosen.is_some(),
            "copies": reading.copies.iter().map(|copy| serde_json::json!({
                "address": copy.address,
                "whole": copy.is_whole(),
                "generation": copy.generation,
                "flaws": copy.flaws.iter().map(ToString::to_string).collect::<Vec<_>>(),
            })).collect::<Vec<_>>(),
            "settings": reading.settings.to_json(),
        })),
        _ => say(&told::reading(reading)),
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
