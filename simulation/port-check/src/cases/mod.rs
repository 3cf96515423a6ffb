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
use packstaff_unit::blueprint::Blueprint;
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

/// What came of all cases.
#[derive(Clone, Debug)]
pub struct Judged {
    /// The cases, in their order.
    pub tried: Vec<Tried>,
    /// What was done.
    pub counts: Counts,
    /// The port's map, as a unit with the judge's identity.
    pub map: Blueprint,
}

/// Takes a port through all cases. `told` hears of each before it is tried.
///
/// # Errors
/// The port could not be met at all.
pub fn judge(link: Link, options: &Options, told: &mut dyn FnMut(&str)) -> Result<Judged, Finding> {
    let torn = link.cuts_at_will();
    let mut rig = Rig::meet(link)?;
    let files = Files {
        len: options.image.clamp(1, rig.blueprint.config().usable()),
        options: options.clone(),
    };
    let mut tried: Vec<Tried> = Vec::new();
    let mut take = |rig: &mut Rig, case: &Case, not: Option<&'static str>| -> bool {
        told(case.title);
        let outcome = match not {
            Some(why) => Outcome::NotTried(why),
            None => match (case.run)(rig, &files) {
                Ok(figure) => Outcome::Holds(figure),
                Err(finding) => Outcome::Broken(finding),
            },
        };
        let broken = matches!(outcome, Outcome::Broken(_));
        tried.push(Tried {
            id: case.id,
            title: case.title,
            outcome,
        });
        broken
    };
    let mut drivers = None;
    for case in &drivers::CASES {
        if take(&mut rig, case, drivers) {
            drivers = Some("the drivers must be right first");
        }
    }
    let mut installs = drivers;
    for case in &installs::CASES {
        if take(&mut rig, case, installs) {
            installs = Some("an earlier case must hold first");
        }
    }
    // Each of these begins with a unit of its own.
    for case in &cuts::CASES {
        let by_hand = (case.id == "torn" && !torn)
            .then_some("over a serial device the judge cannot cut inside a change: pull the plug by hand");
        take(&mut rig, case, drivers.or(by_hand));
    }
    if options.stick.is_some() {
        take(&mut rig, &reader::CASE, None);
    }
    Ok(Judged {
        tried,
        counts: rig.counts,
        map: rig.blueprint.clone(),
    })
}
