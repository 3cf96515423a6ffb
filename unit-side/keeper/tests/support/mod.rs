//! A memory that does as it is told, and a driver for it.
#![allow(dead_code)] // each test takes what it needs

use packstaff_keeper::{Config, Found, HEAD, Head, Keeper, Memory, Region, Reply, Request, Spots, Stuck};
use std::collections::BTreeMap;

pub(crate) const BASE: u32 = 0x4000;

/// Pages as a 24LC256 has them.
pub(crate) const EEPROM: Memory = Memory::Pages { page: 64 };
/// Two small sectors of flash.
pub(crate) const FLASH: Memory = Memory::Flash {
    sector: 512,
    granule: 8,
    erased: 0xff,
};

pub(crate) fn config(memory: Memory, len: u16) -> Config<'static> {
    Config {
        memory,
        region: Region { base: BASE, size: 1024 },
        room: 60,
        aside: None,
        layout: 1,
        len,
        tables: &[],
        ways_back: &[],
    }
}

#[derive(Clone)]
pub(crate) struct Plain {
    kind: Memory,
    pub(crate) cells: Vec<u8>,
    /// Writes by page or sector.
    pub(crate) writes: BTreeMap<u32, u32>,
}

impl Plain {
    pub(crate) fn new(kind: Memory) -> Self {
        Self {
            kind,
            cells: vec![0xff; 1024],
            writes: BTreeMap::new(),
        }
    }

    pub(crate) fn whole_records(&self, config: &Config<'_>) -> usize {
        let spots = Spots::new(config.memory, config.region, config.room).unwrap();
        let whole = |spot: &u32| {
            let start = (spots.record(*spot) - BASE) as usize;
            let marked = self.cells[start - spots.mark as usize..start]
                .iter()
                .any(|byte| *byte != 0xff);
            !marked && Head::decode(&self.cells[start..start + HEAD]).is_some()
        };
        (0..spots.count).filter(whole).count()
    }

    fn write(&mut self, address: u32, data: &[u8]) {
        let at = (address - BASE) as usize;
        let unit = match self.kind {
            Memory::Pages { page } => page,
            Memory::Flash { granule, .. } => granule,
        };
        let cells = &mut self.cells[at..at + data.len()];
        match self.kind {
            Memory::Pages { page } => {
                let last = address + data.len() as u32 - 1;
                assert_eq!(address / page, last / page, "a write stays within its page");
            }
            Memory::Flash { erased, .. } => {
                assert!(address.is_multiple_of(unit) && (data.len() as u32).is_multiple_of(unit));
                assert!(cells.iter().all(|byte| *byte == erased), "programmed once");
            }
        }
        cells.copy_from_slice(data);
        *self.writes.entry(address / unit).or_default() += 1;
    }
}

/// Carries out everything until the keeper rests.
pub(crate) fn drive<const ROOM: usize, const ASIDE: usize>(
    keeper: &mut Keeper<ROOM, ASIDE>,
    config: &Config<'_>,
    memory: &mut Plain,
) -> Result<Found, Stuck> {
    enum Answer {
        Bytes(Vec<u8>),
        Done,
    }
    let mut answer = None;
    for _ in 0..100_000 {
        let reply = match &answer {
            None => Reply::Go,
            Some(Answer::Bytes(bytes)) => Reply::Bytes(bytes),
            Some(Answer::Done) => Reply::Done,
        };
        answer = Some(match keeper.step(config, reply) {
            Request::Read { address, len } => {
                let at = (address - BASE) as usize;
                Answer::Bytes(memory.cells[at..at + len as usize].to_vec())
            }
            Request::Write { address, data } => {
                memory.write(address, data);
                Answer::Done
            }
            Request::Erase { address } => {
                let Memory::Flash { sector, erased, .. } = config.memory else {
                    panic!("nothing to erase");
                };
                let at = (address - BASE) as usize;
                memory.cells[at..at + sector as usize].fill(erased);
                *memory.writes.entry(address).or_default() += 1;
                Answer::Done
            }
            Request::Rest(found) => return Ok(found),
            Request::Stuck(stuck) => return Err(stuck),
        });
    }
    panic!("the keeper does not come to an end");
}
