//! Any bytes as a carry-over table, as a record, and as the answers of a settings memory: everything comes to an end, nothing is
//! asked for outside of the regions, and nothing panics.

#![no_main]

use packstaff_keeper::carry::{Aside, carry};
use packstaff_keeper::table::Table;
use packstaff_keeper::{AsideConfig, Config, Keeper, Memory, Region, Reply, Request};
use libfuzzer_sys::fuzz_target;

const BASE: u32 = 0x1000;
const SIZE: u32 = 1024;

fuzz_target!(|input: (bool, &[u8], &[u8], &[u8])| {
    let (flash, bytes, record, memory) = input;
    if let Some(table) = Table::new(bytes) {
        let _ = table.ops().count();
        let mut from = record.to_vec();
        from.resize(usize::from(table.from_len), 0);
        let mut to = vec![0; usize::from(table.to_len)];
        let newer = to.clone();
        let left = from.clone();
        let aside = Aside {
            newer: &newer,
            left: &left,
        };
        let _ = carry(&table, &from, None, &mut to, |_| ());
        let _ = carry(&table, &from, Some(aside), &mut to, |_| ());
    }
    let kind = match flash {
        true => Memory::Flash {
            sector: 256,
            granule: 8,
            erased: 0xff,
        },
        false => Memory::Pages { page: 32 },
    };
    let region = Region { base: BASE, size: SIZE };
    let aside = AsideConfig {
        region: Region {
            base: BASE + SIZE,
            size: SIZE,
        },
        room: 128,
    };
    let config = Config {
        memory: kind,
        region,
        room: 40,
        aside: Some(aside),
        layout: 2,
        len: 8,
        tables: &[bytes],
        ways_back: &[],
    };
    let mut cells = memory.to_vec();
    cells.resize(2 * SIZE as usize, 0xff);
    let mut keeper = Keeper::<40, 160>::new();
    let mut answer: Option<Option<Vec<u8>>> = None;
    for _ in 0..20_000 {
        let reply = match &answer {
            None => Reply::Go,
            Some(None) => Reply::Done,
            Some(Some(bytes)) => Reply::Bytes(bytes),
        };
        answer = Some(match keeper.step(&config, reply) {
            Request::Read { address, len } => {
                let at = (address - BASE) as usize;
                Some(cells[at..at + len as usize].to_vec())
            }
            Request::Write { address, data } => {
                let at = (address - BASE) as usize;
                cells[at..at + data.len()].copy_from_slice(data);
                None
            }
            Request::Erase { address } => {
                let at = (address - BASE) as usize;
                cells[at..at + 256].fill(0xff);
                None
            }
            Request::Rest(_) | Request::Stuck(_) => return,
        });
    }
    panic!("the keeper does not come to an end");
});
