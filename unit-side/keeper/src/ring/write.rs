//! Writing a record, reading it back, and making everything else void.

use super::{Ask, At, Context, READ_MAX, Ring, Stage, Turn, bit};
use crate::config::{CHUNK_MAX, Memory};
use crate::record::{HEAD, Head, next_turn};
use crate::request::{Reply, Trouble};

/// A record on its way.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) struct Write {
    at: At,
    seal: u32,
    part: Part,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Part {
    Erase,
    /// The chunk at this offset of the record; the first one is the last to be written.
    Chunk(u32),
    /// Reading back from this offset.
    ReadBack(u32),
}

/// Making void what does not count.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(super) struct Clean {
    /// Sectors to erase.
    erase: u32,
    /// Spots to mark.
    void: u32,
    then: Then,
}

/// What is done after that.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
enum Then {
    Rest,
    /// The payload is written as the next record.
    Begin {
        layout: u16,
        len: u16,
    },
}

impl Write {
    /// The byte at an offset of the record.
    fn byte(&self, context: &Context<'_>, offset: u32) -> u8 {
        let offset = offset as usize;
        let len = usize::from(self.at.head.len);
        let behind = offset.checked_sub(HEAD);
        match behind {
            None => self.at.head.encode().get(offset).copied().unwrap_or(0),
            Some(at) if at < len => context.payload.get(at).copied().unwrap_or(0),
            Some(at) => {
                let seal = self.seal.to_le_bytes();
                let at = at.saturating_sub(len);
                seal.get(at).copied().unwrap_or(context.spots.erased())
            }
        }
    }

    /// Fills the chunk from an offset of the record; how many bytes that is.
    fn fill(&self, context: &mut Context<'_>, offset: u32) -> u32 {
        let end = self.end(context);
        let len = end.saturating_sub(offset).min(context.spots.chunk);
        let head = self.at.head.encode();
        let seal = self.seal.to_le_bytes();
        let erased = context.spots.erased();
        let payload = context.payload.get(..usize::from(self.at.head.len)).unwrap_or_default();
        let bytes = head.iter().chain(payload).chain(&seal).copied();
        let bytes = bytes.chain(core::iter::repeat(erased)).skip(offset as usize);
        let chunk = context.chunk.get_mut(..len as usize).unwrap_or_default();
        chunk.iter_mut().zip(bytes).for_each(|(to, from)| *to = from);
        len
    }

    /// Where the record ends, in whole chunks or granules.
    fn end(&self, context: &Context<'_>) -> u32 {
        let unit = match context.spots.memory {
            Memory::Pages { .. } => 1,
            Memory::Flash { granule, .. } => granule,
        };
        let size = self.at.head.size();
        size.checked_next_multiple_of(unit).unwrap_or(size)
    }
}

impl Ring {
    /// Begins to write the payload as the next record.
    pub(super) fn begin(&mut self, context: &mut Context<'_>, layout: u16, len: u16) -> Turn {
        let Some(place) = self.next_place(&context.spots) else {
            return self.trouble(Trouble::Worn);
        };
        let turn = self.newest.map_or(0, |at| at.head.turn);
        let head = Head {
            turn: next_turn(turn),
            sure: self.sure.map_or(0, |at| at.head.turn),
            layout,
            len,
        };
        let seal = head.seal(context.payload.get(..usize::from(len)).unwrap_or_default());
        let at = At { spot: place.spot, head };
        let part = if place.erase {
            Part::Erase
        } else {
            self.first_part(context, head)
        };
        let write = Write { at, seal, part };
        self.go(Stage::Write(write), context)
    }

    /// The second chunk, if there is one; the first one comes last, because with it the record begins to count.
    fn first_part(&self, context: &Context<'_>, head: Head) -> Part {
        if context.spots.chunk < head.size() {
            Part::Chunk(context.spots.chunk)
        } else {
            Part::Chunk(0)
        }
    }

    pub(super) fn ask_write(&mut self, context: &mut Context<'_>, write: Write) -> Turn {
        let record = context.spots.record(write.at.spot);
        Turn::Ask(match write.part {
            Part::Erase => Ask::Erase {
                address: context.spots.sector_address(context.spots.sector_of(write.at.spot)),
            },
            Part::Chunk(offset) => Ask::Write {
                address: record.wrapping_add(offset),
                len: write.fill(context, offset),
            },
            Part::ReadBack(offset) => Ask::Read {
                address: record.wrapping_add(offset),
                len: write.at.head.size().saturating_sub(offset).min(READ_MAX),
            },
        })
    }

    pub(super) fn written(&mut self, context: &mut Context<'_>, write: Write, reply: Reply<'_>) -> Turn {
        let spot = write.at.spot;
        let next = match (write.part, reply) {
            (Part::Erase, Reply::Done) => {
                self.forget_sector(context, spot);
                self.first_part(context, write.at.head)
            }
            (Part::Chunk(offset), Reply::Done) => {
                self.free &= !bit(spot);
                self.whole &= !bit(spot);
                self.broken &= !bit(spot);
                let next = offset.saturating_add(context.spots.chunk);
                if offset == 0 {
                    Part::ReadBack(0)
                } else if next < write.at.head.size() {
                    Part::Chunk(next)
                } else {
                    Part::Chunk(0)
                }
            }
            (Part::ReadBack(offset), Reply::Bytes(bytes)) if !bytes.is_empty() => {
                let same = bytes
                    .iter()
                    .zip(offset..)
                    .all(|(byte, at)| *byte == write.byte(context, at));
                let next = offset.saturating_add(bytes.len() as u32);
                match (same, next < write.at.head.size()) {
                    (false, _) => return self.again(context, write),
                    (true, true) => Part::ReadBack(next),
                    (true, false) => return self.finished(context, write.at),
                }
            }
            // Flash that refuses, or cannot be read back, is worn there; another memory does not answer at all.
            (Part::ReadBack(_) | Part::Chunk(_) | Part::Erase, _) if context.spots.mark > 0 => {
                return self.again(context, write);
            }
            _ => return self.trouble(Trouble::Silent),
        };
        self.go(Stage::Write(Write { part: next, ..write }), context)
    }

    /// What was written does not read so: another place.
    fn again(&mut self, context: &mut Context<'_>, write: Write) -> Turn {
        self.worn |= bit(write.at.spot);
        self.broken |= bit(write.at.spot);
        self.begin(context, write.at.head.layout, write.at.head.len)
    }

    /// A record was written to its end, and reads so.
    fn finished(&mut self, context: &mut Context<'_>, at: At) -> Turn {
        self.whole |= bit(at.spot);
        self.newest = Some(at);
        self.sure = Some(at);
        if at.head.sure == 0 {
            // The first one: once more, naming this one.
            return self.begin(context, at.head.layout, at.head.len);
        }
        self.clean(context)
    }

    fn forget_sector(&mut self, context: &Context<'_>, spot: u32) {
        let sector = context.spots.sector_of(spot);
        for spot in (0..context.spots.count).filter(|spot| context.spots.sector_of(*spot) == sector) {
            self.whole &= !bit(spot);
            self.broken &= !bit(spot);
            self.free |= bit(spot);
        }
    }

    /// Makes void everything but the newest record.
    pub(super) fn clean(&mut self, context: &mut Context<'_>) -> Turn {
        let keep = self.newest.map_or(0, |at| bit(at.spot));
        let void = (self.broken | self.whole) & !keep;
        self.make_void(context, void, Then::Rest)
    }

    /// Makes void what is broken, and then writes the payload as the next record: a remnant must not come to bear the new
    /// record's turn.
    pub(super) fn clear_and_begin(&mut self, context: &mut Context<'_>, layout: u16, len: u16) -> Turn {
        self.make_void(context, self.broken, Then::Begin { layout, len })
    }

    fn make_void(&mut self, context: &mut Context<'_>, mut void: u32, then: Then) -> Turn {
        let mut erase = 0;
        if context.spots.mark > 0 {
            // A sector without a whole record may have been hit in its erase: marks would not hold there.
            for sector in 0..context.spots.sectors() {
                let within = (0..context.spots.count).filter(|spot| context.spots.sector_of(*spot) == sector);
                let within = within.fold(0, |all, spot| all | bit(spot));
                if within & self.broken & void != 0 && within & self.whole == 0 {
                    erase |= bit(sector);
                    void &= !within;
                }
            }
        }
        let clean = Clean { erase, void, then };
        self.go(Stage::Clean(clean), context)
    }

    pub(super) fn ask_clean(&mut self, context: &mut Context<'_>, clean: Clean) -> Turn {
        if clean.erase != 0 {
            return Turn::Ask(Ask::Erase {
                address: context.spots.sector_address(clean.erase.trailing_zeros()),
            });
        }
        if clean.void != 0 {
            let spot = clean.void.trailing_zeros();
            let len = match context.spots.memory {
                Memory::Pages { .. } => context.spots.chunk,
                Memory::Flash { granule, .. } => granule,
            };
            let value = if context.spots.erased() == 0 { 0xff } else { 0 };
            *context.chunk = [value; CHUNK_MAX];
            return Turn::Ask(Ask::Write {
                address: context.spots.address(spot),
                len,
            });
        }
        match clean.then {
            Then::Begin { layout, len } => self.begin(context, layout, len),
            Then::Rest => self.go(Stage::Idle, context),
        }
    }

    pub(super) fn cleaned(&mut self, context: &mut Context<'_>, mut clean: Clean, reply: Reply<'_>) -> Turn {
        if reply != Reply::Done {
            return self.trouble(Trouble::Silent);
        }
        if clean.erase != 0 {
            let sector = clean.erase.trailing_zeros();
            clean.erase &= !bit(sector);
            self.forget_sector(context, sector.saturating_mul(context.spots.per_sector));
        } else {
            let spot = clean.void.trailing_zeros();
            clean.void &= !bit(spot);
            self.whole &= !bit(spot);
            self.broken &= !bit(spot);
            if context.spots.mark == 0 {
                self.free |= bit(spot);
            }
        }
        self.go(Stage::Clean(clean), context)
    }
}
