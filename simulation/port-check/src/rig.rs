//! A port on its line, and the same unit in the simulation beside it.

use crate::finding::Finding;
use crate::line::digits;
use crate::link::Link;
use crate::{identity, map};
use packstaff_installer::Region;
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::drive::{Answer, Wish, look};
use packstaff_unit::flash::{Change, Flash, SumKey};

/// Bytes that are read or programmed at once where the judge itself asks.
const PORTION: u32 = 512;

/// What was done so far.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Lines asked and answered.
    pub lines: u64,
    /// Steps of the installer that were compared.
    pub steps: u64,
    /// Changes of flash that were looked at afterwards.
    pub changes: u64,
    /// Power-ups.
    pub power_ups: u64,
    /// Cuts.
    pub cuts: u64,
}

/// A port under test.
pub struct Rig {
    pub(crate) link: Link,
    /// The unit as the simulation has it.
    pub blueprint: Blueprint,
    /// What its flash holds, if all its drivers are right.
    pub(crate) flash: Flash,
    /// Sectors of which nobody knows yet what they hold.
    unknown: Vec<Region>,
    /// What was done so far.
    pub counts: Counts,
}

/// An operation on the line. Of a program the port's own request names no bytes; the judge's does.
pub(crate) fn words_of(wish: &Wish) -> String {
    let ranged = |name: &str, region: &Region| format!("{name} {:x} {:x}", region.base, region.size);
    match wish {
        Wish::FindStick => "find-stick".to_owned(),
        Wish::ReadStick(block) => format!("read-stick {block:x}"),
        Wish::ReadFlash(region) => ranged("read-flash", region),
        Wish::DigestFlash(region) => ranged("digest-flash", region),
        Wish::CheckBlank(region) => ranged("check-blank", region),
        Wish::Change(Change::Erase { address }) => format!("erase {address:x}"),
        Wish::Change(Change::Program { address, data }) => format!("program {address:x} {:x}", data.len()),
        Wish::Ask(_) => "ask".to_owned(),
        Wish::Tell(reason) => format!("tell {}{:x}", reason.code().letter, reason.code().number),
        Wish::Wait(reason) => format!("wait {}{:x}", reason.code().letter, reason.code().number),
        Wish::Start(address) => format!("start {address:x}"),
    }
}

/// An answer on the line.
pub(crate) fn words_of_answer(answer: &Answer) -> String {
    match answer {
        Answer::NoStick => "no-stick".to_owned(),
        Answer::Stick(blocks) => format!("stick {blocks:x}"),
        Answer::Block(block) => format!("block {}", digits(block.as_slice())),
        Answer::Flash(bytes) => format!("flash {}", digits(bytes)),
        Answer::Digest(digest) => format!("digest {}", digits(digest)),
        Answer::Blank(true) => "blank".to_owned(),
        Answer::Blank(false) => "not-blank".to_owned(),
        Answer::Chosen(None) => "chosen none".to_owned(),
        Answer::Chosen(Some(row)) => format!("chosen {row:x}"),
        Answer::Done => "done".to_owned(),
        Answer::Failed => "failed".to_owned(),
    }
}

impl Rig {
    /// Meets the port on its line: greets it, takes its map, lends it an identity.
    ///
    /// # Errors
    /// [`Finding::Line`], [`Finding::Version`], [`Finding::Map`].
    pub fn meet(mut link: Link) -> Result<Self, Finding> {
        link.greet()?;
        let blueprint = map::read(&link.ask("map")?)?;
        let flash = Flash::erased(blueprint.layout.clone(), SumKey::fixed());
        let mut rig = Self {
            link,
            blueprint,
            flash,
            unknown: Vec::new(),
            counts: Counts::default(),
        };
        rig.unknown = rig.sectors();
        rig.lend()?;
        Ok(rig)
    }

    fn lend(&mut self) -> Result<(), Finding> {
        let words = identity::words();
        match self.ask(&words)?.as_str() {
            "ok" => Ok(()),
            answer => Err(Finding::Answer {
                asked: "unit …".to_owned(),
                answer: answer.to_owned(),
                expected: "ok".to_owned(),
            }),
        }
    }

    /// One line there and one back.
    pub(crate) fn ask(&mut self, words: &str) -> Result<String, Finding> {
        self.counts.lines += 1;
        self.link.ask(words)
    }

    /// The supply goes and comes back.
    pub(crate) fn cut(&mut self) -> Result<(), Finding> {
        self.counts.cuts += 1;
        self.link.cut()?;
        self.lend()
    }

    /// The sectors that an install may change.
    pub(crate) fn sectors(&self) -> Vec<Region> {
        let places: Vec<Region> = self.blueprint.places().chain(self.blueprint.floors).collect();
        let sectors = self.blueprint.layout.sectors().iter();
        sectors
            .filter(|sector| places.iter().any(|place| place.overlaps(**sector)))
            .copied()
            .collect()
    }

    /// Sectors that do not hold what they should.
    pub(crate) fn differing(&mut self) -> Result<Vec<Region>, Finding> {
        let mut differing = Vec::new();
        for sector in self.sectors() {
            if self.unknown.contains(&sector) {
                continue;
            }
            let wish = Wish::DigestFlash(sector);
            let right = look(&wish, &self.flash, None).map(|answer| words_of_answer(&answer));
            if Some(self.ask(&words_of(&wish))?) != right {
                differing.push(sector);
            }
        }
        Ok(differing)
    }

    /// An error if any sector does not hold what it should.
    pub(crate) fn all_sectors(&mut self, after: &str) -> Result<(), Finding> {
        let sectors = self.differing()?;
        if sectors.is_empty() {
            return Ok(());
        }
        Err(Finding::Changed {
            after: after.to_owned(),
            sectors,
        })
    }

    /// Lets a driver look, and compares with what is there. `words`: how the judge says it on the line.
    pub(crate) fn looks(&mut self, wish: &Wish, words: &str) -> Result<Answer, Finding> {
        let right =
            look(wish, &self.flash, None).ok_or_else(|| Finding::Judge(format!("{wish:?} is not a look at flash")))?;
        let found = self.ask(words)?;
        let expected = words_of_answer(&right);
        if found == expected {
            return Ok(right);
        }
        let asked = words_of(wish);
        if found == "failed" {
            return Err(Finding::Fails(asked));
        }
        let kind = |words: &str| words.split(' ').next().map(str::to_owned);
        let comparable = kind(&found) == kind(&expected) || found.ends_with("blank");
        if !comparable {
            return Err(Finding::Answer {
                asked,
                answer: found,
                expected,
            });
        }
        let hint = match wish {
            Wish::CheckBlank(_) => "Every byte of the range has to be looked at, to its end.",
            Wish::DigestFlash(_) => {
                "It must be SHA-256 of what the cells hold: see whether a cache gives old contents."
            }
            _ => "It must be what the cells hold now: see whether a cache gives old contents.",
        };
        Err(Finding::Reads {
            asked,
            found,
            expected,
            hint,
        })
    }

    /// The judge's own look at flash.
    pub(crate) fn look_directly(&mut self, wish: &Wish) -> Result<(), Finding> {
        self.looks(wish, &words_of(wish)).map(|_| ())
    }

    /// The judge's own change of flash, which is looked at afterwards.
    pub(crate) fn change_directly(&mut self, change: &Change) -> Result<(), Finding> {
        self.change_unseen(change)?;
        self.see(change)
    }

    /// The judge's own change of flash, which the caller looks at.
    pub(crate) fn change_unseen(&mut self, change: &Change) -> Result<(), Finding> {
        let words = match change {
            Change::Erase { address } => format!("erase {address:x}"),
            Change::Program { address, data } => format!("program {address:x} {}", digits(data)),
        };
        self.begin_change(change, &words)
    }

    /// Lets a driver carry a change out, and looks at what came of it.
    pub(crate) fn changes(&mut self, change: &Change, words: &str) -> Result<(), Finding> {
        self.begin_change(change, words)?;
        self.see(change)
    }

    fn begin_change(&mut self, change: &Change, words: &str) -> Result<(), Finding> {
        let name = words_of(&Wish::Change(change.clone()));
        self.flash
            .check(change)
            .map_err(|fault| Finding::Judge(fault.to_string()))?;
        match self.ask(words)?.as_str() {
            "done" => {}
            "failed" => return Err(Finding::Fails(name)),
            answer => {
                return Err(Finding::Answer {
                    asked: name,
                    answer: answer.to_owned(),
                    expected: "done".to_owned(),
                });
            }
        }
        self.flash
            .apply(change)
            .map_err(|fault| Finding::Judge(fault.to_string()))
    }

    /// Whether a change that was reported done is.
    fn see(&mut self, change: &Change) -> Result<(), Finding> {
        self.counts.changes += 1;
        match change {
            Change::Erase { address } => {
                let sector = self.blueprint.layout.sector_at(*address);
                let sector = sector.ok_or_else(|| Finding::Judge(format!("no sector at {address:#x}")))?;
                self.unknown.retain(|unknown| *unknown != sector);
                let blank = self.looks(
                    &Wish::CheckBlank(sector),
                    &format!("check-blank {:x} {:x}", sector.base, sector.size),
                );
                match blank {
                    Err(Finding::Reads { .. }) => {
                        let others = self.differing()?;
                        Err(Finding::NotErased {
                            sector: sector.base,
                            others: others.into_iter().filter(|other| *other != sector).collect(),
                        })
                    }
                    other => other.map(|_| ()),
                }
            }
            Change::Program { address, data } => {
                let region = Region {
                    base: *address,
                    size: data.len() as u32,
                };
                match self.look_directly(&Wish::DigestFlash(region)) {
                    Err(wrong @ Finding::Reads { .. }) => Err(self.what_differs(region, data)?.unwrap_or(wrong)),
                    other => other,
                }
            }
        }
    }

    /// Which of the bytes that were programmed are not there; `None` if they are.
    fn what_differs(&mut self, region: Region, data: &[u8]) -> Result<Option<Finding>, Finding> {
        let mut held = Vec::new();
        for (index, piece) in data.chunks(PORTION as usize).enumerate() {
            let base = region.base + index as u32 * PORTION;
            let said = self.ask(&format!("read-flash {base:x} {:x}", piece.len()))?;
            let bytes = said.strip_prefix("flash ").and_then(crate::line::bytes);
            held.extend(bytes.unwrap_or_else(|| piece.iter().map(|byte| !byte).collect()));
        }
        let wrong = data.iter().zip(&held).filter(|(wanted, found)| wanted != found).count();
        let Some(first) = data.iter().zip(&held).position(|(wanted, found)| wanted != found) else {
            return Ok(None);
        };
        let others = self.differing()?;
        Ok(Some(Finding::NotProgrammed {
            address: region.base,
            len: region.size,
            wrong,
            first: region.base + first as u32,
            others: others.into_iter().filter(|other| !other.overlaps(region)).collect(),
        }))
    }

    /// Erases all that an install may change, whatever is there.
    pub(crate) fn afresh(&mut self) -> Result<(), Finding> {
        for sector in self.sectors() {
            self.change_directly(&Change::Erase { address: sector.base })?;
        }
        Ok(())
    }

    /// Takes what a range of flash holds from the port, where the simulation cannot know it.
    pub(crate) fn adopt(&mut self, region: Region) -> Result<(), Finding> {
        let memory = self.blueprint.layout.memory_at(region.base);
        let (erased, granule) = (memory.erased(), memory.granule());
        let judge = |fault: packstaff_unit::flash::FlashFault| Finding::Judge(fault.to_string());
        self.flash
            .apply(&Change::Erase { address: region.base })
            .map_err(judge)?;
        let mut at = region.base;
        while u64::from(at) < region.end() {
            let len = PORTION.min((region.end() - u64::from(at)) as u32);
            let said = self.ask(&format!("read-flash {at:x} {len:x}"))?;
            let bytes = said
                .strip_prefix("flash ")
                .and_then(crate::line::bytes)
                .ok_or_else(|| Finding::Fails(format!("read-flash {at:x} {len:x}")))?;
            for (index, piece) in bytes.chunks(granule as usize).enumerate() {
                if piece.iter().any(|byte| *byte != erased) {
                    let address = at + index as u32 * granule;
                    let data = piece.to_vec();
                    self.flash.apply(&Change::Program { address, data }).map_err(judge)?;
                }
            }
            at += len;
        }
        Ok(())
    }
}
