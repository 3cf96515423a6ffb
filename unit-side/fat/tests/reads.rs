//! How many blocks are read, and where volumes are found, on volumes laid down by hand.

use std::collections::BTreeMap;

use packstaff_fat::{Block, DataBlock, DeviceBlock, Entry, Error, Kind, Mount, Step, Volume};

/// A volume laid down by hand: the geometry of each form, and one file of many clusters.
struct Stick {
    blocks: u64,
    written: BTreeMap<u64, Block>,
    reads: Vec<u64>,
}

impl Stick {
    fn read(&mut self, number: u64) -> Block {
        self.reads.push(number);
        self.written.get(&number).copied().unwrap_or([0; 512])
    }

    fn put(&mut self, byte: u64, bytes: &[u8]) {
        for (at, value) in (byte..).zip(bytes) {
            self.written.entry(at / 512).or_insert([0; 512])[(at % 512) as usize] = *value;
        }
    }

    fn mount(&mut self, device_block: DeviceBlock) -> Result<Volume, Error> {
        let mut mount = Mount::with_device_block(self.blocks, device_block);
        let mut held = None;
        loop {
            match mount.step(held.as_ref())? {
                Step::Read(number) => held = Some(self.read(number)),
                Step::Ready(volume) => return Ok(volume),
            }
        }
    }

    fn first_entry(&mut self, volume: &Volume) -> Entry {
        let mut root = volume.root();
        let mut held = None;
        loop {
            match root.step(volume, held.as_ref(), None).unwrap() {
                Step::Read(number) => held = Some(self.read(number)),
                Step::Ready(entry) => return entry.unwrap(),
            }
        }
    }

    fn data_blocks(&mut self, volume: &Volume, entry: &Entry) -> Result<Vec<DataBlock>, Error> {
        let mut file = volume.file(entry);
        let mut held: Option<Block> = None;
        let mut found = Vec::new();
        loop {
            match file.step(volume, held.take().as_ref())? {
                Step::Read(number) => held = Some(self.read(number)),
                Step::Ready(Some(data)) => found.push(data),
                Step::Ready(None) => return Ok(found),
            }
        }
    }

    /// Changes an entry of a FAT16 that begins in block 1.
    fn link_16(&mut self, cluster: u32, link: u16) {
        self.put(512 + 2 * u64::from(cluster), &link.to_le_bytes());
    }
}

/// Sizes in sectors of 512 bytes, clusters of one sector: reserved, one FAT, root, clusters.
fn shape(kind: Kind) -> (u64, u64, u64, u64) {
    match kind {
        Kind::Fat12 => (1, 12, 2, 4000),
        Kind::Fat16 => (1, 40, 2, 10_000),
        Kind::Fat32 => (32, 520, 0, 66_000),
    }
}

fn fat_bytes(kind: Kind, links: &[u32]) -> Vec<u8> {
    match kind {
        Kind::Fat32 => links.iter().flat_map(|link| link.to_le_bytes()).collect(),
        Kind::Fat16 => links.iter().flat_map(|&link| (link as u16).to_le_bytes()).collect(),
        Kind::Fat12 => {
            let mut bytes = vec![0u8; links.len() * 3 / 2 + 2];
            for (n, link) in links.iter().enumerate() {
                let shifted = if n % 2 == 0 { link & 0xFFF } else { (link & 0xFFF) << 4 };
                bytes[n + n / 2] |= shifted as u8;
                bytes[n + n / 2 + 1] |= (shifted >> 8) as u8;
            }
            bytes
        }
    }
}

/// A stick with one file that has the clusters given, in that order.
fn stick(kind: Kind, first_block: u64, chain: &[u32]) -> Stick {
    let (reserved, fat, root, clusters) = shape(kind);
    let total = reserved + fat + root + clusters;
    let mut stick = Stick {
        blocks: first_block + total,
        written: BTreeMap::new(),
        reads: Vec::new(),
    };
    let base = first_block * 512;
    stick.put(base, &[0xEB, 0x3C, 0x90]);
    stick.put(base + 11, &[0x00, 0x02, 1, reserved as u8, 0, 1]);
    stick.put(base + 17, &((root * 16) as u16).to_le_bytes());
    stick.put(base + 21, &[0xF8]);
    stick.put(base + 32, &(total as u32).to_le_bytes());
    stick.put(base + 510, &[0x55, 0xAA]);
    if kind == Kind::Fat32 {
        stick.put(base + 36, &(fat as u32).to_le_bytes());
        stick.put(base + 44, &2u32.to_le_bytes());
    } else {
        stick.put(base + 22, &(fat as u16).to_le_bytes());
    }
    let mut links = vec![0u32; clusters as usize + 2];
    if kind == Kind::Fat32 {
        links[2] = 0x0FFF_FFFF;
    }
    for pair in chain.windows(2) {
        links[pair[0] as usize] = pair[1];
    }
    links[*chain.last().unwrap() as usize] = 0x0FFF_FFFF;
    stick.put(base + reserved * 512, &fat_bytes(kind, &links));
    let root_byte = base + (reserved + fat) * 512;
    let mut entry = *b"KC4     UPD\x20\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0\0";
    entry[26..28].copy_from_slice(&(chain[0] as u16).to_le_bytes());
    entry[28..].copy_from_slice(&(chain.len() as u32 * 512 - 100).to_le_bytes());
    stick.put(root_byte, &entry);
    stick
}

fn block_of_cluster(kind: Kind, cluster: u32) -> u64 {
    let (reserved, fat, root, _) = shape(kind);
    reserved + fat + root + u64::from(cluster) - 2
}

const KINDS: [Kind; 3] = [Kind::Fat12, Kind::Fat16, Kind::Fat32];

#[test]
fn a_file_in_one_piece_costs_one_read_per_fat_block() {
    for kind in KINDS {
        let chain: Vec<u32> = (3..3003).collect();
        let mut stick = stick(kind, 0, &chain);
        let volume = stick.mount(DeviceBlock::B512).unwrap();
        assert_eq!((volume.kind(), u64::from(volume.clusters())), (kind, shape(kind).3));
        let entry = stick.first_entry(&volume);
        stick.reads.clear();
        let blocks = stick.data_blocks(&volume, &entry).unwrap();
        let expected: Vec<u64> = chain.iter().map(|&cluster| block_of_cluster(kind, cluster)).collect();
        assert_eq!(blocks.iter().map(|data| data.block).collect::<Vec<_>>(), expected);
        assert!(blocks[..2999].iter().all(|data| data.len == 512));
        assert_eq!(blocks[2999].len, 412);
        // Entries 3 to 3002, at 1.5, 2 and 4 bytes, lie in this many blocks of 512 bytes from the FAT's first on.
        let fat_blocks = match kind {
            Kind::Fat12 => 9,
            Kind::Fat16 => 12,
            Kind::Fat32 => 24,
        };
        let first = shape(kind).0;
        assert_eq!(stick.reads, (first..first + fat_blocks).collect::<Vec<_>>(), "{kind}");
    }
}

#[test]
fn a_file_in_many_pieces_is_followed() {
    for kind in KINDS {
        // Every third cluster, backwards, which crosses the entries that straddle FAT12 blocks in all ways; then a run.
        let chain: Vec<u32> = (3..3000).rev().step_by(3).chain(3100..3500).collect();
        let mut stick = stick(kind, 0, &chain);
        let volume = stick.mount(DeviceBlock::B512).unwrap();
        let entry = stick.first_entry(&volume);
        stick.reads.clear();
        let blocks = stick.data_blocks(&volume, &entry).unwrap();
        let expected: Vec<u64> = chain.iter().map(|&cluster| block_of_cluster(kind, cluster)).collect();
        assert_eq!(blocks.iter().map(|data| data.block).collect::<Vec<_>>(), expected);
        assert!(stick.reads.len() as u64 <= volume.max_file_reads());
    }
}

#[test]
fn a_chain_of_all_clusters_is_read_and_bounds_every_loop() {
    // All 10,000 clusters, in an order that has the next entry in another block most times.
    let chain: Vec<u32> = (0..10_000).map(|n| n * 3_001 % 10_000 + 2).collect();
    let mut whole = stick(Kind::Fat16, 0, &chain);
    let volume = whole.mount(DeviceBlock::B512).unwrap();
    let entry = whole.first_entry(&volume);
    whole.reads.clear();
    assert_eq!(whole.data_blocks(&volume, &entry).unwrap().len(), 10_000);
    assert!((9_000..=volume.max_file_reads()).contains(&(whole.reads.len() as u64)));
    // The same, back from the last to another one of them.
    for back in [0, 1, 4_000, 9_998, 9_999] {
        let mut looping = stick(Kind::Fat16, 0, &chain);
        looping.link_16(chain[9_999], chain[back] as u16);
        assert!(
            matches!(looping.data_blocks(&volume, &entry), Err(Error::ChainLoop { .. })),
            "{back}"
        );
        assert!(
            looping.reads.len() as u64 <= volume.max_file_reads(),
            "{} reads",
            looping.reads.len()
        );
    }
}

#[test]
fn a_root_that_is_full_is_read_to_its_end_and_no_further() {
    let mut stick = stick(Kind::Fat16, 0, &[2]);
    let volume = stick.mount(DeviceBlock::B512).unwrap();
    // 32 entries in two blocks, and the data right after them looks like entries too.
    let root = (1 + 40) * 512;
    for n in 0..40u8 {
        stick.put(root + 32 * u64::from(n), &[b'A' + n / 10, b'0' + n % 10]);
        stick.put(root + 32 * u64::from(n) + 2, b"      UPD\x20");
    }
    for keeps_block in [true, false] {
        let mut reader = volume.root();
        let mut held = None;
        let mut names = Vec::new();
        stick.reads.clear();
        loop {
            match reader.step(&volume, held.as_ref(), None).unwrap() {
                Step::Read(number) => held = Some(stick.read(number)),
                Step::Ready(None) => break,
                Step::Ready(Some(entry)) => {
                    names.push(entry.short.to_string());
                    assert_eq!(entry.position as usize + 1, names.len());
                    held = held.filter(|_| keeps_block);
                }
            }
        }
        let expected: Vec<String> = (0..32)
            .map(|n| format!("{}{}.UPD", char::from(b'A' + n / 10), n % 10))
            .collect();
        assert_eq!(names, expected);
        let reads = if keeps_block {
            vec![41, 42]
        } else {
            [[41; 16], [42; 16]].concat()
        };
        assert_eq!(stick.reads, reads);
    }
}

#[test]
fn marks_are_those_of_the_specification() {
    // FAT specification, "FAT Data Structure": FFF7 is bad, FFF8 and above end; FFF6 is no cluster here, and 0 is free.
    let mut stick = stick(Kind::Fat16, 0, &[2, 3, 9]);
    let volume = stick.mount(DeviceBlock::B512).unwrap();
    let entry = stick.first_entry(&volume);
    for end in 0xFFF8..=0xFFFF {
        stick.link_16(9, end);
        assert_eq!(
            stick.data_blocks(&volume, &entry).map(|blocks| blocks.len()),
            Ok(3),
            "{end:04X}"
        );
    }
    for (link, error) in [
        (0xFFF7, Error::ChainBad { cluster: 9 }),
        (
            0xFFF6,
            Error::ChainOutside {
                cluster: 9,
                found: 0xFFF6,
                last: 10_001,
            },
        ),
        (
            10_002,
            Error::ChainOutside {
                cluster: 9,
                found: 10_002,
                last: 10_001,
            },
        ),
        (
            1,
            Error::ChainOutside {
                cluster: 9,
                found: 1,
                last: 10_001,
            },
        ),
        (0, Error::ChainFree { cluster: 9 }),
    ] {
        stick.link_16(9, link);
        assert_eq!(stick.data_blocks(&volume, &entry), Err(error));
    }
    stick.link_16(9, 10_001);
    stick.link_16(10_001, 0xFFF8);
    assert_eq!(
        stick.data_blocks(&volume, &entry).map(|blocks| blocks.len()),
        Ok(3),
        "the last cluster is one"
    );
}

#[test]
fn a_table_has_its_marks_too() {
    let mut stick = stick(Kind::Fat16, 4096, &[2]);
    stick.put(450, &[0x0E]);
    stick.put(454, &4096u32.to_le_bytes());
    stick.put(458, &20_000u32.to_le_bytes());
    stick.put(510, &[0x55, 0xAA]);
    for (status, found) in [(0x00, true), (0x80, true), (0x01, false), (0x7F, false), (0xFF, false)] {
        stick.put(446, &[status]);
        let mounted = stick.mount(DeviceBlock::B512);
        assert_eq!(mounted.is_ok(), found, "status {status:02X}");
        assert!(found || mounted == Err(Error::NotFat { block: 0 }));
    }
}

#[test]
fn mounting_reads_one_block_without_a_table_and_one_more_per_partition() {
    let mut plain = stick(Kind::Fat16, 0, &[2]);
    assert_eq!(plain.mount(DeviceBlock::B512).unwrap().slot(), None);
    assert_eq!(plain.reads, [0]);
    let mut last_of_four = stick(Kind::Fat16, 4096, &[2]);
    for (at, start) in [(446u64, 8u32), (462, 16), (478, 24), (494, 4096)] {
        last_of_four.put(at + 4, &[0x0E]);
        last_of_four.put(at + 8, &start.to_le_bytes());
        last_of_four.put(at + 12, &20_000u32.to_le_bytes());
    }
    last_of_four.put(510, &[0x55, 0xAA]);
    assert_eq!(last_of_four.mount(DeviceBlock::B512).unwrap().slot(), Some(4));
    assert_eq!(last_of_four.reads, [0, 8, 16, 24, 4096]);
    assert_eq!(last_of_four.reads.len() as u64, Mount::MAX_READS);
}

#[test]
fn a_table_counts_blocks_of_the_device() {
    for (device_block, start) in [
        (DeviceBlock::B512, 4096u32),
        (DeviceBlock::B1024, 2048),
        (DeviceBlock::B2048, 1024),
        (DeviceBlock::B4096, 512),
    ] {
        let mut stick = stick(Kind::Fat16, 4096, &[2]);
        stick.put(450, &[0x0E]);
        stick.put(454, &start.to_le_bytes());
        stick.put(458, &(11_000 / device_block.blocks() as u32).to_le_bytes());
        stick.put(510, &[0x55, 0xAA]);
        assert_eq!(stick.mount(device_block).unwrap().first_block(), 4096);
        assert_eq!(
            DeviceBlock::from_bytes(512 * device_block.blocks() as u32),
            Some(device_block)
        );
    }
}

#[test]
fn the_most_telling_error_of_several_partitions_is_given() {
    let mut stick = stick(Kind::Fat16, 4096, &[2]);
    stick.put(4096 * 512 + 14, &[0, 0]);
    // Nothing at all, exFAT, a broken FAT volume, one beyond the end.
    stick.put(16 * 512 + 3, b"EXFAT   ");
    stick.put(16 * 512 + 510, &[0x55, 0xAA]);
    for (at, start) in [(446u64, 8u32), (462, 16), (478, 4096), (494, 900_000)] {
        stick.put(at + 4, &[0x0C]);
        stick.put(at + 8, &start.to_le_bytes());
        stick.put(at + 12, &20_000u32.to_le_bytes());
    }
    stick.put(510, &[0x55, 0xAA]);
    assert_eq!(stick.mount(DeviceBlock::B512), Err(Error::NoReservedSectors));
    stick.put(478 + 4, &[0]);
    assert_eq!(stick.mount(DeviceBlock::B512), Err(Error::ExFat));
    stick.put(462 + 4, &[0]);
    let outside = Error::PartitionOutside {
        slot: 4,
        start: 900_000,
        blocks: stick.blocks,
    };
    assert_eq!(stick.mount(DeviceBlock::B512), Err(outside));
    stick.put(494 + 4, &[0]);
    assert_eq!(stick.mount(DeviceBlock::B512), Err(Error::NoSignature { block: 8 }));
    // Of two that tell as much, the first.
    stick.put(494 + 4, &[0x0C]);
    stick.put(494 + 8, &32u32.to_le_bytes());
    assert_eq!(stick.mount(DeviceBlock::B512), Err(Error::NoSignature { block: 8 }));
}

#[test]
fn the_form_changes_at_the_specifications_counts() {
    // FAT specification, "FAT Type Determination": below 4085 clusters FAT12, below 65525 FAT16.
    for (clusters, kind) in [
        (4084u32, Ok(Kind::Fat12)),
        (4085, Ok(Kind::Fat16)),
        (65_524, Ok(Kind::Fat16)),
        (65_525, Err(65_525)),
    ] {
        let mut stick = stick(Kind::Fat16, 0, &[2]);
        let total = 1 + 256 + 2 + clusters;
        stick.put(22, &256u16.to_le_bytes());
        stick.put(32, &total.to_le_bytes());
        stick.blocks = total.into();
        let found = stick.mount(DeviceBlock::B512).map(|volume| volume.kind());
        assert_eq!(found, kind.map_err(|clusters| Error::TypeConflict { clusters }));
    }
}

#[test]
fn the_most_clusters_stay_below_the_bad_mark() {
    for (clusters, fits) in [(0x0FFF_FFF5u32, true), (0x0FFF_FFF6, false)] {
        let mut stick = stick(Kind::Fat32, 0, &[3]);
        let fat = 0x20_0000u32;
        stick.put(36, &fat.to_le_bytes());
        stick.put(32, &(32 + fat + clusters).to_le_bytes());
        stick.blocks = u64::MAX;
        let found = stick.mount(DeviceBlock::B512).map(|volume| volume.clusters());
        assert_eq!(
            found,
            if fits {
                Ok(clusters)
            } else {
                Err(Error::TooManyClusters { clusters })
            }
        );
    }
}

#[test]
fn the_state_fits_a_small_unit() {
    let sizes = [
        ("Mount", size_of::<Mount>(), 96),
        ("Volume", size_of::<Volume>(), 96),
        ("DirectoryReader", size_of::<packstaff_fat::DirectoryReader>(), 96),
        ("FileReader", size_of::<packstaff_fat::FileReader>(), 80),
        ("Entry", size_of::<Entry>(), 40),
        ("LongName", size_of::<packstaff_fat::LongName>(), 520),
    ];
    for (name, size, most) in sizes {
        println!("{name}: {size} bytes");
        assert!(size <= most, "{name} has {size} bytes");
    }
}
