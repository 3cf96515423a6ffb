//! Settings that the unit's own `keeper` keeps: what it writes is read from a dump, and what is written for it, it finds.

use packstaff_keeper::{Config, Found, Keeper, Memory, Region, Reply, Request};
use packstaff_settings::carry::{Carrier, History, carry_record};
use packstaff_settings::dump::{image, read, seal};
use packstaff_settings::layout::Layout;

const OLD: &str = r#"
format = 1
version = "1.0"
number = 0x0100
name = "kept_1_0"
field = [
    { name = "offset", type = "i16", scale = "1/10", unit = "°F", difference = true, kind = "calibration" },
    { name = "hours", type = "u32", unit = "h", kind = "counter" },
    { name = "tone", type = "u8", names = { low = 1, high = 2 } },
]
[memory]
regions = [{ start = 0x100, size = 0x200 }]
"#;

const NEW: &str = r#"
format = 1
version = "1.1"
number = 0x0101
name = "kept_1_1"
field = [
    { name = "tone", type = "u8", names = { quiet = 0, low = 1, shrill = 2 } },
    { name = "offset", type = "i32", scale = "1/100", unit = "°C", difference = true, kind = "calibration" },
    { name = "hours", type = "u32", unit = "h", kind = "counter" },
    { name = "pin", type = "u16", kind = "secret", default = 1234 },
]
[memory]
regions = [{ start = 0x100, size = 0x200 }]
[[from]]
version = "1.0"
pair = [{ old = "tone", new = "tone", names = { high = "shrill" } }]
"#;

fn layout(text: &str) -> Layout {
    Layout::from_text("layout", text).unwrap_or_else(|error| panic!("{error}"))
}

fn config<'a>(layout: &Layout, tables: &'a [&'a [u8]]) -> Config<'a> {
    Config {
        memory: Memory::Pages { page: 16 },
        region: Region {
            base: 0x100,
            size: 0x200,
        },
        room: 64,
        aside: None,
        layout: layout.number,
        len: u16::try_from(layout.record.size).unwrap(),
        tables,
        ways_back: &[],
    }
}

/// Drives a keeper over a memory until it rests.
fn run(keeper: &mut Keeper<64, 64>, config: &Config<'_>, memory: &mut [u8]) -> Found {
    let mut reply: Vec<u8>;
    let mut answer = Reply::Go;
    for _ in 0..10_000 {
        match keeper.step(config, answer) {
            Request::Read { address, len } => {
                reply = memory[address as usize..][..len as usize].to_vec();
                answer = Reply::Bytes(&reply);
            }
            Request::Write { address, data } => {
                memory[address as usize..][..data.len()].copy_from_slice(data);
                answer = Reply::Done;
            }
            Request::Erase { .. } => panic!("nothing is erased in such a memory"),
            Request::Rest(found) => return found,
            Request::Stuck(stuck) => panic!("{stuck:?}"),
        }
    }
    panic!("the keeper does not come to rest");
}

#[test]
fn what_keeper_saves_is_read_from_a_dump() {
    let old = layout(OLD);
    let config = config(&old, &[]);
    let mut memory = vec![0xff; 0x400];
    let mut keeper = Keeper::<64, 64>::new();
    assert_eq!(run(&mut keeper, &config, &mut memory), Found::Nothing);
    for hours in 0..40u8 {
        let mut record = vec![0; old.record.size as usize];
        seal(&old, &mut record, 0);
        record[..2].copy_from_slice(&(-36i16).to_le_bytes());
        record[4] = hours;
        record[8] = 2;
        keeper.save(&config, &record).unwrap();
        run(&mut keeper, &config, &mut memory);
        let reading = read(&old, &memory).unwrap();
        assert!(reading.chosen.is_some());
        assert_eq!(reading.record, record, "the newest of {}", reading.copies.len());
    }
    let shown: Vec<String> = read(&old, &memory)
        .unwrap()
        .settings
        .values()
        .iter()
        .map(ToString::to_string)
        .collect();
    assert_eq!(shown, ["-3.6 °F", "39 h", "high"]);
}

#[test]
fn an_image_is_what_keeper_finds_and_carries_over() {
    let (old, new) = (layout(OLD), layout(NEW));
    let history = History::new(vec![old.clone(), new.clone()]).unwrap();
    let plan = history.plan("1.0", "1.1").unwrap();
    assert_eq!(plan.carrier, Carrier::Keeper);
    assert!(plan.objections().is_empty(), "{:?}", plan.objections());
    let mut record = vec![0; old.record.size as usize];
    record[..2].copy_from_slice(&(-36i16).to_le_bytes());
    record[4] = 7;
    record[8] = 2;
    let mut memory = image(&old, &record, 5, Some(0x400)).unwrap();
    let tables = [plan.table.as_slice()];
    let config = config(&new, &tables);
    let mut keeper = Keeper::<64, 64>::new();
    let found = run(&mut keeper, &config, &mut memory);
    assert!(matches!(found, Found::CarriedOver { from: 0x0100, .. }), "{found:?}");
    // The host's carry-over and the unit's are one.
    assert_eq!(keeper.settings(), carry_record(&plan, &record).unwrap().record);
    let reading = read(&new, &memory).unwrap();
    let shown: Vec<String> = reading.settings.values().iter().map(ToString::to_string).collect();
    assert_eq!(shown, ["shrill", "-2 °C", "7 h", "(secret, not shown)"]);
}
