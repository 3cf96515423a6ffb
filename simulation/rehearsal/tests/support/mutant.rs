//! Installers with a planted mistake in a rehearsal, and their stories.

use super::case::{Case, case};
use super::{Flashes, manifest};
use packstaff_installer::{Config, Progress, Reply, Request};
use packstaff_mutants::installer::{Machine, Mutation};
use packstaff_rehearsal::explore::{Faults, InstallerMachine, OurInstaller, Plan, Unfinished, Violation, explore};
use packstaff_rehearsal::picture::KnownImage;
use packstaff_unit::blueprint::Blueprint;

const NAMES: [&str; 3] = ["1.8", "2.0", "2.1"];

/// A mutated installer, as the explorer takes it.
#[derive(Clone, PartialEq, Eq, Hash)]
pub struct Mutated(pub Machine);

impl InstallerMachine for Mutated {
    fn step(&mut self, config: &Config<'_>, reply: Reply<'_>) -> Request<'_> {
        self.0.step(config, reply)
    }

    fn progress(&self, config: &Config<'_>) -> Progress {
        self.0.progress(config)
    }

    fn with_turns_less(self, less: u32) -> Self {
        Self(self.0.with_turns_less(less))
    }
}

/// A unit whose installer has this mistake.
pub fn mutated(blueprint: &Blueprint, mutation: Mutation) -> OurInstaller<'_, Mutated> {
    OurInstaller {
        blueprint,
        machine: Mutated(mutation.machine()),
    }
}

/// A small rehearsal with a mistake.
pub struct Mutant {
    pub case: Case,
    pub mutation: Mutation,
    /// Without the reduction where the mistake makes it unsound.
    reduce: bool,
}

impl Mutant {
    /// With 2.1, 2.0 and 1.8 of so many bytes.
    pub fn new(mutation: Mutation, flashes: Flashes, image: usize) -> Self {
        Self {
            case: case(flashes, image),
            mutation,
            reduce: true,
        }
    }

    pub fn subject(&self) -> OurInstaller<'_, Mutated> {
        mutated(&self.case.blueprint, self.mutation)
    }

    /// One of them fails even when nothing else does.
    fn faults(&self) -> Faults {
        match self.mutation {
            Mutation::ErasesTooLittle => Faults::none(),
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
        let found = found.unwrap_or_else(|error| panic!("{:?}: {error}", self.mutation));
        let first = found.violations.into_iter().next();
        let mut first = first.unwrap_or_else(|| panic!("{:?} is not caught", self.mutation));
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
