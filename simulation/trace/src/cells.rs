//! The cells of a unit's flash, as one or several read-outs show them.

use crate::readout::Readout;
use packstaff_installer::Region;
use packstaff_rehearsal::areas::without;
use packstaff_unit::flash::{FlashLayout, Memory};
use serde::Serialize;

/// The longest hole that is taken for cells that could not be read, in bytes, on parts with small granules: a reader that steps
/// over what it cannot read may leave out the words on both sides too.
const HOLE_MIN: usize = 64;

/// An address range, for reports.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
pub struct Span {
    /// First address.
    pub start: u32,
    /// Bytes.
    pub size: u32,
}

impl From<Region> for Span {
    fn from(region: Region) -> Self {
        Self {
            start: region.base,
            size: region.size,
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// In no read-out.
    Unknown,
    /// Read, and always the same.
    Read,
    /// Two read-outs differ.
    Unsteady,
    /// In a hole of a read-out, and so taken for cells that the part could not read.
    Unreadable,
}

/// One byte of flash.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Cell {
    /// Not read: it may be anything.
    Unknown,
    /// It reads so.
    Reads(u8),
    /// It reads differently each time, or not at all: it is nothing that was written to the end.
    Torn,
}

/// What is known of every byte of one memory.
#[derive(Clone, Debug)]
struct Bank {
    base: u32,
    erased: u8,
    /// The longest hole that is taken for unreadable cells; `None` where no cells are.
    hole_max: Option<usize>,
    bytes: Vec<u8>,
    states: Vec<State>,
}

impl Bank {
    fn new(memory: &Memory) -> Self {
        let Region { base, size } = memory.extent();
        let hole_max = HOLE_MIN.max(memory.granule() as usize);
        Self {
            base,
            erased: memory.erased(),
            hole_max: memory.has_check_bits().then_some(hole_max),
            bytes: vec![memory.erased(); size as usize],
            states: vec![State::Unknown; size as usize],
        }
    }

    fn extent(&self) -> Region {
        Region {
            base: self.base,
            size: self.bytes.len() as u32,
        }
    }

    fn range(&self, region: Region) -> std::ops::Range<usize> {
        let from = (u64::from(region.base).saturating_sub(u64::from(self.base)) as usize).min(self.bytes.len());
        let to = (region.end().saturating_sub(u64::from(self.base)) as usize).min(self.bytes.len());
        from..to.max(from)
    }

    /// Takes in what of a read-out's piece lies in this memory, and says where.
    fn take(&mut self, address: u32, bytes: &[u8]) -> std::ops::Range<usize> {
        let range = self.range(Region {
            base: address,
            size: bytes.len() as u32,
        });
        let skipped = (u64::from(self.base).saturating_sub(u64::from(address)) as usize).min(bytes.len());
        let held = self.bytes.iter_mut().zip(&mut self.states).skip(range.start);
        for ((held, state), byte) in held.zip(bytes.iter().skip(skipped)).take(range.len()) {
            *state = match *state {
                State::Read | State::Unsteady if *held != *byte => State::Unsteady,
                State::Unsteady => State::Unsteady,
                _ => State::Read,
            };
            *held = *byte;
        }
        range
    }

    /// Takes in a read-out.
    fn read(&mut self, readout: &Readout) {
        let mut last_end = None::<usize>;
        for (address, bytes) in &readout.pieces {
            let taken = self.take(*address, bytes);
            if taken.is_empty() {
                continue;
            }
            if let Some(last) = last_end {
                self.hole(last, taken.start);
            }
            last_end = Some(taken.end);
        }
        // A hole at the end has nothing behind it, and yet the read-out goes to the end.
        if let Some(last) = last_end {
            self.hole(last, self.bytes.len());
        }
    }

    /// A read-out has nothing from one place to another.
    fn hole(&mut self, from: usize, to: usize) {
        let is_short = |most: usize| to > from && to - from <= most;
        if !self.hole_max.is_some_and(is_short) {
            return;
        }
        for state in self.states.iter_mut().take(to).skip(from) {
            if *state == State::Unknown {
                *state = State::Unreadable;
            }
        }
    }
}

/// What is known of every byte of a unit's flash.
#[derive(Clone, Debug)]
pub struct Cells {
    /// The part's own memory.
    own: Bank,
    /// The memory beside it.
    beside: Option<Bank>,
    outside: Vec<Span>,
}

impl Cells {
    /// Puts read-outs together. Where a memory has check bits, short holes inside of a read-out are taken for cells that could not
    /// be read.
    pub fn gather(layout: &FlashLayout, readouts: &[Readout]) -> Self {
        let mut cells = Self {
            own: Bank::new(layout.own()),
            beside: layout.beside().map(Bank::new),
            outside: Vec::new(),
        };
        let memories: Vec<_> = cells.all().collect();
        for readout in readouts {
            cells.own.read(readout);
            if let Some(beside) = &mut cells.beside {
                beside.read(readout);
            }
            let pieces = readout.pieces.iter().map(|(address, bytes)| Region {
                base: *address,
                size: bytes.len() as u32,
            });
            cells
                .outside
                .extend(pieces.flat_map(|piece| without(piece, &memories)).map(Span::from));
        }
        cells
    }

    fn banks(&self) -> impl Iterator<Item = &Bank> {
        [&self.own].into_iter().chain(&self.beside)
    }

    /// The memory that a range lies in.
    fn bank(&self, region: Region) -> &Bank {
        match &self.beside {
            Some(beside) if beside.extent().contains(region.base) => beside,
            _ => &self.own,
        }
    }

    /// The bytes of a range and their states.
    fn held(&self, region: Region) -> (&[u8], &[State]) {
        let bank = self.bank(region);
        let range = bank.range(region);
        let states = bank.states.get(range.clone()).unwrap_or_default();
        (bank.bytes.get(range).unwrap_or_default(), states)
    }

    /// The bytes of a range, if every one is known and steady.
    pub fn bytes(&self, region: Region) -> Option<&[u8]> {
        let (bytes, states) = self.held(region);
        let whole = bytes.len() == region.size as usize && states.iter().all(|state| *state == State::Read);
        whole.then_some(bytes)
    }

    /// Each byte of a range as it may be compared.
    pub(crate) fn each_cell(&self, region: Region) -> impl Iterator<Item = Cell> + '_ {
        let (bytes, states) = self.held(region);
        bytes.iter().zip(states).map(|(byte, state)| match state {
            State::Unknown => Cell::Unknown,
            State::Read => Cell::Reads(*byte),
            State::Unsteady | State::Unreadable => Cell::Torn,
        })
    }

    /// Each byte of a range, where it is known.
    pub fn each(&self, region: Region) -> impl Iterator<Item = Option<u8>> + '_ {
        let (bytes, states) = self.held(region);
        bytes
            .iter()
            .zip(states)
            .map(|(byte, state)| (*state == State::Read).then_some(*byte))
    }

    /// Whether every known byte of a range reads as erased.
    pub fn may_be_blank(&self, region: Region) -> bool {
        let erased = self.erased(region);
        self.each(region).flatten().all(|byte| byte == erased)
    }

    /// How many bytes of a range were read, steady or not.
    pub fn read_count(&self, region: Region) -> u32 {
        self.count(region, |state| matches!(state, State::Read | State::Unsteady))
    }

    /// How many bytes of a range read differently in two read-outs.
    pub fn unsteady_count(&self, region: Region) -> u32 {
        self.count(region, |state| state == State::Unsteady)
    }

    /// How many bytes of a range are taken for unreadable.
    pub fn unreadable_count(&self, region: Region) -> u32 {
        self.count(region, |state| state == State::Unreadable)
    }

    /// How many bytes of a range are in no read-out.
    pub fn unknown_count(&self, region: Region) -> u32 {
        self.count(region, |state| state == State::Unknown)
    }

    fn count(&self, region: Region, counts: impl Fn(State) -> bool) -> u32 {
        let (_, states) = self.held(region);
        states.iter().filter(|state| counts(**state)).count() as u32
    }

    /// The value that erased cells of a range have.
    pub fn erased(&self, region: Region) -> u8 {
        self.bank(region).erased
    }

    /// All addresses, memory by memory.
    pub fn all(&self) -> impl Iterator<Item = Region> + '_ {
        self.banks().map(Bank::extent)
    }

    /// What the read-outs hold that lies outside of the unit's flash.
    pub fn outside(&self) -> &[Span] {
        &self.outside
    }

    /// A range as it may be: known bytes as they were read; unsteady and unreadable ones as nothing whole; unknown ones as
    /// `unknown` gives them, by their place in the range.
    pub(crate) fn filled(&self, region: Region, unknown: impl Fn(usize) -> u8) -> Vec<u8> {
        let (bytes, states) = self.held(region);
        let cells = bytes.iter().zip(states).enumerate();
        cells
            .map(|(at, (byte, state))| match state {
                State::Read => *byte,
                State::Unsteady | State::Unreadable => byte ^ 0x5a,
                State::Unknown => unknown(at),
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use packstaff_installer::SectorRun;
    use packstaff_unit::part::SecondProgram;

    fn layout(check_bits: bool) -> FlashLayout {
        let runs = vec![SectorRun { count: 2, size: 256 }];
        FlashLayout::new(0x1000, runs, 8, 0xff, check_bits, SecondProgram::Zeros)
    }

    fn all(cells: &Cells) -> Region {
        cells.all().next().unwrap()
    }

    fn readout(pieces: &[(u32, &[u8])]) -> Readout {
        Readout {
            name: "x".into(),
            pieces: pieces.iter().map(|(at, bytes)| (*at, bytes.to_vec())).collect(),
        }
    }

    fn region(base: u32, size: u32) -> Region {
        Region { base, size }
    }

    #[test]
    fn what_differs_between_read_outs_is_unsteady() {
        let cells = Cells::gather(
            &layout(false),
            &[readout(&[(0x1000, &[1, 2, 3])]), readout(&[(0x1001, &[2, 9])])],
        );
        assert_eq!(cells.bytes(region(0x1000, 2)), Some(&[1, 2][..]));
        assert_eq!(cells.bytes(region(0x1000, 3)), None);
        assert_eq!(cells.unsteady_count(all(&cells)), 1);
        assert_eq!(cells.read_count(all(&cells)), 3);
        assert_eq!(cells.unknown_count(all(&cells)), 509);
    }

    #[test]
    fn what_lies_outside_is_said_and_left_out() {
        let long = vec![7; 1000];
        let cells = Cells::gather(&layout(false), &[readout(&[(0x0f00, &long)])]);
        assert_eq!(cells.read_count(all(&cells)), 512);
        let span = |start, size| Span { start, size };
        assert_eq!(cells.outside(), [span(0x0f00, 256), span(0x1200, 1000 - 256 - 512)]);
    }

    #[test]
    fn short_holes_are_unreadable_where_there_are_check_bits() {
        let pieces = [(0x1000, &[0; 16][..]), (0x1018, &[0; 16][..])];
        let with = Cells::gather(&layout(true), &[readout(&pieces)]);
        assert_eq!(with.unreadable_count(all(&with)), 8);
        let to_the_end = Cells::gather(&layout(true), &[readout(&[(0x1000, &[0; 504])])]);
        assert_eq!(to_the_end.unreadable_count(all(&to_the_end)), 8);
        let without = Cells::gather(&layout(false), &[readout(&pieces)]);
        assert_eq!(without.unreadable_count(all(&without)), 0);
    }

    /// One read-out may hold both memories and what lies between them.
    #[test]
    fn a_memory_beside_has_cells_of_its_own() {
        let runs = vec![SectorRun { count: 1, size: 256 }];
        let beside = FlashLayout::new(0x1400, runs, 1, 0x00, false, SecondProgram::Zeros);
        let layout = layout(true).with_beside(beside);
        let cells = Cells::gather(&layout, &[readout(&[(0x1100, &[7; 0x400])])]);
        assert_eq!(
            cells.outside(),
            [Span {
                start: 0x1200,
                size: 0x200
            }]
        );
        assert_eq!(cells.bytes(region(0x1400, 256)), Some(&[7; 256][..]));
        assert_eq!(cells.bytes(region(0x1100, 256)), Some(&[7; 256][..]));
        assert_eq!(cells.unknown_count(region(0x1000, 256)), 256);
        assert_eq!(
            (cells.erased(region(0x1000, 1)), cells.erased(region(0x1400, 1))),
            (0xff, 0x00)
        );
        assert!(cells.all().eq([region(0x1000, 512), region(0x1400, 256)]));
    }
}
