//! What is said of read-outs in parts, of several inputs together, of contradictions; and that any bytes are taken.

#[path = "../../rehearsal/tests/support/mod.rs"]
mod support;

#[path = "samples/mod.rs"]
mod samples;

use packstaff_envelope::Refusal;
use packstaff_fat::ErrorKind;
use packstaff_installer::Reason;
use packstaff_rehearsal::power_up::{Owner, power_up};
use packstaff_rehearsal::sticks::insert;
use packstaff_trace::{
    Account, DescriptorAccount, Evidence, FileState, Inconsistency, Intended, Outcome, Readout, StickInput, Tracer,
    Where, Work,
};
use packstaff_unit::flash::{Change, Flash, Inside, Torn};
use proptest::prelude::*;
use samples::{kind_of, read_out};
use support::{Flashes, Update, blueprint, manifest, signing_key, stick, unit_with};

fn updates() -> [Update; 3] {
    let update = |version: &[u32], sequence, fill| Update {
        sequence,
        ..Update::new(version, fill)
    };
    [
        update(&[1, 8], 1, 0x18),
        update(&[2, 0], 1, 0x20),
        update(&[2, 1], 2, 0x21),
    ]
}

fn tracer() -> Tracer {
    Tracer::new(kind_of(&blueprint(Flashes::Mixed), &updates())).unwrap()
}

/// A unit with 1.8 whose install of 2.1 was cut in its nth change, half way through it; or, if there are fewer, has arrived.
fn cut(nth: usize) -> Flash {
    let [old, _, new] = updates();
    let blueprint = blueprint(Flashes::Mixed);
    let mut world = unit_with(&blueprint, &old);
    let file = new.file();
    world.stick = Some(insert(stick(&[("KC4.UPD", &file)])));
    let mut taken = Vec::new();
    power_up(
        &blueprint,
        &mut world,
        Owner::wants(&manifest(&file)),
        |world, change| {
            taken.push((world.flash.clone(), change.clone()));
        },
    );
    let Some((mut flash, change)) = taken.into_iter().nth(nth) else {
        return world.flash;
    };
    let torn = match &change {
        Change::Erase { .. } => Torn::Erase(packstaff_unit::flash::EraseCut::Lower),
        Change::Program { data, .. } => Torn::Program {
            whole: data.len() as u32 / 8,
            inside: Inside::Part,
        },
    };
    flash.tear(&change, torn).unwrap();
    flash
}

/// Void mark, two erases, then programs.
const WRITING: usize = 4;
const ARRIVED: usize = 1000;

fn input(files: &[(&str, &[u8])]) -> StickInput {
    StickInput {
        name: "stick.img".into(),
        stick: insert(stick(files)),
    }
}

fn account(evidence: Evidence) -> Account {
    tracer().account(&evidence).unwrap()
}

fn of_flash(readouts: Vec<Readout>) -> Evidence {
    Evidence {
        readouts,
        ..Evidence::default()
    }
}

/// Part of a read-out.
fn part(flash: &Flash, start: u32, size: u32) -> Readout {
    Readout {
        name: "part".into(),
        pieces: vec![(start, flash.bytes(start, size).unwrap())],
    }
}

#[test]
fn a_whole_unit_is_in_order() {
    let account = account(of_flash(vec![read_out(&cut(ARRIVED))]));
    let flash = account.flash.as_ref().unwrap();
    assert_eq!(flash.hypotheses.len(), 1);
    assert_eq!(
        (flash.hypotheses[0].work, flash.hypotheses[0].place),
        (Work::Nothing, Where::Slot)
    );
    assert_eq!(flash.hypotheses[0].installing[0].version, "2.1");
    assert!(matches!(flash.descriptor, DescriptorAccount::Whole(_)));
    assert_eq!(flash.floor, Some(2));
    assert_eq!(account.repair.needed, Some(false));
    // 1.8 and 2.0 have a lower issue, and are not offered any more.
    assert_eq!(account.repair.tried.len(), 1);
    assert!(account.inconsistencies.is_empty());
}

#[test]
fn a_part_without_the_descriptor_says_what_it_can_and_no_more() {
    let whole = cut(ARRIVED);
    let account = account(of_flash(vec![part(&whole, 0x0800_1000, 0x800)]));
    let next = account.next.as_ref().unwrap();
    assert!(!next.certain);
    assert!(matches!(&next.at_best, Outcome::Starts { release: Some(id), .. } if id.version == "2.1"));
    assert!(
        matches!(
            next.at_worst,
            Outcome::Waits {
                reason: Reason::NoImage
            }
        ),
        "{next:?}"
    );
    assert_eq!(account.repair.needed, None);
    // The stick works in either case, also if the unit has installed the highest issue that there is.
    assert_eq!(account.repair.send().unwrap().release.version, "2.1");
    let flash = account.flash.unwrap();
    assert!(flash.hypotheses.len() > 1);
    assert_eq!(flash.floor, None);
}

#[test]
fn parts_that_belong_together_are_as_good_as_the_whole() {
    let flash = cut(WRITING);
    let all = read_out(&flash);
    let whole = account(of_flash(vec![all.clone()]));
    let pieces = all.pieces.iter().map(|(at, bytes)| Readout {
        name: "piece".into(),
        pieces: vec![(*at, bytes.clone())],
    });
    let mut pieces: Vec<_> = pieces.collect();
    pieces.reverse();
    assert_eq!(account(of_flash(pieces)), whole);
}

/// Of a cell that a cut has left, one reading says whole and the next does not.
#[test]
fn what_reads_differently_the_second_time_is_torn() {
    let first = read_out(&cut(ARRIVED));
    let mut second = first.clone();
    let descriptor = blueprint(Flashes::Mixed).config().place().record.base;
    for (at, bytes) in &mut second.pieces {
        if let Some(byte) = descriptor
            .checked_sub(*at)
            .and_then(|offset| bytes.get_mut(offset as usize + 5))
        {
            *byte ^= 4;
        }
    }
    let alone = account(of_flash(vec![first.clone()]));
    assert_eq!(alone.repair.needed, Some(false));
    let both = account(of_flash(vec![first, second]));
    assert_eq!(both.inconsistencies, [Inconsistency::ReadoutsDiffer { bytes: 1 }]);
    assert_eq!(both.repair.needed, Some(true));
    let hypothesis = &both.flash.unwrap().hypotheses[0];
    assert_eq!(
        (hypothesis.work, hypothesis.installing[0].version.as_str()),
        (Work::Recording, "2.1")
    );
}

#[test]
fn the_stick_says_what_was_being_installed_where_flash_does_not() {
    let [old, _, new] = updates();
    let (old, new) = (old.file(), new.file());
    let flash = vec![read_out(&cut(2))];
    let alone = account(of_flash(flash.clone()));
    let hypothesis = &alone.flash.as_ref().unwrap().hypotheses[0];
    assert_eq!((hypothesis.work, hypothesis.installing.len()), (Work::Erasing, 0));
    let with = account(Evidence {
        readouts: flash,
        stick: Some(input(&[("KC4.UPD", &new)])),
        ..Evidence::default()
    });
    let hypothesis = &with.flash.as_ref().unwrap().hypotheses[0];
    assert!(hypothesis.by_stick);
    assert_eq!(hypothesis.installing[0].version, "2.1");
    assert!(with.inconsistencies.is_empty());

    // Writing 2.1, and a stick with 1.8: not the stick that was there.
    let other = account(Evidence {
        readouts: vec![read_out(&cut(WRITING))],
        stick: Some(input(&[("KC4.UPD", &old)])),
        ..Evidence::default()
    });
    let hypotheses = &other.flash.as_ref().unwrap().hypotheses;
    // An erase for 1.8, with remains of 2.1, would leave the same.
    assert_eq!((hypotheses[0].work, hypotheses[1].work), (Work::Erasing, Work::Writing));
    let recording = account(Evidence {
        readouts: vec![read_out(&cut(7))],
        stick: Some(input(&[("KC4.UPD", &old)])),
        ..Evidence::default()
    });
    let hypothesis = &recording.flash.as_ref().unwrap().hypotheses[0];
    assert_eq!(hypothesis.work, Work::Recording, "{hypothesis:?}");
    assert!(matches!(
        recording.inconsistencies.as_slice(),
        [Inconsistency::StickAgainstFlash { installing }] if installing[0].version == "2.1"
    ));
}

#[test]
fn files_on_the_stick_are_known_for_what_they_are() {
    let [_, _, new] = updates();
    let file = new.file();
    let mut damaged = file.clone();
    *damaged.last_mut().unwrap() ^= 1;
    let cut_short = &file[..file.len() - 100];
    let other_board = Update {
        class: support::BOARD_D,
        ..new.clone()
    }
    .file();
    let unlisted = Update {
        version: vec![9, 9],
        ..new.clone()
    }
    .file();
    let forged = Update {
        signer: ed25519_dalek::SigningKey::from_bytes(&[7; 32]),
        ..new
    }
    .file();
    assert_ne!(signing_key().to_bytes(), [7; 32]);
    let files: [(&str, &[u8]); 8] = [
        ("GOOD.UPD", &file),
        ("BAD.UPD", &damaged),
        ("SHORT.UPD", cut_short),
        ("BOARD.UPD", &other_board),
        ("NINE.UPD", &unlisted),
        ("FORGED.UPD", &forged),
        ("TEXT.UPD", b"hello"),
        ("READ.TXT", b"hello"),
    ];
    let account = account(Evidence {
        stick: Some(input(&files)),
        code: Some(Reason::File(Refusal::Trailing)),
        ..Evidence::default()
    });
    let seen = account.stick.as_ref().unwrap();
    let state = |name: &str| &seen.files.iter().find(|file| file.name == name).unwrap().state;
    assert!(matches!(state("GOOD.UPD"), FileState::Release { id } if id.version == "2.1"));
    assert!(matches!(state("BAD.UPD"), FileState::Damaged { id, .. } if id.version == "2.1"));
    assert!(
        matches!(state("SHORT.UPD"), FileState::Damaged { id, .. } if id.version == "2.1"),
        "{:?}",
        state("SHORT.UPD")
    );
    assert!(matches!(
        state("BOARD.UPD"),
        FileState::NotOurs {
            intended: Intended::OtherBoard,
            ..
        }
    ));
    assert!(
        matches!(state("NINE.UPD"), FileState::NotOurs { version, intended: Intended::ThisBoard, .. } if version.as_slice() == [9, 9])
    );
    assert_eq!(*state("FORGED.UPD"), FileState::Refused(Refusal::BadSignature));
    assert_eq!(*state("TEXT.UPD"), FileState::Refused(Refusal::NotAnUpdate));
    assert_eq!(seen.others, 1);
    assert!(account.flash.is_none() && account.next.is_none());
    assert_eq!(account.repair.send().unwrap().release.version, "2.1");
}

#[test]
fn a_code_that_does_not_fit_is_said() {
    let contradicted = account(Evidence {
        readouts: vec![read_out(&cut(ARRIVED))],
        code: Some(Reason::NoImage),
        ..Evidence::default()
    });
    assert_eq!(
        contradicted.inconsistencies,
        [Inconsistency::CodeAgainstFlash { shown: Reason::NoImage }]
    );
    assert_eq!(contradicted.repair.send().unwrap().release.version, "2.1");
    let agreed = account(Evidence {
        readouts: vec![read_out(&cut(WRITING))],
        code: Some(Reason::NoImage),
        ..Evidence::default()
    });
    assert!(agreed.inconsistencies.is_empty());
    let [_, _, new] = updates();
    let of_another = account(Evidence {
        stick: Some(input(&[("KC4.UPD", &new.file())])),
        code: Some(Reason::Stick(ErrorKind::Ntfs)),
        ..Evidence::default()
    });
    assert!(matches!(
        of_another.inconsistencies.as_slice(),
        [Inconsistency::CodeAgainstStick { .. }]
    ));
}

#[test]
fn what_no_cut_leaves_is_called_damage() {
    let mut read = read_out(&cut(ARRIVED));
    let (start, bytes) = &mut read.pieces[0];
    let at = (0x0800_1100 - *start) as usize;
    bytes[at..at + 16].fill(0);
    let account = account(of_flash(vec![read]));
    assert_eq!(account.flash.as_ref().unwrap().hypotheses[0].work, Work::Damaged);
    assert_eq!(account.inconsistencies, [Inconsistency::NotByACut]);
    assert_eq!(account.repair.needed, Some(true));
    assert_eq!(account.repair.send().unwrap().release.version, "2.1");
}

#[test]
fn another_board_s_flash_is_not_recognised() {
    let evidence = of_flash(vec![read_out(&cut(WRITING))]);
    assert!(tracer().recognises(&evidence) > 0);
    let others = [Update::new(&[5, 0], 0x77)];
    let other = Tracer::new(kind_of(&blueprint(Flashes::Mixed), &others)).unwrap();
    assert_eq!(other.recognises(&evidence), 0);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Any bytes as a file, at any address.
    #[test]
    fn any_file_is_a_read_out_or_refused(file in proptest::collection::vec(any::<u8>(), 0..3000), base in any::<u32>()) {
        if let Ok(readout) = Readout::read("x", &file, base) {
            let account = account(of_flash(vec![readout]));
            prop_assert!(account.repair.send().is_some());
        }
    }

    /// A real unit's flash with bytes changed anywhere, and pieces left out: whatever it is, a stick is named that works.
    #[test]
    fn any_flash_is_told_of(
        nth in 0_usize..12,
        changes in proptest::collection::vec((0_usize..0x2800, any::<u8>()), 0..20),
        holes in proptest::collection::vec((0_u32..0x2800, 1_u32..2000), 0..4),
    ) {
        let flash = cut(nth);
        let mut bytes = flash.bytes(0x0800_0000, 0x2800).unwrap();
        for (at, byte) in changes {
            bytes[at] = byte;
        }
        let mut kept = vec![true; bytes.len()];
        for (from, len) in holes {
            kept.iter_mut().skip(from as usize).take(len as usize).for_each(|kept| *kept = false);
        }
        let mut pieces = Vec::<(u32, Vec<u8>)>::new();
        for (at, (byte, kept)) in bytes.iter().zip(&kept).enumerate() {
            match pieces.last_mut() {
                Some((start, bytes)) if *kept && *start as usize - 0x0800_0000 + bytes.len() == at => bytes.push(*byte),
                _ if *kept => pieces.push((0x0800_0000 + at as u32, vec![*byte])),
                _ => {}
            }
        }
        let account = account(of_flash(vec![Readout { name: "x".into(), pieces }]));
        let flash = account.flash.as_ref();
        prop_assert!(flash.is_none_or(|flash| !flash.hypotheses.is_empty()));
        let told_to_wait = matches!(account.next.as_ref().map(|next| &next.at_worst), Some(Outcome::Waits { .. }));
        prop_assert!(!told_to_wait || account.repair.needed != Some(false));
    }
}
