//! From what is written to what is meant: every file read, every name found, every range inside the part.

use super::written::{Written, WrittenArea, WrittenFlash, WrittenImage, WrittenRegion, WrittenStick, WrittenUnit};
use super::{Beginning, FILE, Image, NamedRange, NamedStick, UnitKind};
use crate::error::RehearsalError;
use packstaff_installer::{Region, SectorRun};
use packstaff_rehearsal::areas::without;
use packstaff_rehearsal::claims::ReleasedImage;
use packstaff_unit::flash::FlashLayout;
use packstaff_unit::stick::Stick;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// The most that one file may hold: 64 MiB.
const FILE_MAX: u64 = 64 << 20;

/// Reads a folder's description, and everything that it names.
///
/// # Errors
/// What is missing or does not fit together.
pub fn read(folder: &Path) -> Result<UnitKind, RehearsalError> {
    let path = folder.join(FILE);
    let text = String::from_utf8(file(&path)?).map_err(|_| RehearsalError::NotText { path: path.clone() })?;
    let written: Written = toml::from_str(&text).map_err(|error| RehearsalError::Description {
        path: path.clone(),
        why: error.to_string(),
    })?;
    Reading { folder, path }.kind(written)
}

/// So many ranges with names, of so many letters, have room side by side in a picture.
const NAMED_MAX: usize = 6;
const NAME_MAX: usize = 12;

struct Reading<'a> {
    folder: &'a Path,
    path: PathBuf,
}

impl Reading<'_> {
    fn unfit(&self, why: String) -> RehearsalError {
        RehearsalError::Unfit {
            path: self.path.clone(),
            why,
        }
    }

    fn kind(&self, written: Written) -> Result<UnitKind, RehearsalError> {
        let (layout, part) = self.layout(&written.flash)?;
        let inside = |what: &str, range: WrittenRegion| {
            let region = Region::from(range);
            if region.size == 0 || region.base < part.base || region.end() > part.end() {
                let why = format!(
                    "{what} at {:#010x} with {} bytes is not inside the flash, which has {} bytes from {:#010x}",
                    region.base, region.size, part.size, part.base
                );
                return Err(self.unfit(why));
            }
            Ok(region)
        };
        let all = |what: &str, ranges: &[WrittenRegion]| {
            ranges
                .iter()
                .map(|range| inside(what, *range))
                .collect::<Result<Vec<_>, _>>()
        };
        let slot = inside("slot", written.slot)?;
        let may_change = all("may_change", &written.may_change)?;
        let ranges = written.area.iter().map(|area| {
            let WrittenArea { base, size, .. } = *area;
            inside(&format!("area {:?}", area.name), WrittenRegion { base, size })
        });
        let named = self.areas(&written.area, ranges.collect::<Result<_, _>>()?, slot, &may_change)?;
        let images = self.images(&written, slot)?;
        let sticks = self.sticks(&written, &images)?;
        let beginnings = self.beginnings(&written, &sticks)?;
        let loader = self.folder.join(&written.loader);
        Ok(UnitKind {
            module: file(&loader)?,
            loader,
            slot,
            may_change,
            named,
            erased_before_read: all("erased_before_read", &written.erased_before_read)?,
            layout: Arc::new(layout),
            part,
            images,
            sticks,
            beginnings,
            floor: written.floor,
            faults: written.faults.read(),
            limits: written.limits,
        })
    }

    fn layout(&self, flash: &WrittenFlash) -> Result<(FlashLayout, Region), RehearsalError> {
        let granule = flash.granule;
        if !granule.is_power_of_two() || granule > 256 {
            let why = format!("granule is {granule}: it must be a power of two, at most 256");
            return Err(self.unfit(why));
        }
        let mut size = 0_u64;
        for run in &flash.sectors {
            if run.count == 0 || run.size == 0 || run.size % granule != 0 {
                let why = format!(
                    "sectors: {} of {} bytes: both must be more than 0, and the size whole granules of {granule} bytes",
                    run.count, run.size
                );
                return Err(self.unfit(why));
            }
            size = size.saturating_add(u64::from(run.count) * u64::from(run.size));
        }
        // A simulated flash is held in memory, and each sector is a record of its own.
        const PART_MAX: u64 = 64 << 20;
        const SECTORS_MAX: u64 = 1 << 16;
        let count: u64 = flash.sectors.iter().map(|run| u64::from(run.count)).sum();
        let reaches = u64::from(flash.base) + size <= 1 << 32;
        if size == 0 || size > PART_MAX || count > SECTORS_MAX || !reaches {
            let why = format!(
                "sectors come to {count} with {size} bytes from {:#010x}: there must be 1 to {SECTORS_MAX}, at most {PART_MAX} bytes \
                 together, inside 32 bits of addresses",
                flash.base
            );
            return Err(self.unfit(why));
        }
        let runs = flash.sectors.iter().map(|run| SectorRun {
            count: run.count,
            size: run.size,
        });
        let layout = FlashLayout::new(
            flash.base,
            runs.collect(),
            granule,
            flash.erased,
            flash.check_bits,
            flash.second_program,
        );
        let part = Region {
            base: flash.base,
            size: size as u32,
        };
        Ok((layout, part))
    }

    fn images(&self, written: &Written, slot: Region) -> Result<Vec<Image>, RehearsalError> {
        self.named("image", written.image.iter().map(|image| &image.name))?;
        let one = |image: &WrittenImage| {
            let path = self.folder.join(&image.file);
            let bytes = file(&path)?;
            let digest = packstaff_envelope::sha256(&bytes);
            let found: String = digest.iter().map(|byte| format!("{byte:02x}")).collect();
            if !image.sha256.eq_ignore_ascii_case(&found) {
                return Err(RehearsalError::OtherImage {
                    path,
                    found,
                    expected: image.sha256.clone(),
                });
            }
            let image_size = u32::try_from(bytes.len())
                .ok()
                .filter(|size| (1..=slot.size).contains(size));
            let Some(image_size) = image_size else {
                let why = format!(
                    "image {:?} has {} bytes, and the slot has room for 1 to {}",
                    image.name,
                    bytes.len(),
                    slot.size
                );
                return Err(self.unfit(why));
            };
            if written.floor && image.issue.is_none() {
                let why = format!(
                    "image {:?} has no issue, and the loader is said to keep a floor",
                    image.name
                );
                return Err(self.unfit(why));
            }
            Ok(Image {
                name: image.name.clone(),
                bytes,
                release: ReleasedImage {
                    image_size,
                    image_digest: digest,
                },
                issue: image.issue.unwrap_or(0),
            })
        };
        written.image.iter().map(one).collect()
    }

    fn sticks(&self, written: &Written, images: &[Image]) -> Result<Vec<NamedStick>, RehearsalError> {
        self.named("stick", written.stick.iter().map(|stick| &stick.name))?;
        let one = |stick: &WrittenStick| {
            let path = self.folder.join(&stick.file);
            let bytes = file(&path)?;
            if bytes.is_empty() || bytes.len() % packstaff_fat::BLOCK != 0 {
                return Err(RehearsalError::NotWholeBlocks {
                    path,
                    bytes: bytes.len(),
                });
            }
            let installs = match &stick.installs {
                None => None,
                Some(name) => Some(self.place("image", name, images.iter().map(|image| &image.name))?),
            };
            Ok(NamedStick {
                name: stick.name.clone(),
                stick: Stick::new(bytes),
                installs,
            })
        };
        let sticks: Vec<_> = written.stick.iter().map(one).collect::<Result<_, _>>()?;
        if sticks.iter().all(|stick| stick.installs.is_none()) {
            let why = "no stick says which image it installs: then nothing can be said about arriving".to_owned();
            return Err(self.unfit(why));
        }
        Ok(sticks)
    }

    fn beginnings(&self, written: &Written, sticks: &[NamedStick]) -> Result<Vec<Beginning>, RehearsalError> {
        self.named("unit", written.unit.iter().map(|unit| &unit.name))?;
        let one = |unit: &WrittenUnit| {
            let after_stick = match &unit.after_stick {
                None => None,
                Some(name) => Some(self.place("stick", name, sticks.iter().map(|stick| &stick.name))?),
            };
            let contents = unit
                .contents
                .iter()
                .map(|part| Ok::<_, RehearsalError>((part.at, file(&self.folder.join(&part.file))?)));
            Ok(Beginning {
                name: unit.name.clone(),
                after_stick,
                contents: contents.collect::<Result<_, _>>()?,
            })
        };
        written.unit.iter().map(one).collect()
    }

    /// Ranges with names: they must have room in a picture, and say one thing each.
    fn areas(
        &self,
        written: &[WrittenArea],
        ranges: Vec<Region>,
        slot: Region,
        may_change: &[Region],
    ) -> Result<Vec<NamedRange>, RehearsalError> {
        self.no_twins("area", written.iter().map(|area| &area.name))?;
        if written.len() > NAMED_MAX {
            let why = format!(
                "the list area has {} entries: a picture has room for {NAMED_MAX} names",
                written.len()
            );
            return Err(self.unfit(why));
        }
        for (index, (area, range)) in written.iter().zip(&ranges).enumerate() {
            let letters = area.name.chars().count();
            if letters == 0 || letters > NAME_MAX || area.name.chars().any(char::is_control) {
                let why = format!("area {:?}: a name has 1 to {NAME_MAX} letters", area.name);
                return Err(self.unfit(why));
            }
            if range.contains(slot.base) {
                let why = format!(
                    "area {:?} covers {:#010x}, the slot's first address, where an image lies",
                    area.name, slot.base
                );
                return Err(self.unfit(why));
            }
            let others = written.iter().zip(&ranges).take(index);
            if let Some((other, _)) = others.into_iter().find(|(_, other)| other.overlaps(*range)) {
                let why = format!("the areas {:?} and {:?} overlap", other.name, area.name);
                return Err(self.unfit(why));
            }
            let kept = without(*range, may_change);
            if !kept.is_empty() && kept != [*range] {
                let why = format!(
                    "area {:?} is partly in a range that the loader may change, and partly not: make two areas of it",
                    area.name
                );
                return Err(self.unfit(why));
            }
        }
        let named = written.iter().zip(ranges);
        Ok(named
            .map(|(area, range)| NamedRange {
                name: area.name.clone(),
                range,
            })
            .collect())
    }

    /// There is at least one, and no name occurs twice.
    fn named<'a>(&self, what: &str, names: impl Iterator<Item = &'a String>) -> Result<(), RehearsalError> {
        match self.no_twins(what, names)? {
            0 => Err(self.unfit(format!("the list {what} is empty"))),
            _ => Ok(()),
        }
    }

    /// No name occurs twice. Gives how many there are.
    fn no_twins<'a>(&self, what: &str, names: impl Iterator<Item = &'a String>) -> Result<usize, RehearsalError> {
        let mut seen = BTreeSet::new();
        for name in names {
            if !seen.insert(name) {
                return Err(self.unfit(format!("two of the list {what} are called {name:?}")));
            }
        }
        Ok(seen.len())
    }

    fn place<'a>(
        &self,
        what: &str,
        name: &str,
        mut names: impl Iterator<Item = &'a String>,
    ) -> Result<usize, RehearsalError> {
        names
            .position(|known| known == name)
            .ok_or_else(|| self.unfit(format!("there is no {what} called {name:?}")))
    }
}

fn file(path: &Path) -> Result<Vec<u8>, RehearsalError> {
    let fault = |error: std::io::Error| RehearsalError::File {
        path: path.to_owned(),
        why: error.to_string(),
    };
    let size = std::fs::metadata(path).map_err(fault)?.len();
    if size > FILE_MAX {
        return Err(RehearsalError::File {
            path: path.to_owned(),
            why: format!("it has {size} bytes, and at most {FILE_MAX} are read"),
        });
    }
    std::fs::read(path).map_err(fault)
}
