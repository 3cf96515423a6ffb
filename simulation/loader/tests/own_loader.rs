//! The example loader: its planted faults are found, each with its shortest story, and its right form holds.

use packstaff_installer::Region;
use packstaff_loader::description::{UnitKind, read};
use packstaff_loader::{RehearsalError, Report, rehearse, rehearse_kind};
use packstaff_rehearsal::claims::Claim;
use packstaff_rehearsal::explore::{ChangeKind, ComesTo, Moment, Step, Unfinished, Violation};
use packstaff_unit::flash::{EraseCut, Inside, Torn};
use std::path::{Path, PathBuf};

/// All of the slot but the record in its last granules.
const IMAGE: Region = Region {
    base: 0x0800_0200,
    size: 512 - 24,
};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/own-loader")
}

fn kind() -> UnitKind {
    read(&folder()).unwrap()
}

fn with_module(name: &str) -> UnitKind {
    UnitKind {
        module: std::fs::read(folder().join(name)).unwrap(),
        ..kind()
    }
}

fn faulty(fault: u32) -> Report {
    rehearse_kind(&with_module(&format!("faulty-{fault}.wasm"))).unwrap()
}

fn violation(report: &Report, claim: Claim) -> &Violation {
    let found = report
        .violations()
        .into_iter()
        .find(|violation| violation.claim == claim);
    found.unwrap_or_else(|| panic!("{claim:?} is not found broken:\n{report}"))
}

fn broken(report: &Report) -> Vec<Claim> {
    report.violations().iter().map(|violation| violation.claim).collect()
}

#[test]
fn the_right_form_holds_under_every_fault() {
    let report = rehearse(&folder()).unwrap();
    assert!(report.holds(), "{report}");
    assert_eq!(report.cases.len(), 2, "one for each version to arrive at");
    for case in &report.cases {
        assert!(case.found.worlds > 100 && case.found.cuts > 1000, "{report}");
    }
    use Claim::{Arrives, Authentic, Harmless, KeepsOut, Sane, Solid};
    assert_eq!(
        report.judged.claims,
        [Authentic, Arrives, Solid, Harmless, KeepsOut, Sane]
    );
    // A change of both sectors, five programs of the image, one of the record.
    assert_eq!(report.changes_max, 8);
}

#[test]
fn a_loader_that_trusts_its_record_starts_an_erased_image() {
    let report = faulty(1);
    let violation = violation(&report, Claim::Authentic);
    // Powered with a stick, it erases the image before the record; cut there, it starts what is left.
    assert_eq!(violation.story.len(), 4, "{report}");
    let steps = &violation.story.steps;
    assert!(matches!(&steps[0], Step::Begin(name) if name == "with 1.8"), "{report}");
    assert!(matches!(steps[2], Step::Cut(..)), "{report}");
    assert!(
        matches!(
            steps[3],
            Step::Runs {
                comes_to: ComesTo::Start(0x0800_0200),
                ..
            }
        ),
        "{report}"
    );
}

#[test]
fn a_loader_that_trusts_a_blank_sector_programs_twice() {
    let report = faulty(2);
    // New, a cut inside the first program, and the granule that it hit is not erased before it is programmed again.
    let violation = violation(&report, Claim::Sane);
    assert_eq!(violation.story.len(), 4, "{report}");
    assert!(violation.seen.contains("already programmed"), "{report}");
    assert!(!report.to_the_end);
}

/// Where only erases are torn, the same fault comes to light later: on cells that look erased and are not.
#[test]
fn a_loader_that_trusts_a_blank_sector_builds_on_sand() {
    let mut kind = with_module("faulty-2.wasm");
    kind.faults.insides.clear();
    kind.faults.wavering = false;
    let report = rehearse_kind(&kind).unwrap();
    let violation = violation(&report, Claim::Solid);
    let weak = violation
        .story
        .steps
        .iter()
        .any(|step| matches!(step, Step::Cut(_, Moment::Inside(Torn::Erase(EraseCut::Weak)))));
    assert!(weak, "{report}");
    assert_eq!(broken(&report), [Claim::Solid], "{report}");
}

#[test]
fn a_loader_that_trusts_the_stick_erases_for_nothing() {
    let mut kind = with_module("faulty-3.wasm");
    kind.limits.stop_at_first = false;
    kind.erased_before_read = vec![IMAGE];
    let report = rehearse_kind(&kind).unwrap();
    assert!(report.to_the_end);
    let violation = violation(&report, Claim::Harmless);
    assert_eq!(violation.story.len(), 2, "{report}");
    assert_eq!(broken(&report), [Claim::Harmless], "{report}");
}

/// A granule of the record that cannot be read does not go away by itself, and this loader looks for no stick then.
#[test]
fn a_loader_that_trusts_the_parts_complaint_is_stuck() {
    let mut kind = with_module("faulty-4.wasm");
    kind.erased_before_read = vec![IMAGE];
    let report = rehearse_kind(&kind).unwrap();
    assert_eq!(broken(&report), [Claim::Arrives], "{report}");
    let violation = violation(&report, Claim::Arrives);
    assert!(violation.seen.ends_with("(U3)"), "{report}");
    let Some(Step::Cut(ChangeKind::Program(at, 24), Moment::Inside(Torn::Program { inside, .. }))) =
        violation.story.steps.last()
    else {
        panic!("{report}");
    };
    assert_eq!(
        (*at, *inside),
        (u32::try_from(IMAGE.end()).unwrap(), Inside::Unreadable)
    );
    // Whether a unit arrives is known only when every world has been looked at: so much was.
    assert!(report.cases[0].found.to_the_end && !report.to_the_end);
    assert_eq!(report.not_begun, ["1.8"]);
}

/// Where something else is started on a patient owner's way, the unit does not arrive either, and it is said what comes instead.
#[test]
fn it_is_said_what_a_unit_comes_to_instead() {
    let mut kind = with_module("faulty-1.wasm");
    kind.limits.stop_at_first = false;
    let report = rehearse_kind(&kind).unwrap();
    let seen = &violation(&report, Claim::Arrives).seen;
    assert!(seen.ends_with("something is started that is no whole image"), "{seen}");
    assert!(report.to_the_end && report.not_begun.is_empty());
}

/// Stories are played again: the flash that they lead to is judged here by other means than the exploration's.
#[test]
fn worlds_along_a_story_are_those_that_it_tells_of() {
    let report = faulty(1);
    let case = &report.cases[0];
    let [worlds] = case.worlds.as_slice() else {
        panic!("{report}");
    };
    let steps = &case.found.violations[0].story.steps;
    assert_eq!(worlds.len(), steps.len());
    let slot = |step: usize| worlds[step].bytes(IMAGE.base, 200).unwrap();
    let released = std::fs::read(folder().join("images/1.8.bin")).unwrap();
    assert_eq!(slot(0), released, "1.8 is there");
    assert_eq!(slot(1), released, "nothing is changed before the cut");
    assert_eq!(slot(2), [0; 200], "all bits programmed, none erased");
    let record = |step: usize| worlds[step].bytes(IMAGE.base + IMAGE.size, 24).unwrap();
    assert_eq!(record(3), record(0), "the record speaks for what is gone");
    // As loader.c lays it out: the magic, then the version, then the image's length.
    assert_eq!(&record(0)[..4], b"OREC");
    assert_eq!(record(0)[8..12], 200_u32.to_le_bytes());
}

/// What has no name is told of all the same: what else may be changed is one area, what may not is another.
#[test]
fn flash_is_divided_with_names_and_without() {
    let names = |kind: &UnitKind| -> Vec<(String, Vec<Region>)> {
        let report = rehearse_kind(kind).unwrap();
        let areas = report.areas.all().iter();
        areas.map(|area| (area.name.clone(), area.regions.clone())).collect()
    };
    let region = |base: u32, size| Region {
        base: 0x0800_0000 + base,
        size,
    };
    let named = |name: &str, base, size| (name.to_owned(), vec![region(base, size)]);
    let mut kind = with_module("faulty-3.wasm");
    assert_eq!(
        names(&kind),
        [
            named("loader", 0, 512),
            named("slot", 512, 488),
            named("record", 1000, 24)
        ]
    );
    kind.named.clear();
    kind.may_change.push(region(128, 384));
    assert_eq!(
        names(&kind),
        [
            named("records", 128, 384),
            named("slot", 512, 512),
            named("others", 0, 128)
        ]
    );
}

/// What the maker may declare takes worlds together, and changes no verdict.
#[test]
fn the_reduction_gives_the_verdict_of_the_whole() {
    let whole = rehearse(&folder()).unwrap();
    let reduced = rehearse_kind(&UnitKind {
        erased_before_read: vec![IMAGE],
        ..kind()
    });
    let reduced = reduced.unwrap();
    assert!(reduced.holds(), "{reduced}");
    assert_eq!(reduced.changes_max, whole.changes_max);
    for (reduced, whole) in reduced.cases.iter().zip(&whole.cases) {
        assert_eq!(reduced.found.changes_max, whole.found.changes_max);
        assert!(
            reduced.found.worlds * 2 < whole.found.worlds,
            "{} of {}",
            reduced.found.worlds,
            whole.found.worlds
        );
    }
    let faulty = rehearse_kind(&UnitKind {
        erased_before_read: vec![IMAGE],
        ..with_module("faulty-3.wasm")
    });
    assert_eq!(broken(&faulty.unwrap()), [Claim::Harmless]);
    // This one starts an image without having read it: the declaration is wrong for it, and that does not go unnoticed.
    let trusting = rehearse_kind(&UnitKind {
        erased_before_read: vec![IMAGE],
        ..with_module("faulty-1.wasm")
    });
    let error = trusting.unwrap_err();
    assert!(
        matches!(error, RehearsalError::Unfinished(Unfinished::Unsound { .. })),
        "{error}"
    );
}

#[test]
fn the_same_loader_has_the_same_report() {
    assert_eq!(faulty(1).to_string(), faulty(1).to_string());
}

/// Whatever has the right check value is installed: a CRC keeps nobody out.
#[test]
fn a_forged_stick_is_found() {
    let mut kind = kind();
    let mut forged = vec![0; 1024];
    let image = b"not the maker's";
    forged[512..512 + image.len()].copy_from_slice(image);
    let crc = crc32(image);
    let head: Vec<u8> = [u32::from_le_bytes(*b"OFIL"), 0x99, image.len() as u32, crc]
        .iter()
        .flat_map(|word| word.to_le_bytes())
        .collect();
    let of_head = crc32(&head);
    forged[..16].copy_from_slice(&head);
    forged[16..20].copy_from_slice(&of_head.to_le_bytes());
    kind.sticks.push(packstaff_loader::description::NamedStick {
        name: "a forged stick".to_owned(),
        stick: packstaff_unit::stick::Stick::new(forged),
        installs: None,
    });
    let report = rehearse_kind(&kind).unwrap();
    assert_eq!(violation(&report, Claim::Harmless).story.len(), 2, "{report}");
    // Told that the stick is a good one, it starts what is on it.
    kind.sticks.last_mut().unwrap().installs = Some(0);
    let report = rehearse_kind(&kind).unwrap();
    assert_eq!(broken(&report), [Claim::Authentic], "{report}");
}

/// With issues declared, a loader without a floor is found to let old images back in.
#[test]
fn a_missing_floor_is_found() {
    let mut kind = kind();
    kind.floor = true;
    kind.erased_before_read = vec![IMAGE];
    for (index, image) in kind.images.iter_mut().enumerate() {
        image.issue = index as u64 + 1;
    }
    let report = rehearse_kind(&kind).unwrap();
    assert_eq!(report.cases.len(), 1, "the older version is no goal");
    assert_eq!(broken(&report), [Claim::FloorRises], "{report}");
}

#[test]
fn what_the_loader_changes_outside_its_ranges_is_found() {
    let mut kind = kind();
    kind.may_change[0].size = 256;
    let report = rehearse_kind(&kind).unwrap();
    assert_eq!(broken(&report), [Claim::KeepsOut], "{report}");
}

/// CRC-32 as in ISO/IEC 3309, written here once more; its check value for "123456789" is that of the catalogue of parametrised
/// CRC algorithms (CRC-32/ISO-HDLC).
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| {
            if crc & 1 == 1 { crc >> 1 ^ 0xedb8_8320 } else { crc >> 1 }
        })
    })
}

#[test]
fn the_check_value_is_the_published_one() {
    assert_eq!(crc32(b"123456789"), 0xcbf4_3926);
}
