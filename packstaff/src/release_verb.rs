//! The verb `release`.

use crate::args;
use crate::progress::Progress;
use crate::told::ForPeople;
use crate::{builds, show};
use crate::{clock, machine, memory, pages};
use miette::Result;
use packstaff_bench::Bench;
use packstaff_bench::rehearse::Bound;
use packstaff_bench::release::{Finished, Order, Prepared, may_replace, prepare, usual_folder};
use packstaff_product::Version;
use packstaff_words::rehearse::{Record, pages as pages_of};
use packstaff_words::release::{Intent, published, refusal, report, texts};
use packstaff_words::report::Report;
use std::path::{Path, PathBuf};

pub(crate) fn run(ask: args::Release) -> Result<u8> {
    let progress = Progress::new(ask.json);
    let json = ask.json;
    let report = release(ask, &progress);
    progress.done();
    show(&report?, json)
}

fn release(ask: args::Release, progress: &Progress) -> Result<Report> {
    let mut bench = machine::open(&ask.product).told()?;
    let order = Order {
        version: ask.version,
        builds: builds(ask.build)?,
        date: clock::today()?,
        bound: Bound::Memory(memory::allowed()),
    };
    let version = bench.version(&order.version).told()?;
    let folder = ask.out.unwrap_or_else(|| usual_folder(&bench, &version));
    let intent = match ask.dry_run {
        true => Intent::DryRun,
        false => Intent::Release,
    };
    if intent == Intent::Release {
        // Nobody should wait for a rehearsal to hear of this.
        may_replace(&folder).told()?;
    }
    let made = match prepare(&bench, &order, &mut ask.secret.unlock(), progress).told()? {
        Prepared::Refused(examined) => return Ok(refusal(&examined, intent)),
        Prepared::Made(made) => made,
    };
    let texts = texts(&made);
    let finished = made.finish(texts, progress).told()?;
    let drawn = match pictures(&finished, ask.story, intent, &beside(&folder, &version)) {
        Some(to) => pages::write(&to, &pages_of(&Record::of(&finished.made.rehearsal)))?,
        None => Vec::new(),
    };
    match intent {
        Intent::Release if finished.holds() => publish(&mut bench, &finished, &folder, &drawn),
        _ => report(&finished, intent, drawn).told(),
    }
}

fn publish(bench: &mut Bench, finished: &Finished, folder: &Path, drawn: &[String]) -> Result<Report> {
    let text = |done: &_| Ok(published(finished, done, drawn.to_vec())?.json()?);
    let done = finished.publish(bench, folder, text).told()?;
    published(finished, &done, drawn.to_vec()).told()
}

/// Where to draw what the rehearsal covered: where the maker wants it, or beside the release's folder if there is a story to tell.
fn pictures(finished: &Finished, wanted: Option<PathBuf>, intent: Intent, beside: &Path) -> Option<PathBuf> {
    let stories = finished
        .made
        .rehearsal
        .installs
        .values()
        .any(|case| !case.found.holds());
    wanted.or_else(|| (stories && intent == Intent::Release).then(|| beside.to_owned()))
}

fn beside(folder: &Path, version: &Version) -> PathBuf {
    folder.with_file_name(format!("{version}-stories"))
}
