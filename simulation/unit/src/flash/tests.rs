use super::*;
use packstaff_installer::SectorRun;
use proptest::prelude::*;

fn small(second_program: SecondProgram, ecc: bool) -> Flash {
    let runs = vec![SectorRun { count: 2, size: 256 }, SectorRun { count: 1, size: 1024 }];
    Flash::erased(
        Arc::new(FlashLayout::new(0x1000, runs, 8, 0xff, ecc, second_program)),
        SumKey::fixed(),
    )
}

fn program(address: u32, data: &[u8]) -> Change {
    Change::Program {
        address,
        data: data.to_vec(),
    }
}

#[test]
fn a_program_sticks_and_an_erase_takes_it_away() {
    let mut flash = small(SecondProgram::Never, false);
    let blank = flash.clone();
    flash.apply(&program(0x10f8, &[1; 16])).unwrap();
    assert_eq!(flash.bytes(0x10f8, 16).unwrap(), [1; 16], "across two sectors");
    assert_ne!(flash.sum(), blank.sum());
    flash.apply(&Change::Erase { address: 0x1000 }).unwrap();
    flash.apply(&Change::Erase { address: 0x1100 }).unwrap();
    assert_eq!(flash, blank);
    assert_eq!(flash.sum(), blank.sum());
}

#[test]
fn the_part_refuses_what_it_cannot_do() {
    let mut flash = small(SecondProgram::Never, false);
    let granules = FlashFault::NotWholeGranules {
        address: 0x1004,
        len: 8,
        granule: 8,
    };
    assert_eq!(flash.apply(&program(0x1004, &[0; 8])), Err(granules));
    assert_eq!(
        flash.apply(&program(0x15f8, &[0; 16])),
        Err(FlashFault::OutOfRange {
            address: 0x15f8,
            len: 16
        })
    );
    assert_eq!(
        flash.apply(&Change::Erase { address: 0x1008 }),
        Err(FlashFault::NotASector { address: 0x1008 })
    );
    flash.apply(&program(0x1000, &[0x0f; 8])).unwrap();
    assert_eq!(
        flash.apply(&program(0x1000, &[0; 8])),
        Err(FlashFault::AlreadyProgrammed { address: 0x1000 })
    );
}

/// RM0440 section 3.3.7: a double word may be programmed again to all zeros only; RM0090 section 3.5.4: bits may go from
/// 1 to 0 without an erase.
#[test]
fn second_programs_follow_the_part() {
    let mut zeros = small(SecondProgram::Zeros, true);
    zeros.apply(&program(0x1000, &[0x0f; 8])).unwrap();
    assert!(zeros.apply(&program(0x1000, &[0x01; 8])).is_err());
    zeros.apply(&program(0x1000, &[0; 8])).unwrap();
    let mut clears = small(SecondProgram::Clears, false);
    clears.apply(&program(0x1000, &[0x0f; 8])).unwrap();
    clears.apply(&program(0x1000, &[0x01; 8])).unwrap();
    assert!(clears.apply(&program(0x1000, &[0x02; 8])).is_err());
}

#[test]
fn torn_programs_leave_what_the_table_says() {
    let change = program(0x1000, &[0; 24]);
    let torn = |inside| {
        let mut flash = small(SecondProgram::Never, true);
        flash.tear(&change, Torn::Program { whole: 1, inside }).unwrap();
        flash
    };
    let read = |flash: &Flash| flash.bytes(0x1000, 24);
    assert_eq!(
        read(&torn(Inside::Clean)).unwrap(),
        [[0; 8], [0xff; 8], [0xff; 8]].concat()
    );
    assert_eq!(
        read(&torn(Inside::Part)).unwrap(),
        [[0; 8], [0xaa; 8], [0xff; 8]].concat()
    );
    assert_eq!(
        read(&torn(Inside::Unreadable)),
        Err(FlashFault::Unreadable { address: 0x1008 })
    );
    assert_eq!(
        read(&torn(Inside::Wavering)).unwrap(),
        [[0; 8], [0; 8], [0xff; 8]].concat()
    );
    assert_eq!(
        read(&torn(Inside::LeftOut)).unwrap(),
        [[0; 8], [0xff; 8], [0; 8]].concat()
    );
}

#[test]
fn a_granule_that_a_cut_has_hit_is_not_programmed_again() {
    for inside in [Inside::Part, Inside::Unreadable, Inside::Wavering] {
        let mut flash = small(SecondProgram::Never, true);
        flash
            .tear(&program(0x1000, &[0; 8]), Torn::Program { whole: 0, inside })
            .unwrap();
        let again = flash.apply(&program(0x1000, &[0x55; 8]));
        assert_eq!(
            again,
            Err(FlashFault::AlreadyProgrammed { address: 0x1000 }),
            "{inside:?}"
        );
        flash.apply(&Change::Erase { address: 0x1000 }).unwrap();
        flash.apply(&program(0x1000, &[0x55; 8])).unwrap();
    }
}

#[test]
fn torn_erases_leave_what_the_table_says() {
    let torn = |cut| {
        let mut flash = small(SecondProgram::Never, false);
        flash.apply(&program(0x1100, &[0x33; 256])).unwrap();
        flash
            .tear(&Change::Erase { address: 0x1100 }, Torn::Erase(cut))
            .unwrap();
        (flash.bytes(0x1100, 256).unwrap(), flash.doubts().to_vec())
    };
    assert_eq!(torn(EraseCut::Cleared).0, [0; 256]);
    assert_eq!(torn(EraseCut::Upper).0, [[0x33; 128], [0xff; 128]].concat());
    assert_eq!(torn(EraseCut::Lower).0, [[0xff; 128], [0x33; 128]].concat());
    assert_eq!(torn(EraseCut::Weak).0, [0xff; 256]);
    let (bits, doubts) = torn(EraseCut::Noise);
    assert!(bits.iter().any(|byte| *byte != 0xff) && bits.iter().any(|byte| *byte != 0x33));
    assert!(
        doubts[0].kind == DoubtKind::Noise
            && doubts[0].area
                == Region {
                    base: 0x1100,
                    size: 256
                }
    );
}

#[test]
fn every_outcome_of_a_small_program_is_listed() {
    let plain = small(SecondProgram::Never, false);
    let checked = small(SecondProgram::Never, true);
    let change = program(0x1000, &[0; 24]);
    // Three granules: clean 2, part 3, wavering 3, left out 2; and unreadable 3 where there are check bits.
    assert_eq!(outcomes(&plain, &change, &Inside::ALL, &EraseCut::ALL).count(), 10);
    assert_eq!(outcomes(&checked, &change, &Inside::ALL, &EraseCut::ALL).count(), 13);
    let erase = Change::Erase { address: 0x1000 };
    assert_eq!(outcomes(&plain, &erase, &Inside::ALL, &EraseCut::ALL).count(), 5);
}

#[test]
fn dont_care_cells_make_worlds_equal_and_cannot_be_read() {
    let mut one = small(SecondProgram::Never, false);
    let mut other = one.clone();
    one.apply(&program(0x1080, &[1; 8])).unwrap();
    other.apply(&program(0x1100, &[2; 8])).unwrap();
    let dead = Region {
        base: 0x1080,
        size: 0x180,
    };
    one.mark_dont_care(dead);
    other.mark_dont_care(dead);
    assert_eq!((&one, one.sum()), (&other, other.sum()));
    assert!(one.bytes(0x1000, 0x80).is_ok());
    assert_eq!(one.bytes(0x107c, 8), Err(FlashFault::DontCare { address: 0x1080 }));
    assert!(one.apply(&program(0x1080, &[0; 8])).is_err());
    one.apply(&Change::Erase { address: 0x1000 }).unwrap();
    assert!(!one.has_dont_care(Region {
        base: 0x1000,
        size: 0x100
    }));
    assert!(one.has_dont_care(Region { base: 0x1100, size: 8 }));
}

proptest! {
    /// The sum that is kept up to date equals the sum computed afresh, after any run of whole and torn changes.
    #[test]
    fn sums_follow_contents(steps in proptest::collection::vec((0_u8..4, 0_u32..192, any::<u8>(), 0_usize..5), 1..60)) {
        let mut flash = small(SecondProgram::Clears, true);
        for (what, granule, fill, cut) in steps {
            let address = 0x1000 + granule * 8;
            let sector = flash.layout().sectors().iter().find(|s| s.contains(address)).unwrap().base;
            // Refused changes are part of the game: they must not change anything.
            let before = flash.clone();
            let done = match what {
                0 => flash.apply(&program(address, &[fill; 8])),
                1 => flash.apply(&Change::Erase { address: sector }),
                2 => flash.tear(&program(address, &[fill; 8]), Torn::Program { whole: 0, inside: Inside::ALL[cut] }),
                _ => flash.tear(&Change::Erase { address: sector }, Torn::Erase(EraseCut::ALL[cut])),
            };
            if done.is_err() {
                prop_assert_eq!(&before, &flash);
            }
        }
        let mut afresh = Flash::erased(flash.layout.clone(), SumKey::fixed());
        for (index, sector) in flash.layout.sectors.iter().enumerate() {
            let held: Vec<u8> = flash.contents.sector(index).unwrap().pages.iter().flat_map(|page| page.iter().copied()).take(sector.size as usize).collect();
            afresh.store(sector.base, &held);
        }
        afresh.doubts = flash.doubts.clone();
        prop_assert_eq!(afresh.sum(), flash.sum());
        prop_assert_eq!(&afresh, &flash);
    }
}
