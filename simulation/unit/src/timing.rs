//! How long a unit takes for what it does: counted operations times published times.

use crate::flash::FlashLayout;
use packstaff_parts::Part;
use std::collections::BTreeMap;

/// What was done to one memory, counted.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct FlashWork {
    /// Sectors erased, by their size in bytes.
    pub erases: BTreeMap<u32, u64>,
    /// Bytes programmed, in whole granules.
    pub programmed_bytes: u64,
}

/// What a unit did, counted.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Work {
    /// Changes of the part's own flash.
    pub own: FlashWork,
    /// Changes of the memory beside it.
    pub beside: FlashWork,
    /// Blocks of 512 bytes read from the stick.
    pub stick_blocks: u64,
    /// Bytes of flash read.
    pub flash_bytes_read: u64,
    /// Bytes of flash digested.
    pub flash_bytes_digested: u64,
    /// Bytes of payload digested and decrypted, all passes together.
    pub payload_bytes: u64,
    /// Signatures verified.
    pub signatures: u64,
}

impl Work {
    /// What was done to the memory that `address` belongs to.
    pub(crate) fn at(&mut self, layout: &FlashLayout, address: u32) -> &mut FlashWork {
        match layout.is_beside(address) {
            true => &mut self.beside,
            false => &mut self.own,
        }
    }
}

/// The parts that a unit's flash is made of.
#[derive(Clone, Copy, Debug)]
pub struct FlashParts<'a> {
    /// The microcontroller.
    pub own: &'a Part,
    /// The memory beside it, if there is one.
    pub beside: Option<&'a Part>,
}

impl<'a> FlashParts<'a> {
    /// Each part with what was done to it.
    pub fn with<'w>(self, work: &'w Work) -> impl Iterator<Item = (&'a Part, &'w FlashWork)> {
        let beside = self.beside.map(|part| (part, &work.beside));
        [(self.own, &work.own)].into_iter().chain(beside)
    }
}

impl<'a> From<&'a Part> for FlashParts<'a> {
    fn from(own: &'a Part) -> Self {
        Self { own, beside: None }
    }
}

/// What the time of an update is estimated from, besides the part's own table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rates {
    /// Processor clock, in hertz.
    pub clock_hz: f64,
    /// SHA-256, in cycles a byte.
    pub sha256_cycles_per_byte: f64,
    /// AES-256 in counter mode, in cycles a byte.
    pub aes_cycles_per_byte: f64,
    /// Verifying one Ed25519 signature, in cycles.
    pub signature_cycles: f64,
    /// Stick blocks a second, typical.
    pub blocks_per_s_typical: f64,
    /// Stick blocks a second, slowest.
    pub blocks_per_s_slowest: f64,
    /// From plugging in to the first read, in seconds, typical.
    pub ready_s_typical: f64,
    /// From plugging in to the first read, in seconds, longest.
    pub ready_s_longest: f64,
}

impl Rates {
    /// Rates for portable code on a Cortex-M3 or M4 at `clock_hz`.
    ///
    /// SHA-256 97 to 242 and AES-256 about 250 cycles a byte (4001 a block of 16), Ed25519 25.7 million cycles: published
    /// counts of compact portable C and C++ on Cortex-M3 and M4 (cifra README; Arduino cryptography library, Due at 84 MHz);
    /// the slower of them is taken. A stick on full-speed USB that reads block by block: 170 to 512 kB/s from the frame
    /// arithmetic of bulk transfers (19 packets of 64 bytes a frame of 1 ms), one read command taking 1 to 3 frames; that
    /// is 333 to 1000 blocks a second. Getting ready takes 0.5 to several seconds: common practice, no source.
    pub fn portable(clock_hz: f64) -> Self {
        Self {
            clock_hz,
            sha256_cycles_per_byte: 242.0,
            aes_cycles_per_byte: 4001.0 / 16.0,
            signature_cycles: 25.7e6,
            blocks_per_s_typical: 1000.0,
            blocks_per_s_slowest: 333.0,
            ready_s_typical: 1.0,
            ready_s_longest: 5.0,
        }
    }
}

/// A time, in seconds.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Span {
    /// Typical.
    pub typical_s: f64,
    /// Longest.
    pub longest_s: f64,
}

impl Span {
    /// From a typical and a longest time in microseconds.
    fn of_us((typical, longest): (f64, f64)) -> Self {
        Self {
            typical_s: typical / 1e6,
            longest_s: longest / 1e6,
        }
    }
}

impl std::ops::Mul<f64> for Span {
    type Output = Self;

    fn mul(self, times: f64) -> Self {
        Self {
            typical_s: self.typical_s * times,
            longest_s: self.longest_s * times,
        }
    }
}

impl std::ops::Add for Span {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self {
            typical_s: self.typical_s + other.typical_s,
            longest_s: self.longest_s + other.longest_s,
        }
    }
}

/// An estimate, phase by phase.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Estimate {
    /// The stick: getting ready, and all reads.
    pub stick: Span,
    /// Erasing.
    pub erase: Span,
    /// Programming.
    pub program: Span,
    /// Digests, decryption, signatures.
    pub compute: Span,
}

impl Estimate {
    /// For `work` on `parts`. Nothing is taken to overlap: a unit that decrypts while its flash is busy is faster. Reading a
    /// serial memory is taken to be faster than digesting what was read.
    pub fn of<'a>(work: &Work, parts: impl Into<FlashParts<'a>>, rates: &Rates) -> Self {
        let blocks = work.stick_blocks as f64;
        let (mut erase, mut program) = (Span::default(), Span::default());
        for (part, done) in parts.into().with(work) {
            for (size, count) in &done.erases {
                erase = erase + Span::of_us(part.erase_us(*size)) * *count as f64;
            }
            let granules = done.programmed_bytes / u64::from(part.program_granule_bytes.max(1));
            program = program + Span::of_us(part.program_us(granules));
        }
        let digested = (work.flash_bytes_digested + work.payload_bytes) as f64 * rates.sha256_cycles_per_byte;
        let decrypted = work.payload_bytes as f64 * rates.aes_cycles_per_byte;
        let compute = (digested + decrypted + work.signatures as f64 * rates.signature_cycles) / rates.clock_hz;
        Self {
            stick: Span {
                typical_s: rates.ready_s_typical + blocks / rates.blocks_per_s_typical,
                longest_s: rates.ready_s_longest + blocks / rates.blocks_per_s_slowest,
            },
            erase,
            program,
            compute: Span {
                typical_s: compute,
                longest_s: compute,
            },
        }
    }

    /// All phases together.
    pub fn total(&self) -> Span {
        self.stick + self.erase + self.program + self.compute
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use packstaff_parts::PartsTable;

    /// STM32G474, 2 KiB pages: erasing 256 KiB takes 128 x 22.02 ms typical and 128 x 24.47 ms at most, programming it 2.68
    /// and 2.73 s (DS12288 Table 47).
    #[test]
    fn phases_follow_the_data_sheet() {
        let work = Work {
            own: FlashWork {
                erases: [(2048, 128)].into(),
                programmed_bytes: 256 << 10,
            },
            ..Work::default()
        };
        let estimate = Estimate::of(
            &work,
            PartsTable::built_in().part("stm32g474-512k").unwrap(),
            &Rates::portable(170e6),
        );
        assert!((estimate.erase.typical_s - 2.8186).abs() < 1e-3, "{estimate:?}");
        assert!((estimate.erase.longest_s - 3.1322).abs() < 1e-3, "{estimate:?}");
        assert!((estimate.program.typical_s - 2.68).abs() < 0.005, "{estimate:?}");
        assert!((estimate.program.longest_s - 2.73).abs() < 0.005, "{estimate:?}");
    }

    /// A stage of 64 KiB in a W25Q16JV: 16 sectors of 4 KiB at 45 ms typical and 400 ms at most, 256 pages at 0.4 and 3 ms (data
    /// sheet W25Q16JV, AC characteristics).
    #[test]
    fn a_memory_beside_counts_by_its_own_data_sheet() {
        let work = Work {
            beside: FlashWork {
                erases: [(4096, 16)].into(),
                programmed_bytes: 64 << 10,
            },
            ..Work::default()
        };
        let parts = FlashParts {
            own: PartsTable::built_in().part("stm32f405-512k").unwrap(),
            beside: Some(PartsTable::built_in().part("w25q16jv-2m").unwrap()),
        };
        let estimate = Estimate::of(&work, parts, &Rates::portable(168e6));
        assert!((estimate.erase.typical_s - 0.72).abs() < 1e-9, "{estimate:?}");
        assert!((estimate.erase.longest_s - 6.4).abs() < 1e-9, "{estimate:?}");
        assert!((estimate.program.typical_s - 0.1024).abs() < 1e-9, "{estimate:?}");
        assert!((estimate.program.longest_s - 0.768).abs() < 1e-9, "{estimate:?}");
        assert_eq!(
            Estimate::of(&work, parts.own, &Rates::portable(168e6)).erase,
            Span::default()
        );
    }

    /// 256 KiB of SHA-256 at 242 cycles a byte and 72 MHz: 0.88 s.
    #[test]
    fn computing_follows_the_clock() {
        let work = Work {
            flash_bytes_digested: 256 << 10,
            ..Work::default()
        };
        let estimate = Estimate::of(
            &work,
            PartsTable::built_in().part("stm32f103-512k").unwrap(),
            &Rates::portable(72e6),
        );
        assert!((estimate.compute.typical_s - 0.881).abs() < 1e-3, "{estimate:?}");
    }
}
