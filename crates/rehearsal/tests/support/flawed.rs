//! Rehearsals of installers with a deliberate mistake, for their stories.

use super::Flashes;
use super::case::{Case, case};
use installer::{Flaw, Installer};
use rehearsal::explore::{Faults, OurInstaller, Plan, Unfinished, Violation, explore};
use rehearsal::picture::KnownImage;

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

    pub fn plan(&self) -> Plan<'_> {
        Plan {
            stop_at_first: true,
            nodes_max: 1 << 17,
            ..self.case.plan(Faults::all(), self.reduce)
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
        first.unwrap_or_else(|| panic!("{:?} is not caught", self.flaw))
    }

    pub fn images(&self) -> Vec<KnownImage> {
        let names = ["1.8", "2.0", "2.1"];
        let images = names.into_iter().zip(&self.case.updates);
        images
            .map(|(name, update)| KnownImage {
                name: name.to_owned(),
                bytes: update.image.clone(),
            })
            .collect()
    }
}
