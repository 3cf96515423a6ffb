//! What a unit refuses, why, and that nothing is changed for it.

mod support;

use packstaff_envelope::Refusal;
use packstaff_installer::{Finding, Layout, ROWS, Reason, Region};
use support::stick::Stick;
use support::update::Update;
use support::{Asked, Ending, Happens, SECOND, SIBLING, SLOT, Unit};

const LAYOUTS: [Layout; 3] = [
    Layout::Single,
    Layout::Staged { stage: SECOND },
    Layout::Paired { second: SECOND },
];

fn installed() -> Update {
    Update::new(&[2, 0], 900).of_issue(3)
}

/// What a unit with an image and one without say to this stick.
fn refused(stick: &Stick, wants: &[u32]) -> Reason {
    let mut found = None;
    for layout in LAYOUTS {
        let mut unit = Unit::with(layout, &installed());
        unit.stick = Some(stick.clone());
        unit.wants = Some(wants.to_vec());
        let before = unit.cells.clone();
        assert_eq!(unit.power_up(), Ending::Starts(SLOT.base));
        assert!(
            unit.cells == before && unit.asked.iter().all(|asked| !asked.is_change()),
            "{:?}",
            unit.asked
        );
        let told = unit.asked.iter().find_map(|asked| match asked {
            Asked::Tell(reason) => Some(*reason),
            _ => None,
        });
        let told = told.unwrap_or_else(|| panic!("nothing is told: {:?}", unit.asked));
        assert!(found.is_none_or(|found| found == told), "{layout:?}: {told:?}");
        found = Some(told);
    }
    found.unwrap()
}

fn refused_update(update: &Update) -> Reason {
    refused(&Stick::with(&[("KC4.UPD", &update.file())]), &update.version)
}

#[test]
fn a_lower_issue_is_barred_and_the_same_one_is_not() {
    let update = |issue| Update::new(&[2, 1], 700).of_issue(issue);
    assert_eq!(refused_update(&update(2)), Reason::BelowFloor);
    assert_eq!(Reason::BelowFloor.code().to_string(), "N4");
    for issue in [3, 4] {
        for layout in LAYOUTS {
            let mut unit = Unit::with(layout, &installed());
            unit.insert(&update(issue));
            assert!(matches!(unit.power_up(), Ending::Starts(_)));
            assert_eq!(unit.register().floor(), issue);
            assert!(unit.asked.contains(&Asked::Ask));
            assert!(
                unit.installed.is_some_and(|image| image.sequence == issue),
                "{layout:?}"
            );
        }
    }
}

/// The floor outlives the image: what was barred stays barred for a unit that has lost it.
#[test]
fn the_floor_outlives_the_image() {
    let mut unit = Unit::with(Layout::Single, &installed());
    unit.put(SLOT.base, &[0; 64]);
    unit.insert(&Update::new(&[2, 1], 700).of_issue(2));
    assert_eq!(unit.power_up(), Ending::Waits(Reason::BelowFloor));
}

#[test]
fn files_for_others_are_refused() {
    let update = Update::new(&[2, 1], 700).of_issue(3);
    let with = |change: fn(&mut Update)| {
        let mut update = update.clone();
        change(&mut update);
        refused_update(&update)
    };
    assert_eq!(with(|update| update.vendor[15] ^= 1), Reason::OtherMaker);
    assert_eq!(with(|update| update.class[0] ^= 1), Reason::OtherProduct);
    assert_eq!(with(|update| update.class = SIBLING), Reason::OtherBoard);
    assert_eq!(
        with(|update| update.generations = vec![1]),
        Reason::File(Refusal::NoRecipient)
    );
    assert_eq!(
        with(|update| update.signer.1 = b"other"),
        Reason::File(Refusal::UnknownSigner)
    );
    assert_eq!(
        with(|update| update.signer.0 = [7; 32]),
        Reason::File(Refusal::BadSignature)
    );
    assert_eq!(with(|update| update.image = vec![1; 3073]), Reason::TooLarge);
}

/// Whatever byte is damaged: the file is refused, with nothing changed; or, in the payload, the dry pass finds it.
#[test]
fn a_damaged_file_is_refused() {
    let update = Update::new(&[2, 1], 700).of_issue(3);
    let file = update.file();
    for at in [
        2,
        40,
        file.len() / 3,
        file.len() - 699,
        file.len() - 350,
        file.len() - 1,
    ] {
        let mut damaged = file.clone();
        damaged[at] ^= 0x10;
        let reason = refused(&Stick::with(&[("KC4.UPD", &damaged)]), &[2, 1]);
        assert!(matches!(reason, Reason::File(_)), "byte {at}: {reason:?}");
        let in_payload = at >= file.len() - 700;
        assert_eq!(reason == Reason::PAYLOAD_DAMAGED, in_payload, "byte {at}: {reason:?}");
    }
    let short = &file[..300];
    assert!(matches!(
        refused(&Stick::with(&[("KC4.UPD", short)]), &[2, 1]),
        Reason::File(_)
    ));
    assert_eq!(refused(&Stick::with(&[("KC4.UPD", b"")]), &[2, 1]), Reason::TRUNCATED);
}

#[test]
fn sticks_without_an_update_are_told_apart() {
    let file = Update::new(&[2, 1], 700).of_issue(3).file();
    let companion = [&[0x00, 0x05, 0x16, 0x07][..], &[0; 600]].concat();
    assert_eq!(refused(&Stick::with(&[]), &[2, 1]), Reason::NoUpdate);
    assert_eq!(
        refused(&Stick::with(&[("README.TXT", b"hello")]), &[2, 1]),
        Reason::NoUpdate
    );
    assert_eq!(refused(&Stick::with(&[("KC4.BIN", &file)]), &[2, 1]), Reason::OtherName);
    assert_eq!(
        refused(&Stick::with(&[("_KC4.UPD", &companion)]), &[2, 1]),
        Reason::NoUpdate
    );
}

/// The stick is another one when the owner has chosen, or answers otherwise: what was offered is not there, and nothing is changed.
#[test]
fn a_file_that_is_exchanged_after_the_choice_is_not_installed() {
    let (offered, other) = (
        Update::new(&[2, 1], 700).of_issue(3),
        Update::new(&[2, 2], 700).of_issue(3),
    );
    let mut damaged = offered.file();
    damaged[60] ^= 1;
    for (exchanged, reason) in [
        (Some(Stick::with(&[("KC4.UPD", &other.file())])), Reason::StickChanged),
        (Some(Stick::with(&[("KC4.UPD", &damaged)])), Reason::StickChanged),
        (None, Reason::StickUnreadable),
    ] {
        let mut unit = Unit::with(Layout::Single, &installed());
        unit.insert(&offered);
        let ending = unit.power_up_with(|unit, asked| {
            if matches!(asked, Asked::Tell(_)) {
                assert_eq!(*asked, Asked::Tell(reason));
            }
            if *asked == Asked::Ask {
                // The choice is made on what was offered; the next block comes from the other stick.
                unit.wants = Some(vec![2, 1]);
            }
            if unit.asked.contains(&Asked::Ask) && *asked != Asked::Ask {
                unit.stick.clone_from(&exchanged);
            }
            Happens::Nothing
        });
        assert_eq!(ending, Ending::Starts(SLOT.base));
        assert!(unit.asked.contains(&Asked::Tell(reason)));
        assert!(unit.holds(SLOT, &installed().image));
        assert!(unit.asked.iter().all(|asked| !asked.is_change()));
    }
}

/// A stick that changes between the dry pass and the programming: what is in flash decides.
#[test]
fn a_payload_that_reads_otherwise_the_second_time_is_never_described() {
    let update = Update::new(&[2, 1], 700).of_issue(3);
    let mut other = update.file();
    let at = other.len() - 300;
    other[at] ^= 4;
    let other = Stick::with(&[("KC4.UPD", &other)]);
    let mut unit = Unit::with(Layout::Single, &installed());
    unit.insert(&update);
    let ending = unit.power_up_with(|unit, asked| {
        if asked.is_change() {
            unit.stick = Some(other.clone());
        }
        Happens::Nothing
    });
    assert_eq!(ending, Ending::Waits(Reason::FlashDiffers));
    assert_eq!(
        unit.power_up_with(|_, _| Happens::Nothing),
        Ending::Waits(Reason::PAYLOAD_DAMAGED)
    );
}

/// A full listing gives an offer the place of a refusal, and counts what it leaves out.
#[test]
fn a_good_file_is_found_among_many() {
    let bad = Update {
        vendor: [9; 16],
        ..Update::new(&[1, 0], 20)
    };
    let (bad, good) = (bad.file(), Update::new(&[2, 1], 700).of_issue(3).file());
    let names: Vec<_> = (0..ROWS).map(|index| format!("BAD{index}.UPD")).collect();
    let mut files: Vec<_> = names.iter().map(|name| (name.as_str(), &bad[..])).collect();
    files.push(("GOOD.UPD", &good));
    files.push(("LAST.UPD", &bad));
    let mut unit = Unit::with(Layout::Single, &installed());
    unit.stick = Some(Stick::with(&files));
    unit.wants = Some(vec![2, 1]);
    assert_eq!(unit.power_up(), Ending::Starts(SLOT.base));
    assert_eq!(unit.listing.left_out, 2);
    assert_eq!(unit.listing.rows().count(), ROWS);
    let offers: Vec<_> = unit.listing.offers().map(|(index, ..)| index).collect();
    assert_eq!(offers, [ROWS - 1]);
    assert_eq!(unit.listing.first_refusal(), Some(Reason::OtherMaker));
    assert!(
        unit.listing
            .rows()
            .all(|(index, row)| { (index == ROWS - 1) != matches!(row.finding, Finding::Refused(Reason::OtherMaker)) })
    );
    assert!(unit.holds(SLOT, &Update::new(&[2, 1], 700).image));
}

/// A row that is no offer is not taken, whatever the owner answers: he is asked again.
#[test]
fn only_an_offer_can_be_picked() {
    let update = Update::new(&[2, 1], 700).of_issue(3);
    let board = support::Board::new(Layout::Single);
    let config = board.config();
    let mut unit = Unit::with(Layout::Single, &installed());
    unit.insert(&update);
    let mut asked = 0;
    let ending = unit.power_up_with(|_, request| {
        asked += usize::from(*request == Asked::Ask);
        if *request == Asked::Ask && asked < 3 {
            Happens::Ignored
        } else {
            Happens::Nothing
        }
    });
    assert_eq!((ending, asked), (Ending::Starts(SLOT.base), 3));
    assert!(unit.holds(
        Region {
            base: config.slot.base,
            ..SLOT
        },
        &update.image
    ));
}
