//! The keeper on a memory that does as it is told: what it finds, what it writes, and how it spreads the wear.

mod support;

use packstaff_keeper::{Config, Found, Keeper, Memory, Region, Reply, Request, Stuck, Trouble};
use proptest::prelude::*;
use support::{EEPROM, FLASH, Plain, config, drive};

type Small = Keeper<64, 256>;

#[test]
fn a_new_unit_has_nothing_and_then_what_was_saved() {
    for kind in [EEPROM, FLASH] {
        let config = config(kind, 30);
        let mut memory = Plain::new(kind);
        let mut keeper = Small::new();
        assert_eq!(drive(&mut keeper, &config, &mut memory), Ok(Found::Nothing));
        assert_eq!(keeper.settings(), b"");
        for round in 0..100 {
            keeper.save(&config, &[round; 30]).unwrap();
            assert_eq!(drive(&mut keeper, &config, &mut memory), Ok(Found::Ours));
            let mut later = Small::new();
            assert_eq!(drive(&mut later, &config, &mut memory), Ok(Found::Ours));
            assert_eq!(later.settings(), [round; 30]);
            assert_eq!(memory.whole_records(&config), 1, "everything else is void");
        }
    }
}

/// 24LC256 (DS20001203W, 6.2 and 6.3): a page is refreshed as a whole by every write into it, so pages are what is counted.
#[test]
fn wear_is_spread_over_the_region() {
    let config = config(EEPROM, 30);
    let mut memory = Plain::new(EEPROM);
    let mut keeper = Small::new();
    drive(&mut keeper, &config, &mut memory).unwrap();
    for round in 0..1000_u32 {
        let mut payload = [0; 30];
        payload[..4].copy_from_slice(&round.to_le_bytes());
        keeper.save(&config, &payload).unwrap();
        drive(&mut keeper, &config, &mut memory).unwrap();
    }
    let spots = packstaff_keeper::Spots::new(config.memory, config.region, config.room).unwrap();
    assert_eq!((spots.count, spots.pitch), (8, 128));
    // Two pages for each record; the first one once more when the record is made void.
    let saves = 1000 / spots.count;
    let most = memory.writes.values().max().copied().unwrap();
    assert!(most <= 2 * saves + 4, "{:?}", memory.writes);
}

#[test]
fn unchanged_settings_are_not_written() {
    let config = config(EEPROM, 30);
    let mut memory = Plain::new(EEPROM);
    let mut keeper = Small::new();
    drive(&mut keeper, &config, &mut memory).unwrap();
    keeper.save(&config, &[7; 30]).unwrap();
    drive(&mut keeper, &config, &mut memory).unwrap();
    let before = memory.clone();
    keeper.save(&config, &[7; 30]).unwrap();
    drive(&mut keeper, &config, &mut memory).unwrap();
    assert_eq!(memory.writes, before.writes);
    assert!(keeper.save(&config, &[7; 31]).is_err());
}

#[test]
fn a_silent_memory_is_said_to_be_silent() {
    let config = config(EEPROM, 30);
    let mut keeper = Small::new();
    let mut request = keeper.step(&config, Reply::Go);
    for _ in 0..3 {
        if let Request::Stuck(stuck) = request {
            assert_eq!(stuck, Stuck::Memory(Trouble::Silent));
        }
        request = keeper.step(&config, Reply::Failed);
    }
    assert_eq!(request, Request::Stuck(Stuck::Memory(Trouble::Silent)));
}

#[test]
fn a_configuration_that_cannot_be_is_refused() {
    let good = config(EEPROM, 30);
    let region = Region { base: 0, size: 100 };
    let memory = |page| Memory::Pages { page };
    for config in [
        Config { region, ..good },
        Config {
            memory: memory(48),
            ..good
        },
        Config { len: 70, ..good },
        Config {
            len: 65,
            room: 100,
            ..good
        },
        Config { room: u32::MAX, ..good },
        Config {
            memory: Memory::Flash {
                sector: 1024,
                granule: 256,
                erased: 0xff,
            },
            ..good
        },
    ] {
        assert!(Small::check(&config).is_err(), "{config:?}");
        assert_eq!(
            Small::new().step(&config, Reply::Go),
            Request::Stuck(Stuck::Memory(Trouble::Config))
        );
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Whatever lies in the memory: the keeper comes to an end, and what is saved then is found again.
    #[test]
    fn any_contents(bytes in proptest::collection::vec(any::<u8>(), 1024), flash: bool, payload in any::<[u8; 30]>()) {
        let kind = if flash { FLASH } else { EEPROM };
        let config = config(kind, 30);
        let mut memory = Plain::new(kind);
        memory.cells = bytes;
        let mut keeper = Small::new();
        prop_assert_eq!(drive(&mut keeper, &config, &mut memory), Ok(Found::Nothing));
        keeper.save(&config, &payload).unwrap();
        prop_assert_eq!(drive(&mut keeper, &config, &mut memory), Ok(Found::Ours));
        let mut later = Small::new();
        prop_assert_eq!(drive(&mut later, &config, &mut memory), Ok(Found::Ours));
        prop_assert_eq!(later.settings(), payload);
    }

    /// Whatever a driver answers: requests stay inside of the two regions, and nothing panics.
    #[test]
    fn any_replies(replies in proptest::collection::vec((0..4_u8, proptest::collection::vec(any::<u8>(), 0..130)), 0..400)) {
        let config = config(EEPROM, 30);
        let mut keeper = Small::new();
        let mut saves = 0_u8;
        for (kind, bytes) in &replies {
            let reply = match kind {
                0 => Reply::Go,
                1 => Reply::Done,
                2 => Reply::Failed,
                _ => Reply::Bytes(bytes),
            };
            let end = config.region.base + config.region.size;
            match keeper.step(&config, reply) {
                Request::Read { address, len } => prop_assert!(address >= config.region.base && address + len <= end),
                Request::Write { address, data } => {
                    prop_assert!(address >= config.region.base && address + data.len() as u32 <= end);
                }
                Request::Erase { .. } => prop_assert!(false, "an EEPROM has nothing to erase"),
                Request::Rest(_) => {
                    saves += 1;
                    keeper.save(&config, &[saves; 30]).unwrap();
                }
                Request::Stuck(_) => keeper = Small::new(),
            }
        }
    }
}
