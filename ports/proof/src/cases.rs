//! The cases: what is in the unit, what is on the stick, what the owner wants; and the same in the host's simulation.

use crate::emulator::{Emulator, End, Run};
use crate::figures::{Figures, Measured};
use crate::unit::{BOARD_D, INSTALLER_END, Update, blueprint, flash_of, new_flash, stick};
use packstaff_envelope::{HeaderReader, sha256};
use packstaff_installer::Reason;
use packstaff_rehearsal::power_up::{Ending, Owner, power_up};
use packstaff_rehearsal::sticks::insert;
use packstaff_stick::StickImage;
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::flash::{Change, Flash};
use packstaff_unit::world::{Settings, World};

/// The images of the demo's firmware for board Q.
pub(crate) struct Firmware {
    pub(crate) old: Vec<u8>,
    pub(crate) middle: Vec<u8>,
    pub(crate) new: Vec<u8>,
}

/// One power-up, and what is expected of it.
struct Case<'a> {
    name: &'a str,
    /// What is in flash before.
    flash: &'a [u8],
    stick: Option<&'a StickImage>,
    /// The owner's line of the script, and the file that it means.
    pick: Option<(&'a str, &'a [u8])>,
    cut: Option<Cut>,
    /// What the display must say, among other things.
    says: Option<&'a str>,
    /// The version that must greet; nothing must start if there is none.
    greets: Option<&'a str>,
}

/// A power cut.
#[derive(Clone, Copy, Debug)]
struct Cut {
    change: u32,
    words: u32,
}

/// What the simulation did.
struct Simulated {
    flash: Vec<u8>,
    ending: Option<Ending>,
    told: Vec<Reason>,
    changes: u32,
    words: u64,
}

/// The whole proof; a line for each case.
pub(crate) struct Proof {
    emulator: Emulator,
    blueprint: Blueprint,
    /// More words for every script.
    script: String,
    pub(crate) cases: u32,
    pub(crate) powered: u32,
}

const LEN: u32 = crate::unit::SIZE;

impl Proof {
    pub(crate) fn new(emulator: Emulator, overlap: bool) -> Result<Self, String> {
        Ok(Self {
            emulator,
            blueprint: blueprint()?,
            script: if overlap { "overlap\n".to_owned() } else { String::new() },
            cases: 0,
            powered: 0,
        })
    }

    /// Runs every case.
    pub(crate) fn all(&mut self, firmware: &Firmware) -> Result<(), String> {
        let new = new_flash()?;
        let old_file = Update::new(&[1, 8], 2, &firmware.old).file()?;
        let middle_file = Update::new(&[2, 0], 1, &firmware.middle).file()?;
        let new_file = Update::new(&[2, 1], 2, &firmware.new).file()?;
        let other_board = Update {
            class: BOARD_D,
            ..Update::new(&[2, 1], 2, &firmware.new)
        }
        .file()?;
        let mut damaged = new_file.clone();
        if let Some(byte) = damaged.iter_mut().rev().nth(3000) {
            *byte ^= 0x10;
        }
        let middle_stick = stick(&[("KC4-20.UPD", &middle_file)])?;
        let new_stick = stick(&[("KC4-20.UPD", &middle_file), ("KC4-21.UPD", &new_file)])?;
        let old_stick = stick(&[("KC4-18.UPD", &old_file)])?;
        let damaged_stick = stick(&[("KC4-21.UPD", &damaged)])?;
        let other_stick = stick(&[("KC4-D.UPD", &other_board)])?;
        let bare = |name, flash, stick| Case {
            name,
            flash,
            stick,
            pick: None,
            cut: None,
            says: None,
            greets: None,
        };

        self.case(&Case {
            says: Some("waiting U1"),
            ..bare("a new unit without a stick", &new, None)
        })?;
        let with_middle = self.case(&Case {
            pick: Some(("2 0", &middle_file)),
            says: Some("2.0 first ?"),
            greets: Some("2.0"),
            ..bare("a new unit takes 2.0", &new, Some(&middle_stick))
        })?;
        self.case(&Case {
            greets: Some("2.0"),
            ..bare("2.0 starts without a stick", &with_middle, None)
        })?;
        let with_new = self.case(&Case {
            pick: Some(("2 1", &new_file)),
            says: Some("2.1 newer ?"),
            greets: Some("2.1"),
            ..bare("2.0 takes 2.1, which raises the floor", &with_middle, Some(&new_stick))
        })?;
        self.case(&Case {
            pick: Some(("1 8", &old_file)),
            says: Some("1.8 older ?"),
            greets: Some("1.8"),
            ..bare("2.1 goes back to 1.8 of the same issue", &with_new, Some(&old_stick))
        })?;
        self.case(&Case {
            pick: Some(("2 0", &middle_file)),
            says: Some("not used N4"),
            greets: Some("2.1"),
            ..bare(
                "2.1 refuses 2.0, which is below the floor",
                &with_new,
                Some(&middle_stick),
            )
        })?;
        self.case(&Case {
            pick: Some(("2 1", &new_file)),
            says: Some("not used F"),
            greets: Some("2.0"),
            ..bare("a damaged file costs nothing", &with_middle, Some(&damaged_stick))
        })?;
        self.case(&Case {
            says: Some("not used N3"),
            greets: Some("2.0"),
            ..bare("a file for another board is refused", &with_middle, Some(&other_stick))
        })?;
        self.interrupted(&with_middle, &new_stick, &new_file)
    }

    /// 2.0 takes 2.1, and the supply goes: at the first changes, at the last, and at some between; then it comes back.
    fn interrupted(&mut self, from: &[u8], stick: &StickImage, file: &[u8]) -> Result<(), String> {
        let whole = self.simulate(&Case {
            name: "",
            flash: from,
            stick: Some(stick),
            pick: Some(("2 1", file)),
            cut: None,
            says: None,
            greets: None,
        })?;
        let last = whole.changes;
        let cuts = [
            (1, 0),
            (1, 1),
            (2, 0),
            (2, 9),
            (2, 0x2_0000),
            (3, 5000),
            (6, 0),
            (6, 1),
            (last / 2, 17),
            (last - 4, 128),
            (last - 3, 0),
            (last - 2, 7),
            (last - 1, 3),
            (last, 21),
            (last, 22),
        ];
        for (change, words) in cuts {
            let name = format!("2.0 takes 2.1, cut at change {change} of {last} after {words} words");
            let torn = self.case(&Case {
                name: &name,
                flash: from,
                stick: Some(stick),
                pick: Some(("2 1", file)),
                cut: Some(Cut { change, words }),
                says: None,
                greets: None,
            })?;
            let simulated = self.simulate(&Case {
                name: "",
                flash: &torn,
                stick: Some(stick),
                pick: Some(("2 1", file)),
                cut: None,
                says: None,
                greets: None,
            })?;
            let running = sha256(simulated.flash.get(0x1_0000..).unwrap_or_default());
            let wanted = sha256(whole.flash.get(0x1_0000..).unwrap_or_default());
            if running != wanted {
                return Err(format!("{name}: the simulation itself does not come back to 2.1"));
            }
            self.case(&Case {
                name: "  and the supply comes back",
                flash: &torn,
                stick: Some(stick),
                pick: Some(("2 1", file)),
                cut: None,
                says: None,
                greets: Some("2.1"),
            })?;
        }
        Ok(())
    }

    /// One power-up in both worlds; flash afterwards.
    fn case(&mut self, case: &Case<'_>) -> Result<Vec<u8>, String> {
        let failed = |why: String| format!("{}: {why}", case.name);
        let simulated = self.simulate(case).map_err(failed)?;
        let run = self.emulate(case).map_err(failed)?;
        let flash = self.emulator.flash()?;
        self.cases += 1;
        let told = |why: String| failed(format!("{why}; it said:\n{}", run.lines.join("\n")));
        if let Some(at) = first_difference(&flash, &simulated.flash) {
            return Err(told(format!("flash differs from the simulation's, first at {at:#07x}")));
        }
        if case.flash.get(..INSTALLER_END) != flash.get(..INSTALLER_END) {
            return Err(told("the installer's own sectors were changed".to_owned()));
        }
        let end = match (case.cut, simulated.ending) {
            (Some(_), _) => End::Cut,
            (None, Some(Ending::Started { .. })) => End::Started,
            _ => End::Left,
        };
        if run.end != end {
            return Err(told(format!("it ended as {:?}, the simulation as {end:?}", run.end)));
        }
        for reason in &simulated.told {
            let code = format!("not used {}", reason.code());
            if !run.displayed().any(|line| line == code) {
                return Err(told(format!("it never showed: {code}")));
            }
        }
        if let Some(says) = case.says
            && !run.displayed().any(|line| line.starts_with(says))
        {
            return Err(told(format!("it never showed: {says}")));
        }
        let greeting = case
            .greets
            .map(|version| format!("KC-4 kiln controller {version} board Q"));
        let greeted = run.lines.iter().find(|line| line.starts_with("KC-4 kiln controller"));
        if greeted != greeting.as_ref() {
            return Err(told(format!("expected {greeting:?}, the image said {greeted:?}")));
        }
        println!(
            "   same bytes: {} ({} changes, {} words)",
            case.name, simulated.changes, simulated.words
        );
        Ok(flash)
    }

    /// Figures of a boot with nothing to do, and of an install of an image of `size` bytes; what the port told, by phase.
    pub(crate) fn measure(&mut self, firmware: &Firmware, size: usize) -> Result<Measured, String> {
        let mut image = firmware.new.clone();
        image.extend((image.len()..size).map(|at| (at.wrapping_mul(0x9e37_79b9) >> 24) as u8));
        let file = Update::new(&[2, 1], 1, &image).file()?;
        let loaded = stick(&[("KC4-21.UPD", &file)])?;
        let empty = stick(&[])?;
        let case = |flash, stick| Case {
            name: "measured",
            flash,
            stick,
            pick: Some(("2 1", file.as_slice())),
            cut: None,
            says: None,
            greets: None,
        };
        let new = new_flash()?;
        let install = self.figures("", &case(&new, Some(&loaded)))?;
        let overlapped = self.figures("overlap\n", &case(&new, Some(&loaded)))?;
        let stack = self.figures("stack\n", &case(&new, Some(&loaded)))?;
        let installed = self.emulator.flash()?;
        Ok(Measured {
            install,
            overlapped,
            stack,
            nothing_to_do: self.figures("", &case(&installed, None))?,
            empty_stick: self.figures("", &case(&installed, Some(&empty)))?,
        })
    }

    fn figures(&mut self, words: &str, case: &Case<'_>) -> Result<Figures, String> {
        self.script = format!("measure\n{words}");
        let run = self.emulate(case)?;
        if run.end != End::Started {
            return Err(format!("it did not start; it said:\n{}", run.lines.join("\n")));
        }
        Figures::read(&run.lines)
    }

    fn emulate(&mut self, case: &Case<'_>) -> Result<Run, String> {
        let mut script = self.script.clone();
        if let Some((version, _)) = case.pick {
            script.push_str(&format!("pick {version}\n"));
        }
        if let Some(Cut { change, words }) = case.cut {
            script.push_str(&format!("cut {change} {words}\n"));
        }
        self.emulator.put("flash.bin", Some(case.flash))?;
        self.emulator.put("bench.txt", Some(script.as_bytes()))?;
        self.emulator.put("stick.img", None)?;
        if let Some(stick) = case.stick {
            stick
                .write_to(self.emulator.file("stick.img"))
                .map_err(|error| error.to_string())?;
        }
        self.powered += 1;
        self.emulator.run()
    }

    fn simulate(&self, case: &Case<'_>) -> Result<Simulated, String> {
        let mut world = World {
            flash: flash_of(&self.blueprint, case.flash)?,
            settings: Settings::new(Vec::new()),
            stick: case.stick.cloned().map(insert),
        };
        let owner = match case.pick {
            Some((_, file)) => {
                let mut header = HeaderReader::new(file.len() as u32);
                let manifest = header
                    .feed(file)
                    .and_then(|_| header.verify(&self.blueprint.anchors))
                    .map_err(|refusal| refusal.to_string())?;
                Owner::wants(&manifest)
            }
            None => Owner::Declines,
        };
        let mut changes = 0;
        let mut caught = None::<(Vec<u8>, Change)>;
        let seen = power_up(&self.blueprint, &mut world, owner, |before, change| {
            changes += 1;
            if case.cut.is_some_and(|cut| cut.change == changes) {
                caught = all(&before.flash).ok().map(|bytes| (bytes, change.clone()));
            }
        });
        let (flash, ending) = match (case.cut, caught) {
            (Some(cut), Some((bytes, change))) => (self.torn(bytes, &change, cut), None),
            (Some(cut), None) => return Err(format!("the simulation never comes to change {}", cut.change)),
            (None, _) => (all(&world.flash)?, Some(seen.ending)),
        };
        Ok(Simulated {
            flash,
            ending,
            told: seen.told,
            changes,
            words: seen.work.own.programmed_bytes / 4,
        })
    }

    /// What a cut leaves: the first words of the change are done, the rest is as before.
    fn torn(&self, bytes: Vec<u8>, change: &Change, cut: Cut) -> Vec<u8> {
        let mut bytes = bytes;
        let (address, new) = match change {
            Change::Program { address, data } => (*address, data.clone()),
            Change::Erase { address } => {
                let sector = self.blueprint.layout.geometry().sector_at(*address);
                (*address, vec![0xff; sector.map_or(0, |sector| sector.size) as usize])
            }
        };
        let done = new.iter().take(cut.words as usize * 4);
        for (place, byte) in bytes.iter_mut().skip(address as usize).zip(done) {
            *place = *byte;
        }
        bytes
    }
}

fn all(flash: &Flash) -> Result<Vec<u8>, String> {
    flash.bytes(0, LEN).map_err(|fault| fault.to_string())
}

fn first_difference(one: &[u8], other: &[u8]) -> Option<usize> {
    if one.len() != other.len() {
        return Some(one.len().min(other.len()));
    }
    one.iter().zip(other).position(|(one, other)| one != other)
}
