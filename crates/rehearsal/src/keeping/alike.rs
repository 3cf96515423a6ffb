//! Worlds that are alike to a keeper: turns are only compared, and what is void or broken is only told from what is whole.
//!
//! Whole records are numbered anew in the order of their turns, and void and broken places get one representative each, so that
//! the worlds of a unit that goes on saving for ever are finitely many. That this changes no verdict is checked against
//! explorations without it (`tests/keeping.rs`).

use super::{Alike, OurKeeper};
use crc::{CRC_32_ISO_HDLC, Crc, Table};
use keeper::{FRAME, HEAD, Head, Memory, Spots, is_newer};
use unit::flash::{Change, Kind};
use unit::settings_memory::SettingsMemory;

/// The turn that the oldest whole record gets. Far from the wrap and from zero.
const FIRST: u32 = 1000;

/// The check value of records once more, with a table: a unit is short of flash, a rehearsal of time. That both are the same is
/// tested in `keeper`.
static CRC: Crc<u32, Table<16>> = Crc::<u32, Table<16>>::new(&CRC_32_ISO_HDLC);

struct Whole {
    address: u32,
    head: Head,
    payload: Vec<u8>,
}

impl<const ROOM: usize, const ASIDE: usize> OurKeeper<ROOM, ASIDE> {
    /// Where records lie: in the region of the settings, and in that aside.
    fn rings(&self) -> impl Iterator<Item = Spots> {
        let regions = [
            Some((self.region, self.room)),
            self.aside.map(|aside| (aside.region, aside.room)),
        ];
        let spots = |(region, room)| Spots::new(self.memory, region, room).ok();
        regions.into_iter().flatten().filter_map(spots)
    }
}

impl<const ROOM: usize, const ASIDE: usize> Alike for OurKeeper<ROOM, ASIDE> {
    fn settle(&self, memory: &mut SettingsMemory) {
        self.rings().for_each(|spots| settle_ring(&spots, memory));
    }

    /// In a place of an EEPROM or an FRAM that begins with no whole head there is no record, whatever lies behind that.
    fn is_unseen(&self, memory: &SettingsMemory, change: &Change) -> bool {
        let Change::Program { address, .. } = change else {
            return false;
        };
        let headless = |spots: Spots| {
            let Memory::Pages { page } = spots.memory else {
                return false;
            };
            let Some(offset) = address.checked_sub(spots.region.base) else {
                return false;
            };
            let spot = offset / spots.pitch.max(1);
            let first = spots.address(spot);
            let behind = spot < spots.count && address - first >= spots.chunk.max(page).max(HEAD as u32);
            let head = memory.read(first, HEAD as u32, false);
            behind && head.is_some_and(|bytes| Head::decode(&bytes).is_none())
        };
        self.rings().any(headless)
    }
}

fn settle_ring(spots: &Spots, memory: &mut SettingsMemory) {
    let mut whole = Vec::new();
    for spot in 0..spots.count {
        let address = spots.record(spot);
        let marked = spots.mark > 0 && !reads(memory, spots.address(spot), spots.mark, spots.erased());
        match record(memory, address, spots).filter(|_| !marked) {
            Some(found) => whole.push(found),
            None if matches!(spots.memory, Memory::Pages { .. }) => settle_page_spot(spots, spot, memory),
            None if marked => {
                let size = spots.pitch;
                fill(
                    memory,
                    spots.address(spot),
                    &vec![!spots.erased(); size as usize],
                    false,
                );
            }
            None => {}
        }
    }
    whole.sort_by(|one, other| match is_newer(one.head.turn, other.head.turn) {
        true => std::cmp::Ordering::Greater,
        false if one.head.turn == other.head.turn => std::cmp::Ordering::Equal,
        false => std::cmp::Ordering::Less,
    });
    let turns: Vec<u32> = whole.iter().map(|found| found.head.turn).collect();
    let rank = |turn: u32| turns.iter().position(|other| *other == turn);
    for found in &whole {
        let sure = match found.head.sure {
            0 => 0,
            sure => rank(sure).map_or(1, |rank| FIRST + rank as u32),
        };
        let turn = FIRST + rank(found.head.turn).unwrap_or(0) as u32;
        let head = Head {
            turn,
            sure,
            ..found.head
        };
        if head == found.head && !memory.wavers(found.address, head.size()) {
            continue;
        }
        let mut bytes = [&head.encode()[..], &found.payload].concat();
        bytes.extend(CRC.checksum(&bytes).to_le_bytes());
        let padded = match spots.memory {
            Memory::Pages { .. } => bytes,
            Memory::Flash { granule, erased, .. } => {
                let mut bytes = bytes;
                bytes.resize(bytes.len().next_multiple_of(granule as usize), erased);
                bytes
            }
        };
        fill(memory, found.address, &padded, true);
    }
}

fn reads(memory: &SettingsMemory, address: u32, len: u32, value: u8) -> bool {
    let bytes = memory.read(address, len, false);
    bytes.is_some_and(|bytes| bytes.iter().all(|byte| *byte == value))
}

fn record(memory: &SettingsMemory, address: u32, spots: &Spots) -> Option<Whole> {
    let head = Head::decode(&memory.read(address, HEAD as u32, false)?)?;
    if head.size() > spots.pitch {
        return None;
    }
    let bytes = memory.read(address, head.size(), false)?;
    let (body, seal) = bytes.split_last_chunk::<4>()?;
    let whole = CRC.checksum(body) == u32::from_le_bytes(*seal) && body.len() + 4 == FRAME + usize::from(head.len);
    whole.then(|| Whole {
        address,
        head,
        payload: body[HEAD..].to_vec(),
    })
}

/// A place of an EEPROM without a whole record: void, or broken.
fn settle_page_spot(spots: &Spots, spot: u32, memory: &mut SettingsMemory) {
    let address = spots.address(spot);
    let first = spots.chunk.min(HEAD as u32);
    let void = reads(memory, address, first, 0) || reads(memory, address, first, 0xff);
    let wavers = memory.wavers(address, spots.chunk);
    let SettingsMemory::Pages(pages) = memory else {
        return;
    };
    let mut bytes = vec![0; spots.pitch as usize];
    if !void {
        bytes[..spots.chunk as usize].fill(1);
    }
    pages.hold(address, &bytes);
    if void && wavers {
        pages.trust(address + spots.chunk, spots.pitch - spots.chunk);
    } else {
        pages.trust(address, spots.pitch);
    }
}

/// Puts bytes in place, with the doubts that there are, or without.
fn fill(memory: &mut SettingsMemory, address: u32, bytes: &[u8], doubts: bool) {
    let wavers = memory.wavers(address, bytes.len() as u32);
    match memory {
        SettingsMemory::Pages(pages) => {
            pages.hold(address, bytes);
            if wavers {
                // A record is in doubt as a whole, whichever of its pages it is.
                pages.trust(address, bytes.len() as u32);
                pages.doubt(address);
            }
        }
        SettingsMemory::Flash(flash) => flash.hold(address, bytes, (doubts && wavers).then_some(Kind::Wavering)),
    }
}
