//! Makes a release of the demo product through the two libraries that any front end can stand on: `packstaff-bench` for the facts,
//! `packstaff-words` for what people read.
//!
//! ```text
//! cargo run -p packstaff-example-release -- demo/kc4 2.1 demo/kc4/keys/demo-identity.txt 2026-12-01 /tmp/kc4-2.1
//! ```

use packstaff_bench::rehearse::Bound;
use packstaff_bench::release::{Order, Prepared, prepare};
use packstaff_bench::{Bench, Progress, Step};
use packstaff_product::{Date, Unlock};
use packstaff_words::progress;
use packstaff_words::release::{self, Intent};
use std::{error::Error, path::Path};

/// This front end's progress: a line when a step begins.
struct Lines;

impl Progress for Lines {
    fn at(&self, step: &Step<'_>) {
        if !matches!(step, Step::Exploring { counts: Some(_), .. }) {
            eprintln!("... {}", progress::line(step));
        }
    }
}

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [folder, version, identity, date, out] = arguments.as_slice() else {
        return Err("five arguments are needed: FOLDER VERSION IDENTITY DATE OUT".into());
    };
    let mut bench = Bench::open(Path::new(folder))?;
    let order = Order {
        version: version.clone(),
        builds: [].into(),
        date: date.parse::<Date>()?,
        bound: Bound::Memory(1 << 30),
    };
    let made = match prepare(&bench, &order, &mut Unlock::IdentityFile(identity.into()), &Lines)? {
        Prepared::Refused(examined) => return Err(release::refusal(&examined, Intent::Release).conclusion.into()),
        Prepared::Made(made) => made,
    };
    let texts = release::texts(&made);
    let finished = made.finish(texts, &Lines)?;
    let found = release::report(&finished, Intent::Release, Vec::new())?;
    let made = &finished.made;
    println!("{}, {}", made.examined.product.name, made.examined.edition.version);
    for packed in made.packed() {
        println!("  board {}: {}, {} bytes", packed.board, packed.name, packed.file.len());
    }
    let worlds = made.rehearsal.installs.values().map(|case| case.found.worlds);
    println!("  worlds rehearsed: {}", worlds.sum::<usize>());
    println!("  checks that need a look: {}", found.objections().count());
    let report = |done: &_| Ok(release::published(&finished, done, Vec::new())?.json()?);
    let published = finished.publish(&mut bench, Path::new(out), report)?;
    println!("  files written: {}", published.files.len());
    Ok(())
}
