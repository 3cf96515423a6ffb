//! Which cases of settings there are: for each settings memory, the versions that owners go from or to.

use crate::open::Bench;
use crate::rehearse::cases::{Beginning, Case};
use crate::settings::{SettingsError, described};
use packstaff_product::Board;
use packstaff_settings::layout::Layout;
use std::collections::BTreeSet;

/// One exploration of settings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SettingsCase {
    /// The board revisions that have this settings memory and these versions.
    pub boards: Vec<String>,
    /// The settings memory, by its name in the parts table.
    pub memory: String,
    /// The versions that owners put on, in any order, the oldest first.
    pub versions: Vec<String>,
    /// What units hold at the beginning.
    pub from: SettingsFrom,
}

/// What a settings memory holds at the beginning.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SettingsFrom {
    /// Nothing: the unit is new, and comes to every version from there.
    New,
    /// Settings that one of these versions has saved.
    Saved(Vec<String>),
}

/// The cases, and what is left out.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct SettingsCases {
    /// The cases.
    pub cases: Vec<SettingsCase>,
    /// What is not rehearsed, if anything is not.
    pub left_out: Option<LeftOut>,
}

/// Settings that are not rehearsed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LeftOut {
    /// All: the product has no layout file.
    NoLayouts,
    /// Those of these versions, which have no layout file.
    Versions(Vec<String>),
}

impl SettingsCase {
    /// In a few words that tell it from every other case.
    pub fn name(&self) -> String {
        let boards = self.boards.join(" and ");
        let from = match &self.from {
            SettingsFrom::New => "new".to_owned(),
            SettingsFrom::Saved(versions) => versions.join(", "),
        };
        let versions = self.versions.join(", ");
        format!(
            "settings in {}, board {boards}, versions {versions}, from {from}",
            self.memory
        )
    }

    fn is_alike(&self, other: &Self) -> bool {
        (&self.memory, &self.versions, &self.from) == (&other.memory, &other.versions, &other.from)
    }
}

/// The cases of settings that belong to these installs.
///
/// # Errors
/// A layout file cannot be read or is wrong.
pub fn settings_cases(bench: &Bench, installs: &[Case]) -> Result<SettingsCases, SettingsError> {
    let mut found = SettingsCases::default();
    let layouts = described(bench)?.layouts;
    let mut without = BTreeSet::new();
    for board in &bench.product.boards {
        let own: Vec<&Case> = installs.iter().filter(|case| case.board == board.revision).collect();
        let ends: BTreeSet<&str> = own
            .iter()
            .flat_map(|case| {
                case.from
                    .iter()
                    .filter_map(Beginning::version)
                    .chain([case.to.as_str()])
            })
            .collect();
        let listed = bench.product.versions.list.iter().map(|version| version.text());
        let (known, unknown): (Vec<&str>, Vec<&str>) = listed
            .filter(|version| ends.contains(version))
            .partition(|version| has_layout(&layouts, version));
        without.extend(unknown.into_iter().map(str::to_owned));
        if known.is_empty() {
            continue;
        }
        let case = case_of(board, &own, &known);
        match found.cases.iter_mut().find(|other| other.is_alike(&case)) {
            Some(other) => other.boards.extend(case.boards),
            None => found.cases.push(case),
        }
    }
    found.left_out = match (layouts.is_empty(), without.is_empty()) {
        (true, _) => Some(LeftOut::NoLayouts),
        (false, false) => Some(LeftOut::Versions(without.into_iter().collect())),
        (false, true) => None,
    };
    Ok(found)
}

fn has_layout(layouts: &[Layout], version: &str) -> bool {
    layouts.iter().any(|layout| layout.version == version)
}

/// The case of one board; `versions` have layouts.
fn case_of(board: &Board, installs: &[&Case], versions: &[&str]) -> SettingsCase {
    let begins = |beginning: &Beginning| installs.iter().any(|case| case.from.contains(beginning));
    let owned = |version: &&str| (*version).to_owned();
    let begun = versions.iter().map(owned);
    let begun: Vec<String> = begun
        .filter(|version| begins(&Beginning::Runs(version.clone())))
        .collect();
    SettingsCase {
        boards: vec![board.revision.clone()],
        memory: board.settings_memory.clone(),
        versions: versions.iter().map(owned).collect(),
        from: match begins(&Beginning::New) || begun.is_empty() {
            true => SettingsFrom::New,
            false => SettingsFrom::Saved(begun),
        },
    }
}
