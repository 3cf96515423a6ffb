//! Random files in the root, put there by our builder and by mtools, come back equal; damaged images are read within bounds.

mod common;
#[path = "../../../unit-side/fat/tests/walk/mod.rs"]
mod walk;

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use common::{noise, spec, succeed, tool};
use packstaff_stick::{DeviceBlock, Kind, SeekSource, StickFile, StickImage, StickSpec, build, listing, read_file};
use proptest::prelude::*;
use walk::{ALL, Limits, walk};

fn cases(cases: u32) -> ProptestConfig {
    ProptestConfig {
        failure_persistence: None,
        ..ProptestConfig::with_cases(cases)
    }
}

fn specs() -> impl Strategy<Value = StickSpec> {
    let shapes = prop::sample::select(vec![
        (Kind::Fat12, 2 << 20, None),
        (Kind::Fat12, 9 << 20, Some(8192)),
        (Kind::Fat16, 9 << 20, None),
        (Kind::Fat16, 40 << 20, Some(4096)),
        (Kind::Fat32, 40 << 20, None),
        (Kind::Fat32, 300 << 20, Some(4096)),
    ]);
    let name = "[A-Z0-9!#$%&'()@^_`{}~-]{1,8}(\\.[A-Z0-9_~-]{1,3})?";
    let names = prop::collection::hash_set(name, 0..40);
    let sectors = prop::sample::select(vec![DeviceBlock::B512, DeviceBlock::B512, DeviceBlock::B2048]);
    (shapes, names, any::<bool>(), sectors, any::<u64>()).prop_map(|(shape, names, partitioned, sector, seed)| {
        let (kind, size, cluster) = shape;
        // Larger sectors would leave too few clusters for the other shapes.
        let sector = if kind == Kind::Fat12 { sector } else { DeviceBlock::B512 };
        let mut spec = StickSpec {
            partitioned,
            cluster,
            sector,
            ..spec(kind, size + (1 << 20))
        };
        for (index, name) in names
            .into_iter()
            .enumerate()
            .filter(|(_, name)| packstaff_stick::short_name(name).is_ok())
        {
            let seed = seed.wrapping_add(index as u64);
            let length = [0, 1, 511, 512, 513, 2048, 4097, 30_000][seed as usize % 8];
            spec.files.push(StickFile {
                name,
                contents: noise(length, seed),
            });
        }
        spec
    })
}

fn read_all(image: &StickImage, spec: &StickSpec) -> Vec<StickFile> {
    let walked = walk(image.blocks(), spec.sector, ALL, &mut |number| {
        image.block(number).unwrap()
    })
    .unwrap();
    assert_eq!(walked.stopped, None);
    let file = |walked: walk::Walked| StickFile {
        name: walked.entry.short.to_string(),
        contents: walked.contents.unwrap(),
    };
    walked.entries.into_iter().map(file).collect()
}

proptest! {
    #![proptest_config(cases(150))]

    #[test]
    fn what_is_built_is_read_back(spec in specs()) {
        let image = build(&spec).unwrap();
        prop_assert_eq!(&build(&spec).unwrap(), &image, "equal specs make equal images");
        prop_assert!(read_all(&image, &spec) == spec.files);
    }

    #[test]
    fn damage_is_found_or_does_not_matter(
        spec in specs(),
        flips in prop::collection::vec((any::<prop::sample::Index>(), 0u32..8), 1..60),
        cut in prop::option::weighted(0.2, any::<prop::sample::Index>()),
    ) {
        let image = build(&spec).unwrap();
        // Flips where they hurt: tables, FATs, root, and the first of the data, and nowhere in the long zero stretches.
        let busy: Vec<u64> = (0..image.blocks().min(20_000)).filter(|&number| image.read_block(number) != [0; 512]).collect();
        let mut damaged: BTreeMap<u64, [u8; 512]> = BTreeMap::new();
        for (place, bit) in flips {
            let place = place.index(busy.len() * 512);
            let number = busy[place / 512];
            damaged.entry(number).or_insert_with(|| image.read_block(number))[place % 512] ^= 1 << bit;
        }
        let blocks = cut.map_or(image.blocks(), |cut| cut.index(image.blocks() as usize) as u64);
        let limits = Limits { entries: 600, steps: 200_000 };
        // The walk itself checks what holds on any input; nothing more is asked of a damaged stick.
        let _ = walk(blocks, spec.sector, limits, &mut |number| {
            damaged.get(&number).copied().unwrap_or_else(|| image.read_block(number))
        });
    }
}

/// Runs an mtools command on an image.
fn mtools(image: &Path, name: &str, arguments: &[String]) -> String {
    succeed(&tool("mtools", name, |command| {
        // Names outside ASCII need a locale that has them.
        command.env("LC_ALL", "C.UTF-8").arg("-i").arg(image).args(arguments)
    }))
}

fn strings<const N: usize>(arguments: [&str; N]) -> Vec<String> {
    arguments.map(str::to_owned).to_vec()
}

/// Puts files on by mtools, in two rounds with deletions in between, so that names share directory space and files get several
/// pieces; then reads all with our reader.
fn round_by_mtools(shape: (&str, &[&str]), names: &[String], seed: u64) {
    let folder = tempfile::tempdir().unwrap();
    let image = folder.path().join("stick.img");
    let (blocks, options) = shape;
    let format = [
        &["-C", "-T", blocks, "-h", "255", "-s", "63"][..],
        options,
        &["-v", "KILN", "::"],
    ]
    .concat();
    mtools(
        &image,
        "mformat",
        &format.iter().map(|&text| text.to_owned()).collect::<Vec<_>>(),
    );
    let mut expected = BTreeMap::new();
    let mut put = |names: &[String], seed: u64| {
        let mut arguments = strings(["-o"]);
        for (index, name) in names.iter().enumerate() {
            let contents = noise([1, 700, 5_000, 20_000, 0][index % 5], seed + index as u64);
            let path = folder.path().join(name);
            fs::write(&path, &contents).unwrap();
            arguments.push(path.to_str().unwrap().to_owned());
            expected.insert(name.clone(), contents);
        }
        arguments.push("::".to_owned());
        mtools(&image, "mcopy", &arguments);
    };
    let (first, second) = names.split_at(names.len() / 2);
    put(first, seed);
    let deleted: Vec<&String> = first.iter().step_by(2).collect();
    let doomed: Vec<String> = deleted.iter().map(|name| format!("::{name}")).collect();
    mtools(&image, "mdel", &doomed);
    put(second, seed + 1000);
    for name in deleted {
        expected.remove(name);
    }

    let mut source = SeekSource::new(fs::File::open(&image).unwrap()).unwrap();
    let listing = listing(&mut source).unwrap();
    assert_eq!(listing.stopped, None);
    assert_eq!(listing.label.as_deref(), Some("KILN"));
    let mut found = BTreeMap::new();
    for listed in &listing.entries {
        assert_eq!(listing.find(&listed.to_string()).unwrap(), listed);
        found.insert(
            listed.to_string(),
            read_file(&mut source, &listing.volume, &listed.entry).unwrap(),
        );
    }
    assert_eq!(found.keys().collect::<Vec<_>>(), expected.keys().collect::<Vec<_>>());
    assert!(found == expected, "contents differ");
}

proptest! {
    #![proptest_config(cases(20))]

    #[test]
    fn what_mtools_puts_on_is_read(
        shape in prop::sample::select(vec![
            ("4096", &["-c", "1"][..]),
            ("40000", &["-c", "2"][..]),
            ("90000", &["-F", "-c", "1"][..]),
            ("600000", &["-F", "-c", "8"][..]),
        ]),
        names in prop::collection::vec("[A-Za-z0-9_éñ][A-Za-z0-9 ._()+,=éñжд-]{0,60}[A-Za-z0-9_éжд]", 2..24),
        seed in 0u64..1_000_000,
    ) {
        // Two names that differ in case alone are one name on FAT; a number in front also keeps device names away. A short name
        // may hold letters outside ASCII in a code page that only mtools knows; more letters make mtools write a long one.
        let numbered = |(index, name): (usize, &String)| {
            format!("{index}{name}{}", if name.is_ascii() { "" } else { " and more" })
        };
        let names: Vec<String> = names.iter().enumerate().map(numbered).collect();
        round_by_mtools(shape, &names, seed);
    }
}
