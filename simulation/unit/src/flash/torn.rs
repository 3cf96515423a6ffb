//! What a cut inside a program or an erase leaves behind.
//!
//! | here | what it stands for | where it was seen |
//! | --- | --- | --- |
//! | [`Inside::Clean`] | whole granules up to the cut, nothing of the next | baseline of power-cut tests |
//! | [`Inside::Part`] | some bits of the granule have changed, others not | flash only clears bits when it programs: RM0399 section 4.3.9 |
//! | [`Inside::Unreadable`] | data and check bits do not fit: the part reports an error at each read | watchdog reset swept across a double-word write on an STM32L4R5 (P. Erhardt); check bits: RM0440 section 3.3.2 |
//! | [`Inside::Wavering`] | reads as new now and may read otherwise later | Tseng, Grupp, Swanson, DAC 2011, doi 10.1145/2024724.2024733; linux-mtd 2011-10-18 |
//! | [`Inside::LeftOut`] | a granule is missing while later ones are done | write queues and page buffers program in an order of their own |
//! | [`EraseCut::Cleared`] | the sector was programmed to zero in preparation | linux-mtd 2009-07-15 |
//! | [`EraseCut::Upper`], [`EraseCut::Lower`] | half of the sector is erased | mixture, in both orders |
//! | [`EraseCut::Noise`] | every bit may be either | Poudel, Ray, Milenkovic, ACM TECS 20(3) 2021, doi 10.1145/3448271 |
//! | [`EraseCut::Weak`] | reads as erased, and is not: bits may come back, programs may not hold | Tseng 2011; Skorobogatov, Data Remanence in Flash Memory Devices |
//!
//! A cut before and a cut after are not listed here: they leave the old and the new contents.
//!
//! Why a few representatives stand for all subsets of bits: the installer learns of cells in three ways only. It digests a
//! range, and compares with one value; it reads a record, and asks whether its check value fits; it asks whether a range is
//! blank. Any mixture that is neither the old nor the new contents gives the same answer to each of these as any other
//! (up to a collision of SHA-256, or of CRC-32 in a record, which the digest over the image backs).

use super::{Change, DoubtKind, Flash};
use packstaff_installer::Region;

/// Where inside a change a cut fell, and what it left there.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Torn {
    /// In a program: `whole` granules were done, and the next one is as `inside` says.
    Program {
        /// Granules done.
        whole: u32,
        /// The granule that the cut fell into.
        inside: Inside,
    },
    /// In an erase.
    Erase(EraseCut),
}

/// The granule that a cut fell into.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Inside {
    /// Not begun.
    Clean,
    /// Some of its bits have changed.
    Part,
    /// It cannot be read.
    Unreadable,
    /// It reads as new, for now.
    Wavering,
    /// Not begun, but all others of the request are done.
    LeftOut,
}

/// What a cut leaves of a sector that was being erased.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum EraseCut {
    /// All bits programmed.
    Cleared,
    /// The upper half erased, the lower half as it was.
    Upper,
    /// The lower half erased, the upper half as it was.
    Lower,
    /// Every bit one or the other, and not the same at each read.
    Noise,
    /// Reads as erased, but is not.
    Weak,
}

impl Inside {
    /// All, in order.
    pub const ALL: [Self; 5] = [Self::Clean, Self::Part, Self::Unreadable, Self::Wavering, Self::LeftOut];

    /// In plain words, for a story.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Clean => "nothing of the next granule was programmed",
            Self::Part => "some bits of the next granule were programmed",
            Self::Unreadable => "the next granule cannot be read: its check bits do not fit",
            Self::Wavering => "the next granule reads as programmed, but may read otherwise later",
            Self::LeftOut => "the next granule was left out while all others were programmed",
        }
    }
}

impl EraseCut {
    /// All, in order.
    pub const ALL: [Self; 5] = [Self::Cleared, Self::Upper, Self::Lower, Self::Noise, Self::Weak];

    /// In plain words, for a story.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Cleared => "all its bits were programmed, in preparation of the erase",
            Self::Upper => "its upper half was erased, its lower half was as before",
            Self::Lower => "its lower half was erased, its upper half was as before",
            Self::Noise => "its bits were neither old nor erased, and not the same at each read",
            Self::Weak => "it read as erased, but was not erased to the end",
        }
    }
}

/// Every way in which a cut can fall inside `change`: each granule of a program with each of `insides`, each of `erases`
/// for an erase. [`Inside::Unreadable`] is left out on parts without check bits, and [`Inside::LeftOut`] where a request
/// has one granule only.
pub fn outcomes<'a>(
    flash: &Flash,
    change: &Change,
    insides: &'a [Inside],
    erases: &'a [EraseCut],
) -> impl Iterator<Item = Torn> + 'a {
    let (granules, ecc) = match change {
        Change::Erase { .. } => (0, false),
        Change::Program { address, data } => {
            let memory = flash.layout.memory_at(*address);
            (data.len() as u32 / memory.granule(), memory.has_check_bits())
        }
    };
    let erases = if granules == 0 { erases } else { &[] };
    let possible = move |whole: u32, inside: Inside| match inside {
        // Nothing done at all is a cut before the change.
        Inside::Clean => whole > 0,
        Inside::Unreadable => ecc,
        // Leaving out the last one is a clean cut before it.
        Inside::LeftOut => whole + 1 < granules,
        Inside::Part | Inside::Wavering => true,
    };
    let programs = (0..granules).flat_map(move |whole| {
        let insides = insides.iter().filter(move |inside| possible(whole, **inside));
        insides.map(move |inside| Torn::Program { whole, inside: *inside })
    });
    programs.chain(erases.iter().map(|cut| Torn::Erase(*cut)))
}

/// Leaves in `flash` what the cut leaves. The change was checked; a `torn` of the other kind changes nothing.
pub(super) fn tear(flash: &mut Flash, change: &Change, torn: Torn) {
    let dont_care: Vec<_> = flash
        .doubts()
        .iter()
        .filter(|doubt| doubt.kind == DoubtKind::DontCare)
        .map(|doubt| doubt.area)
        .collect();
    match (change, torn) {
        (Change::Program { address, data }, Torn::Program { whole, inside }) => {
            tear_program(flash, *address, data, whole, inside)
        }
        (Change::Erase { address }, Torn::Erase(cut)) => tear_erase(flash, *address, cut),
        _ => {}
    }
    // A cut leaves more doubt behind, never less.
    dont_care.into_iter().for_each(|area| flash.mark_dont_care(area));
}

fn tear_program(flash: &mut Flash, address: u32, data: &[u8], whole: u32, inside: Inside) {
    let granule = flash.layout.memory_at(address).granule() as usize;
    let done = (whole as usize * granule).min(data.len());
    let (before, rest) = data.split_at(done);
    flash.program(address, before);
    let Some((hit, after)) = rest.split_at_checked(granule) else {
        return;
    };
    let area = Region {
        base: address + done as u32,
        size: granule as u32,
    };
    let held = flash.cells(area);
    let doubt = flash.doubts.over(area).next().map(|doubt| doubt.kind);
    match inside {
        Inside::Clean => {}
        Inside::LeftOut => flash.program(area.base + area.size, after),
        // Bits that hold already what they shall are not changed.
        Inside::Part | Inside::Wavering if held == hit => {}
        Inside::Part => flash.hold(area.base, &part_of(&held, hit), Some(DoubtKind::Begun)),
        Inside::Unreadable => flash.hold(area.base, hit, Some(DoubtKind::Unreadable)),
        Inside::Wavering => match doubt {
            None | Some(DoubtKind::Parted) => flash.hold(area.base, hit, Some(DoubtKind::Wavering)),
            // On cells whose erase was cut, new contents may not hold in any case.
            Some(DoubtKind::Faint) => flash.store(area.base, hit),
            // What was begun before is a mixture still.
            Some(_) => {}
        },
    }
}

/// A mixture of two contents that is neither, where they differ in more than one bit: every other differing bit is new.
fn part_of(held: &[u8], wanted: &[u8]) -> Vec<u8> {
    let mut take = true;
    let mix = |(held, wanted): (&u8, &u8)| {
        let mut mixed = *held;
        for bit in 0..8 {
            let mask = 1 << bit;
            if (held ^ wanted) & mask != 0 {
                if take {
                    mixed = mixed & !mask | wanted & mask;
                }
                take = !take;
            }
        }
        mixed
    };
    held.iter().zip(wanted).map(mix).collect()
}

fn tear_erase(flash: &mut Flash, address: u32, cut: EraseCut) {
    let Some(sector) = flash.layout.sector_at(address) else {
        return;
    };
    let erased = flash.layout.memory_at(address).erased();
    let half = sector.size / 2;
    let lower = Region { size: half, ..sector };
    let upper = Region {
        base: sector.base + half,
        size: sector.size - half,
    };
    match cut {
        EraseCut::Cleared => flash.program(address, &vec![!erased; sector.size as usize]),
        EraseCut::Upper => flash.hold(upper.base, &vec![erased; upper.size as usize], Some(DoubtKind::Parted)),
        EraseCut::Lower => flash.hold(lower.base, &vec![erased; lower.size as usize], Some(DoubtKind::Parted)),
        EraseCut::Noise => flash.hold(address, &noise(address, &flash.cells(sector)), Some(DoubtKind::Noise)),
        EraseCut::Weak => {
            flash.erase(address);
            flash.doubt(sector, Some(DoubtKind::Faint));
        }
    }
}

/// Bits from a small generator (xorshift32, Marsaglia 2003), started from the address: the same cut gives the same world.
fn noise(address: u32, held: &[u8]) -> Vec<u8> {
    let mut state = address | 1;
    let mut draw = || {
        state ^= state << 13;
        state ^= state >> 17;
        state ^= state << 5;
        (state >> 24) as u8
    };
    held.iter().map(|_| draw()).collect()
}
