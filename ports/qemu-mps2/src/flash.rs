//! A simulated flash controller: memory that behaves as an STM32F405's program flash does, in its times and its refusals, and
//! lasts in a file of the host.
//!
//! The rules: words of 4 bytes, bits only from 1 to 0, nothing while locked or busy, whole sectors erased (RM0090, 3.5; DS8626
//! Rev 12, tables 39 and 40, typical times at x32). The core runs an instruction a cycle here, at the part's 168 MHz.

use crate::clock::{self, INSTRUCTIONS_IN_A_TICK};
use crate::semihost::{File, Mode, print};
use packstaff_installer::{Geometry, Region, SectorRun};

const CLOCK_MHZ: u32 = 168;
const WORD: usize = 4;
const PROGRAM_WORD_US: u32 = 16;
const RUNS: [SectorRun; 3] = [
    SectorRun {
        count: 4,
        size: 16 << 10,
    },
    SectorRun {
        count: 1,
        size: 64 << 10,
    },
    SectorRun {
        count: 3,
        size: 128 << 10,
    },
];
const ERASED: u8 = 0xff;
const SIZE: u32 = 512 << 10;

/// The part's sectors, at the address that the board's memory has.
pub const GEOMETRY: Geometry<'static> = Geometry {
    base: 0,
    runs: &RUNS,
    granule: WORD as u32,
    erased: ERASED,
};
/// The installer's own sectors.
pub const INSTALLER: Region = Region { base: 0, size: 0x8000 };
/// The register's sectors.
pub const FLOORS: [Region; 2] = [
    Region {
        base: 0x8000,
        size: 0x4000,
    },
    Region {
        base: 0xC000,
        size: 0x4000,
    },
];
/// The slot.
pub const SLOT: Region = Region {
    base: 0x1_0000,
    size: 0x7_0000,
};
/// What the factory writes: the last bytes of the installer's sectors.
pub const FACTORY: Region = Region {
    base: 0x7E00,
    size: 0x200,
};

const fn ticks(microseconds: u32) -> u32 {
    (microseconds as u64 * CLOCK_MHZ as u64 / INSTRUCTIONS_IN_A_TICK as u64) as u32
}

const fn erase_us(size: u32) -> u32 {
    match size {
        0x4000 => 250_000,
        0x1_0000 => 550_000,
        _ => 1_000_000,
    }
}

/// A power cut, at one of the unit's changes of flash.
#[derive(Clone, Copy)]
pub struct Cut {
    /// Which change, from 1.
    pub change: u32,
    /// Words of it that are still programmed; for an erase, words that are still cleared.
    pub words: u32,
}

/// What the controller objects to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refused {
    /// It is locked, or at work.
    NotReady,
    /// The address is no sector's, or not in flash at all, or not at a word.
    Place,
    /// A bit would have to go from 0 to 1.
    NotErased,
    /// The host's file could not be written.
    Lost,
}

/// Flash, and its controller.
pub struct Flash {
    file: File,
    unlocked: bool,
    /// Since when the controller is at work, and for how long.
    busy: Option<(u32, u32)>,
    cut: Option<Cut>,
    /// Changes so far.
    pub changes: u32,
    /// Ticks that the core has waited for the controller.
    pub waited: u32,
    /// Ticks that the controller was at work.
    pub worked: u32,
}

impl Flash {
    /// Takes what the file holds into memory: what the factory wrote, the register, the slot. `None` if there is no such file.
    pub fn restore(cut: Option<Cut>) -> Option<Self> {
        let file = File::open(c"flash.bin", Mode::Change)?;
        for region in [FACTORY, FLOORS[0], FLOORS[1], SLOT] {
            if file.read_at(region.base, cells(region)?) != region.size as usize {
                return None;
            }
        }
        Some(Self {
            file,
            unlocked: false,
            busy: None,
            cut,
            changes: 0,
            waited: 0,
            worked: 0,
        })
    }

    /// Lets changes through, or bars them.
    pub fn unlock(&mut self, unlocked: bool) {
        self.unlocked = unlocked;
    }

    /// Whether the controller is at work.
    fn ready(&self) -> Result<(), Refused> {
        match (self.unlocked, self.busy) {
            (true, None) => Ok(()),
            _ => Err(Refused::NotReady),
        }
    }

    /// Waits until the controller has nothing to do.
    pub fn wait(&mut self) {
        if let Some((since, ticks)) = self.busy.take() {
            self.waited += clock::wait(since, ticks);
        }
    }

    /// Begins to erase the sector at `address`.
    ///
    /// # Errors
    /// What the controller objects to; nothing has changed then.
    pub fn erase(&mut self, address: u32) -> Result<(), Refused> {
        self.ready()?;
        let sector = GEOMETRY
            .sector_at(address)
            .filter(|sector| sector.base == address && !sector.overlaps(INSTALLER))
            .ok_or(Refused::Place)?;
        self.changes += 1;
        let cells = cells(sector).ok_or(Refused::Place)?;
        if let Some(cut) = self.cut.filter(|cut| cut.change == self.changes) {
            for cell in cells.iter_mut().take(cut.words as usize * WORD) {
                *cell = ERASED;
            }
            self.keep(sector)?;
            power_cut();
        }
        cells.fill(ERASED);
        self.begin(ticks(erase_us(sector.size)));
        self.keep(sector)
    }

    /// Begins to program words.
    ///
    /// # Errors
    /// What the controller objects to; nothing has changed then.
    pub fn program(&mut self, address: u32, data: &[u8]) -> Result<(), Refused> {
        self.ready()?;
        let region = Region {
            base: address,
            size: data.len() as u32,
        };
        if region.size == 0 || (address | region.size) % WORD as u32 != 0 || region.overlaps(INSTALLER) {
            return Err(Refused::Place);
        }
        let cells = cells(region).ok_or(Refused::Place)?;
        if cells.iter().zip(data).any(|(cell, byte)| byte & !*cell != 0) {
            return Err(Refused::NotErased);
        }
        self.changes += 1;
        let cut = self.cut.filter(|cut| cut.change == self.changes);
        let bytes = cut.map_or(data.len(), |cut| cut.words as usize * WORD);
        for (cell, byte) in cells.iter_mut().zip(data).take(bytes) {
            *cell = *byte;
        }
        self.keep(region)?;
        if cut.is_some() {
            power_cut();
        }
        self.begin(ticks(PROGRAM_WORD_US * (region.size / WORD as u32)));
        Ok(())
    }

    fn begin(&mut self, ticks: u32) {
        self.worked += ticks;
        self.busy = Some((clock::now(), ticks));
    }

    /// What the cells hold now is what is there after a cut.
    fn keep(&self, region: Region) -> Result<(), Refused> {
        let kept = cells(region).is_some_and(|cells| self.file.write_at(region.base, cells));
        if kept { Ok(()) } else { Err(Refused::Lost) }
    }

    /// Looks at cells; `None` while the controller is at work, or outside of flash.
    pub fn read(&self, region: Region) -> Option<&[u8]> {
        match self.busy {
            None => cells(region).map(|cells| &*cells),
            Some(_) => None,
        }
    }
}

/// The cells of a region.
fn cells(region: Region) -> Option<&'static mut [u8]> {
    if region.base < FACTORY.base || region.end() > u64::from(SIZE) {
        return None;
    }
    let start = core::ptr::with_exposed_provenance_mut(region.base as usize);
    // SAFETY: the board has memory there, which no code or data of this program lies in (the linker script ends before FACTORY).
    // There is one `Flash`, and it never holds two of these at the same time over the same cells while it writes.
    Some(unsafe { core::slice::from_raw_parts_mut(start, region.size as usize) })
}

/// The supply is gone. Whoever started the emulator sees this line and ends it.
fn power_cut() -> ! {
    print("power cut\n");
    loop {
        // Not even an interrupt would help: the process is killed here.
        core::hint::spin_loop();
    }
}
