//! The verb `stick`.

use crate::args::{Examine, Make, Stick, StickAct};
use crate::{HOLDS, REFUSED, say};
use miette::{IntoDiagnostic, Result, WrapErr, miette};
use packstaff::sticks;
use packstaff::told::ForPeople;
use packstaff_bench::EXTENSION;
use packstaff_fat::DeviceBlock;
use packstaff_stick::deliver::{Permit, System, deliver, erase_and_write, other_updates};
use packstaff_stick::{StickFile, StickImage, build, listing_with_device_block, read_file};
use std::path::Path;

pub(crate) fn run(ask: &Stick) -> Result<u8> {
    match &ask.act {
        StickAct::Make(ask) => make(ask),
        StickAct::Examine(ask) => examine(ask),
    }
}

fn examine(ask: &Examine) -> Result<u8> {
    let about = sticks::Ask {
        boards: ask.board.clone(),
        generations: ask.generation.clone(),
        floor: ask.floor,
    };
    let report = match &ask.product {
        None => sticks::examine(&ask.what, None, &about)?,
        Some(folder) => {
            let bench = packstaff::machine::open(folder).told()?;
            let keyring = bench.keyring(&mut ask.secret.unlock()).told()?;
            sticks::examine(&ask.what, Some((&bench, keyring.keyring())), &about)?
        }
    };
    if ask.json {
        say(&(serde_json::to_string_pretty(&report).into_diagnostic()? + "\n"))?;
    } else {
        say(&sticks::text(&report))?;
    }
    Ok(if report.is_good() { HOLDS } else { REFUSED })
}

fn make(ask: &Make) -> Result<u8> {
    let bench = packstaff::machine::open(&ask.product).told()?;
    let releases = sticks::releases(&bench, &ask.version, &ask.board)?;
    let files = sticks::files(&bench, &releases, !ask.no_readme);
    if let Some(folder) = &ask.into {
        return into_folder(folder, &files, ask.replace);
    }
    let mut shape = sticks::Shape {
        size: ask.size,
        form: ask.format.map(Into::into),
        no_table: ask.no_table,
        cluster: ask.cluster,
        sector: ask.sector,
        label: ask.label.clone(),
    };
    if let Some(device) = &ask.device {
        let facts = System::default().stick(device).into_diagnostic()?;
        let permit = Permit::by_words(facts, ask.yes_erase.as_deref().unwrap_or_default()).into_diagnostic()?;
        let facts = permit.facts();
        shape.size = Some(facts.size / u64::from(facts.block) * u64::from(facts.block));
        shape.sector = facts.block.into();
        let name = facts.name.clone();
        let spec = sticks::shape(&bench, &releases, &shape, files)?;
        let image = build(&spec)
            .into_diagnostic()
            .wrap_err("the stick cannot be laid out")?;
        erase_and_write(permit, &image).into_diagnostic()?;
        say(&described(
            &image,
            &spec.files,
            spec.sector,
            &format!("wrote {name} and read it back"),
        )?)?;
        return Ok(HOLDS);
    }
    let Some(out) = &ask.out else {
        return Err(miette!(
            "say where the stick goes: --out FILE, --into FOLDER or --device DEVICE"
        ));
    };
    let spec = sticks::shape(&bench, &releases, &shape, files)?;
    let image = build(&spec)
        .into_diagnostic()
        .wrap_err("the stick cannot be laid out")?;
    if out.exists() && !out.is_file() {
        return Err(miette!(
            help = "write the image to a new file; a folder takes --into, a whole stick --device",
            "{} is there already and is no ordinary file",
            out.display()
        ));
    }
    let text = described(&image, &spec.files, spec.sector, &format!("wrote {}", out.display()))?;
    image.write_to(out).into_diagnostic().wrap_err("the stick image")?;
    say(&text)?;
    Ok(HOLDS)
}

/// Reads the image back with the unit's reader, and says what is in it.
fn described(image: &StickImage, files: &[StickFile], block: DeviceBlock, done: &str) -> Result<String> {
    let listing = listing_with_device_block(image, block).into_diagnostic()?;
    let mut text = String::new();
    let volume = &listing.volume;
    let table = if volume.slot().is_some() {
        "in a partition"
    } else {
        "without a table"
    };
    text += &format!(
        "{done}: {} bytes, {} {table}, {} clusters of {} bytes, label {}\n",
        image.size(),
        volume.kind(),
        volume.clusters(),
        volume.cluster_size(),
        listing.label.as_deref().unwrap_or("none"),
    );
    for file in files {
        let listed = listing.find(&file.name).into_diagnostic()?;
        if read_file(image, volume, &listed.entry).into_diagnostic()? != file.contents {
            return Err(miette!("{} reads back differently: please report it", file.name));
        }
        text += &format!("  {:<12} {} bytes\n", file.name, file.contents.len());
    }
    Ok(text)
}

fn into_folder(folder: &Path, files: &[StickFile], replace: bool) -> Result<u8> {
    let delivered = deliver(folder, files, replace).into_diagnostic()?;
    let mut text = String::new();
    for (name, bytes) in &delivered.written {
        text += &format!("wrote {name} and read it back: {bytes} bytes\n");
    }
    for name in &delivered.kept {
        text += &format!("{name} was there already with the same contents\n");
    }
    let names: Vec<_> = files.iter().map(|file| file.name.as_str()).collect();
    let others = other_updates(folder, &names, EXTENSION).into_diagnostic()?;
    if !others.is_empty() {
        text += &format!(
            "Other updates are there too, and the unit will show them: {}\n",
            others.join(", ")
        );
    }
    text += match delivered.is_fat {
        Some(true) => "Eject the stick before you pull it out.\n",
        Some(false) => "This folder is not on a FAT volume: a unit reads the files only from a FAT stick.\n",
        None => "If this is a stick, eject it before you pull it out.\n",
    };
    say(&sticks::printable(&text))?;
    Ok(HOLDS)
}
