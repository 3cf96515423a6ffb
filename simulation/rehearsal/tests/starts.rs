//! What decides that an image is started: twice each time, and, where a board's author chooses so, without a digest.

mod support;

use packstaff_installer::{Installer, StartCheck};
use packstaff_mutants::disturbed::Skipped;
use packstaff_rehearsal::claims::Claim;
use packstaff_rehearsal::explore::{Exploration, Faults, InstallerMachine, OurInstaller, explore};
use packstaff_unit::flash::FlashLayout;
use packstaff_unit::part::SecondProgram;
use std::sync::Arc;
use support::Flashes;
use support::case::{Case, case};
use support::mutant::Mutated;

fn explored(case: &Case, machine: impl InstallerMachine, faults: Faults) -> Exploration {
    let subject = OurInstaller {
        blueprint: &case.blueprint,
        machine,
    };
    explore(&subject, &case.plan(faults, true)).unwrap()
}

fn claims(found: &Exploration) -> Vec<Claim> {
    found.violations.iter().map(|violation| violation.claim).collect()
}

/// No single decision that a disturbed processor passes by starts anything that is not whole and the maker's.
#[test]
fn the_start_is_decided_twice() {
    for skipped in Skipped::ALL {
        let case = case(Flashes::Pages, 700);
        let found = explored(&case, Mutated(skipped.machine()), Faults::all());
        for claim in [Claim::Authentic, Claim::Solid, Claim::FloorRises] {
            assert!(!claims(&found).contains(&claim), "{skipped:?}: {:?}", claims(&found));
        }
    }
}

/// The case with another kind of flash, and a slot so small that the image reaches into its descriptor's sector.
fn on(second: SecondProgram, check_bits: bool) -> Case {
    let mut case = case(Flashes::Pages, 1500);
    case.blueprint.slot.size = 2048;
    let runs = vec![packstaff_installer::SectorRun { count: 5, size: 1024 }];
    case.blueprint.layout = Arc::new(FlashLayout::new(0x0800_0000, runs, 8, 0xff, check_bits, second));
    case
}

/// Where the image is digested once, when its install is over, what starts is still whole: on parts that program zeros over
/// whatever a granule holds. Where a granule can be programmed once only, a void mark that a cut has hit cannot be made good, and
/// may read as erased when its descriptor should be void: there, only the digest at each start keeps half an image from starting.
#[test]
fn starting_by_the_descriptor_is_safe_where_zeros_can_be_programmed_twice() {
    let after_install = || Installer::with_start_check(StartCheck::AfterInstall);
    for (second, check_bits, safe) in [
        (SecondProgram::Zeros, true, true),
        (SecondProgram::Zeros, false, true),
        (SecondProgram::Clears, false, true),
        (SecondProgram::Never, false, false),
    ] {
        let case = on(second, check_bits);
        let found = explored(&case, after_install(), Faults::all());
        let broken = claims(&found);
        for violation in &found.violations {
            eprintln!("{second:?}, {check_bits}: {}\n{}", violation.seen, violation.story);
            let told = violation.story.to_string();
            assert!(
                told.contains("The change is asked for; flash refuses the change"),
                "{told}"
            );
        }
        assert_eq!(
            broken.is_empty(),
            safe,
            "{second:?}, check bits {check_bits}: {broken:?}"
        );
        assert_eq!(broken.contains(&Claim::Authentic), !safe, "{broken:?}");
        // With the digest at every start the same unit holds.
        let found = explored(&case, Installer::new(), Faults::all());
        assert!(found.holds(), "{second:?}: {:?}", claims(&found));
    }
}
