//! Cases of whole power-ups.

use super::Case;
use super::files::{FIRST, Files, LATER, OLDER, Scratched, file, manifest, stick_with};
use crate::finding::Finding;
use crate::identity::{OTHER_BOARD, OTHER_VENDOR, Update};
use crate::power_up::{Ended, Script, Seen, power_up};
use crate::rig::Rig;
use packstaff_fat::BLOCK;
use packstaff_installer::Reason;
use packstaff_unit::stick::Stick;

pub(super) const CASES: [Case; 8] = [
    Case {
        id: "new",
        title: "a new unit without a stick waits, and shows why",
        run: new,
    },
    Case {
        id: "first",
        title: "a new unit takes a first version",
        run: first,
    },
    Case {
        id: "start",
        title: "starts without a stick",
        run: start,
    },
    Case {
        id: "declined",
        title: "leaves everything as it is if the owner says so",
        run: declined,
    },
    Case {
        id: "update",
        title: "takes a later version of a higher issue",
        run: update,
    },
    Case {
        id: "older",
        title: "goes back to an older version of the same issue",
        run: older,
    },
    Case {
        id: "refused",
        title: "refuses what is not for it, and changes nothing",
        run: refused,
    },
    Case {
        id: "damaged",
        title: "refuses damaged files and sticks, and changes nothing",
        run: damaged,
    },
];

/// Powers up with a file on the stick that the owner wants.
pub(super) fn with_file(rig: &mut Rig, file: &[u8]) -> Result<Seen, Finding> {
    let stick = stick_with(&[("BENCH.UPD", file)])?;
    let script = Script {
        stick: Some(&stick),
        picks: manifest(file).ok(),
        ..Script::default()
    };
    power_up(rig, &script)
}

pub(super) fn started(rig: &Rig, seen: &Seen) -> Result<(), Finding> {
    let place = rig
        .blueprint
        .places()
        .any(|place| seen.ended == Ended::Started(place.base));
    if place {
        Ok(())
    } else {
        Err(ends(seen, "starts the image"))
    }
}

pub(super) fn ends(seen: &Seen, expected: &str) -> Finding {
    let found = match seen.ended {
        Ended::Started(address) => format!("starts what lies at {address:#x}"),
        Ended::Waits(reason) => format!("waits with {}: {reason}", reason.code()),
        Ended::Cut => "was cut".to_owned(),
    };
    Finding::Ends {
        found,
        expected: expected.to_owned(),
    }
}

/// An install from beginning to end.
pub(super) fn installs(rig: &mut Rig, update: &Update) -> Result<String, Finding> {
    let seen = with_file(rig, &file(update)?)?;
    started(rig, &seen)?;
    if seen.changes == 0 {
        return Err(ends(&seen, "installs the file first"));
    }
    rig.all_sectors("an install")?;
    Ok(format!("{} changes, {} blocks", seen.changes, seen.blocks))
}

fn new(rig: &mut Rig, _: &Files) -> Result<String, Finding> {
    rig.afresh()?;
    let seen = power_up(rig, &Script::default())?;
    match seen.ended {
        Ended::Waits(Reason::NoImage) => Ok(format!("shows {}", Reason::NoImage.code())),
        _ => Err(ends(&seen, "waits with U1")),
    }
}

fn first(rig: &mut Rig, files: &Files) -> Result<String, Finding> {
    installs(rig, &files.of(FIRST, 1))
}

fn start(rig: &mut Rig, _: &Files) -> Result<String, Finding> {
    let seen = power_up(rig, &Script::default())?;
    started(rig, &seen)?;
    untouched(rig, &seen)
}

fn untouched(rig: &mut Rig, seen: &Seen) -> Result<String, Finding> {
    if seen.changes > 0 {
        return Err(ends(seen, "changes nothing"));
    }
    rig.all_sectors("a power-up that changes nothing")?;
    Ok("nothing changed".to_owned())
}

fn declined(rig: &mut Rig, files: &Files) -> Result<String, Finding> {
    let stick = stick_with(&[("BENCH.UPD", &file(&files.of(LATER, 1))?)])?;
    let script = Script {
        stick: Some(&stick),
        ..Script::default()
    };
    let seen = power_up(rig, &script)?;
    started(rig, &seen)?;
    untouched(rig, &seen)
}

fn update(rig: &mut Rig, files: &Files) -> Result<String, Finding> {
    installs(rig, &files.of(LATER, 2))
}

fn older(rig: &mut Rig, files: &Files) -> Result<String, Finding> {
    installs(rig, &files.of(OLDER, 2))
}

/// A file that is refused with this code, and changes nothing.
fn refuses(rig: &mut Rig, stick: &Stick, picks: Option<[u8; 32]>, code: &str) -> Result<(), Finding> {
    let script = Script {
        stick: Some(stick),
        picks,
        ..Script::default()
    };
    let seen = power_up(rig, &script)?;
    started(rig, &seen)?;
    untouched(rig, &seen)?;
    if seen.told.iter().any(|reason| reason.code().to_string() == code) {
        return Ok(());
    }
    Err(ends(&seen, &format!("tells the owner {code} and starts what it has")))
}

fn refused(rig: &mut Rig, files: &Files) -> Result<String, Finding> {
    let usual = files.of([2, 2], 2);
    let cases = [
        (files.of(FIRST, 1), "N4"),
        (
            Update {
                class: OTHER_BOARD,
                ..usual.clone()
            },
            "N3",
        ),
        (
            Update {
                vendor: OTHER_VENDOR,
                ..usual
            },
            "N1",
        ),
    ];
    let codes = cases.each_ref().map(|(_, code)| *code).join(", ");
    for (update, code) in cases {
        let stick = stick_with(&[("BENCH.UPD", &file(&update)?)])?;
        refuses(rig, &stick, None, code)?;
    }
    Ok(codes)
}

fn damaged(rig: &mut Rig, files: &Files) -> Result<String, Finding> {
    let whole = file(&files.of([2, 2], 2))?;
    let picks = Some(manifest(&whole)?);
    let mut changed = whole.clone();
    if let Some(byte) = changed.last_mut() {
        *byte ^= 1;
    }
    refuses(rig, &stick_with(&[("BENCH.UPD", &changed)])?, picks, "F20")?;
    refuses(rig, &stick_with(&[("BENCH.UPD", b"not an update")])?, None, "F1")?;
    refuses(rig, &stick_with(&[("README.TXT", b"hello")])?, None, "S2")?;
    refuses(rig, &Stick::new(vec![0_u8; 64 * BLOCK]), None, "S111")?;
    refuses(rig, &Stick::new(Scratched(stick_with(&[])?, 0)), None, "S1")?;
    Ok("F20, F1, S2, S111, S1".to_owned())
}
