//! The cells of a part, as one or several read-outs show them.

use crate::readout::Readout;
use installer::Region;
use serde::Serialize;
use unit::flash::Layout;

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

/// What is known of every byte of a part's flash.
#[derive(Clone, Debug)]
pub struct Cells {
    base: u32,
    erased: u8,
    bytes: Vec<u8>,
    states: Vec<State>,
    outside: Vec<Span>,
}

impl Cells {
    /// Puts read-outs together. With `check_bits`, short holes inside of a read-out are taken for cells that could not be read.
    pub fn gather(layout: &Layout, readouts: &[Readout], check_bits: bool) -> Self {
        let sectors = layout.sectors();
        let base = sectors.first().map_or(0, |sector| sector.base);
        let end = sectors.last().map_or(0, |sector| sector.end());
        let size = end.saturating_sub(u64::from(base)) as usize;
        let erased = layout.geometry().erased;
        let hole_max = HOLE_MIN.max(layout.geometry().granule as usize);
        let mut cells = Self {
            base,
            erased,
            bytes: vec![erased; size],
            states: vec![State::Unknown; size],
            outside: Vec::new(),
        };
        for readout in readouts {
            let mut last_end = None::<usize>;
            for (address, bytes) in &readout.pieces {
                let start = i64::from(*address) - i64::from(base);
                cells.take(start, bytes);
                let Ok(start) = usize::try_from(start) else { continue };
                if let Some(last) = last_end.filter(|_| check_bits)
                    && start > last
                    && start - last <= hole_max
                {
                    cells.hole(last, start);
                }
                last_end = Some(start.saturating_add(bytes.len()));
            }
            // A hole at the end has nothing behind it, and yet the read-out goes to the end.
            if let Some(last) = last_end.filter(|last| check_bits && *last < size && size - last <= hole_max) {
                cells.hole(last, size);
            }
        }
        cells
    }

    fn take(&mut self, start: i64, bytes: &[u8]) {
        let skipped = usize::try_from(start.saturating_neg()).unwrap_or(0).min(bytes.len());
        let from = usize::try_from(start).unwrap_or(0).min(self.bytes.len());
        let inside = (bytes.len() - skipped).min(self.bytes.len() - from);
        if skipped > 0 {
            let address = (i64::from(self.base) + start) as u32;
            self.outside.push(Span {
                start: address,
                size: skipped as u32,
            });
        }
        if skipped + inside < bytes.len() {
            let start = (i64::from(self.base) + start + (skipped + inside) as i64) as u32;
            let size = (bytes.len() - skipped - inside) as u32;
            self.outside.push(Span { start, size });
        }
        let held = self.bytes.iter_mut().zip(&mut self.states).skip(from);
        for ((held, state), byte) in held.zip(bytes.iter().skip(skipped)) {
            *state = match *state {
                State::Read | State::Unsteady if *held != *byte => State::Unsteady,
                State::Unsteady => State::Unsteady,
                _ => State::Read,
            };
            *held = *byte;
        }
    }

    fn hole(&mut self, from: usize, to: usize) {
        for state in self.states.iter_mut().take(to).skip(from) {
            if *state == State::Unknown {
                *state = State::Unreadable;
            }
        }
    }

    fn range(&self, region: Region) -> std::ops::Range<usize> {
        let from = (u64::from(region.base).saturating_sub(u64::from(self.base)) as usize).min(self.bytes.len());
        let to = (region.end().saturating_sub(u64::from(self.base)) as usize).min(self.bytes.len());
        from..to.max(from)
    }

    /// The bytes of a range, if every one is known and steady.
    pub fn bytes(&self, region: Region) -> Option<&[u8]> {
        let range = self.range(region);
        let whole = range.len() == region.size as usize
            && self
                .states
                .get(range.clone())?
                .iter()
                .all(|state| *state == State::Read);
        whole.then(|| self.bytes.get(range)).flatten()
    }

    /// Each byte of a range as it may be compared.
    pub(crate) fn each_cell(&self, region: Region) -> impl Iterator<Item = Cell> + '_ {
        let range = self.range(region);
        let states = self.states.get(range.clone()).unwrap_or_default();
        let bytes = self.bytes.get(range).unwrap_or_default();
        bytes.iter().zip(states).map(|(byte, state)| match state {
            State::Unknown => Cell::Unknown,
            State::Read => Cell::Reads(*byte),
            State::Unsteady | State::Unreadable => Cell::Torn,
        })
    }

    /// Each byte of a range, where it is known.
    pub fn each(&self, region: Region) -> impl Iterator<Item = Option<u8>> + '_ {
        let range = self.range(region);
        let states = self.states.get(range.clone()).unwrap_or_default();
        let bytes = self.bytes.get(range).unwrap_or_default();
        bytes
            .iter()
            .zip(states)
            .map(|(byte, state)| (*state == State::Read).then_some(*byte))
    }

    /// Whether every known byte of a range reads as erased.
    pub fn may_be_blank(&self, region: Region) -> bool {
        self.each(region).flatten().all(|byte| byte == self.erased)
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
        let states = self.states.get(self.range(region)).unwrap_or_default();
        states.iter().filter(|state| counts(**state)).count() as u32
    }

    /// The value that erased cells have.
    pub fn erased(&self) -> u8 {
        self.erased
    }

    /// All addresses of the part.
    pub fn all(&self) -> Region {
        Region {
            base: self.base,
            size: self.bytes.len() as u32,
        }
    }

    /// What the read-outs hold that lies outside of the part's flash.
    pub fn outside(&self) -> &[Span] {
        &self.outside
    }

    /// A range as it may be: known bytes as they were read; unsteady and unreadable ones as nothing whole; unknown ones as
    /// `unknown` gives them, by their place in the range.
    pub(crate) fn filled(&self, region: Region, unknown: impl Fn(usize) -> u8) -> Vec<u8> {
        let range = self.range(region);
        let states = self.states.get(range.clone()).unwrap_or_default();
        let bytes = self.bytes.get(range).unwrap_or_default();
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
    use installer::SectorRun;
    use unit::part::SecondProgram;

    fn layout() -> Layout {
        Layout::new(
            0x1000,
            vec![SectorRun { count: 2, size: 256 }],
            8,
            0xff,
            true,
            SecondProgram::Zeros,
        )
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
            &layout(),
            &[readout(&[(0x1000, &[1, 2, 3])]), readout(&[(0x1001, &[2, 9])])],
            false,
        );
        assert_eq!(cells.bytes(region(0x1000, 2)), Some(&[1, 2][..]));
        assert_eq!(cells.bytes(region(0x1000, 3)), None);
        assert_eq!(cells.unsteady_count(cells.all()), 1);
        assert_eq!(cells.read_count(cells.all()), 3);
        assert_eq!(cells.unknown_count(cells.all()), 509);
    }

    #[test]
    fn what_lies_outside_is_said_and_left_out() {
        let long = vec![7; 1000];
        let cells = Cells::gather(&layout(), &[readout(&[(0x0f00, &long)])], false);
        assert_eq!(cells.read_count(cells.all()), 512);
        let span = |start, size| Span { start, size };
        assert_eq!(cells.outside(), [span(0x0f00, 256), span(0x1200, 1000 - 256 - 512)]);
    }

    #[test]
    fn short_holes_are_unreadable_where_there_are_check_bits() {
        let pieces = [(0x1000, &[0; 16][..]), (0x1018, &[0; 16][..])];
        let with = Cells::gather(&layout(), &[readout(&pieces)], true);
        assert_eq!(with.unreadable_count(with.all()), 8);
        let to_the_end = Cells::gather(&layout(), &[readout(&[(0x1000, &[0; 504])])], true);
        assert_eq!(to_the_end.unreadable_count(to_the_end.all()), 8);
        let without = Cells::gather(&layout(), &[readout(&pieces)], false);
        assert_eq!(without.unreadable_count(without.all()), 0);
    }
}
