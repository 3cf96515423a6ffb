//! Volumes that nobody formatted: random boot sectors, FATs and directories, most of them contradictory. The walk checks what the
//! reader promises at every step; these tests see to it that the random volumes get that far.

mod walk;

use std::cell::RefCell;
use std::collections::HashSet;
use std::mem::{Discriminant, discriminant};

use packstaff_fat::{Block, DeviceBlock, Error, Kind};
use proptest::prelude::*;
use proptest::test_runner::{RngAlgorithm, TestRng, TestRunner};
use walk::{Limits, walk};

/// Blocks of the made-up devices; a few volumes claim more.
const DEVICE: u64 = 70_000;
const LIMITS: Limits = Limits {
    entries: 24,
    steps: 40_000,
};

/// The fields of a boot sector, likely values among them more often than by chance.
#[derive(Clone, Debug)]
struct Boot {
    sector_size: u16,
    cluster_sectors: u8,
    reserved: u16,
    fats: u8,
    root_entries: u16,
    total_16: u16,
    total_32: u32,
    fat_16: u16,
    fat_32: u32,
    flags: u16,
    version: u16,
    root_cluster: u32,
    jump: [u8; 3],
    media: u8,
}

fn boots() -> impl Strategy<Value = Boot> {
    let sizes = (
        prop_oneof![6 => Just(512u16), 2 => prop::sample::select(vec![1024u16, 2048, 4096]), 1 => any::<u16>()],
        prop_oneof![8 => (0u32..4).prop_map(|shift| 1u8 << shift), 1 => any::<u8>()],
        prop_oneof![8 => 1u16..40, 1 => any::<u16>()],
        prop_oneof![8 => 1u8..3, 1 => any::<u8>()],
        prop_oneof![4 => Just(0u16), 4 => 1u16..600, 1 => any::<u16>()],
        prop_oneof![4 => Just(0u16), 4 => 100u16.., 1 => any::<u16>()],
        prop_oneof![8 => 100..DEVICE as u32, 1 => any::<u32>()],
    );
    let rest = (
        prop_oneof![4 => Just(0u16), 4 => 1u16..300, 1 => any::<u16>()],
        prop_oneof![8 => 1u32..600, 1 => any::<u32>()],
        prop_oneof![6 => Just(0u16), 2 => Just(0x81u16), 1 => any::<u16>()],
        prop_oneof![12 => Just(0u16), 1 => any::<u16>()],
        prop_oneof![8 => 2u32..20, 1 => any::<u32>()],
        prop_oneof![8 => Just([0xEB, 0x3C, 0x90]), 1 => any::<[u8; 3]>()],
        prop_oneof![12 => Just(0xF8u8), 1 => any::<u8>()],
    );
    (sizes, rest).prop_map(|(sizes, rest)| {
        let (sector_size, cluster_sectors, reserved, fats, root_entries, total_16, total_32) = sizes;
        let (fat_16, fat_32, flags, version, root_cluster, jump, media) = rest;
        // The two that decide the form agree most of the time, as do the sizes of FAT and volume.
        let fat_16 = if root_entries == 0 { 0 } else { fat_16 };
        Boot {
            sector_size,
            cluster_sectors,
            reserved,
            fats,
            root_entries,
            total_16,
            total_32,
            fat_16,
            fat_32,
            flags,
            version,
            root_cluster,
            jump,
            media,
        }
    })
}

impl Boot {
    /// The form of FAT that this will be taken for, if for any.
    fn likely_width(&self) -> Kind {
        let total = if self.total_16 == 0 {
            self.total_32
        } else {
            self.total_16.into()
        };
        match total.checked_div(self.cluster_sectors.into()) {
            _ if self.fat_16 == 0 => Kind::Fat32,
            Some(4200..) => Kind::Fat16,
            _ => Kind::Fat12,
        }
    }

    fn block(&self) -> Block {
        let mut block = [0; 512];
        let mut put = |at: usize, bytes: &[u8]| block[at..at + bytes.len()].copy_from_slice(bytes);
        put(0, &self.jump);
        put(11, &self.sector_size.to_le_bytes());
        put(13, &[self.cluster_sectors]);
        put(14, &self.reserved.to_le_bytes());
        put(16, &[self.fats]);
        put(17, &self.root_entries.to_le_bytes());
        put(19, &self.total_16.to_le_bytes());
        put(21, &[self.media]);
        put(22, &self.fat_16.to_le_bytes());
        put(32, &self.total_32.to_le_bytes());
        put(36, &self.fat_32.to_le_bytes());
        put(40, &self.flags.to_le_bytes());
        put(42, &self.version.to_le_bytes());
        put(44, &self.root_cluster.to_le_bytes());
        put(510, &[0x55, 0xAA]);
        block
    }
}

fn scrambled(seed: u64, number: u64, index: u64) -> u64 {
    // The finaliser of SplitMix64 (from memory); any good mixing would do.
    let mut x = seed ^ number.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ index.wrapping_mul(0xD1B5_4A32_D192_ED03);
    x = (x ^ x >> 30).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    x = (x ^ x >> 27).wrapping_mul(0x94D0_49BB_1331_11EB);
    x ^ x >> 31
}

/// A directory block: files, folders, pieces of long names, deleted entries, labels, and now and then the end.
fn directory_block(seed: u64, number: u64) -> Block {
    let mut block = [0; 512];
    for (index, raw) in block.chunks_exact_mut(32).enumerate() {
        let random = scrambled(seed, number, index as u64);
        raw.copy_from_slice(b"FILE0   UPD\x20\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0");
        raw[4] = random as u8;
        raw[11] = [0x20, 0x20, 0x20, 0x10, 0x0F, 0x08][(random >> 8) as usize % 6];
        if raw[11] == 0x0F {
            raw[0] = (random >> 16) as u8 & 0x43;
        }
        match random >> 20 & 63 {
            0..5 => raw[0] = 0xE5,
            5 => raw[0] = 0,
            _ => {}
        }
        raw[20] = u8::from(random >> 26 & 31 == 0);
        raw[26] = (random >> 32) as u8;
        raw[27] = (random >> 40) as u8 & 3;
        // Sizes up to 64 KiB, a few up to 16 MiB.
        raw[28] = (random >> 44) as u8;
        raw[29] = (random >> 52) as u8;
        raw[30] = if random >> 60 == 0 { raw[29] } else { 0 };
    }
    block
}

/// The entry of a made-up FAT: mostly on to the next cluster, sometimes elsewhere, an end, or wrong.
fn link(seed: u64, cluster: u64) -> u32 {
    let random = scrambled(seed, cluster, 77);
    match random & 63 {
        0..48 => cluster as u32 + 1,
        48..53 => u32::MAX,
        53..60 => (random >> 8) as u32 & 0x3FF,
        60 => 0,
        61 => 0xFFFF_FFF7,
        62 => (random >> 8) as u32,
        _ => 1,
    }
}

/// A block of a made-up FAT, counted from its first.
fn fat_block(seed: u64, number: u64, width: Kind) -> Block {
    let mut block = [0; 512];
    for (at, byte) in (number * 512..).zip(&mut block) {
        *byte = match width {
            Kind::Fat32 => link(seed, at / 4).to_le_bytes()[(at % 4) as usize],
            Kind::Fat16 => link(seed, at / 2).to_le_bytes()[(at % 2) as usize],
            Kind::Fat12 => {
                let pair = at / 3 * 2;
                let both = link(seed, pair) & 0xFFF | link(seed, pair + 1) << 12;
                both.to_le_bytes()[(at % 3) as usize]
            }
        };
    }
    block
}

/// What the random volumes came to, so that the test can tell whether it tested anything.
#[derive(Default)]
struct Tally {
    mounted: u32,
    whole: u32,
    refused: HashSet<Discriminant<Error>>,
    broken: HashSet<Discriminant<Error>>,
}

fn look_at(boot: &Boot, seed: u64, start: Option<u32>, tally: &mut Tally) {
    let mut table = [0; 512];
    if let Some(start) = start {
        table[446..458].copy_from_slice(&[0, 0, 0, 0, 0x0C, 0, 0, 0, start as u8, (start >> 8) as u8, 0, 0]);
        table[458..462].copy_from_slice(&(DEVICE as u32).to_le_bytes());
        table[510..].copy_from_slice(&[0x55, 0xAA]);
    }
    let first = u64::from(start.unwrap_or(0));
    let fat = u64::from(boot.reserved) * u64::from(boot.sector_size / 512);
    let one_fat = u64::from(boot.fat_16.max(boot.fat_32 as u16)) * u64::from(boot.sector_size / 512);
    let walked = walk(
        DEVICE,
        DeviceBlock::B512,
        LIMITS,
        &mut |number| match number.checked_sub(first) {
            Some(0) => boot.block(),
            Some(within) if (fat..fat + 2 * one_fat).contains(&within) => {
                fat_block(seed, (within - fat) % one_fat, boot.likely_width())
            }
            Some(within) => directory_block(seed, within),
            None => table,
        },
    );
    match walked {
        Ok(walk) => {
            tally.mounted += 1;
            tally.broken.extend(walk.stopped.iter().map(discriminant));
            for entry in &walk.entries {
                match &entry.contents {
                    Ok(bytes) if bytes.is_empty() => {}
                    Ok(_) => tally.whole += 1,
                    Err(error) => _ = tally.broken.insert(discriminant(error)),
                }
            }
        }
        Err(error) => _ = tally.refused.insert(discriminant(&error)),
    }
}

#[test]
fn nothing_made_up_breaks_a_promise() {
    // The same volumes each time, since what they come to is checked at the end; the fuzz target looks for new ones.
    let config = ProptestConfig {
        failure_persistence: None,
        ..ProptestConfig::with_cases(6000)
    };
    let mut runner = TestRunner::new_with_rng(config, TestRng::deterministic_rng(RngAlgorithm::ChaCha));
    let starts = prop_oneof![Just(None), (1u32..9000).prop_map(Some)];
    let tally = RefCell::new(Tally::default());
    let inputs = (boots(), any::<u64>(), starts);
    let look = |(boot, seed, start): (Boot, u64, Option<u32>)| {
        look_at(&boot, seed, start, &mut tally.borrow_mut());
        Ok(())
    };
    runner.run(&inputs, look).unwrap();
    let tally = tally.into_inner();
    assert!(
        tally.mounted > 200 && tally.whole > 100,
        "{} mounted, {} files read",
        tally.mounted,
        tally.whole
    );
    // Free, bad and impossible links, loops, short chains, impossible first clusters; the rest are too rare to count on.
    assert!(tally.broken.len() >= 6, "broken in {} ways", tally.broken.len());
    assert!(tally.refused.len() >= 12, "refused for {} reasons", tally.refused.len());
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(2000) })]

    #[test]
    fn a_first_block_of_random_bytes_is_refused_or_kept_within_bounds(
        bytes in prop::collection::vec(any::<u8>(), 512),
        blocks in prop_oneof![0u64..40, Just(u64::MAX), any::<u64>()],
    ) {
        let mut block: Block = bytes.try_into().unwrap();
        block[510..].copy_from_slice(&[0x55, 0xAA]);
        // Statuses 00 and 80, so that the rest can be taken for a table.
        for at in [446, 462, 478, 494] {
            block[at] &= 0x80;
        }
        for device_block in [DeviceBlock::B512, DeviceBlock::B4096] {
            let walked = walk(blocks, device_block, LIMITS, &mut |number| if number == 0 { block } else { directory_block(7, number) });
            if blocks == 0 {
                prop_assert_eq!(walked.err(), Some(Error::EmptyDevice));
            }
        }
    }
}
