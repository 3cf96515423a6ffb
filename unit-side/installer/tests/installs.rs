//! Installs on a small unit: what is changed, in which order, and what is there afterwards.

mod support;

use packstaff_envelope::{VersionNumbers, sha256};
use packstaff_installer::{DESCRIPTOR_LEN, Descriptor, Layout, Reason, Region, Relation, VOID_MARK_LEN, Value};
use support::update::Update;
use support::{Asked, Ending, Happens, SECOND, SECTOR, SLOT, Unit, sectors};

const STAGED: Layout = Layout::Staged { stage: SECOND };
const PAIRED: Layout = Layout::Paired { second: SECOND };

fn place() -> packstaff_installer::Place {
    support::Board::new(Layout::Single).config().place()
}

fn described(unit: &Unit) -> Option<Descriptor> {
    let mark = unit.bytes(Region {
        size: VOID_MARK_LEN as u32,
        ..place().void
    });
    let stands = mark.iter().all(|byte| *byte == 0xff);
    Descriptor::decode(unit.bytes(place().record)).filter(|_| stands)
}

/// The changes of a power-up: what is erased, and what is programmed where.
fn changes(unit: &Unit) -> Vec<&Asked> {
    unit.asked.iter().filter(|asked| asked.is_change()).collect()
}

#[test]
fn a_new_unit_waits_for_an_image() {
    let mut unit = Unit::new(Layout::Single);
    assert_eq!(unit.power_up(), Ending::Waits(Reason::NoImage));
    assert_eq!(changes(&unit), Vec::<&Asked>::new());
}

/// Void first, descriptor last, and all of the slot in between; then the unit looks at itself as if it had just been powered.
#[test]
fn one_slot_is_voided_first_and_described_last() {
    let (old, new) = (Update::new(&[1, 8], 1500), Update::new(&[2, 0], 1100));
    let mut unit = Unit::with(Layout::Single, &old);
    assert!(unit.holds(SLOT, &old.image));
    unit.insert(&new);
    assert_eq!(unit.power_up(), Ending::Starts(SLOT.base));
    assert!(unit.holds(SLOT, &new.image));
    let descriptor = Descriptor {
        image_size: 1100,
        sequence: 1,
        version: VersionNumbers::new(&[2, 0]).unwrap(),
        image_digest: sha256(&new.image),
    };
    assert_eq!((described(&unit), unit.installed), (Some(descriptor), Some(descriptor)));

    let asked: Vec<_> = unit.asked.iter().collect();
    let at = |wanted: &Asked| {
        asked
            .iter()
            .position(|asked| *asked == wanted)
            .unwrap_or_else(|| panic!("{wanted:?}"))
    };
    let void = at(&Asked::Program(place().void.base, vec![0; 8]));
    let erases = [2, 0, 1].map(|sector| at(&Asked::Erase(SLOT.base + sector * SECTOR)));
    let digest = Asked::DigestFlash(SLOT.base, 1100);
    let behind = SLOT.base + 1104;
    let blank = at(&Asked::CheckBlank(behind, (SLOT.end() - u64::from(behind)) as u32));
    let record = at(&Asked::Program(place().record.base, descriptor.encode().to_vec()));
    let read_back = record + 1;
    assert_eq!(
        *asked[read_back],
        Asked::ReadFlash(place().record.base, DESCRIPTOR_LEN as u32)
    );
    let programs = asked
        .iter()
        .enumerate()
        .filter(|(_, asked)| matches!(asked, Asked::Program(..)));
    let programs: Vec<_> = programs
        .filter(|(index, _)| (erases[2]..record).contains(index))
        .map(|(index, asked)| match asked {
            Asked::Program(address, data) => (index, *address, data.len() as u32),
            _ => unreachable!(),
        })
        .collect();
    let mut next = SLOT.base;
    for (_, address, len) in &programs {
        assert_eq!(*address, next, "upward, without a gap");
        next += len;
    }
    assert_eq!(next, behind);
    let verified = asked.iter().skip(blank - 1).position(|asked| **asked == digest);
    assert_eq!(verified, Some(0), "the digest comes just before the blank check");
    let order = [
        void,
        erases[0],
        erases[1],
        erases[2],
        programs[0].0,
        programs.last().unwrap().0,
        blank,
        record,
    ];
    assert!(order.is_sorted(), "{order:?}");
    assert_eq!(changes(&unit)[0], asked[void], "nothing is changed before");
    let again = asked.iter().skip(read_back).position(|asked| **asked == digest);
    assert!(again.is_some(), "what was installed is inspected before it is started");
}

/// The register says what runs, twice, before it runs for the first time; and is left alone from then on.
#[test]
fn the_floor_is_settled_before_the_first_start() {
    let mut unit = Unit::with(Layout::Single, &Update::new(&[2, 0], 900).of_issue(7));
    let value = Some(Value { issue: 7, held: None });
    assert_eq!(
        unit.register().records.map(|record| record.map(|record| record.value)),
        [value; 2]
    );
    assert_eq!(unit.register().floor(), 7);
    assert_eq!(unit.power_up(), Ending::Starts(SLOT.base));
    assert_eq!(changes(&unit), Vec::<&Asked>::new());
}

/// With a stage, the stick is no longer needed once the register names it; the slot is written from there.
#[test]
fn a_staged_image_is_copied_without_the_stick() {
    let (old, new) = (Update::new(&[1, 8], 1500), Update::new(&[2, 0], 1100).of_issue(2));
    let mut unit = Unit::with(STAGED, &old);
    assert_eq!(
        unit.register().candidates().collect::<Vec<_>>(),
        [Value { issue: 1, held: None }]
    );
    unit.insert(&new);
    let mut staged = false;
    let ending = unit.power_up_with(|unit, asked| {
        if asked.changes(SLOT) && !staged {
            staged = true;
            assert!(unit.holds(SECOND, &new.image));
            assert!(unit.holds(SLOT, &old.image), "the old image is there until then");
            return Happens::Cut;
        }
        Happens::Nothing
    });
    assert_eq!(ending, Ending::Cut);
    let held = unit.register().candidates().next().unwrap().held.unwrap();
    assert_eq!(held.descriptor.image_digest, sha256(&new.image));
    unit.stick = None;
    assert_eq!(unit.power_up(), Ending::Starts(SLOT.base));
    assert!(unit.holds(SLOT, &new.image));
    assert_eq!(
        unit.register().candidates().collect::<Vec<_>>(),
        [Value { issue: 2, held: None }]
    );
    assert_eq!(unit.power_up(), Ending::Starts(SLOT.base));
    assert_eq!(changes(&unit), Vec::<&Asked>::new());
}

/// A stage whose image does not hold is not copied over one that does.
#[test]
fn a_spoilt_stage_is_not_copied() {
    let (old, new) = (Update::new(&[1, 8], 1500), Update::new(&[2, 0], 1100));
    let mut unit = Unit::with(STAGED, &old);
    unit.insert(&new);
    unit.power_up_with(|_, asked| {
        if asked.changes(SLOT) {
            Happens::Cut
        } else {
            Happens::Nothing
        }
    });
    unit.put(SECOND.base + 700, &[0x55]);
    unit.stick = None;
    assert_eq!(unit.power_up(), Ending::Starts(SLOT.base));
    assert!(unit.holds(SLOT, &old.image));
}

/// Two slots take turns: what runs is never written over, and the other one runs next.
#[test]
fn paired_slots_take_turns() {
    let mut unit = Unit::with(PAIRED, &Update::new(&[1, 0], 1500));
    assert_eq!(unit.power_up(), Ending::Starts(SLOT.base));
    for (round, (runs, spare)) in [(SLOT, SECOND), (SECOND, SLOT), (SLOT, SECOND)].into_iter().enumerate() {
        let update = Update::new(&[2, round as u32], 3072 - round).of_issue(round as u64);
        unit.insert(&Update {
            issue: 1 + round as u64,
            ..update.clone()
        });
        assert_eq!(unit.power_up(), Ending::Starts(spare.base));
        assert!(unit.asked.iter().all(|asked| !asked.changes(runs)), "{:?}", unit.asked);
        assert!(unit.holds(spare, &update.image));
        unit.stick = None;
        assert_eq!(unit.power_up(), Ending::Starts(spare.base));
    }
    // What the register names does not hold: the other one, which was relied on before, is no longer named.
    unit.put(SECOND.base + 5, &[0]);
    assert_eq!(unit.power_up(), Ending::Waits(Reason::ImageDamaged));
}

/// The supply goes before each change in turn. Without the stick the unit starts a whole image or waits; with it, it arrives.
#[test]
fn whatever_is_cut_a_whole_image_starts_or_none() {
    let old = Update::new(&[1, 8], 2000);
    let new = Update::new(&[2, 0], 1700).of_issue(2);
    for layout in [Layout::Single, STAGED, PAIRED] {
        let mut cuts = 0;
        for cut in 0.. {
            let mut unit = Unit::with(layout, &old);
            unit.insert(&new);
            let mut seen = 0;
            let ending = unit.power_up_with(|_, asked| {
                seen += usize::from(asked.is_change());
                if asked.is_change() && seen > cut {
                    Happens::Cut
                } else {
                    Happens::Nothing
                }
            });
            if ending != Ending::Cut {
                break;
            }
            cuts += 1;
            let stick = unit.stick.take();
            match unit.power_up() {
                Ending::Starts(base) => {
                    let place = Region { base, ..SLOT };
                    assert!(
                        unit.holds(place, &old.image) || unit.holds(place, &new.image),
                        "{layout:?}, cut {cut}"
                    );
                }
                Ending::Waits(reason) => {
                    assert_eq!((layout, reason), (Layout::Single, Reason::NoImage), "cut {cut}");
                }
                Ending::Cut => unreachable!(),
            }
            unit.stick = stick;
            let Ending::Starts(base) = unit.power_up() else {
                panic!("{layout:?}, cut {cut}: {:?}", unit.asked)
            };
            assert!(unit.holds(Region { base, ..SLOT }, &new.image), "{layout:?}, cut {cut}");
            assert_eq!(unit.register().floor(), 2);
        }
        assert!(cuts > 10, "{layout:?}: {cuts}");
    }
}

/// What is offered says how it stands to what is installed, and the owner may leave everything as it is.
#[test]
fn offers_say_how_they_stand_to_what_is_installed() {
    let installed = Update::new(&[2, 0], 800);
    for (update, relation) in [
        (Update::new(&[2, 1], 700), Relation::Newer),
        (Update::new(&[1, 9], 700), Relation::Older),
        (Update::new(&[2, 0], 700), Relation::Sibling),
        (installed.clone().of_issue(2), Relation::Sibling),
    ] {
        let mut unit = Unit::with(Layout::Single, &installed);
        unit.insert(&update);
        unit.wants = None;
        assert_eq!(unit.power_up(), Ending::Starts(SLOT.base));
        assert!(unit.asked.contains(&Asked::Ask));
        let (_, row, offer) = unit.listing.offers().next().unwrap();
        assert_eq!(
            (offer.relation, offer.sequence, offer.image_size),
            (relation, update.issue, update.image.len() as u32)
        );
        assert_eq!(
            (offer.version.as_slice(), row.file.size),
            (&update.version[..], update.file().len() as u32)
        );
        assert_eq!(changes(&unit), Vec::<&Asked>::new());
    }
    let mut unit = Unit::new(Layout::Single);
    unit.insert(&installed);
    unit.wants = None;
    assert_eq!(unit.power_up(), Ending::Waits(Reason::Declined));
    assert_eq!(unit.listing.offers().next().unwrap().2.relation, Relation::First);
}

/// A stick that stays in the unit does not make it ask at every start.
#[test]
fn what_is_installed_is_not_offered_again() {
    let update = Update::new(&[2, 0], 800);
    for layout in [Layout::Single, STAGED, PAIRED] {
        let mut unit = Unit::with(layout, &update);
        unit.insert(&update);
        assert_eq!(unit.power_up(), Ending::Starts(SLOT.base));
        assert!(
            !unit.asked.contains(&Asked::Ask) && changes(&unit).is_empty(),
            "{:?}",
            unit.asked
        );
    }
}

/// An image may fill the slot up to its descriptor, and not a byte more.
#[test]
fn the_largest_image_fits() {
    let usable = support::Board::new(Layout::Single).config().usable() as usize;
    assert_eq!(usable, 3 * 1024 - 64 - 8);
    let largest = Update::new(&[2, 0], usable);
    let unit = Unit::with(Layout::Single, &largest);
    assert!(unit.holds(SLOT, &largest.image) && described(&unit).is_some());
    assert!(!unit.asked.iter().any(|asked| matches!(asked, Asked::CheckBlank(_, 0))));
    let mut unit = Unit::new(Layout::Single);
    unit.insert(&Update::new(&[2, 0], usable + 1));
    assert_eq!(unit.power_up(), Ending::Waits(Reason::TooLarge));
    // Two slots that take turns have no descriptors of their own.
    let whole = Update::new(&[2, 0], 3 * 1024);
    assert!(Unit::with(PAIRED, &whole).holds(SLOT, &whole.image));
}

/// Nothing outside of the slot and the register is ever changed.
#[test]
fn nothing_else_is_changed() {
    for layout in [Layout::Single, STAGED, PAIRED] {
        let unit = Unit::with(layout, &Update::new(&[2, 0], 2500));
        let second = layout.second();
        for asked in unit.asked.iter().filter(|asked| asked.is_change()) {
            let allowed = [Some(SLOT), second, Some(sectors(1, 2))];
            assert!(
                allowed.into_iter().flatten().any(|region| asked.changes(region)),
                "{layout:?}: {asked:?}"
            );
        }
        assert!(unit.bytes(sectors(0, 1)).iter().all(|byte| *byte == 0xff));
        assert!(unit.bytes(sectors(9, 1)).iter().all(|byte| *byte == 0xff));
    }
}
