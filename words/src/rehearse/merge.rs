//! The parts of a rehearsal, joined to the whole.

use super::record::{FORMAT, Record};
use crate::remedy::Remedy;
use serde::Deserialize;
use serde::de::IgnoredAny;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Why records are no rehearsal together.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[non_exhaustive]
pub enum NotMerged {
    /// A file is no record of a rehearsal.
    #[error("{} is no record of a rehearsal: {why}", file.display())]
    NoRecord {
        /// The file.
        file: PathBuf,
        /// Why.
        why: String,
    },
    /// Records of rehearsals that are not the same.
    #[error("{} and {} are not parts of the same rehearsal", first.display(), other.display())]
    Strangers {
        /// One file.
        first: PathBuf,
        /// The other.
        other: PathBuf,
    },
    /// A part is there twice.
    #[error("part {part} of {of} is there twice: {} and {}", first.display(), other.display())]
    Twice {
        /// The part.
        part: usize,
        /// Of how many.
        of: usize,
        /// One file.
        first: PathBuf,
        /// The other.
        other: PathBuf,
    },
    /// Parts are not there.
    #[error("of {of} parts {missing} missing")]
    Missing {
        /// Which, in words.
        missing: String,
        /// Of how many.
        of: usize,
    },
    /// The parts are there, and a case is in none of them, or not where it belongs.
    #[error("the case {0} is in none of the parts, or in more than one")]
    Case(String),
}

impl Remedy for NotMerged {
    fn remedy(&self) -> Option<String> {
        let text = match self {
            Self::NoRecord { .. } => "name what `packstaff rehearse --json` printed",
            Self::Strangers { .. } => {
                "run all parts with the same options and the same number of parts, on the same product folder, with the same version \
                 of packstaff"
            }
            Self::Twice { .. } => "name each part once",
            Self::Missing { .. } => "run them with --part, and name all of them",
            Self::Case(_) => "these records have been changed since they were made: run the parts again",
        };
        Some(text.to_owned())
    }
}

/// What the verb prints: a report, and this.
#[derive(Deserialize)]
struct Printed {
    rehearsal: Option<Record>,
    own_loader: Option<IgnoredAny>,
}

/// Reads what `rehearse --json` printed; `file` is where it is from.
///
/// # Errors
/// It is something else.
pub fn read_record(file: &Path, text: &[u8]) -> Result<Record, NotMerged> {
    let no_record = |why: String| NotMerged::NoRecord {
        file: file.to_owned(),
        why,
    };
    let printed: Printed = serde_json::from_slice(text).map_err(|error| no_record(error.to_string()))?;
    let Some(record) = printed.rehearsal else {
        return Err(no_record(match printed.own_loader {
            Some(_) => "it is the rehearsal of a maker's own loader, which has no parts".to_owned(),
            None => "it has no entry `rehearsal`".to_owned(),
        }));
    };
    match record.format {
        FORMAT => Ok(record),
        other => Err(no_record(format!(
            "it has form {other}, and this program reads form {FORMAT}"
        ))),
    }
}

/// Joins the parts. `parts` gives each with the file it is from.
///
/// # Errors
/// They are not one rehearsal, or not all of it.
pub fn merge(parts: Vec<(PathBuf, Record)>) -> Result<Record, NotMerged> {
    let Some((first_file, first)) = parts.first().cloned() else {
        return Err(NotMerged::Missing {
            missing: "all are".to_owned(),
            of: 0,
        });
    };
    let [_, of] = first.part;
    let mut by_index = BTreeMap::<usize, Record>::new();
    let mut files = BTreeMap::<usize, PathBuf>::new();
    for (file, record) in parts {
        let alike = record.matrix == first.matrix && record.part[1] == of && record.cases_all == first.cases_all;
        if !alike {
            return Err(NotMerged::Strangers {
                first: first_file,
                other: file,
            });
        }
        let [part, _] = record.part;
        if let Some(known) = files.get(&part) {
            return Err(NotMerged::Twice {
                part,
                of,
                first: known.clone(),
                other: file,
            });
        }
        files.insert(part, file);
        by_index.insert(part, record);
    }
    all_there(&by_index, of)?;
    let (mut cases, mut keeping) = (Vec::new(), Vec::new());
    for record in by_index.into_values() {
        cases.extend(record.cases);
        keeping.extend(record.keeping);
    }
    cases.sort_by_key(|case| case.index);
    keeping.sort_by_key(|case| case.index);
    let whole = Record {
        part: [1, 1],
        cases,
        keeping,
        ..first
    };
    match misplaced(&whole) {
        None => Ok(whole),
        Some(name) => Err(NotMerged::Case(name)),
    }
}

fn all_there(parts: &BTreeMap<usize, Record>, of: usize) -> Result<(), NotMerged> {
    let missing: Vec<_> = (1..=of)
        .filter(|part| !parts.contains_key(part))
        .map(|part| part.to_string())
        .collect();
    let are = match missing.len() {
        0 => return Ok(()),
        1 => "is",
        _ => "are",
    };
    Err(NotMerged::Missing {
        missing: format!("{} {are}", missing.join(", ")),
        of,
    })
}

/// The first case that is in none of the parts, or in more than one, or not where it belongs.
fn misplaced(whole: &Record) -> Option<String> {
    let installs = whole.cases.iter().map(|case| (case.index, case.name()));
    let settings = whole.keeping.iter().map(|case| (case.index, case.name.clone()));
    let all: Vec<(usize, String)> = installs.chain(settings).collect();
    let in_place = |(index, name): &(usize, &String)| {
        let here = |case: &&(usize, String)| case.0 == *index && case.1 == **name;
        all.iter().filter(here).count() == 1
    };
    let missing = whole.cases_all.iter().enumerate().find(|it| !in_place(it));
    let stray = || all.iter().find(|(index, _)| *index >= whole.cases_all.len());
    missing
        .map(|(_, name)| name.clone())
        .or_else(|| stray().map(|(_, name)| name.clone()))
}
