//! The parts of a rehearsal, joined to the whole.

use super::outcome::{FORMAT, Outcome};
use miette::Diagnostic;
use serde::Deserialize;
use serde::de::IgnoredAny;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Why records are no rehearsal together.
#[derive(Debug, Error, Diagnostic)]
pub enum NotMerged {
    /// A file cannot be read.
    #[error("{} cannot be read", file.display())]
    Unreadable {
        /// The file.
        file: PathBuf,
        /// Why.
        source: std::io::Error,
    },
    /// A file is no record of a rehearsal.
    #[error("{} is no record of a rehearsal: {why}", file.display())]
    #[diagnostic(help("name what `packstaff rehearse --json` printed"))]
    NoRecord {
        /// The file.
        file: PathBuf,
        /// Why.
        why: String,
    },
    /// Records of rehearsals that are not the same.
    #[error("{} and {} are not parts of the same rehearsal", first.display(), other.display())]
    #[diagnostic(help(
        "run all parts with the same options and the same number of parts, on the same product folder, with the same version of packstaff"
    ))]
    Strangers {
        /// One file.
        first: PathBuf,
        /// The other.
        other: PathBuf,
    },
    /// A part is there twice.
    #[error("part {part} of {of} is there twice: {} and {}", first.display(), other.display())]
    #[diagnostic(help("name each part once"))]
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
    #[diagnostic(help("run them with --part, and name all of them"))]
    Missing {
        /// Which, in words.
        missing: String,
        /// Of how many.
        of: usize,
    },
    /// The parts are there, and a case is in none of them, or not where it belongs.
    #[error("the case {0} is in none of the parts, or in more than one")]
    #[diagnostic(help("these records have been changed since they were made: run the parts again"))]
    Case(String),
}

/// What the verb prints: a report, and this.
#[derive(Deserialize)]
struct Printed {
    rehearsal: Option<Outcome>,
    own_loader: Option<IgnoredAny>,
}

/// Reads what `rehearse --json` printed.
///
/// # Errors
/// The file cannot be read, or is something else.
pub fn read_outcome(file: &Path) -> Result<Outcome, NotMerged> {
    let text = std::fs::read(file).map_err(|source| NotMerged::Unreadable {
        file: file.to_owned(),
        source,
    })?;
    let no_record = |why: String| NotMerged::NoRecord {
        file: file.to_owned(),
        why,
    };
    let printed: Printed = serde_json::from_slice(&text).map_err(|error| no_record(error.to_string()))?;
    let Some(outcome) = printed.rehearsal else {
        return Err(no_record(match printed.own_loader {
            Some(_) => "it is the rehearsal of a maker's own loader, which has no parts".to_owned(),
            None => "it has no entry `rehearsal`".to_owned(),
        }));
    };
    match outcome.format {
        FORMAT => Ok(outcome),
        other => Err(no_record(format!(
            "it has form {other}, and this program reads form {FORMAT}"
        ))),
    }
}

/// Joins the parts. `parts` gives each with the file it is from.
///
/// # Errors
/// They are not one rehearsal, or not all of it.
pub fn merge(parts: Vec<(PathBuf, Outcome)>) -> Result<Outcome, NotMerged> {
    let Some((first_file, first)) = parts.first().cloned() else {
        return Err(NotMerged::Missing {
            missing: "all are".to_owned(),
            of: 0,
        });
    };
    let [_, of] = first.part;
    let mut by_index = BTreeMap::<usize, (PathBuf, Outcome)>::new();
    for (file, outcome) in parts {
        let alike = outcome.matrix == first.matrix && outcome.part[1] == of && outcome.cases_all == first.cases_all;
        if !alike {
            return Err(NotMerged::Strangers {
                first: first_file,
                other: file,
            });
        }
        let [part, _] = outcome.part;
        if let Some((known, _)) = by_index.get(&part) {
            return Err(NotMerged::Twice {
                part,
                of,
                first: known.clone(),
                other: file,
            });
        }
        by_index.insert(part, (file, outcome));
    }
    let missing: Vec<_> = (1..=of)
        .filter(|part| !by_index.contains_key(part))
        .map(|part| part.to_string())
        .collect();
    if !missing.is_empty() {
        let are = if missing.len() == 1 { "is" } else { "are" };
        return Err(NotMerged::Missing {
            missing: format!("{} {are}", missing.join(", ")),
            of,
        });
    }
    let (mut cases, mut keeping) = (Vec::new(), Vec::new());
    for (_, outcome) in by_index.into_values() {
        cases.extend(outcome.cases);
        keeping.extend(outcome.keeping);
    }
    cases.sort_by_key(|case| case.index);
    keeping.sort_by_key(|case| case.index);
    let installs = cases.iter().map(|case| (case.index, case.name()));
    let all = installs.chain(keeping.iter().map(|case| (case.index, case.name.clone())));
    let all: Vec<(usize, String)> = all.collect();
    let in_place = |(index, name): (usize, &String)| {
        let here = |case: &&(usize, String)| case.0 == index && case.1 == *name;
        all.iter().filter(here).count() == 1
    };
    if let Some((_, name)) = first.cases_all.iter().enumerate().find(|it| !in_place(*it)) {
        return Err(NotMerged::Case(name.clone()));
    }
    if let Some((_, stray)) = all.iter().find(|(index, _)| *index >= first.cases_all.len()) {
        return Err(NotMerged::Case(stray.clone()));
    }
    Ok(Outcome {
        part: [1, 1],
        cases,
        keeping,
        ..first
    })
}
