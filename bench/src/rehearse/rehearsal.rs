//! A whole rehearsal, or a part of one: the matrix of its cases, and what came of them.

use super::board::BoardUnderTest;
use super::cases::{Case, PartOf, Wanted, Way, cases};
use super::error::RehearseError;
use super::explore::{CaseOutcome, rehearse_board};
use super::files::recorded_files;
use super::install::Install;
use super::limits::Limits;
use super::settings::{SettingsCase, SettingsCases, SettingsOutcome, rehearse_settings, settings_cases};
use crate::open::Bench;
use crate::progress::Progress;
use crate::settings;
use packstaff_envelope::sha256;
use packstaff_product::Keyring;
use packstaff_rehearsal::explore::Faults;
use std::collections::BTreeMap;
use std::fmt::Write;

/// What is asked of a rehearsal of the ledger's releases.
#[derive(Clone, Debug)]
pub struct Ask {
    /// Which cases.
    pub wanted: Wanted,
    /// Which part of them.
    pub part: PartOf,
    /// What may go wrong, and how far explorations may go.
    pub limits: Limits,
}

/// A rehearsal, or a part of one.
#[derive(Clone, Debug)]
pub struct Rehearsal {
    /// The product's name.
    pub product: String,
    /// The board revisions that have cases, in the order of the product file.
    pub boards: Vec<String>,
    /// What may go wrong.
    pub faults: Faults,
    /// Every case, whether of this part or not.
    pub matrix: Matrix,
    /// Which part this is.
    pub part: PartOf,
    /// What came of the installs of this part, by their numbers in the matrix, from 0.
    pub installs: BTreeMap<usize, CaseOutcome>,
    /// What came of the settings of this part. Their numbers come after those of all installs.
    pub settings: BTreeMap<usize, SettingsOutcome>,
}

/// Every case of a rehearsal.
#[derive(Clone, Debug)]
pub struct Matrix {
    /// The installs.
    pub installs: Vec<Case>,
    /// The settings that belong to them.
    pub settings: SettingsCases,
    /// SHA-256 over everything that the cases depend on: parts can be joined only if it is the same.
    pub digest: [u8; 32],
}

impl Matrix {
    /// The names of the cases, in the order of their numbers.
    pub fn names(&self) -> Vec<String> {
        let settings = self.settings.cases.iter().map(SettingsCase::name);
        self.installs.iter().map(Case::name).chain(settings).collect()
    }
}

/// Rehearses the cases that are asked for.
///
/// # Errors
/// What is asked for is not there, or an exploration gave no answer. A claim that does not hold is an answer.
pub fn rehearse(
    bench: &Bench,
    keyring: &Keyring,
    ask: &Ask,
    progress: &dyn Progress,
) -> Result<Rehearsal, RehearseError> {
    let all = cases(bench, &ask.wanted)?;
    let mut rehearsal = Rehearsal::begin(bench, all.clone(), &ask.limits.faults, ask.part)?;
    for (index, case) in all.iter().enumerate().filter(|(index, _)| ask.part.has(*index)) {
        let board = bench.product.board(&case.board);
        let board = board.ok_or_else(|| RehearseError::NoBoard(case.board.clone()))?;
        let board = BoardUnderTest::of(bench, keyring, board, recorded_files(bench, board)?)?;
        let ways: Vec<Way> = case.ways().collect();
        let outcome = rehearse_board(&board, case, &ways, &ask.limits, progress)?;
        rehearsal.installs.insert(index, outcome);
    }
    rehearsal.rehearse_settings(bench, &ask.limits, progress)?;
    Ok(rehearsal)
}

impl Rehearsal {
    /// A rehearsal of these installs, and of the settings that belong to them, without an outcome yet.
    ///
    /// # Errors
    /// The ledger's files or the settings' layouts cannot be read.
    pub fn begin(bench: &Bench, installs: Vec<Case>, faults: &Faults, part: PartOf) -> Result<Self, RehearseError> {
        let has_cases = |board: &&packstaff_product::Board| installs.iter().any(|case| case.board == board.revision);
        let boards = bench.product.boards.iter().filter(has_cases);
        let boards = boards.map(|board| board.revision.clone()).collect();
        let settings = settings_cases(bench, &installs)?;
        let mut matrix = Matrix {
            installs,
            settings,
            digest: [0; 32],
        };
        matrix.digest = digest(bench, &matrix.names(), faults)?;
        Ok(Self {
            product: bench.product.name.clone(),
            boards,
            faults: faults.clone(),
            matrix,
            part,
            installs: BTreeMap::new(),
            settings: BTreeMap::new(),
        })
    }

    /// Rehearses the settings of this part.
    ///
    /// # Errors
    /// As [`rehearse_settings`].
    pub fn rehearse_settings(
        &mut self,
        bench: &Bench,
        limits: &Limits,
        progress: &dyn Progress,
    ) -> Result<(), RehearseError> {
        let part = self.part;
        let cases = (self.matrix.installs.len()..).zip(&self.matrix.settings.cases);
        for (index, case) in cases.filter(|(index, _)| part.has(*index)) {
            let outcome = rehearse_settings(bench, case, limits, progress)?;
            self.settings.insert(index, outcome);
        }
        Ok(())
    }

    /// All installs without a cut, in the order of the cases.
    pub fn installs_without_cut(&self) -> impl Iterator<Item = &Install> {
        self.installs.values().flat_map(|outcome| &outcome.installs)
    }

    /// Whether every claim holds in every case of this part.
    pub fn holds(&self) -> bool {
        self.installs.values().all(CaseOutcome::holds) && self.settings.values().all(SettingsOutcome::holds)
    }
}

/// SHA-256 over the program's version, every update file and layout file, the boards' maps, the cases and the faults.
fn digest(bench: &Bench, names: &[String], faults: &Faults) -> Result<[u8; 32], RehearseError> {
    let mut lines = vec![env!("CARGO_PKG_VERSION").to_owned(), bench.product.name.clone()];
    for board in &bench.product.boards {
        let files = recorded_files(bench, board)?;
        let files: Vec<_> = files.iter().map(|file| hex(&sha256(&file.bytes))).collect();
        lines.push(format!("{} {}", board.revision, files.join(" ")));
        lines.push(format!("{} {:?}", board.part, board.map));
    }
    for version in &bench.product.versions.list {
        let layout = settings::file(bench, version.text())?;
        lines.extend(layout.map(|content| format!("{version} {}", hex(&sha256(&content)))));
    }
    lines.extend(names.iter().cloned());
    lines.extend(faults.names().into_iter().map(str::to_owned));
    Ok(sha256(lines.join("\n").as_bytes()))
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut out, byte| {
        let _ = write!(out, "{byte:02x}");
        out
    })
}
