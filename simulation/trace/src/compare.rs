//! A place in flash, compared with an image: all of it there, or its beginning, as an install leaves it.

use crate::cells::{Cell, Cells};
use packstaff_installer::Region;

/// Bytes that an installer programs with one request at most: one block of a stick behind less than one granule that was left
/// over. A cut can leave one granule of a request undone while later ones of it are done.
pub(crate) const fn request(granule: u32) -> u32 {
    packstaff_fat::BLOCK as u32 + granule
}

/// How much of an image lies in a place, with nothing behind it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Beginning {
    /// Bytes from the start that agree.
    pub(crate) agrees: u32,
    /// A granule that is neither the image's nor erased, or was left out: the cut fell into it.
    pub(crate) torn: Option<u32>,
    /// Cells that were read and are the image's, and not erased ones: what the finding rests on.
    pub(crate) evidence: u32,
    /// All of the image may be there: every cell of it that was read agrees.
    pub(crate) whole: bool,
    /// Nothing that was read contradicts a place that was erased and not programmed.
    pub(crate) blank: bool,
}

/// Compares what lies in `body` with `image` and erased cells behind it; `None` if no cut inside the programming of this image
/// leaves it so.
pub(crate) fn beginning(cells: &Cells, body: Region, image: &[u8], granule: u32) -> Option<Beginning> {
    let erased = cells.erased(body);
    let size = granule.max(1) as usize;
    let read: Vec<Cell> = cells.each_cell(body).collect();
    if read.len() < image.len() {
        return None;
    }
    let wanted = |at: usize| image.get(at).copied().unwrap_or(erased);
    let mut differs = None::<usize>;
    let mut top = None::<usize>;
    let mut evidence = 0;
    for (index, found) in read.chunks(size).enumerate() {
        let first = index * size;
        let mut blank = true;
        let mut agrees = true;
        for (at, cell) in found.iter().enumerate() {
            let wanted = wanted(first + at);
            match cell {
                Cell::Unknown => {}
                Cell::Torn => (blank, agrees) = (false, false),
                Cell::Reads(byte) => {
                    blank &= *byte == erased;
                    agrees &= *byte == wanted;
                    evidence += u32::from(*byte == wanted && *byte != erased);
                }
            }
        }
        if !blank {
            top = Some(index);
            if first >= image.len() {
                return None;
            }
        }
        if !agrees {
            // Everything behind the cut reads as erased, and does not agree: only the first such granule counts, unless
            // something is programmed behind it.
            match differs {
                None => differs = Some(index),
                Some(first) if !blank && first != index => return None,
                Some(_) => {}
            }
        }
    }
    let reached = top.map_or(0, |top| top + 1);
    let torn = differs.filter(|differs| *differs < reached);
    if let Some(torn) = torn {
        let behind = (reached - torn) * size;
        let between = read.chunks(size).enumerate().take(reached).skip(torn + 1);
        let others = between.filter(|(index, found)| {
            let mut cells = found.iter().enumerate();
            cells.any(|(at, cell)| match cell {
                Cell::Unknown => false,
                Cell::Torn => true,
                Cell::Reads(byte) => *byte != wanted(index * size + at),
            })
        });
        if behind > request(granule) as usize || others.count() > 0 {
            return None;
        }
    }
    let agrees = differs.map_or(image.len(), |differs| differs * size).min(image.len());
    Some(Beginning {
        agrees: agrees as u32,
        torn: torn.map(|torn| body.base.wrapping_add((torn * size) as u32)),
        evidence,
        whole: differs.is_none(),
        blank: top.is_none(),
    })
}

/// Whether a torn program of `wanted` can have left what lies in `region`: a beginning, one granule that is anything, and erased
/// cells; or all but one granule. All of it counts too.
pub(crate) fn torn_program(cells: &Cells, region: Region, wanted: &[u8], granule: u32) -> bool {
    beginning(cells, region, wanted, granule).is_some()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::readout::Readout;
    use packstaff_installer::SectorRun;
    use packstaff_unit::flash::{Change, EraseCut, Flash, FlashLayout, Inside, SumKey, outcomes};
    use packstaff_unit::part::SecondProgram;
    use proptest::prelude::*;
    use std::sync::Arc;

    const BODY: Region = Region { base: 0, size: 1024 };

    fn cells_of(flash: &Flash) -> Cells {
        let readout = Readout {
            name: "x".into(),
            pieces: vec![(0, flash.bytes(0, 1024).unwrap())],
        };
        Cells::gather(flash.layout(), &[readout])
    }

    fn flash() -> Flash {
        let layout = FlashLayout::new(
            0,
            vec![SectorRun { count: 1, size: 1024 }],
            8,
            0xff,
            false,
            SecondProgram::Zeros,
        );
        Flash::erased(Arc::new(layout), SumKey::fixed())
    }

    fn image(len: usize, fill: u8) -> Vec<u8> {
        (0..len).map(|at| (at as u8).wrapping_mul(29) ^ fill).collect()
    }

    /// Against the simulated flash, which the rehearsal relies on: every cut inside of every request of a whole install.
    #[test]
    fn whatever_a_cut_leaves_is_recognised_and_how_far_it_came() {
        let wanted = image(900, 0);
        let mut padded = wanted.clone();
        padded.resize(904, 0xff);
        let mut flash = flash();
        let mut tried = 0;
        for (index, piece) in padded.chunks(512).enumerate() {
            let change = Change::Program {
                address: (index * 512) as u32,
                data: piece.to_vec(),
            };
            for torn in outcomes(&flash, &change, &Inside::ALL, &EraseCut::ALL) {
                let mut cut = flash.clone();
                cut.tear(&change, torn).unwrap();
                let found = beginning(&cells_of(&cut), BODY, &wanted, 8).unwrap_or_else(|| panic!("{index} {torn:?}"));
                let packstaff_unit::flash::Torn::Program { whole, inside } = torn else {
                    panic!()
                };
                // A granule that reads as new counts as done: what wavers does not show.
                let done = whole + u32::from(inside == Inside::Wavering);
                let expected = ((index * 512) as u32 + done * 8).min(900);
                assert_eq!(found.agrees, expected, "{torn:?}");
                assert_eq!(
                    found.torn.is_some(),
                    matches!(inside, Inside::Part | Inside::LeftOut),
                    "{torn:?}"
                );
                tried += 1;
            }
            flash.apply(&change).unwrap();
        }
        assert!(tried > 300, "{tried}");
        let found = beginning(&cells_of(&flash), BODY, &wanted, 8).unwrap();
        assert!(found.whole && !found.blank && found.torn.is_none());
    }

    #[test]
    fn another_image_is_told_apart() {
        let mut flash = flash();
        let data = image(512, 1);
        flash.apply(&Change::Program { address: 0, data }).unwrap();
        assert_eq!(beginning(&cells_of(&flash), BODY, &image(512, 0), 8), None);
        assert!(beginning(&cells_of(&flash), BODY, &image(512, 1), 8).unwrap().whole);
        // It is longer than the image that it is compared with.
        assert_eq!(beginning(&cells_of(&flash), BODY, &image(504, 1), 8), None);
    }

    #[test]
    fn erased_cells_are_the_beginning_of_everything() {
        let found = beginning(&cells_of(&flash()), BODY, &image(512, 0), 8).unwrap();
        assert!(found.blank && !found.whole && found.agrees == 0 && found.evidence == 0);
    }

    proptest! {
        #[test]
        fn any_cells_are_compared(bytes in proptest::collection::vec(any::<u8>(), 0..1500), len in 0_usize..1200, granule in 0_u32..64) {
            let readout = Readout { name: "x".into(), pieces: vec![(3, bytes)] };
            let cells = Cells::gather(flash().layout(), &[readout]);
            beginning(&cells, BODY, &image(len, 0), granule);
        }
    }
}
