//! The scripted cases.

mod cuts;
mod drivers;
mod files;
mod installs;
mod reader;

use crate::finding::Finding;
use crate::link::Link;
use crate::rig::{Counts, Rig};
use files::Files;
use std::path::PathBuf;

/// What a judge is told beside the line.
#[derive(Clone, Debug)]
pub struct Options {
    /// Bytes of the images that are installed, if the slot holds as many.
    pub image: u32,
    /// How many cuts are tried: half of them before a change of flash, half after it.
    pub cuts: u32,
    /// How many cuts in the middle of a change, where the line can do that.
    pub torn: u32,
    /// The image of the stick that is in the port's reader.
    pub stick: Option<PathBuf>,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            image: 5001,
            cuts: 16,
            torn: 6,
            stick: None,
        }
    }
}

/// What came of a case.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// It holds; a figure.
    Holds(String),
    /// It does not.
    Broken(Finding),
    /// It was not tried: why.
    NotTried(&'static str),
}

/// A case that was tried.
#[derive(Clone, Debug)]
pub struct Tried {
    /// A short name that does not change.
    pub id: &'static str,
    /// What the case is.
    pub title: &'static str,
    /// What came of it.
    pub outcome: Outcome,
}

struct Case {
    id: &'static str,
    title: &'static str,
    run: fn(&mut Rig, &Files) -> Result<String, Finding>,
}

/// Takes a port through all cases. `told` hears of each as it is done.
///
/// # Errors
/// The port could not be met at all.
pub fn judge(link: Link, options: &Options, told: &mut dyn FnMut(&Tried)) -> Result<(Vec<Tried>, Counts), Finding> {
    let torn = link.cuts_at_will();
    let mut rig = Rig::meet(link)?;
    let files = Files {
        len: options.image.clamp(1, rig.blueprint.config().usable()),
        options: options.clone(),
    };
    let mut all = Vec::new();
    let mut note = |case: &Case, outcome| {
        let tried = Tried {
            id: case.id,
            title: case.title,
            outcome,
        };
        told(&tried);
        all.push(tried);
    };
    let mut broken = None;
    for case in &drivers::CASES {
        note(
            case,
            run(case, &mut rig, &files, &mut broken, "the drivers must be right first"),
        );
    }
    let drivers_broken = broken.is_some();
    for case in &installs::CASES {
        note(
            case,
            run(case, &mut rig, &files, &mut broken, "an earlier case must hold first"),
        );
    }
    for case in &cuts::CASES {
        if case.id == "torn" && !torn {
            note(
                case,
                Outcome::NotTried(
                    "over a serial device the judge cannot cut in the middle of a change: pull the plug by hand",
                ),
            );
            continue;
        }
        // Each of these begins with a unit of its own.
        let mut here = broken.clone().filter(|_| drivers_broken);
        note(
            case,
            run(case, &mut rig, &files, &mut here, "the drivers must be right first"),
        );
    }
    if files.options.stick.is_some() {
        note(&reader::CASE, run(&reader::CASE, &mut rig, &files, &mut None, ""));
    }
    Ok((all, rig.counts))
}

fn run(case: &Case, rig: &mut Rig, files: &Files, broken: &mut Option<Finding>, why: &'static str) -> Outcome {
    if broken.is_some() {
        return Outcome::NotTried(why);
    }
    match (case.run)(rig, files) {
        Ok(figure) => Outcome::Holds(figure),
        Err(finding) => {
            *broken = Some(finding.clone());
            Outcome::Broken(finding)
        }
    }
}
