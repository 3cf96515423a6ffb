//! From pieces, in whatever order a file gives them, to sorted and merged segments.

use crate::build::Segment;
use crate::error::{Place, ReadError};
use crate::note::Note;

/// One contiguous run of bytes that a file places: a record, or a program header's bytes.
struct Piece {
    address: u32,
    start: usize,
    len: usize,
    place: Place,
}

impl Piece {
    fn end(&self) -> u64 {
        u64::from(self.address) + self.len as u64
    }
}

/// Collects pieces. Needs memory in proportion to the bytes placed and the number of pieces, not to
/// the addresses.
#[derive(Default)]
pub(crate) struct Assembler {
    bytes: Vec<u8>,
    pieces: Vec<Piece>,
}

impl Assembler {
    pub(crate) fn with_capacity(bytes: usize) -> Self {
        Self {
            bytes: Vec::with_capacity(bytes),
            pieces: Vec::new(),
        }
    }

    /// Places bytes at an address. A piece that passes the top of the 32-bit address space is not
    /// placed, and the answer is the number of its bytes that lie beyond.
    pub(crate) fn place(&mut self, address: u32, data: &[u8], place: Place) -> Result<(), u64> {
        let beyond = (u64::from(address) + data.len() as u64).saturating_sub(1 << 32);
        if beyond > 0 {
            return Err(beyond);
        }
        if !data.is_empty() {
            self.pieces.push(Piece {
                address,
                start: self.bytes.len(),
                len: data.len(),
                place,
            });
            self.bytes.extend_from_slice(data);
        }
        Ok(())
    }

    /// Sorts and merges. Pieces that meet become one segment; pieces that say the same bytes twice
    /// are noted; pieces that disagree about a byte are an error.
    pub(crate) fn finish(mut self) -> Result<(Vec<Segment>, Vec<Note>), ReadError> {
        let mut notes = Vec::new();
        if let Some(later) = self.pieces.windows(2).find(|pair| pair[1].address < pair[0].address) {
            notes.push(Note::OutOfOrder {
                address: later[1].address,
                place: later[1].place,
            });
            // Stable, so that among pieces of equal address the first in the file stays first.
            self.pieces.sort_by_key(|piece| piece.address);
        }
        let mut segments: Vec<Segment> = Vec::new();
        for piece in &self.pieces {
            let data = self.data(piece);
            match segments
                .last_mut()
                .filter(|last| last.end() >= u64::from(piece.address))
            {
                None => segments.push(Segment {
                    address: piece.address,
                    data: data.to_vec(),
                }),
                Some(last) => {
                    let known = last
                        .data
                        .get((piece.address - last.address) as usize..)
                        .unwrap_or_default();
                    let (twice, fresh) = data.split_at(known.len().min(data.len()));
                    if let Some(at) = twice.iter().zip(known).position(|(new, old)| new != old) {
                        return Err(self.conflict(piece.address + at as u32));
                    }
                    note_overlap(&mut notes, piece.address, twice.len());
                    last.data.extend_from_slice(fresh);
                }
            }
        }
        Ok((segments, notes))
    }

    fn data(&self, piece: &Piece) -> &[u8] {
        self.bytes.get(piece.start..piece.start + piece.len).unwrap_or_default()
    }

    /// Names the first two pieces in the file that disagree about the byte at `address`.
    #[cold]
    fn conflict(&self, address: u32) -> ReadError {
        let mut claims: Vec<(usize, Place, u8)> = self
            .pieces
            .iter()
            .filter(|piece| piece.address <= address && u64::from(address) < piece.end())
            .filter_map(|piece| {
                let byte = self.data(piece).get((address - piece.address) as usize)?;
                Some((piece.start, piece.place, *byte))
            })
            .collect();
        claims.sort_by_key(|&(start, ..)| start);
        let first = claims.first().copied().unwrap_or_default();
        let second = claims.iter().find(|claim| claim.2 != first.2).copied().unwrap_or(first);
        ReadError::Conflict {
            address,
            first: first.1,
            was: first.2,
            second: second.1,
            now: second.2,
        }
    }
}

/// Adds an overlap, growing the last note where the two meet, so that a file given twice yields few
/// notes.
fn note_overlap(notes: &mut Vec<Note>, address: u32, len: usize) {
    if len == 0 {
        return;
    }
    if let Some(Note::Overlap {
        address: start,
        len: known,
    }) = notes.last_mut()
    {
        let end = u64::from(*start) + *known;
        if u64::from(address) <= end {
            *known = end.max(u64::from(address) + len as u64) - u64::from(*start);
            return;
        }
    }
    notes.push(Note::Overlap {
        address,
        len: len as u64,
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    fn assemble(pieces: &[(u32, &[u8])]) -> Result<(Vec<Segment>, Vec<Note>), ReadError> {
        let mut assembler = Assembler::default();
        for (index, (address, data)) in pieces.iter().enumerate() {
            assembler
                .place(*address, data, Place::ProgramHeader(index))
                .expect("below the top");
        }
        assembler.finish()
    }

    #[test]
    fn pieces_that_meet_become_one_segment() {
        let (segments, notes) = assemble(&[(0x10, &[1, 2]), (0x12, &[3]), (0x20, &[4])]).expect("no conflict");
        assert_eq!(segments.len(), 2);
        assert_eq!((segments[0].address, &segments[0].data[..]), (0x10, &[1, 2, 3][..]));
        assert_eq!((segments[1].address, &segments[1].data[..]), (0x20, &[4][..]));
        assert!(notes.is_empty());
    }

    #[test]
    fn order_does_not_matter_but_is_noted() {
        let (segments, notes) = assemble(&[(0x12, &[3]), (0x10, &[1, 2])]).expect("no conflict");
        assert_eq!(
            segments,
            [Segment {
                address: 0x10,
                data: vec![1, 2, 3]
            }]
        );
        assert_eq!(
            notes,
            [Note::OutOfOrder {
                address: 0x10,
                place: Place::ProgramHeader(1)
            }]
        );
    }

    #[test]
    fn the_same_bytes_twice_are_merged_and_noted_once() {
        let (segments, notes) =
            assemble(&[(0, &[1, 2, 3, 4]), (1, &[2]), (2, &[3, 4, 5]), (4, &[5])]).expect("no conflict");
        assert_eq!(
            segments,
            [Segment {
                address: 0,
                data: vec![1, 2, 3, 4, 5]
            }]
        );
        assert_eq!(notes, [Note::Overlap { address: 1, len: 4 }]);
    }

    #[test]
    fn a_disagreement_names_both_places_in_file_order() {
        let error = assemble(&[(4, &[9, 8]), (0, &[0, 0, 0, 0, 0]), (5, &[8])]).expect_err("byte 4 differs");
        let expected = ReadError::Conflict {
            address: 4,
            first: Place::ProgramHeader(0),
            was: 9,
            second: Place::ProgramHeader(1),
            now: 0,
        };
        assert_eq!(error, expected);
    }

    #[test]
    fn the_last_address_may_be_used_and_none_beyond_it() {
        let mut assembler = Assembler::default();
        assert_eq!(assembler.place(u32::MAX, &[1], Place::default()), Ok(()));
        assert_eq!(assembler.place(u32::MAX, &[1, 2, 3], Place::default()), Err(2));
        let (segments, _) = assembler.finish().expect("no conflict");
        assert_eq!(segments[0].end(), 1 << 32);
    }
}
