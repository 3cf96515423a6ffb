//! A release: from a compiler's output to update files, a stick, a rehearsed install and a record; or a clear refusal.
//!
//! It takes three steps, because two things come from outside of the bench, each at its own time:
//!
//! 1. [`prepare`] reads the builds and checks them, packs, and rehearses. It ends in facts alone: [`Prepared`].
//! 2. [`Made::finish`] takes the texts for owners, which somebody made from these facts, puts them onto the stick with the update
//!    files, and lets simulated units read that very stick. A trial ends here: all is checked that is sent.
//! 3. [`Finished::publish`] records the release and writes it out, after whoever asked for it has looked it through.
//!
//! With two steps, the texts would have to be called for in the midst of one, so that nobody could look at a sheet before it is on
//! the stick; or the stick would be checked only while the release goes out, and in no trial.
//!
//! The first two change nothing, whatever becomes of them, but for this: where units want to see an HSS-LMS signature, each update
//! file that is made uses up one of the key's one-time keys. A check that does not hold is an outcome and no error.

mod build;
mod error;
mod folder;
mod names;
mod pack;
mod publish;
mod record;
mod rehearsal;
mod signing;
mod stick;

pub use build::{BoardBuild, BuiltImage, Examination, Recorded};
pub use error::{PublishError, ReleaseError, ReportError};
pub use folder::{FolderError, may_replace, usual_folder};
pub use names::file_name;
pub use pack::{Opened, Opening, Packed, Packing};
pub use publish::Published;
pub use signing::SignaturesLeft;
pub use stick::{StickReading, Taken, stick_image};

use crate::budget::{self, ReleaseBudget};
use crate::notes::{self, Notes};
use crate::open::Bench;
use crate::progress::{Progress, Step};
use crate::rehearse::{Bound, Install, Rehearsal};
use crate::settings::{self, ReleaseSettings};
use crate::stick_spec::{README, SHEET};
use packstaff_product::{Date, Product, Record, Unlock, Version};
use packstaff_stick::StickImage;
use std::collections::BTreeMap;
use std::path::PathBuf;

/// What a maker asks for.
#[derive(Clone, Debug)]
pub struct Order {
    /// The version's text.
    pub version: String,
    /// Builds that are not where the product file says, by board revision.
    pub builds: BTreeMap<String, PathBuf>,
    /// The day of the release; of no account when it is recorded already.
    pub date: Date,
    /// How far explorations of the rehearsal may go.
    pub bound: Bound,
}

/// Which release it is: one version under one issue.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Edition {
    /// The version.
    pub version: Version,
    /// The sequence number of its update files.
    pub issue: u64,
    /// The day of the release.
    pub date: Date,
}

/// What a release came to before it is finished.
#[derive(Clone, Debug)]
pub enum Prepared {
    /// A build must not go out, or settings would be lost. Nothing was packed.
    Refused(Box<Examined>),
    /// Every board's update file was made and rehearsed.
    Made(Box<Made>),
}

/// What is found before anything is packed.
#[derive(Clone, Debug)]
pub struct Examined {
    /// The product, as its file declares it.
    pub product: Product,
    /// Which release it is.
    pub edition: Edition,
    /// The build of each board, in the order of the product file.
    pub builds: Vec<BoardBuild>,
    /// What becomes of settings; `None` if no version's are described, or a build must not go out.
    pub settings: Option<ReleaseSettings>,
}

/// A release whose update files are made and rehearsed.
#[derive(Clone, Debug)]
pub struct Made {
    /// What was found before anything was packed: all of it holds.
    pub examined: Examined,
    /// What the maker says about it.
    pub notes: Notes,
    /// What came of packing each board's image, in the order of the product file.
    pub packings: Vec<Packing>,
    /// What came of the rehearsal.
    pub rehearsal: Rehearsal,
    /// What it has to do with the budget; `None` if none is stated.
    pub budget: Option<ReleaseBudget>,
    /// What would be recorded.
    pub record: Record,
    layout: Option<Vec<u8>>,
    units: Vec<stick::NewUnit>,
}

/// What owners read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Texts {
    /// The owner's sheet, a page of HTML.
    pub sheet: String,
    /// The short text on the stick.
    pub readme: String,
}

/// A release with its stick, ready to go out if all of it holds.
#[derive(Clone, Debug)]
pub struct Finished {
    /// What was made before.
    pub made: Made,
    /// What owners read.
    pub texts: Texts,
    /// The stick.
    pub stick: StickImage,
    /// What new units of every board and served generation read from it.
    pub readings: Vec<StickReading>,
}

/// Checks the builds, packs them and rehearses what was packed. Nothing is recorded or written.
///
/// # Errors
/// What kept the work from being done at all. A check that does not hold is no error.
pub fn prepare(
    bench: &Bench,
    order: &Order,
    unlock: &mut Unlock,
    progress: &dyn Progress,
) -> Result<Prepared, ReleaseError> {
    let edition = edition(bench, order)?;
    let notes = notes::read(bench.folder(), edition.version.text())?;
    progress.at(&Step::CheckingBuilds);
    let examined = examine(bench, edition, order)?;
    if !examined.holds() {
        return Ok(Prepared::Refused(Box::new(examined)));
    }
    progress.at(&Step::OpeningKeyring);
    let keyring = bench.keyring(unlock)?;
    let edition = &examined.edition;
    let packings = pack::pack(bench, &keyring, edition, &notes, &examined.builds, progress)?;
    let packed = || packings.iter().filter_map(|packing| packing.packed.as_ref());

    let keyring = keyring.keyring();
    let packed_files: Vec<&Packed> = packed().collect();
    let rehearsal = rehearsal::rehearse(bench, keyring, edition, &packed_files, order.bound, progress)?;
    let installs: Vec<Install> = rehearsal::installs(&rehearsal).cloned().collect();

    let layout = settings::file(bench, edition.version.text())?;
    Ok(Prepared::Made(Box::new(Made {
        budget: budget::of_release(bench, &installs)?,
        record: Record {
            settings: layout.as_deref().map(record::layout),
            ..record::record(&bench.product, edition, &notes, keyring, packed())
        },
        units: stick::new_units(bench, keyring, packed())?,
        examined,
        notes,
        packings,
        rehearsal,
        layout,
    })))
}

fn edition(bench: &Bench, order: &Order) -> Result<Edition, ReleaseError> {
    let version = bench.version(&order.version)?;
    let issue = bench.product.policy.issue;
    let known = bench.ledger.find(version.text(), issue);
    Ok(Edition {
        // What was recorded keeps its day.
        date: known.map_or(order.date, |known| known.record.date),
        version,
        issue,
    })
}

fn examine(bench: &Bench, edition: Edition, order: &Order) -> Result<Examined, ReleaseError> {
    let builds = build::examine_all(bench, &edition.version, order)?;
    let settings = match builds.iter().all(BoardBuild::holds) {
        true => settings::of_release(bench, &edition.version, &order.builds)?,
        false => None,
    };
    Ok(Examined {
        product: bench.product.clone(),
        edition,
        builds,
        settings,
    })
}

impl Examined {
    /// Whether every build may go out, and nobody's settings are lost without a reason.
    pub fn holds(&self) -> bool {
        self.builds.iter().all(BoardBuild::holds) && self.settings.as_ref().is_none_or(ReleaseSettings::holds)
    }
}

impl Made {
    /// The update files, in the order of the product file.
    pub fn packed(&self) -> impl Iterator<Item = &Packed> {
        self.packings.iter().filter_map(|packing| packing.packed.as_ref())
    }

    /// The rehearsal's installs without a cut.
    pub fn installs(&self) -> impl Iterator<Item = &Install> {
        rehearsal::installs(&self.rehearsal)
    }

    /// Whether everything that was looked at so far holds.
    pub fn holds(&self) -> bool {
        self.examined.holds()
            && self.packings.iter().all(Packing::holds)
            && self.rehearsal.holds()
            && self.budget.as_ref().is_none_or(ReleaseBudget::holds)
    }

    /// Makes the stick that owners get, and has new units of every board and served generation read it.
    ///
    /// # Errors
    /// The files do not fit a stick. That a unit does not take its file from it is no error.
    pub fn finish(self, texts: Texts, progress: &dyn Progress) -> Result<Finished, ReleaseError> {
        progress.at(&Step::MakingStick);
        let updates = self
            .packed()
            .map(|packed| (packed.name.as_str(), packed.file.as_slice()));
        let with_texts = [(README, texts.readme.as_bytes()), (SHEET, texts.sheet.as_bytes())];
        let files: Vec<_> = updates.chain(with_texts).collect();
        let Edition { version, date, .. } = &self.examined.edition;
        let stick = stick_image(&self.examined.product.short, version, *date, &files)?;
        self.with_stick(texts, stick)
    }

    fn with_stick(self, texts: Texts, stick: StickImage) -> Result<Finished, ReleaseError> {
        let readings = stick::read(&stick, &self.units, |board| {
            self.packed().find(|packed| packed.board == board)
        })?;
        Ok(Finished {
            made: self,
            texts,
            stick,
            readings,
        })
    }
}

impl Finished {
    /// Whether every check holds.
    pub fn holds(&self) -> bool {
        self.made.holds() && self.readings.iter().all(StickReading::holds)
    }
}

#[cfg(test)]
mod tests;
