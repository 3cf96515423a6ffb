//! The matrix of cases: each board, each version to come to, the versions to come from.

use super::error::RehearseError;
use super::files::{UpdateFile, highest, recorded_files};
use crate::open::Bench;
use std::convert::Infallible;
use std::fmt;
use std::str::FromStr;
use thiserror::Error;

/// What a unit is before an install.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Beginning {
    /// New: its installer is in place, and nothing else.
    New,
    /// It runs this version.
    Runs(String),
}

impl Beginning {
    /// The version that it runs, if any.
    pub fn version(&self) -> Option<&str> {
        match self {
            Self::New => None,
            Self::Runs(version) => Some(version),
        }
    }
}

/// As it is written: `new`, or the version.
impl fmt::Display for Beginning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.version().unwrap_or("new"))
    }
}

impl FromStr for Beginning {
    type Err = Infallible;

    fn from_str(text: &str) -> Result<Self, Infallible> {
        Ok(match text {
            "new" => Self::New,
            version => Self::Runs(version.to_owned()),
        })
    }
}

/// One exploration.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Case {
    /// The board revision.
    pub board: String,
    /// The version that must run in the end.
    pub to: String,
    /// What units may be at the beginning.
    pub from: Vec<Beginning>,
}

impl Case {
    /// In a few words that tell it from every other case.
    pub fn name(&self) -> String {
        let from: Vec<_> = self.from.iter().map(Beginning::to_string).collect();
        format!("board {}, to {}, from {}", self.board, self.to, from.join(", "))
    }

    /// The ways from each of its beginnings.
    pub fn ways(&self) -> impl Iterator<Item = Way> + '_ {
        self.from.iter().map(|from| Way {
            from: from.clone(),
            to: self.to.clone(),
        })
    }
}

/// One way from a beginning to a version.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Way {
    /// What the unit is before.
    pub from: Beginning,
    /// The version that is picked.
    pub to: String,
}

/// Which cases are wanted. What is left empty is not narrowed down.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    /// Board revisions.
    pub boards: Vec<String>,
    /// What units may be at the beginning.
    pub from: Vec<Beginning>,
    /// Versions to come to.
    pub to: Vec<String>,
    /// How many cases there are.
    pub split: Split,
}

/// How beginnings are spread over cases.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Split {
    /// One case has all of them.
    #[default]
    Together,
    /// Each has a case of its own.
    EachBeginning,
}

/// One part of the matrix, when it is spread over machines.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PartOf {
    /// Which part, from 1.
    pub index: usize,
    /// Of how many.
    pub of: usize,
}

impl PartOf {
    /// All of it.
    pub const WHOLE: Self = Self { index: 1, of: 1 };

    /// Whether the case of this number belongs to this part: cases are dealt out in turn.
    pub fn has(self, case: usize) -> bool {
        case % self.of.max(1) + 1 == self.index
    }
}

impl FromStr for PartOf {
    type Err = NoPart;

    fn from_str(text: &str) -> Result<Self, NoPart> {
        let wrong = || NoPart(text.to_owned());
        let (index, of) = text.split_once('/').ok_or_else(wrong)?;
        let (index, of) = (index.parse().map_err(|_| wrong())?, of.parse().map_err(|_| wrong())?);
        let part = Self { index, of };
        (1..=of).contains(&index).then_some(part).ok_or_else(wrong)
    }
}

/// A text that names no part.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("`{0}` is no part: write it as I/N, such as 2/5, with I from 1 to N")]
pub struct NoPart(pub String);

/// The matrix, in an order that depends on the product folder and `wanted` alone.
///
/// # Errors
/// A board or a version that is asked for is not there, or cannot be come to.
pub fn cases(bench: &Bench, wanted: &Wanted) -> Result<Vec<Case>, RehearseError> {
    if let Some(unknown) = wanted.boards.iter().find(|board| bench.product.board(board).is_none()) {
        return Err(RehearseError::NoBoard(unknown.clone()));
    }
    if let Some(unknown) = wanted.to.iter().find(|to| bench.ledger.latest_issue_of(to).is_none()) {
        return Err(RehearseError::NotReleased(unknown.clone()));
    }
    let mut cases = Vec::new();
    for board in &bench.product.boards {
        if !wanted.boards.is_empty() && !wanted.boards.contains(&board.revision) {
            continue;
        }
        let files = recorded_files(bench, board)?;
        let Some(top) = highest(&files) else { continue };
        let targets = files.iter().filter(|file| match wanted.to.is_empty() {
            true => file.issue == top.issue && (file.version == top.version || may_go_back_to(bench, &file.version)),
            false => wanted.to.contains(&file.version),
        });
        for target in targets {
            if target.issue < top.issue {
                return Err(RehearseError::Barred {
                    version: target.version.clone(),
                    board: board.revision.clone(),
                    issue: target.issue,
                    highest: top.version.clone(),
                    highest_issue: top.issue,
                });
            }
            cases.extend(towards(&board.revision, target, &files, wanted));
        }
    }
    check(wanted, &cases)?;
    Ok(cases)
}

/// The cases that end with one version.
fn towards(board: &str, target: &UpdateFile, files: &[UpdateFile], wanted: &Wanted) -> Vec<Case> {
    let others = files.iter().filter(|file| file.version != target.version);
    let from = [Beginning::New]
        .into_iter()
        .chain(others.map(|file| Beginning::Runs(file.version.clone())));
    let from: Vec<_> = from
        .filter(|from| wanted.from.is_empty() || wanted.from.contains(from))
        .collect();
    let case = |from| Case {
        board: board.to_owned(),
        to: target.version.clone(),
        from,
    };
    match wanted.split {
        Split::EachBeginning => from.into_iter().map(|from| case(vec![from])).collect(),
        Split::Together if from.is_empty() => Vec::new(),
        Split::Together => vec![case(from)],
    }
}

fn check(wanted: &Wanted, cases: &[Case]) -> Result<(), RehearseError> {
    let begins = |from: &&Beginning| cases.iter().any(|case| case.from.contains(from));
    if let Some(unknown) = wanted.from.iter().find(|from| !begins(from)) {
        return Err(RehearseError::NoSuchBeginning(unknown.clone()));
    }
    match cases.is_empty() {
        true => Err(RehearseError::NothingReleased),
        false => Ok(()),
    }
}

/// Whether the policy lets owners go back to a version.
pub fn may_go_back_to(bench: &Bench, version: &str) -> bool {
    let policy = &bench.product.policy;
    let numbers = bench.product.version(version).map(|version| version.numbers());
    numbers.is_ok_and(|numbers| numbers >= policy.oldest.numbers())
        && bench
            .ledger
            .latest_issue_of(version)
            .is_some_and(|release| release.record.issue >= policy.issue)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_case_is_in_one_part() {
        for of in 1..6 {
            for case in 0..20 {
                let parts = (1..=of).filter(|index| PartOf { index: *index, of }.has(case));
                assert_eq!(parts.count(), 1);
            }
        }
        assert!((0..20).all(|case| PartOf::WHOLE.has(case)));
    }

    #[test]
    fn parts_are_read() {
        assert_eq!("2/5".parse(), Ok(PartOf { index: 2, of: 5 }));
        for wrong in ["", "2", "0/5", "6/5", "1/0", "a/b", "1/2/3"] {
            assert!(wrong.parse::<PartOf>().is_err(), "{wrong}");
        }
    }
}
