//! Flash that does not do what it should, and cells that read otherwise than they did.

mod support;

use packstaff_installer::{
    Config, ConfigFault, Descriptor, Installer, Layout, Phase, Progress, Reason, Region, Reply, Request,
};
use support::update::Update;
use support::{Asked, Board, Ending, Happens, SECOND, SECTOR, SLOT, Unit, sectors};

const STAGED: Layout = Layout::Staged { stage: SECOND };
const PAIRED: Layout = Layout::Paired { second: SECOND };

fn old() -> Update {
    Update::new(&[1, 8], 1500)
}

fn new() -> Update {
    Update::new(&[2, 0], 1100)
}

fn place() -> packstaff_installer::Place {
    Board::new(Layout::Single).config().place()
}

fn record(unit: &Unit) -> Option<Descriptor> {
    Descriptor::decode(unit.bytes(place().record))
}

/// The digest is compared with the one that was signed, and with nothing else.
#[test]
fn a_changed_image_is_never_started() {
    for layout in [Layout::Single, STAGED, PAIRED] {
        for at in [0, 700, 1499] {
            let mut unit = Unit::with(layout, &old());
            let byte = unit.bytes(SLOT)[at];
            unit.put(SLOT.base + at as u32, &[byte ^ 1]);
            assert_eq!(
                unit.power_up(),
                Ending::Waits(Reason::ImageDamaged),
                "{layout:?}, byte {at}"
            );
            // Behind the image nothing counts.
            unit.put(SLOT.base + at as u32, &[byte]);
            unit.put(SLOT.base + 1504, &[0]);
            assert_eq!(unit.power_up(), Ending::Starts(SLOT.base), "{layout:?}");
        }
    }
}

#[test]
fn an_image_that_cannot_be_digested_is_never_started() {
    for layout in [Layout::Single, PAIRED] {
        let mut unit = Unit::with(layout, &old());
        let fails = |_: &mut Unit, asked: &Asked| match asked {
            Asked::DigestFlash(..) => Happens::Fails,
            _ => Happens::Nothing,
        };
        assert_eq!(
            unit.power_up_with(fails),
            Ending::Waits(Reason::ImageDamaged),
            "{layout:?}"
        );
    }
}

/// A void mark of any kind, or a record that is not whole: there is no image.
#[test]
fn a_descriptor_that_does_not_stand_describes_nothing() {
    for (address, bytes) in [
        (place().void.base, &[0; 8][..]),
        (place().void.base + 7, &[0xfe]),
        (place().record.base + 20, &[0]),
    ] {
        let mut unit = Unit::with(Layout::Single, &old());
        unit.put(address, bytes);
        assert_eq!(unit.power_up(), Ending::Waits(Reason::NoImage), "{address:#x}");
        assert!(!unit.asked.iter().any(|asked| matches!(asked, Asked::DigestFlash(..))));
    }
    let mut unit = Unit::with(Layout::Single, &old());
    let unreadable = |_: &mut Unit, asked: &Asked| match asked {
        Asked::ReadFlash(address, _) if *address == place().void.base => Happens::Fails,
        _ => Happens::Nothing,
    };
    assert_eq!(unit.power_up_with(unreadable), Ending::Waits(Reason::NoImage));
}

/// A descriptor of an image that is larger than the slot is none, though its check value holds.
#[test]
fn an_image_larger_than_the_slot_is_not_digested() {
    let mut unit = Unit::with(Layout::Single, &old());
    let usable = unit.board.config().usable();
    for (size, digested) in [(usable, true), (usable + 1, false)] {
        let descriptor = Descriptor {
            image_size: size,
            ..unit.installed.unwrap()
        };
        unit.put(place().record.base, &descriptor.encode());
        let mut unit = Unit {
            cells: unit.cells.clone(),
            ..Unit::new(Layout::Single)
        };
        let waits = if digested {
            Reason::ImageDamaged
        } else {
            Reason::NoImage
        };
        assert_eq!(unit.power_up(), Ending::Waits(waits));
        assert_eq!(unit.asked.contains(&Asked::DigestFlash(SLOT.base, size)), digested);
    }
}

/// What was programmed is not what was signed: no descriptor.
#[test]
fn what_flash_holds_is_compared_before_it_is_described() {
    for (layout, place, ending) in [
        (Layout::Single, SLOT, Ending::Waits(Reason::FlashDiffers)),
        (STAGED, SECOND, Ending::Starts(SLOT.base)),
        (PAIRED, SECOND, Ending::Starts(SLOT.base)),
    ] {
        for at in [0, 1099] {
            let mut unit = Unit::with(layout, &old());
            unit.insert(&new());
            let found = unit.power_up_with(|unit, asked| {
                if *asked == Asked::DigestFlash(place.base, 1100) {
                    let byte = unit.bytes(place)[at];
                    unit.put(place.base + at as u32, &[byte ^ 0x80]);
                }
                Happens::Nothing
            });
            assert_eq!(found, ending, "{layout:?}, byte {at}");
            let named = unit
                .register()
                .candidates()
                .any(|value| value.held.is_some_and(|held| held.second));
            assert!(!named, "{layout:?}");
            if layout == Layout::Single {
                assert_eq!(record(&unit), None);
            } else {
                assert!(unit.asked.contains(&Asked::Tell(Reason::FlashDiffers)), "{layout:?}");
                assert!(unit.holds(SLOT, &old().image));
            }
        }
    }
}

/// Behind the image, the slot must read erased: there is no telling what is left there.
#[test]
fn what_stands_behind_the_image_is_found() {
    for layout in [Layout::Single, PAIRED] {
        let into = if layout == PAIRED { SECOND } else { SLOT };
        let mut unit = Unit::with(layout, &old());
        unit.insert(&new());
        let ending = unit.power_up_with(|unit, asked| {
            if *asked == Asked::DigestFlash(into.base, 1100) {
                unit.put(into.base + 1104, &[0xfe]);
            }
            Happens::Nothing
        });
        let expected = match layout {
            Layout::Single => Ending::Waits(Reason::FlashDiffers),
            _ => Ending::Starts(SLOT.base),
        };
        assert_eq!(ending, expected);
        assert_eq!(record(&unit), None, "{layout:?}");
        assert_eq!(unit.register().floor(), 1);
    }
}

/// Each change of an install refused in turn: the unit says so, or goes on where it can, and starts nothing that is not whole.
#[test]
fn flash_that_refuses_is_told_of() {
    for layout in [Layout::Single, STAGED, PAIRED] {
        let mut told = Vec::new();
        for refused in 0.. {
            let mut unit = Unit::with(layout, &old());
            unit.insert(&new().of_issue(2));
            let (mut seen, mut met) = (0, None);
            let ending = unit.power_up_with(|_, asked| {
                seen += usize::from(asked.is_change());
                if asked.is_change() && seen == refused + 1 && met.is_none() {
                    met = Some(asked.clone());
                    return Happens::Fails;
                }
                Happens::Nothing
            });
            let Some(met) = met else { break };
            let register = met.changes(sectors(1, 2));
            match ending {
                Ending::Waits(reason) => {
                    let descriptor = matches!(&met, Asked::Program(address, _) if *address == place().record.base);
                    let expected = match (register, descriptor && layout != PAIRED) {
                        // A record that may name the place to be written is erased as the first step of an install.
                        (true, _) => Reason::FloorFault,
                        (_, true) => Reason::FlashDiffers,
                        _ => Reason::FlashFault,
                    };
                    assert_eq!(reason, expected, "{layout:?}: {met:?}");
                }
                Ending::Starts(base) => {
                    assert_ne!(layout, Layout::Single, "{met:?}");
                    assert!(
                        unit.asked.contains(&Asked::Tell(Reason::FlashFault)),
                        "{layout:?}: {met:?}"
                    );
                    assert!(unit.holds(Region { base, ..SLOT }, &old().image));
                }
                Ending::Cut => unreachable!(),
            }
            told.push(ending);
            // Nothing is worn: at the next try it arrives.
            let Ending::Starts(base) = unit.power_up() else {
                panic!("{layout:?}: {:?}", unit.asked)
            };
            assert!(unit.holds(Region { base, ..SLOT }, &new().image), "{layout:?}: {met:?}");
        }
        assert!(told.len() > 10, "{layout:?}: {told:?}");
    }
}

/// What is said to be done and was not: it is read back before it counts.
#[test]
fn changes_that_do_not_happen_are_noticed() {
    for layout in [Layout::Single, STAGED, PAIRED] {
        for ignored in 0.. {
            let mut unit = Unit::with(layout, &old());
            unit.insert(&new().of_issue(2));
            let (mut seen, mut met) = (0, None);
            let ending = unit.power_up_with(|_, asked| {
                seen += usize::from(asked.is_change());
                if asked.is_change() && seen == ignored + 1 && met.is_none() {
                    met = Some(asked.clone());
                    return Happens::Ignored;
                }
                Happens::Nothing
            });
            let Some(met) = met else { break };
            if let Ending::Starts(base) = ending {
                let place = Region { base, ..SLOT };
                assert!(
                    unit.holds(place, &new().image) || unit.holds(place, &old().image),
                    "{layout:?}: {met:?}"
                );
            }
        }
    }
}

/// A part may refuse to program a void mark again that it programmed before, as long as no descriptor stands.
#[test]
fn a_mark_may_be_refused_only_where_nothing_stands() {
    let refuse = |_: &mut Unit, asked: &Asked| match asked {
        Asked::Program(address, _) if *address == place().void.base => Happens::Fails,
        _ => Happens::Nothing,
    };
    let mut fresh = Unit::new(Layout::Single);
    fresh.insert(&new());
    assert_eq!(fresh.power_up_with(refuse), Ending::Starts(SLOT.base));
    let mut unit = Unit::with(Layout::Single, &old());
    unit.insert(&new());
    assert_eq!(unit.power_up_with(refuse), Ending::Waits(Reason::FlashFault));
    unit.stick = None;
    assert_eq!(unit.power_up(), Ending::Starts(SLOT.base));
    assert!(unit.holds(SLOT, &old().image));
}

/// A reply that does not fit counts as a failure: the machine stays safe, whatever its driver does.
#[test]
fn replies_that_do_not_fit_start_nothing() {
    let board = Board::new(Layout::Single);
    let config = board.config();
    for reply in [
        Reply::Done,
        Reply::Failed,
        Reply::Blank(true),
        Reply::Digest([0; 32]),
        Reply::Flash(&[0xff; 8]),
        Reply::NoStick,
    ] {
        let mut machine = Installer::new();
        let mut request = machine.step(&config, Reply::PowerUp);
        for _ in 0..200 {
            assert!(
                !matches!(request, Request::Start { .. } | Request::Program { .. }),
                "{reply:?}: {request:?}"
            );
            if matches!(request, Request::Wait { .. }) {
                break;
            }
            request = machine.step(&config, reply);
        }
        assert!(matches!(request, Request::Wait { .. }), "{reply:?}: {request:?}");
    }
}

/// Once the owner has changed something, the unit looks at itself again; and `PowerUp` begins from the start at any time.
#[test]
fn a_unit_that_waits_looks_again() {
    let mut unit = Unit::new(Layout::Single);
    let update = new();
    let mut waited = false;
    let ending = unit.power_up_with(|unit, asked| {
        if matches!(asked, Asked::Wait(_)) && !waited {
            waited = true;
            unit.insert(&update);
            return Happens::Ignored;
        }
        Happens::Nothing
    });
    assert!(waited);
    assert_eq!(ending, Ending::Starts(SLOT.base));

    let board = Board::new(Layout::Single);
    let config = board.config();
    let mut machine = Installer::new();
    let first = format!("{:?}", machine.step(&config, Reply::PowerUp));
    machine.step(&config, Reply::Flash(&[0; 64]));
    assert_eq!(format!("{:?}", machine.step(&config, Reply::PowerUp)), first);
    assert!(
        machine == {
            let mut new = Installer::new();
            new.step(&config, Reply::PowerUp);
            new
        }
    );
}

/// A display sees the phases in their order, each counted to its end.
#[test]
fn progress_is_shown_by_phases() {
    use std::cell::RefCell;
    let update = new();
    let mut unit = Unit::new(Layout::Single);
    unit.insert(&update);
    let board = Board::new(Layout::Single);
    let seen = RefCell::new(Vec::<Progress>::new());
    let config = board.config();
    let mut machine = Installer::new();
    let asked = {
        unit.power_up();
        unit.asked.clone()
    };
    // The same power-up once more, on a machine whose progress is looked at.
    let mut again = Unit::new(Layout::Single);
    again.insert(&update);
    again.play(&mut machine, &config, |machine| {
        seen.borrow_mut().push(machine.progress(&config))
    });
    let seen = seen.into_inner();
    assert_eq!(seen.len(), asked.len());
    let mut phases: Vec<Phase> = seen.iter().map(|progress| progress.phase).collect();
    phases.dedup();
    assert_eq!(
        phases,
        [
            Phase::Inspect,
            Phase::Survey,
            Phase::Owner,
            Phase::Survey,
            Phase::Check,
            Phase::Erase,
            Phase::Program,
            Phase::Confirm,
            Phase::Inspect,
            Phase::Start
        ]
    );
    for (phase, total) in [(Phase::Check, 1100), (Phase::Erase, 3), (Phase::Program, 1100)] {
        let of_phase: Vec<_> = seen.iter().filter(|progress| progress.phase == phase).collect();
        assert!(
            of_phase
                .iter()
                .all(|progress| progress.total == total && progress.done <= total),
            "{of_phase:?}"
        );
        assert!(of_phase.is_sorted_by_key(|progress| progress.done), "{of_phase:?}");
        assert_eq!(of_phase[0].done, 0, "{phase:?}");
        assert!(of_phase.last().unwrap().done > total / 3, "{of_phase:?}");
    }
}

#[test]
fn a_board_that_cannot_work_is_refused() {
    let board = Board::new(Layout::Single);
    let with = |change: &dyn Fn(&mut Config<'_>)| {
        let mut config = board.config();
        change(&mut config);
        config.check()
    };
    let on = |layout| Board::new(layout).config().check();
    assert_eq!(with(&|_| ()), Ok(()));
    assert_eq!((on(STAGED), on(PAIRED)), (Ok(()), Ok(())));
    for granule in [0, 3, 1024] {
        assert_eq!(
            with(&|config| config.flash.granule = granule),
            Err(ConfigFault::Granule)
        );
    }
    assert_eq!(with(&|config| config.anchors = &[]), Err(ConfigFault::NoAnchor));
    assert_eq!(with(&|config| config.slot.base += 1), Err(ConfigFault::Slot));
    assert_eq!(with(&|config| config.slot.size -= 1), Err(ConfigFault::Slot));
    assert_eq!(
        with(&|config| config.floors[1].size = 2 * SECTOR),
        Err(ConfigFault::FloorSector)
    );
    assert_eq!(
        with(&|config| config.floors[1] = config.floors[0]),
        Err(ConfigFault::Overlap)
    );
    assert_eq!(
        with(&|config| config.floors[0] = sectors(4, 1)),
        Err(ConfigFault::Overlap)
    );
    assert_eq!(with(&|config| config.flash.granule = 512), Ok(()));
    let staged = |stage| Layout::Staged { stage };
    assert_eq!(on(staged(sectors(5, 3))), Err(ConfigFault::Overlap));
    assert_eq!(on(staged(sectors(2, 1))), Err(ConfigFault::Overlap));
    assert_eq!(on(staged(sectors(9, 3))), Err(ConfigFault::Slot));
}
