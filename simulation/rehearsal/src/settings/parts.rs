//! Settings memories of the parts table, as the keeper sees them and as they are simulated.

use super::Setup;
use packstaff_keeper::{CHUNK_MAX, Memory};
use packstaff_unit::part::{Part, PartKind};
use packstaff_unit::settings_memory::{PageKind, Pages, SettingsMemory};

/// A part as the keeper works with it; `None` for one whose pages the table does not tell, and for flash,
/// which product files do not take for settings. Of an
/// FRAM, which takes any number of bytes at once, it writes as many as it ever does.
pub fn memory_of(part: &Part) -> Option<Memory> {
    match part.kind {
        PartKind::I2cEeprom | PartKind::SpiEeprom | PartKind::McuEeprom => {
            Some(Memory::Pages { page: part.page_bytes? })
        }
        PartKind::I2cFram | PartKind::SpiFram | PartKind::McuFram => Some(Memory::Pages { page: CHUNK_MAX as u32 }),
        PartKind::McuFlash | PartKind::SpiNor => None,
    }
}

/// A new part, as far as the regions of a setup reach; `None` where [`memory_of`] gives none.
pub fn new_memory(part: &Part, setup: &Setup) -> Option<SettingsMemory> {
    let regions = [Some(setup.region), setup.aside.map(|aside| aside.region)];
    let regions = || regions.iter().flatten();
    let base = regions().map(|region| region.base).min()?;
    let end = regions().map(|region| region.base.saturating_add(region.size)).max()?;
    let size = end - base;
    let Memory::Pages { page } = memory_of(part)? else {
        return None;
    };
    let fram = matches!(part.kind, PartKind::I2cFram | PartKind::SpiFram | PartKind::McuFram);
    let kind = if fram { PageKind::Fram } else { PageKind::Eeprom };
    Some(SettingsMemory::Pages(Pages::new(kind, base, size, page)))
}
