//! One part: its memory, and what its data sheet says of it.

/// A memory: a microcontroller's program flash, an external NOR flash, or a settings memory.
#[derive(Clone, Debug)]
pub struct Part {
    /// Our name for it, as a product file gives it.
    pub id: String,
    /// The trade's name.
    pub name: String,
    /// What sort of memory it is.
    pub kind: PartKind,
    /// The core beside it.
    pub core: Option<String>,
    /// Highest clock, in hertz.
    pub clock_hz_max: Option<u64>,
    /// Size in bytes.
    pub size_bytes: u32,
    /// Address of the first byte.
    pub base: u32,
    /// Smallest unit that may be programmed, in bytes.
    pub program_granule_bytes: u32,
    /// Bytes that one program command takes at most, where that is more than the granule.
    pub program_page_bytes: Option<u32>,
    /// Page of a settings memory, in bytes.
    pub page_bytes: Option<u32>,
    /// Shortest time to program one granule (or one page, where there is one), in microseconds.
    pub program_min_us: Option<f64>,
    /// Typical time to program one granule (or page), in microseconds.
    pub program_typ_us: Option<f64>,
    /// Longest time to program one granule (or page), in microseconds.
    pub program_max_us: Option<f64>,
    /// A published time for programming a large range at once.
    pub program_total: Option<ProgramTotal>,
    /// Longest write cycle of a settings memory, in microseconds.
    pub write_cycle_max_us: Option<f64>,
    /// Typical mass erase, in microseconds.
    pub mass_erase_typ_us: Option<f64>,
    /// Longest mass erase, in microseconds.
    pub mass_erase_max_us: Option<f64>,
    /// Guaranteed erase or write cycles.
    pub endurance_min: Option<u64>,
    /// Typical erase or write cycles.
    pub endurance_typ: Option<u64>,
    /// Guaranteed retention, in years, at the worst condition named.
    pub retention_years_min: Option<u32>,
    /// Whether check bits guard each granule.
    pub ecc: bool,
    /// What a byte reads after an erase, where it was read.
    pub erased_value: Option<u8>,
    /// Lowest supply at which the table's program times hold, in volts.
    pub supply_min_program_v: Option<f64>,
    /// What the part allows on a granule that is already programmed.
    pub second_program: SecondProgram,
    /// Sectors, upward from `base`.
    pub sectors: Vec<Sectors>,
    /// Where the figures were read.
    pub source: String,
    /// Whether times, endurance and granule were read there.
    pub confirmed: bool,
    /// Fields that were not.
    pub unconfirmed: Vec<String>,
}

/// What sort of memory a part is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PartKind {
    /// Program flash of a microcontroller.
    McuFlash,
    /// Program memory of a microcontroller, ferroelectric.
    McuFram,
    /// Data EEPROM of a microcontroller.
    McuEeprom,
    /// External NOR flash.
    SpiNor,
    /// I2C EEPROM.
    I2cEeprom,
    /// SPI EEPROM.
    SpiEeprom,
    /// I2C ferroelectric memory.
    I2cFram,
    /// SPI ferroelectric memory.
    SpiFram,
}

impl PartKind {
    /// The words of a parts table.
    pub const WORDS: &[(&str, Self)] = &[
        ("mcu-flash", Self::McuFlash),
        ("mcu-fram", Self::McuFram),
        ("mcu-eeprom", Self::McuEeprom),
        ("spi-nor", Self::SpiNor),
        ("i2c-eeprom", Self::I2cEeprom),
        ("spi-eeprom", Self::SpiEeprom),
        ("i2c-fram", Self::I2cFram),
        ("spi-fram", Self::SpiFram),
    ];

    /// Whether memories of this kind are erased sector by sector.
    pub const fn has_sectors(self) -> bool {
        matches!(self, Self::McuFlash | Self::SpiNor)
    }
}

/// What a part allows on a granule that was programmed and not erased since.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
pub enum SecondProgram {
    /// Nothing.
    Never,
    /// All-zero data only.
    Zeros,
    /// Further bits from 1 to 0.
    Clears,
    /// A few writes, as the data sheet says.
    Limited,
    /// Anything: no erase is needed.
    Free,
    /// Not known: taken as nothing.
    #[default]
    Unknown,
}

impl SecondProgram {
    /// The words of a parts table.
    pub const WORDS: &[(&str, Self)] = &[
        ("never", Self::Never),
        ("zeros", Self::Zeros),
        ("clears", Self::Clears),
        ("limited", Self::Limited),
        ("free", Self::Free),
        ("unknown", Self::Unknown),
    ];
}

/// A run of equal sectors and their erase times.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sectors {
    /// How many.
    pub count: u32,
    /// Bytes in each.
    pub size: u32,
    /// Shortest erase, in microseconds.
    pub erase_min_us: Option<f64>,
    /// Typical erase, in microseconds.
    pub erase_typ_us: Option<f64>,
    /// Longest erase, in microseconds.
    pub erase_max_us: Option<f64>,
}

/// A published time for programming a large range at once.
#[derive(Clone, Debug, PartialEq)]
pub struct ProgramTotal {
    /// Bytes programmed.
    pub bytes: u32,
    /// Typical time, in microseconds.
    pub typ_us: f64,
    /// Longest time, in microseconds.
    pub max_us: f64,
    /// Where it was read.
    pub source: String,
}

impl Part {
    /// What a byte reads after an erase; FFh where the table does not say, as is usual for NOR flash.
    pub fn erased(&self) -> u8 {
        self.erased_value.unwrap_or(0xff)
    }

    /// Bytes that a driver programs at a time: a page of a serial memory, which takes one command for it, and else the granule.
    pub fn portion_bytes(&self) -> u32 {
        match (self.kind, self.program_page_bytes) {
            (PartKind::SpiNor, Some(page)) => page,
            _ => self.program_granule_bytes,
        }
    }

    /// Whether programs, or images that are put together, can lie in it.
    pub fn is_program_flash(&self) -> bool {
        self.kind.has_sectors()
    }

    /// Typical and longest time to erase a sector of `size` bytes, in microseconds. A figure that is not published falls
    /// back to the nearest published one of the same sector, and to 0 where there is none at all.
    pub fn erase_us(&self, size: u32) -> (f64, f64) {
        let Some(run) = self.sectors.iter().find(|run| run.size == size) else {
            return (0.0, 0.0);
        };
        let typical = run
            .erase_typ_us
            .or(run.erase_max_us)
            .or(run.erase_min_us)
            .unwrap_or(0.0);
        (typical, run.erase_max_us.unwrap_or(typical))
    }

    /// Typical and longest time to program `granules` granules one after another, in microseconds.
    ///
    /// The product of count and published time; the longest time is never taken below a published total, in proportion,
    /// because some data sheets publish totals that are longer than the product (STM32G071: DS12232 Table 44).
    pub fn program_us(&self, granules: u64) -> (f64, f64) {
        let typical = self
            .program_typ_us
            .or(self.program_max_us)
            .or(self.program_min_us)
            .unwrap_or(0.0);
        let longest = self.program_max_us.unwrap_or(typical);
        let granule = f64::from(self.program_granule_bytes);
        let commands = match self.program_page_bytes {
            Some(page) => (granules as f64 * granule / f64::from(page)).ceil(),
            None => granules as f64,
        };
        let (mut typical, mut longest) = (commands * typical, commands * longest);
        if let Some(total) = &self.program_total {
            let share = granules as f64 * granule / f64::from(total.bytes);
            typical = typical.max(share * total.typ_us);
            longest = longest.max(share * total.max_us);
        }
        (typical, longest)
    }
}

#[cfg(test)]
mod tests {
    use crate::PartsTable;

    fn part(id: &str) -> &'static crate::Part {
        PartsTable::built_in().part(id).unwrap()
    }

    /// Published totals against our products: DS12288 Table 47 (G474, 256 KiB bank: 2.68 / 2.73 s), DS10969 Table 53 (L475,
    /// 512 KiB: 5.35 / 5.95 s), DS12232 Table 44 (G071, 128 KiB: 1.4 / 2.4 s; a 2 KiB page 21.8 / 36.6 ms).
    #[test]
    fn program_times_agree_with_published_totals() {
        for (id, bytes, typical_s, longest_s) in [
            ("stm32g474-512k", 256 << 10, 2.68, 2.73),
            ("stm32l476-1m", 512 << 10, 5.35, 5.95),
            ("stm32g071-128k", 128 << 10, 1.4, 2.4),
            ("stm32g431-128k", 128 << 10, 1.34, 1.49),
        ] {
            let (typical, longest) = part(id).program_us(bytes / 8);
            assert!((typical / 1e6 - typical_s).abs() < 0.008, "{id}: typical {typical} us");
            assert!((longest / 1e6 - longest_s).abs() < 0.008, "{id}: longest {longest} us");
        }
        let (_, page) = part("stm32g071-128k").program_us(256);
        assert!((36_600.0..38_000.0).contains(&page), "{page} us");
    }

    /// Derived figures for the first 256 KiB of an STM32F405 from DS8626 Tables 40 and 42: erase 2.55 / 5.10 s, program
    /// 1.05 / 6.55 s.
    #[test]
    fn mixed_sectors_add_up() {
        let part = part("stm32f405-1m");
        let sectors = [16 << 10, 16 << 10, 16 << 10, 16 << 10, 64 << 10, 128 << 10];
        let (typical, longest) = sectors
            .iter()
            .map(|size| part.erase_us(*size))
            .fold((0.0, 0.0), |sum, t| (sum.0 + t.0, sum.1 + t.1));
        assert_eq!((typical, longest), (2_550_000.0, 5_100_000.0));
        assert_eq!(part.program_us(65_536), (1_048_576.0, 6_553_600.0));
    }
}
