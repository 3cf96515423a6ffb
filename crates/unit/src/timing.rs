//! How long a unit takes for what it does: counted operations times published times.

use crate::part::Part;
use std::collections::BTreeMap;

/// What a unit did, counted.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Work {
    /// Sectors erased, by their size in bytes.
    pub erases: BTreeMap<u32, u64>,
    /// Granules programmed.
    pub granules: u64,
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
    /// For `work` on `part`. Nothing is taken to overlap: a unit that decrypts while its flash is busy is faster.
    pub fn of(work: &Work, part: &Part, rates: &Rates) -> Self {
        let blocks = work.stick_blocks as f64;
        let erase = work.erases.iter().fold(Span::default(), |sum, (size, count)| {
            let (typical, longest) = part.erase_us(*size);
            let count = *count as f64;
            sum + Span {
                typical_s: count * typical / 1e6,
                longest_s: count * longest / 1e6,
            }
        });
        let bytes = work.granules * u64::from(part.program_granule_bytes);
        let (typical, longest) = part.program_us(bytes / u64::from(part.program_granule_bytes.max(1)));
        let digested = (work.flash_bytes_digested + work.payload_bytes) as f64 * rates.sha256_cycles_per_byte;
        let decrypted = work.payload_bytes as f64 * rates.aes_cycles_per_byte;
        let compute = (digested + decrypted + work.signatures as f64 * rates.signature_cycles) / rates.clock_hz;
        Self {
            stick: Span {
                typical_s: rates.ready_s_typical + blocks / rates.blocks_per_s_typical,
                longest_s: rates.ready_s_longest + blocks / rates.blocks_per_s_slowest,
            },
            erase,
            program: Span {
                typical_s: typical / 1e6,
                longest_s: longest / 1e6,
            },
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
    use crate::part::part;

    /// STM32G474, 2 KiB pages: erasing 256 KiB takes 128 x 22.02 ms typical and 128 x 24.47 ms at most, programming it 2.68
    /// and 2.73 s (DS12288 Table 47).
    #[test]
    fn phases_follow_the_data_sheet() {
        let work = Work {
            erases: [(2048, 128)].into(),
            granules: 32_768,
            ..Work::default()
        };
        let estimate = Estimate::of(&work, part("stm32g474-512k").unwrap(), &Rates::portable(170e6));
        assert!((estimate.erase.typical_s - 2.8186).abs() < 1e-3, "{estimate:?}");
        assert!((estimate.erase.longest_s - 3.1322).abs() < 1e-3, "{estimate:?}");
        assert!((estimate.program.typical_s - 2.68).abs() < 0.005, "{estimate:?}");
        assert!((estimate.program.longest_s - 2.73).abs() < 0.005, "{estimate:?}");
    }

    /// 256 KiB of SHA-256 at 242 cycles a byte and 72 MHz: 0.88 s.
    #[test]
    fn computing_follows_the_clock() {
        let work = Work {
            flash_bytes_digested: 256 << 10,
            ..Work::default()
        };
        let estimate = Estimate::of(&work, part("stm32f103-512k").unwrap(), &Rates::portable(72e6));
        assert!((estimate.compute.typical_s - 0.881).abs() < 1e-3, "{estimate:?}");
    }
}
