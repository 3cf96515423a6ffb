//! A C caller's configuration, as the machine takes it.

#![allow(unsafe_code, reason = "arrays of a C caller")]

use crate::pointer::{Span, shared, slice};
#[cfg(not(feature = "ed25519"))]
use crate::types::SIGNING_KEY_LEN;
use crate::types::{self, ANCHORS_MAX, RUNS_MAX, SIBLINGS_MAX, algorithms, faults, layouts, returns};
use packstaff_envelope::{Anchor, KID_MAX, Kid, UnitKey};
use packstaff_installer::{ConfigFault, Geometry, Layout, Region, SectorRun};

/// Stands where no key is.
const NOBODY: Anchor = match Kid::new(&[0]) {
    #[cfg(feature = "ed25519")]
    Some(kid) => Anchor::ed25519(kid, [0; 32]),
    #[cfg(not(feature = "ed25519"))]
    Some(kid) => Anchor::hss_lms(kid, [0; SIGNING_KEY_LEN]),
    None => panic!(), // when this is compiled, not when it runs
};

/// What was taken from a caller's configuration. The unit's key is overwritten when this is dropped.
pub(crate) struct Taken<'a> {
    anchors: [Anchor; ANCHORS_MAX],
    anchor_count: usize,
    runs: Runs,
    beside: Option<(&'a types::Memory, Runs)>,
    key: UnitKey,
    layout: Layout,
    siblings: &'a [[u8; 16]],
    plain: &'a types::Config,
}

/// Why a configuration cannot be taken: a return code, and the fault if there is one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Refused {
    pub(crate) code: u32,
    pub(crate) fault: u32,
}

impl From<u32> for Refused {
    fn from(code: u32) -> Self {
        Self {
            code,
            fault: faults::NONE,
        }
    }
}

const fn fault(fault: u32) -> Refused {
    Refused {
        code: returns::CONFIG,
        fault,
    }
}

/// The runs of a memory, as the machine takes them.
struct Runs {
    runs: [SectorRun; RUNS_MAX],
    count: usize,
}

impl Runs {
    /// # Safety
    /// As for [`slice()`].
    unsafe fn from(given: *const types::Run, stated: u32) -> Result<Self, Refused> {
        let count = count(stated, RUNS_MAX)?;
        let mut runs = [SectorRun { count: 0, size: 0 }; RUNS_MAX];
        // SAFETY: this function's own condition.
        let given = unsafe { slice(given, count) }?;
        for (to, from) in runs.iter_mut().zip(given) {
            *to = SectorRun {
                count: from.count,
                size: from.size,
            };
        }
        Ok(Self { runs, count })
    }

    fn used(&self) -> &[SectorRun] {
        self.runs.get(..self.count).unwrap_or_default()
    }
}

fn count(stated: u32, most: usize) -> Result<usize, Refused> {
    match stated as usize {
        count if count <= most => Ok(count),
        _ => Err(fault(faults::COUNT)),
    }
}

impl<'a> Taken<'a> {
    /// Takes a configuration over.
    ///
    /// # Safety
    /// If `config` is neither null nor misaligned, a configuration lies there, as do the arrays that it names; nobody changes
    /// them for as long as `'a`.
    pub(crate) unsafe fn from(config: *const types::Config) -> Result<Self, Refused> {
        // SAFETY: this function's own condition; a configuration is plain integers and pointers, which any bytes make.
        let plain: &'a types::Config = unsafe { shared(config) }?;
        let anchor_count = count(plain.signing_key_count, ANCHORS_MAX)?;
        let sibling_count = count(plain.sibling_count, SIBLINGS_MAX)?;
        // SAFETY: by this function's condition the arrays are as long as the configuration says, which is not much.
        let (runs, siblings, anchors_given, key) = unsafe {
            (
                Runs::from(plain.runs, plain.run_count)?,
                slice(plain.siblings, sibling_count)?,
                slice(plain.signing_keys, anchor_count)?,
                shared(plain.unit_key)?,
            )
        };
        let beside = match plain.beside.is_null() {
            true => None,
            // SAFETY: as above; a memory is plain integers and a pointer.
            false => unsafe {
                let memory: &'a types::Memory = shared(plain.beside)?;
                Some((memory, Runs::from(memory.runs, memory.run_count)?))
            },
        };
        let mut anchors = [NOBODY; ANCHORS_MAX];
        for (to, from) in anchors.iter_mut().zip(anchors_given) {
            *to = anchor(from).ok_or(fault(faults::KEY))?;
        }
        let layout = match plain.layout {
            layouts::SINGLE => Layout::Single,
            layouts::STAGED => Layout::Staged {
                stage: region(plain.second),
            },
            layouts::PAIRED => Layout::Paired {
                second: region(plain.second),
            },
            _ => return Err(fault(faults::LAYOUT)),
        };
        Ok(Self {
            anchors,
            anchor_count,
            runs,
            beside,
            key: UnitKey {
                kid: kid(&key.kid, key.kid_len)?,
                key: key.key,
            },
            layout,
            siblings,
            plain,
        })
    }

    /// As the machine takes it.
    pub(crate) fn view(&self) -> packstaff_installer::Config<'_> {
        let plain = self.plain;
        let [first, second] = plain.floors;
        packstaff_installer::Config {
            vendor: plain.vendor,
            class: plain.class_id,
            siblings: self.siblings,
            anchors: self.anchors.get(..self.anchor_count).unwrap_or_default(),
            key: &self.key,
            extension: plain.extension,
            flash: Geometry {
                base: plain.flash_base,
                runs: self.runs.used(),
                granule: plain.granule,
                erased: plain.erased,
            },
            beside: self.beside.as_ref().map(|(memory, runs)| Geometry {
                base: memory.base,
                runs: runs.used(),
                granule: memory.granule,
                erased: memory.erased,
            }),
            slot: region(plain.slot),
            layout: self.layout,
            floors: [region(first), region(second)],
        }
    }

    /// Looks for what the board's author got wrong.
    pub(crate) fn check(&self) -> Result<(), Refused> {
        self.view().check().map_err(|found| fault(number(found)))
    }

    /// An error if what is still read in the caller's memory shares bytes with `other`.
    pub(crate) fn apart_from(&self, other: Span) -> Result<(), u32> {
        other.apart_from(Span::of(self.plain))?;
        other.apart_from(Span::from(self.siblings.as_ptr(), self.siblings.len()))
    }
}

/// A signing key of a kind that this library knows.
fn anchor(from: &types::SigningKey) -> Option<Anchor> {
    let kid = kid(&from.kid, from.kid_len).ok()?;
    match from.algorithm {
        #[cfg(feature = "ed25519")]
        algorithms::ED25519 => Some(Anchor::ed25519(kid, *from.key.first_chunk()?)),
        #[cfg(feature = "hss-lms")]
        algorithms::HSS_LMS => Some(Anchor::hss_lms(kid, from.key)),
        _ => None,
    }
}

fn kid(bytes: &[u8; KID_MAX], len: u32) -> Result<Kid, Refused> {
    let stated = bytes.get(..len as usize).and_then(Kid::new);
    stated.ok_or(fault(faults::KEY))
}

const fn region(range: types::Range) -> Region {
    Region {
        base: range.base,
        size: range.size,
    }
}

const fn number(found: ConfigFault) -> u32 {
    match found {
        ConfigFault::Granule => faults::GRANULE,
        ConfigFault::NoAnchor => faults::NO_ANCHOR,
        ConfigFault::Slot => faults::SLOT,
        ConfigFault::DescriptorSplit => faults::DESCRIPTOR_SPLIT,
        ConfigFault::FloorSector => faults::FLOOR_SECTOR,
        ConfigFault::Overlap => faults::OVERLAP,
    }
}
