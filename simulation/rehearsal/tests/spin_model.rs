//! A second opinion: the install modelled for spin (`models/install.pml`), from the guide's description and not from the
//! code, and the same small unit in our explorer. They must agree on which claims hold, of the right installer and of its
//! mutants, and on the worlds with power off that can be reached. `models/README.md` says how far that goes.
//!
//! Outside: spin (G. J. Holzmann, The Spin Model Checker, 2003; Debian package `spin`) and a C compiler (`gcc`).

mod support;

use packstaff_installer::{Descriptor, Installer, Phase, Region};
use packstaff_mutants::installer::Mutation;
use packstaff_rehearsal::claims::Claim;
use packstaff_rehearsal::explore::{
    Faults, InstallerMachine, Loader, OurInstaller, Plan, Standing, StickOption, Unfinished, explore,
};
use packstaff_rehearsal::power_up::{Owner, power_up};
use packstaff_rehearsal::sticks::insert;
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::drive::{Answer, Wish};
use packstaff_unit::flash::{Change, Flash, FlashLayout, Inside, SumKey};
use packstaff_unit::part::SecondProgram;
use rayon::prelude::*;
use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::{Arc, Mutex};
use support::mutant::Mutated;
use support::{Flashes, Update, manifest, stick, unit_with};

const GRANULE: usize = 64;
const OLD_IMAGE: usize = 9;
const NEW_IMAGE: usize = 10;

/// Worlds with power off: for each granule of the slot, one letter.
type Worlds = BTreeSet<String>;

/// What either side says of one machine.
#[derive(Debug, Default)]
struct Verdict {
    broken: BTreeSet<&'static str>,
    worlds: Worlds,
}

/// The claims that the model knows, by the explorer's names.
const CLAIMS: [Claim; 5] = [
    Claim::Authentic,
    Claim::Arrives,
    Claim::Truthful,
    Claim::Solid,
    Claim::Sane,
];

mod ours {
    use super::*;

    /// Our installer, watched: which worlds it is powered up in.
    struct Watched<'a, M> {
        inner: OurInstaller<'a, M>,
        small: &'a Small,
        worlds: Mutex<Worlds>,
    }

    impl<M: InstallerMachine> Loader for Watched<'_, M> {
        type State = M;

        fn may_be_refused(&self, change: &Change) -> bool {
            self.inner.may_be_refused(change)
        }

        fn power_up(&self) -> (M, Wish) {
            self.inner.power_up()
        }

        fn step(&self, state: &mut M, answer: &Answer) -> Wish {
            self.inner.step(state, answer)
        }

        fn phase(&self, state: &M) -> Phase {
            self.inner.phase(state)
        }

        fn settle(&self, flash: &mut Flash) {
            self.inner.settle(flash);
        }

        fn may_change(&self, area: Region) -> bool {
            self.inner.may_change(area)
        }

        fn may_stand(&self, flash: &Flash) -> Vec<Standing> {
            self.inner.may_stand(flash)
        }

        /// The explorer asks this of every world with power off, to judge whether its descriptor tells the truth.
        fn standing(&self, flash: &Flash) -> Vec<Standing> {
            // A reduced exploration buries contents, and its worlds are not the model's.
            if let Some(letters) = self.small.letters(flash) {
                self.worlds.lock().unwrap().insert(letters);
            }
            self.inner.standing(flash)
        }

        fn floor(&self, flash: &Flash) -> u64 {
            self.inner.floor(flash)
        }

        fn commits(&self, flash: &Flash, change: &Change) -> Option<Descriptor> {
            self.inner.commits(flash, change)
        }

        fn raises(&self, change: &Change) -> Option<(u64, Option<Standing>)> {
            self.inner.raises(change)
        }

        fn places(&self) -> Vec<Region> {
            self.inner.places()
        }

        fn needs_no_stick(&self) -> bool {
            self.inner.needs_no_stick()
        }
    }

    /// The small unit: two sectors of eight granules, so that a descriptor's record is one granule.
    pub(crate) struct Small {
        blueprint: Blueprint,
        old: Update,
        new: Update,
        old_slot: Vec<u8>,
        new_slot: Vec<u8>,
    }

    impl Small {
        pub(crate) fn new() -> Self {
            let size = 8 * GRANULE as u32;
            let region = |number: u32, count: u32| Region {
                base: 0x0800_0000 + number * size,
                size: count * size,
            };
            let runs = vec![packstaff_installer::SectorRun { count: 5, size }];
            let layout = FlashLayout::new(0x0800_0000, runs, GRANULE as u32, 0xff, false, SecondProgram::Zeros);
            let blueprint = Blueprint {
                layout: Arc::new(layout),
                installer: region(0, 1),
                floors: [region(1, 1), region(2, 1)],
                slot: region(3, 2),
                ..support::blueprint(Flashes::Pages)
            };
            let update = |version: &[u32], fill, granules: usize| {
                let mut update = Update::new(version, fill);
                update.image.truncate(granules * GRANULE);
                assert_eq!(update.image.len(), granules * GRANULE);
                update
            };
            let old = update(&[1, 8], 0x18, OLD_IMAGE);
            let new = update(&[2, 0], 0x20, NEW_IMAGE);
            let slot_with = |update: &Update| {
                let world = unit_with(&blueprint, update);
                world.flash.bytes(blueprint.slot.base, blueprint.slot.size).unwrap()
            };
            let (old_slot, new_slot) = (slot_with(&old), slot_with(&new));
            Self {
                blueprint,
                old,
                new,
                old_slot,
                new_slot,
            }
        }

        /// Granules in each program request of an image, in order.
        pub(crate) fn requests(&self) -> Vec<usize> {
            let mut world = unit_with(&self.blueprint, &self.old);
            let file = self.new.file();
            world.stick = Some(insert(stick(&[("KC4.UPD", &file)])));
            let mut requests = Vec::new();
            power_up(
                &self.blueprint,
                &mut world,
                Owner::wants(&manifest(&file)),
                |_, change| {
                    let image = Region {
                        base: self.blueprint.slot.base,
                        size: (NEW_IMAGE * GRANULE) as u32,
                    };
                    match change {
                        Change::Program { address, data } if image.contains(*address) => {
                            requests.push(data.len() / GRANULE);
                        }
                        _ => {}
                    }
                },
            );
            requests
        }

        /// One letter for each granule of the slot: erased, old, new, zeros, anything else; `_`, `w`, `z` where what reads as
        /// erased, new or zeros is in doubt.
        fn letters(&self, flash: &Flash) -> Option<String> {
            let slot = self.blueprint.slot;
            let cells = flash.bytes(slot.base, slot.size).ok()?;
            let granules = cells.chunks(GRANULE).enumerate().map(|(index, cells)| {
                let at = index * GRANULE;
                let area = Region {
                    base: slot.base + at as u32,
                    size: GRANULE as u32,
                };
                let is = |slot: &[u8]| cells == &slot[at..at + GRANULE];
                let filled = |value| cells.iter().all(|byte| *byte == value);
                match (
                    flash.wavers(area),
                    filled(0xff),
                    filled(0),
                    is(&self.old_slot),
                    is(&self.new_slot),
                ) {
                    (false, true, ..) => '.',
                    (true, true, ..) => '_',
                    (false, _, true, ..) => '0',
                    (true, _, true, ..) => 'z',
                    (false, _, _, true, _) => 'o',
                    (false, _, _, _, true) => 'n',
                    (true, _, _, _, true) => 'w',
                    _ => '?',
                }
            });
            Some(granules.collect())
        }

        pub(crate) fn verdict(
            &self,
            mutation: Option<Mutation>,
            swapped: bool,
            reduce: bool,
        ) -> Result<Verdict, Unfinished> {
            match mutation {
                None => self.verdict_on(Installer::new(), swapped, reduce),
                Some(mutation) => self.verdict_on(Mutated(mutation.machine()), swapped, reduce),
            }
        }

        fn verdict_on(
            &self,
            machine: impl InstallerMachine,
            swapped: bool,
            reduce: bool,
        ) -> Result<Verdict, Unfinished> {
            let file = self.new.file();
            let mut damaged = file.clone();
            let payload = damaged.len() - NEW_IMAGE * GRANULE;
            damaged[payload..].iter_mut().for_each(|byte| *byte ^= 1);
            let option = |name: &str, file: &[u8], good| StickOption {
                name: name.to_owned(),
                stick: insert(stick(&[("KC4.UPD", file)])),
                good,
            };
            let mut sticks = vec![option("a stick with 2.0", &file, true)];
            if swapped {
                sticks.push(option(
                    "a stick with 2.0, every byte of its payload damaged",
                    &damaged,
                    false,
                ));
            }
            let plan = Plan {
                from: vec![("with 1.8".to_owned(), unit_with(&self.blueprint, &self.old).flash)],
                sticks,
                good_stick: 0,
                goal: manifest(&file).digest,
                target: self.new.release(),
                releases: &[self.old.release(), self.new.release()],
                files: vec![(manifest(&file).digest, manifest(&file).image_digest)],
                faults: Faults {
                    insides: vec![Inside::Clean, Inside::Part, Inside::Wavering, Inside::LeftOut],
                    swapped,
                    ..Faults::all()
                },
                reduce,
                stop_at_first: false,
                nodes_max: 1 << 22,
                key: SumKey::fixed(),
            };
            let subject = Watched {
                inner: OurInstaller {
                    blueprint: &self.blueprint,
                    machine,
                },
                small: self,
                worlds: Mutex::default(),
            };
            let found = explore(&subject, &plan)?;
            Ok(Verdict {
                broken: found.violations.iter().map(|violation| violation.claim.id()).collect(),
                worlds: subject.worlds.into_inner().unwrap(),
            })
        }
    }
}

mod theirs {
    use super::*;

    fn run(folder: &Path, program: &str, arguments: &[&str]) -> String {
        let output = Command::new(program).args(arguments).current_dir(folder).output();
        let output = output.unwrap_or_else(|error| {
            panic!("{program} does not run ({error}): this test needs the Debian packages spin, gcc and libc6-dev")
        });
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        let (told, complained) = (text(&output.stdout), text(&output.stderr));
        assert!(
            output.status.success(),
            "{program} {arguments:?} in {}:\n{told}\n{complained}",
            folder.display()
        );
        told
    }

    /// Whether the search came to its end, or to a claim that does not hold, and to nothing else.
    fn assert_understood(told: &str) {
        let known = |line: &str| {
            let claims = CLAIMS
                .iter()
                .any(|claim| line.contains(&format!(" assertion violated {} (", claim.id())));
            claims || line.contains(" acceptance cycle (") || line.ends_with(".trail")
        };
        let odd: Vec<_> = told
            .lines()
            .filter(|line| line.starts_with("pan:") && !known(line))
            .collect();
        let elapsed = |line: &&&str| line.starts_with("pan: elapsed time") || line.starts_with("pan: rate");
        let odd: Vec<_> = odd.iter().filter(|line| !elapsed(line)).collect();
        assert!(odd.is_empty(), "{odd:?}");
        assert!(!told.contains("max search depth too small"), "{told}");
        assert!(told.contains("State-vector") && told.contains("errors: "), "{told}");
    }

    /// What spin says of the model with these switches.
    pub(crate) fn verdict(switches: &[&str]) -> Verdict {
        let model = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../models/install.pml");
        let model = fs::canonicalize(&model).unwrap_or_else(|error| panic!("{}: {error}", model.display()));
        let model = model.to_str().unwrap();
        let mut verdict = Verdict::default();
        for (kind, generate, compile, check) in [
            // Go on after a claim that does not hold: all of them are wanted, and all worlds.
            ("worlds", "-DCOLLECT", "-DSAFETY", "-c0"),
            ("arrives", "-DARRIVES", "-DNOFAIR", "-a"),
        ] {
            let name: String = switches
                .concat()
                .chars()
                .filter(|c| c.is_alphanumeric() || *c == '_')
                .collect();
            let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(format!("spin-{kind}-{name}"));
            fs::create_dir_all(&folder).unwrap();
            run(&folder, "spin", &[switches, &[generate, "-a", model]].concat());
            run(&folder, "gcc", &["-w", "-o", "pan", "pan.c", compile]);
            let pan = folder.join("pan");
            let told = run(&folder, pan.to_str().unwrap(), &[check, "-m500000", "-w21"]);
            assert_understood(&told);
            verdict.worlds.extend(
                told.lines()
                    .filter_map(|line| line.strip_prefix("world "))
                    .map(str::to_owned),
            );
            let broken = CLAIMS.iter().map(|claim| claim.id());
            verdict
                .broken
                .extend(broken.filter(|id| told.contains(&format!(" assertion violated {id} ("))));
            if told.contains(" acceptance cycle (") {
                verdict.broken.insert("arrives");
            }
            fs::remove_dir_all(&folder).unwrap();
        }
        assert!(!verdict.worlds.is_empty());
        verdict
    }
}

/// Worlds with some letters written as others.
fn reletter(worlds: &Worlds, from: &str, to: &str) -> Worlds {
    assert_eq!(from.chars().count(), to.chars().count());
    let letter = |letter: char| {
        let found = from.chars().zip(to.chars()).find(|pair| pair.0 == letter);
        found.map_or(letter, |pair| pair.1)
    };
    worlds.iter().map(|world| world.chars().map(letter).collect()).collect()
}

fn assert_same(machine: &str, what: &str, ours: &Worlds, theirs: &Worlds) {
    let some = |one: &Worlds, other: &Worlds| one.difference(other).take(12).cloned().collect::<Vec<_>>();
    assert!(
        ours == theirs,
        "{machine}, {what}: {} of ours, {} of spin's\nours only: {:#?}\nspin's only: {:#?}",
        ours.len(),
        theirs.len(),
        some(ours, theirs),
        some(theirs, ours)
    );
}

/// What the explorer's flash does not keep (`models/README.md`).
const AS_EXPLORED: [&str; 1] = ["-DNEVER_BACK"];

struct Machine {
    name: &'static str,
    mutation: Option<Mutation>,
    swapped: bool,
    switches: &'static [&'static str],
    broken: &'static [&'static str],
}

const MACHINES: [Machine; 8] = [
    Machine {
        name: "right",
        mutation: None,
        swapped: false,
        switches: &[],
        broken: &[],
    },
    Machine {
        name: "right, swapped sticks",
        mutation: None,
        swapped: true,
        switches: &["-DSWAPPED"],
        broken: &[],
    },
    Machine {
        name: "descriptor first",
        mutation: Some(Mutation::DescriptorFirst),
        swapped: false,
        switches: &["-DDESCRIPTOR_FIRST"],
        broken: &["solid", "truthful"],
    },
    Machine {
        name: "no void",
        mutation: Some(Mutation::SkipsVoid),
        swapped: false,
        switches: &["-DNO_VOID"],
        broken: &["truthful"],
    },
    Machine {
        name: "never digests, swapped sticks",
        mutation: Some(Mutation::NeverDigests),
        swapped: true,
        switches: &["-DNO_DIGEST", "-DNO_FLASH_DIGEST", "-DSWAPPED"],
        broken: &["arrives", "authentic", "truthful"],
    },
    Machine {
        name: "no digest before the descriptor, swapped sticks",
        mutation: Some(Mutation::SkipsFlashDigest),
        swapped: true,
        switches: &["-DNO_FLASH_DIGEST", "-DSWAPPED"],
        broken: &["truthful"],
    },
    Machine {
        name: "no recovery",
        mutation: Some(Mutation::NoRecovery),
        swapped: false,
        switches: &["-DNO_RECOVERY"],
        broken: &["arrives"],
    },
    Machine {
        name: "trusts remnants",
        mutation: Some(Mutation::TrustsRemnants),
        swapped: false,
        switches: &["-DTRUSTS_REMNANTS"],
        broken: &["arrives", "sane", "solid"],
    },
];

#[test]
fn spin_and_the_explorer_agree_on_verdicts_and_worlds() {
    let small = ours::Small::new();
    let requests = small.requests();
    // The model's later requests have up to eight granules each.
    assert!(
        requests.iter().skip(1).all(|granules| *granules <= 8) && requests.len() == 2,
        "{requests:?}"
    );
    let first = format!("-DFIRST={}", requests[0]);
    MACHINES.par_iter().for_each(|machine| {
        let switches = [&AS_EXPLORED, machine.switches, &[&first]].concat();
        let theirs = theirs::verdict(&switches);
        let ours = small.verdict(machine.mutation, machine.swapped, false).unwrap();
        let name = machine.name;
        assert!(
            theirs.broken.iter().eq(machine.broken),
            "{name}: spin: {:?}",
            theirs.broken
        );
        assert!(ours.broken.iter().eq(machine.broken), "{name}: ours: {:?}", ours.broken);
        // Cells that are in doubt, and why, are the model's own affair; that they are in doubt is not.
        let theirs = reletter(&theirs.worlds, "ONZ~h", "____z");
        let now = |worlds| reletter(worlds, "_wz", ".n0");
        assert_same(name, "as cells read now", &now(&ours.worlds), &now(&theirs));
        assert_same(name, "with doubts", &ours.worlds, &theirs);
        eprintln!(
            "{name}: {} worlds as cells read now, {} with doubts",
            now(&theirs).len(),
            theirs.len()
        );
        // A mutated machine may read what the right one never reads after a cut; then only the whole exploration counts.
        match small.verdict(machine.mutation, machine.swapped, true) {
            Ok(reduced) => assert!(
                reduced.broken.iter().eq(machine.broken),
                "{name}, reduced: {:?}",
                reduced.broken
            ),
            Err(Unfinished::Unsound { .. }) if machine.mutation.is_some() => {}
            Err(error) => panic!("{name}, reduced: {error}"),
        }
    });
}

/// Where the model goes further than the explorer: weak cells that become again what they were, doubt that stays until its
/// sector is erased, any number of granules in a request.
#[test]
fn the_model_by_itself() {
    let small = ours::Small::new();
    let first = format!("-DFIRST={}", small.requests()[0]);
    let runs: [(&[&str], &[&str]); 11] = [
        // The mark is programmed before every erase.
        (&[&first], &[]),
        (&[], &[]),
        (&["-DLEFT_OUT_EARLY"], &[]),
        (&[&first, "-DSTRICT"], &[]),
        // If it were programmed only where it reads as erased.
        (&[&first, "-DMARK_ONCE"], &[]),
        (&[&first, "-DMARK_ONCE", "-DSTRICT"], &["truthful"]),
        (&[&first, "-DMARK_ONCE", "-DNO_DIGEST"], &["arrives", "authentic"]),
        // What each protection is good for.
        (&[&first, "-DNO_DIGEST"], &[]),
        (&[&first, "-DNO_VOID"], &["solid", "truthful"]),
        (
            &[&first, "-DNO_VOID", "-DNO_DIGEST"],
            &["arrives", "authentic", "solid", "truthful"],
        ),
        // Cells of one sector that come back independently of one another.
        (&[&first, "-DAPART"], &["solid"]),
    ];
    runs.par_iter().for_each(|(switches, broken)| {
        let found = theirs::verdict(switches);
        assert!(found.broken.iter().eq(*broken), "{switches:?}: {:?}", found.broken);
    });
}
