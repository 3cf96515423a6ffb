//! The verb `stick`.

use crate::args::{Examine, Make, Place, Stick, StickAct};
use crate::told::ForPeople;
use crate::{HOLDS, REFUSED, say, say_json};
use miette::Result;
use packstaff_bench::Bench;
use packstaff_bench::sticks::{
    Ask, Division, MakeError, Shape, examine as look_through, files, into_folder, onto_device, recorded, spec, to_image,
};
use packstaff_stick::deliver::{Permit, SameName, System};
use packstaff_stick::examine::Verdict;
use packstaff_words::sticks::{Report, filled, made, readme_of, text};

pub(crate) fn run(ask: &Stick) -> Result<u8> {
    match &ask.act {
        StickAct::Make(ask) => make(ask),
        StickAct::Examine(ask) => examine(ask),
    }
}

fn examine(ask: &Examine) -> Result<u8> {
    let about = Ask {
        boards: ask.board.clone(),
        generations: ask.generation.clone(),
        floor: ask.floor,
    };
    let examined = match &ask.product {
        None => look_through(&ask.what, None, &about),
        Some(folder) => {
            let bench = crate::machine::open(folder).told()?;
            let keyring = bench.keyring(&mut ask.secret.unlock()).told()?;
            look_through(&ask.what, Some((&bench, keyring.keyring())), &about)
        }
    };
    let examined = examined.told()?;
    let report = Report::new(ask.what.display().to_string(), &examined);
    match ask.json {
        true => say_json(&report)?,
        false => say(&text(&report))?,
    }
    Ok(match examined.found.verdict {
        Verdict::Ready | Verdict::Doubtful => HOLDS,
        Verdict::NotReady => REFUSED,
    })
}

fn make(ask: &Make) -> Result<u8> {
    let place = ask.place()?;
    let bench = crate::machine::open(&ask.product).told()?;
    say(&bring(ask, &bench, place).told()?)?;
    Ok(HOLDS)
}

/// Makes the stick, brings it to its place, and says what came of it.
fn bring(ask: &Make, bench: &Bench, place: Place<'_>) -> Result<String, MakeError> {
    let versions = recorded(bench, &ask.version, &ask.board)?;
    let readme = (!ask.no_readme).then(|| readme_of(&bench.product, &versions));
    let files = files(&versions, readme);
    let shape = Shape {
        size: ask.size,
        kind: ask.format.map(Into::into),
        division: match ask.no_table {
            true => Division::WholeStick,
            false => Division::Partition,
        },
        cluster: ask.cluster,
        sector: ask.sector,
        label: ask.label.clone(),
    };
    let spec = |shape: &Shape, files| spec(&bench.product.short, &versions, shape, files);
    match place {
        Place::Folder(folder) => {
            let same_name = match ask.replace {
                true => SameName::Replaced,
                false => SameName::Refused,
            };
            Ok(filled(&into_folder(folder, &files, same_name)?))
        }
        Place::Device(device) => {
            let facts = System::default().stick(device)?;
            let permit = Permit::by_words(facts, ask.yes_erase.as_deref().unwrap_or_default())?;
            let name = permit.facts().name.clone();
            let shape = shape.of_device(permit.facts());
            let done = onto_device(&spec(&shape, files)?, permit)?;
            Ok(made(&done, &format!("wrote {name} and read it back")))
        }
        Place::Image(out) => {
            let done = to_image(&spec(&shape, files)?, out)?;
            Ok(made(&done, &format!("wrote {}", out.display())))
        }
    }
}
