//! Worlds that are alike to a keeper: turns are only compared, and what is void or broken is only told from what is whole.
//!
//! Whole records are numbered anew in the order of their turns, and void and broken places get one representative each, so that
//! the worlds of a unit that goes on saving for ever are finitely many. That this changes no verdict is checked against
//! explorations without it (`tests/settings`).

use super::store::{KeeperMachine, OurKeeper};
use crc::{CRC_32_ISO_HDLC, Crc, Table};
use packstaff_keeper::{FRAME, HEAD, Head, Memory, Spots, is_newer};
use packstaff_unit::flash::{Change, DoubtKind};
use packstaff_unit::settings_memory::SettingsMemory;

/// Which worlds are one to a store.
pub trait Alike: Sync {
    /// Puts a world with power off into the form in which worlds are compared. Gives the layout and the bytes of all settings that
    /// are still in it, or `None` if that is not looked at.
    fn settle(&self, memory: &mut SettingsMemory) -> Option<Vec<(u16, Vec<u8>)>>;

    /// Whether a cut anywhere in this change, and the change itself, leave what is settled as it is before the change. Such cuts
    /// are counted, and not carried out one by one.
    fn is_unseen(&self, memory: &SettingsMemory, change: &Change) -> bool;

    /// All that a store sees of the place that a change has hit, if a few words tell it: cuts in one change that leave the same are
    /// carried out once.
    fn face(&self, memory: &SettingsMemory, change: &Change) -> Option<(bool, bool)>;
}

/// Nothing is taken together.
pub struct Apart;

impl Alike for Apart {
    fn settle(&self, _: &mut SettingsMemory) -> Option<Vec<(u16, Vec<u8>)>> {
        None
    }

    fn is_unseen(&self, _: &SettingsMemory, _: &Change) -> bool {
        false
    }

    fn face(&self, _: &SettingsMemory, _: &Change) -> Option<(bool, bool)> {
        None
    }
}

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

impl<M> OurKeeper<M> {
    /// Where records lie: in the region of the settings, and in that aside.
    fn rings(&self) -> impl Iterator<Item = Spots> {
        let regions = [
            Some((self.region, self.room)),
            self.aside.map(|aside| (aside.region, aside.room)),
        ];
        let spots = |(region, room)| Spots::new(self.memory, region, room).ok();
        regions.into_iter().flatten().filter_map(spots)
    }

    /// The place of an EEPROM or an FRAM that a change writes into.
    fn place_of(&self, change: &Change) -> Option<(Spots, u32)> {
        let Change::Program { address, .. } = change else {
            return None;
        };
        self.rings().find_map(|spots| {
            let spot = address.checked_sub(spots.region.base)?.checked_div(spots.pitch)?;
            let pages = matches!(spots.memory, Memory::Pages { .. });
            (pages && spot < spots.count).then_some((spots, spot))
        })
    }
}

impl<M: KeeperMachine> Alike for OurKeeper<M> {
    fn settle(&self, memory: &mut SettingsMemory) -> Option<Vec<(u16, Vec<u8>)>> {
        let mut rings = self.rings().map(|spots| settle_ring(&spots, memory));
        let main = rings.next()?;
        rings.for_each(drop);
        Some(main)
    }

    /// Of a place of an EEPROM or an FRAM without a record: whether it is void, and whether its first chunk is in doubt.
    fn face(&self, memory: &SettingsMemory, change: &Change) -> Option<(bool, bool)> {
        let (spots, spot) = self.place_of(change)?;
        if record(memory, spots.record(spot), &spots).is_some() {
            return None;
        }
        let address = spots.address(spot);
        Some((is_void(memory, &spots, spot), memory.wavers(address, spots.chunk)))
    }

    /// In a place of an EEPROM or an FRAM that begins with no whole head there is no record, whatever lies behind that.
    fn is_unseen(&self, memory: &SettingsMemory, change: &Change) -> bool {
        let (Some((spots, spot)), Change::Program { address, .. }) = (self.place_of(change), change) else {
            return false;
        };
        let (Memory::Pages { page }, first) = (spots.memory, spots.address(spot)) else {
            return false;
        };
        let behind = address - first >= spots.chunk.max(page).max(HEAD as u32);
        let head = memory.read(first, HEAD as u32, false);
        behind && head.is_some_and(|bytes| Head::decode(&bytes).is_none())
    }
}

/// Gives the layout and the payload of each whole record.
fn settle_ring(spots: &Spots, memory: &mut SettingsMemory) -> Vec<(u16, Vec<u8>)> {
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
        let wavers = memory.wavers(found.address, head.size());
        let (behind, rest) = (found.address + head.size(), spots.pitch - spots.mark - head.size());
        let clean = || reads(memory, behind, rest, 0) && !memory.wavers(behind, rest.max(1));
        if head == found.head && !wavers && matches!(spots.memory, Memory::Pages { .. }) && clean() {
            continue;
        }
        let mut bytes = [&head.encode()[..], &found.payload].concat();
        bytes.extend(CRC.checksum(&bytes).to_le_bytes());
        let padded = match spots.memory {
            // What an earlier, longer record has left behind this one is never read.
            Memory::Pages { .. } => {
                let mut bytes = bytes;
                bytes.resize(spots.pitch as usize, 0);
                bytes
            }
            Memory::Flash { granule, erased, .. } => {
                let mut bytes = bytes;
                bytes.resize(bytes.len().next_multiple_of(granule as usize), erased);
                bytes
            }
        };
        fill(memory, found.address, &padded, wavers);
    }
    let settings = whole.into_iter().map(|found| (found.head.layout, found.payload));
    settings.collect()
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

fn is_void(memory: &SettingsMemory, spots: &Spots, spot: u32) -> bool {
    let (address, first) = (spots.address(spot), spots.chunk.min(HEAD as u32));
    reads(memory, address, first, 0) || reads(memory, address, first, 0xff)
}

/// A place of an EEPROM without a whole record: void, or broken.
fn settle_page_spot(spots: &Spots, spot: u32, memory: &mut SettingsMemory) {
    let address = spots.address(spot);
    let void = is_void(memory, spots, spot);
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

/// Puts bytes in place, in doubt or not.
fn fill(memory: &mut SettingsMemory, address: u32, bytes: &[u8], wavers: bool) {
    match memory {
        SettingsMemory::Pages(pages) => {
            pages.hold(address, bytes);
            pages.trust(address, bytes.len() as u32);
            if wavers {
                // A record is in doubt as a whole, whichever of its pages it is.
                pages.doubt(address);
            }
        }
        SettingsMemory::Flash(flash) => flash.hold(address, bytes, wavers.then_some(DoubtKind::Wavering)),
    }
}
