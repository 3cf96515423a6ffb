//! Rehearsals of installers with a deliberate mistake, for their stories.

use super::case::{Case, case};
use super::{Flashes, manifest};
use packstaff_installer::{Flaw, Installer};
use packstaff_rehearsal::explore::{Faults, OurInstaller, Plan, Unfinished, Violation, explore};
use packstaff_rehearsal::picture::KnownImage;

const NAMES: [&str; 3] = ["1.8", "2.0", "2.1"];

pub struct Flawed {
    pub case: Case,
    pub flaw: Flaw,
    /// Without the reduction where the mistake makes it unsound.
    reduce: bool,
}

impl Flawed {
    /// With 2.1, 2.0 and 1.8 of so many bytes.
    pub fn new(flaw: Flaw, flashes: Flashes, image: usize) -> Self {
        Self {
            case: case(flashes, image),
            flaw,
            reduce: true,
        }
    }

    pub fn subject(&self) -> OurInstaller<'_> {
        OurInstaller {
            blueprint: &self.case.blueprint,
            machine: Installer::with_flaw(self.flaw),
        }
    }

    /// One of them fails even when nothing else does.
    fn faults(&self) -> Faults {
        match self.flaw {
            Flaw::ErasesTooLittle => Faults::none(),
            _ => Faults::all(),
        }
    }

    pub fn plan(&self) -> Plan<'_> {
        Plan {
            stop_at_first: true,
            nodes_max: 1 << 17,
            ..self.case.plan(self.faults(), self.reduce)
        }
    }

    pub fn violation(&mut self) -> Violation {
        let found = match explore(&self.subject(), &self.plan()) {
            Err(Unfinished::Unsound { .. }) => {
                self.reduce = false;
                explore(&self.subject(), &self.plan())
            }
            found => found,
        };
        let found = found.unwrap_or_else(|error| panic!("{:?}: {error}", self.flaw));
        let first = found.violations.into_iter().next();
        let mut first = first.unwrap_or_else(|| panic!("{:?} is not caught", self.flaw));
        let names = NAMES.map(|name| format!("the file of {name}"));
        let files = self.case.updates.iter().map(|update| manifest(&update.file()).digest);
        first.story = first.story.with_files(files.zip(names).collect());
        first
    }

    pub fn images(&self) -> Vec<KnownImage> {
        let images = NAMES.into_iter().zip(&self.case.updates);
        images
            .map(|(name, update)| KnownImage {
                name: name.to_owned(),
                bytes: update.image.clone(),
            })
            .collect()
    }
}
