//! The matrix of cases: each board, each version to come to, the versions to come from.

use super::files::{highest, recorded_files};
use miette::Result;
use packstaff_bench::open::Bench;

/// One exploration.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Case {
    /// The board revision.
    pub board: String,
    /// The version that must run in the end.
    pub to: String,
    /// The versions to begin with; `None` is a new unit.
    pub from: Vec<Option<String>>,
}

impl Case {
    /// In a few words that tell it from every other case.
    pub fn name(&self) -> String {
        format!("board {}, to {}, from {}", self.board, self.to, self.beginnings())
    }

    /// The versions to begin with, in words.
    pub fn beginnings(&self) -> String {
        let from = self.from.iter().map(|from| from.as_deref().unwrap_or("new"));
        from.collect::<Vec<_>>().join(", ")
    }
}

/// Which cases are wanted. What is left empty is not narrowed down.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    /// Board revisions.
    pub boards: Vec<String>,
    /// Versions to begin with; `new` is a new unit.
    pub from: Vec<String>,
    /// Versions to come to.
    pub to: Vec<String>,
    /// A case of its own for each version to begin with.
    pub each_start: bool,
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

impl std::str::FromStr for PartOf {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || format!("`{text}` is no part: write it as I/N, such as 2/5, with I from 1 to N");
        let (index, of) = text.split_once('/').ok_or_else(wrong)?;
        let (index, of) = (index.parse().map_err(|_| wrong())?, of.parse().map_err(|_| wrong())?);
        let part = Self { index, of };
        (1..=of).contains(&index).then_some(part).ok_or_else(wrong)
    }
}

/// The matrix, in an order that depends on the product folder and `wanted` alone.
///
/// # Errors
/// A board or a version that is asked for is not there, or cannot be come to.
pub fn cases(bench: &Bench, wanted: &Wanted) -> Result<Vec<Case>> {
    if let Some(unknown) = wanted.boards.iter().find(|board| bench.product.board(board).is_none()) {
        return Err(miette::miette!(
            help = "name a `revision` of product.toml",
            "there is no board {unknown}"
        ));
    }
    if let Some(unknown) = wanted.to.iter().find(|to| bench.ledger.latest_issue_of(to).is_none()) {
        return Err(miette::miette!("the ledger has no release of {unknown}"));
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
                return Err(miette::miette!(
                    help = "issue {} again under the higher number, or rehearse another version",
                    "{} cannot be the end of every install on board {}: it has issue {}, and {} with issue {} bars it",
                    target.version,
                    board.revision,
                    target.issue,
                    top.version,
                    top.issue
                ));
            }
            let others = files.iter().filter(|file| file.version != target.version);
            let from = [None].into_iter().chain(others.map(|file| Some(file.version.clone())));
            let asked = |from: &Option<String>| {
                wanted.from.is_empty()
                    || wanted
                        .from
                        .iter()
                        .any(|asked| asked == from.as_deref().unwrap_or("new"))
            };
            let from: Vec<_> = from.filter(asked).collect();
            let case = |from| Case {
                board: board.revision.clone(),
                to: target.version.clone(),
                from,
            };
            match wanted.each_start {
                true => cases.extend(from.into_iter().map(|from| case(vec![from]))),
                false if from.is_empty() => {}
                false => cases.push(case(from)),
            }
        }
    }
    check(wanted, &cases)?;
    Ok(cases)
}

fn check(wanted: &Wanted, cases: &[Case]) -> Result<()> {
    let begins = |from: &&String| {
        let mut froms = cases.iter().flat_map(|case| &case.from);
        froms.any(|known| known.as_deref().unwrap_or("new") == from.as_str())
    };
    if let Some(unknown) = wanted.from.iter().find(|from| !begins(from)) {
        return Err(miette::miette!(
            help = "name a version in the ledger other than the one to come to, or `new`",
            "no install begins with {unknown}"
        ));
    }
    match cases.is_empty() {
        true => Err(miette::miette!(
            "the ledger has no release: there is nothing to rehearse"
        )),
        false => Ok(()),
    }
}

/// Whether the policy lets owners go back to a version.
pub(crate) fn may_go_back_to(bench: &Bench, version: &str) -> bool {
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
