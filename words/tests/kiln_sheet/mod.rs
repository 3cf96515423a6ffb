//! A sheet as the invented KC-4 kiln controller would have it, with texts that any test can replace.

use packstaff_product::Hazard;
use packstaff_product::ledger::ReleaseKind;
use packstaff_words::sheet::{BoardPart, CodeRow, Phase, Screen, SettingsNote, Sheet, Times};

/// SHA-256 of "abc", the one-block example of FIPS 180-4 (NIST's example values for SHA-256).
pub(crate) const DIGEST_OF_ABC: &str = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";

/// Makes a sheet, passes each of its texts through `text` first, and hands it to `with`.
pub(crate) fn with_sheet<T>(mut text: impl FnMut(&str) -> String, with: impl FnOnce(&Sheet<'_>) -> T) -> T {
    let mut all = |texts: &[&str]| texts.iter().map(|one| text(one)).collect::<Vec<_>>();
    let digest: [u8; 32] = hex::decode(DIGEST_OF_ABC).unwrap().try_into().unwrap();
    let one = all(&[
        "Ember & Ash Instruments",
        "help@ember-ash.example",
        "KC-4 kiln controller",
        "2.1",
        "25 November 2026",
        "The board revision is the letter after “KC-4” on the label beside the stick’s socket.",
        "It is in the upper right corner when the unit starts.",
        "Switch off the kiln at its isolator, and unplug the relay lead (marked K1) from the back.",
        "RUNNING 2.1",
        "November 2033",
        "3,600 firings of the write sequence were rehearsed for each board, with the power cut before, during and after \
         every write: each ended with version 2.1 or with the version before it.",
    ]);
    let revisions = all(&["C", "D"]);
    let files = all(&["KC4C0201.UPD", "KC4D0201.UPD"]);
    let from = [all(&["1.8", "2.0"]), all(&["2.0"])];
    let phases = all(&[
        "Reads the stick and checks the file",
        "Erases the old firmware",
        "Writes and checks the new firmware",
    ]);
    let changes = all(&[
        "A broken thermocouple is now noticed within two seconds; before, it could take up to a minute.",
        "Firing programmes may have up to 24 steps.",
        "The clock no longer loses a minute at midnight.",
    ]);
    let settings = all(&[
        "Your firing programmes and the temperature unit are kept.",
        "There is one new setting, “Alarm delay”. It starts at 5 seconds: check that this suits you.",
    ]);
    let calibration = all(&["The thermocouple calibration is kept, and is not touched by the update."]);
    let screens = all(&[
        "The unit has found the file",
        "2.1 NEWER  OK?",
        "It offers you this update. Nothing has been changed yet.",
        "It checks the file",
        "CHECK 40 %",
        "It reads the whole file. Nothing has been changed yet.",
        "It updates itself",
        "WRITE 40 %",
        "Leave power and stick alone until this is over.",
        "The update is finished",
        "RUNNING 2.1",
        "The new version has started.",
        "It will not use the file",
        "NOT USED N3",
        "Look up the code below. The old version goes on.",
        "It needs a stick",
        "STICK? U1",
        "It has no firmware that it could start. Put the stick in.",
    ]);
    let codes = all(&[
        "S1",
        "The stick could not be read.",
        "Push the stick in firmly and try again; if it happens again, take another stick.",
        "S2",
        "There is no update file at the top of the stick.",
        "Copy the update file to the top of the stick, not into a folder, and try again.",
        "S4",
        "This is an update file, but its name has another ending.",
        "Give the file the name that is on the update sheet: its ending was changed.",
        "F9",
        "The file is not signed by its maker.",
        "Do not use this file. Get it from the maker again.",
        "N3",
        "The file is for another board revision.",
        "Look at the sheet: it says which file is for yours.",
        "N4",
        "The maker has barred this version for this unit.",
        "Take a later one.",
        "U1",
        "The unit has no firmware to start.",
        "Put in a stick with an update file.",
        "U3",
        "The unit’s memory could not be written.",
        "Switch off, wait a minute, try again; if it happens again, write to the maker.",
    ]);
    let going_back = all(&["1.8", "2.0"]);
    let start = all(&[
        "With the unit off and unplugged, push the stick into the socket on the front. Then plug the unit in and switch it on.",
        "When the unit offers version 2.1, turn the knob to OK and press it.",
    ]);
    let after = all(&[
        "Open “Programmes” and check the one that you use most, step by step.",
        "Check that the display shows room temperature.",
    ]);

    let times = |scale: f64| Times {
        typical_s: 11.6 * scale,
        longest_s: 37.2 * scale,
        phases: phases
            .iter()
            .zip([(3.1, 7.0), (2.6, 5.1), (5.9, 25.1)])
            .map(|(name, (typical, longest))| Phase {
                name,
                typical_s: typical * scale,
                longest_s: longest * scale,
            })
            .collect(),
    };
    let boards = (0..2).map(|index| BoardPart {
        revision: &revisions[index],
        file_name: &files[index],
        sha256: digest,
        size: [129_312, 131_904][index],
        time: times([1.0, 0.55][index]),
        starts_alone: false,
        from_versions: from[index].clone(),
    });
    let sheet = Sheet {
        maker: &one[0],
        contact: &one[1],
        product: &one[2],
        version: &one[3],
        date: &one[4],
        kind: ReleaseKind::Fix,
        boards: boards.collect(),
        hazards: &[Hazard::Heat, Hazard::Mains],
        going_back,
        changes: &changes,
        settings: SettingsNote {
            settings: &settings,
            calibration: &calibration,
        },
        screens: screens
            .chunks(3)
            .map(|row| Screen {
                when: &row[0],
                shows: &row[1],
                means: &row[2],
            })
            .collect(),
        done_shows: &one[8],
        codes: codes
            .chunks(3)
            .map(|row| CodeRow {
                code: row[0].clone(),
                meaning: row[1].clone(),
                remedy: row[2].clone(),
            })
            .collect(),
        proof: Some(one[10].clone()),
        how_to_find_board: &one[5],
        how_to_see_version: &one[6],
        disconnect: &one[7],
        how_to_start_update: start,
        after_update: after,
        supported_until: Some(&one[9]),
    };
    with(&sheet)
}
