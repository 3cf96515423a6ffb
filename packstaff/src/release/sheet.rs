//! Fills the owner's sheet from what was declared, packed and rehearsed.

use super::Packed;
use super::notes::Notes;
use super::rehearse::Rehearsed;
use packstaff_bench::open::Bench;
use packstaff_bench::rehearse::Install;
use packstaff_envelope::Refusal;
use packstaff_installer::Reason;
use packstaff_product::{Date, Version};
use packstaff_settings::carry::Matrix;
use packstaff_unit::timing::Estimate;
use packstaff_words::rehearse::owners_sentence;
use packstaff_words::settings::owners_sentences;
use packstaff_words::sheet::{
    BoardPart, CodeRow, Hazard, Phase, ReleaseKind, Screen, SettingsNote, Sheet, Times, render,
};

pub(super) fn page(
    bench: &Bench,
    version: &Version,
    date: Date,
    notes: &Notes,
    packed: &[Packed],
    rehearsed: &Rehearsed,
    settled: Option<&Matrix>,
) -> String {
    let installs = &rehearsed.installs;
    let product = &bench.product;
    let date = date.to_string();
    let hazards: Vec<_> = product.hazards.iter().map(|hazard| shown(*hazard)).collect();
    let going_back = installs.iter().filter(|install| install.to != version.text());
    let going_back: std::collections::BTreeSet<_> = going_back.map(|install| install.to.clone()).collect();
    let settings = [
        "The update does not touch the memory in which your settings are kept: this was checked for every version listed above.".to_owned(),
    ];
    let calibration = ["The same holds for your unit's calibration.".to_owned()];
    let told = settled
        .map(|matrix| owners_sentences(matrix, version.text()))
        .unwrap_or_default();
    let all_settings = [&settings[..], &told.settings, &notes.settings].concat();
    let all_calibration = [&calibration[..], &told.calibration, &notes.calibration].concat();
    let recognise = product
        .boards
        .iter()
        .map(|board| format!("Board {}: {}", board.revision, board.recognise));
    let recognise = recognise.collect::<Vec<_>>().join(" ");
    let until = product.supported_until.map(|date| date.to_string());
    let percent = |text: &str| text.replace("{percent}", "40 %");
    let reason = |text: &str, code: Reason| text.replace("{reason}", &code.code().to_string());
    let this = |text: &str| text.replace("{version}", version.text());
    let screens = &product.screens;
    let texts = [
        this(&screens.choose),
        percent(&screens.check),
        percent(&screens.write),
        this(&screens.done),
        reason(&screens.refused, Reason::NoUpdate),
        reason(&screens.waiting, Reason::NoImage),
    ];
    let moments = [
        ("A file was found", "The unit asks whether you want this version."),
        (
            "The file is checked",
            "Nothing has been changed yet. Leave the stick in.",
        ),
        (
            "The update is written",
            "Leave stick and power alone until this is over.",
        ),
        ("The update is finished", "The new version starts by itself."),
        (
            "The stick is not used",
            "The unit goes on with the version it had. Look the code up below.",
        ),
        (
            "The unit waits",
            "There is no version to start until the update is finished. Look the code up below.",
        ),
    ];
    let screens = moments
        .iter()
        .zip(&texts)
        .map(|((when, means), shows)| Screen { when, shows, means });
    render(&Sheet {
        maker: &product.maker.name,
        contact: &product.maker.contact,
        product: &product.name,
        version: version.text(),
        date: &date,
        kind: match notes.kind() {
            packstaff_product::ledger::ReleaseKind::Feature => ReleaseKind::Feature,
            packstaff_product::ledger::ReleaseKind::Fix => ReleaseKind::Fix,
            packstaff_product::ledger::ReleaseKind::Security => ReleaseKind::Security,
        },
        boards: packed.iter().map(|packed| part(packed, version, installs)).collect(),
        hazards: &hazards,
        going_back: going_back.into_iter().collect(),
        changes: &notes.changes,
        settings: SettingsNote {
            settings: &all_settings,
            calibration: &all_calibration,
        },
        screens: screens.collect(),
        done_shows: &texts[3],
        codes: codes(),
        proof: Some(owners_sentence(&rehearsed.record)),
        how_to_find_board: &recognise,
        how_to_see_version: &product.owner.version_screen,
        disconnect: &product.owner.disconnect,
        how_to_start_update: vec![product.owner.begin.clone()],
        after_update: vec![product.owner.after.clone()],
        supported_until: until.as_deref(),
    })
}

fn part<'a>(packed: &'a Packed, version: &Version, installs: &[Install]) -> BoardPart<'a> {
    let here = || {
        installs
            .iter()
            .filter(|install| install.board == packed.board.revision && install.to == version.text())
    };
    // Coming from an old version takes longest: its descriptor has to be voided first.
    let slowest = here().max_by(|a, b| a.estimate.total().longest_s.total_cmp(&b.estimate.total().longest_s));
    BoardPart {
        revision: &packed.board.revision,
        file_name: &packed.name,
        sha256: packstaff_envelope::sha256(&packed.file),
        size: packed.file.len() as u64,
        time: times(slowest.map(|install| install.estimate).unwrap_or_default()),
        starts_alone: packed.board.map.second != packstaff_product::SecondPlace::None,
        from_versions: here()
            .filter_map(|install| install.from.version().map(str::to_owned))
            .collect(),
    }
}

fn times(estimate: Estimate) -> Times<'static> {
    let total = estimate.total();
    let phases = [
        ("Finding the stick and reading it twice", estimate.stick),
        ("Checking", estimate.compute),
        ("Erasing", estimate.erase),
        ("Writing", estimate.program),
    ];
    Times {
        typical_s: total.typical_s,
        longest_s: total.longest_s,
        phases: phases
            .into_iter()
            .map(|(name, span)| Phase {
                name,
                typical_s: span.typical_s,
                longest_s: span.longest_s,
            })
            .collect(),
    }
}

/// A declared hazard, as the sheet has it.
pub(crate) fn shown(hazard: packstaff_product::Hazard) -> Hazard {
    use packstaff_product::Hazard as Declared;
    match hazard {
        Declared::Mains => Hazard::Mains,
        Declared::HighVoltage => Hazard::HighVoltage,
        Declared::Heat => Hazard::Heat,
        Declared::Motion => Hazard::Motion,
        Declared::Transmitter => Hazard::Transmitter,
        Declared::Battery => Hazard::Battery,
        Declared::Pressure => Hazard::Pressure,
        Declared::Gas => Hazard::Gas,
        Declared::Chemicals => Hazard::Chemicals,
        Declared::Light => Hazard::Light,
        Declared::LifeSafety => Hazard::LifeSafety,
    }
}

/// Codes of sticks that cannot be read, with the same advice in one row, and an example that the advice is taken from.
const STICK_CODES: [(&str, &str, packstaff_fat::Error); 4] = [
    (
        "S110",
        "The stick does not answer as it should.",
        packstaff_fat::Error::EmptyDevice,
    ),
    (
        "S111–114, S116, S130–146",
        "The stick is not in a format that the unit reads, or the format is damaged.",
        packstaff_fat::Error::ExFat,
    ),
    (
        "S115, S117–120",
        "The stick was set up in a way that the unit does not read.",
        packstaff_fat::Error::Gpt,
    ),
    (
        "S160–167",
        "The file, or the folder that it is in, is damaged.",
        packstaff_fat::Error::DirectoryTooLong,
    ),
];

/// The codes that an owner is likely to see each by itself; those of unreadable sticks by what to do; and the rest of the files' codes.
fn codes() -> Vec<CodeRow> {
    let row = |reason: Reason| CodeRow {
        code: reason.code().to_string(),
        // What some texts advise behind a semicolon is in the column for that.
        meaning: sentence_case(reason.to_string().split("; ").next().unwrap_or_default()),
        remedy: reason.remedy().to_owned(),
    };
    let files = [
        Refusal::NotAnUpdate,
        Refusal::Truncated,
        Refusal::UnknownSigner,
        Refusal::BadSignature,
        Refusal::NoRecipient,
        Refusal::PayloadDigest,
    ];
    let (own, others): (Vec<_>, Vec<_>) = Reason::OWN.into_iter().partition(|reason| reason.code().letter == 'S');
    let sticks = STICK_CODES.map(|(code, meaning, example)| CodeRow {
        code: code.to_owned(),
        meaning: meaning.to_owned(),
        remedy: Reason::Stick(example).remedy().to_owned(),
    });
    let mut rows: Vec<_> = own.into_iter().map(row).collect();
    rows.extend(sticks);
    rows.extend(files.map(|refusal| row(Reason::File(refusal))));
    rows.push(CodeRow {
        code: "any other F".to_owned(),
        meaning: "The file is damaged, or of a kind that this unit does not know.".to_owned(),
        remedy:
            "Copy it again from the maker, and eject the stick before you pull it out. If the code stays, write to us."
                .to_owned(),
    });
    rows.extend(others.into_iter().map(row));
    rows
}

fn sentence_case(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| {
        format!("{}{}.", first.to_uppercase(), chars.as_str().trim_end_matches('.'))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whether a number is within one of `S110`, `S117–120`.
    fn covers(codes: &str, number: u16) -> bool {
        codes.split(", ").any(|part| {
            let mut ends = part
                .split('–')
                .map(|code| code.trim_start_matches('S').parse::<u16>().unwrap());
            let first = ends.next().unwrap();
            (first..=ends.next().unwrap_or(first)).contains(&number)
        })
    }

    /// The page of the guide is written from the very code that units run, and has every code with its remedy.
    #[test]
    fn each_code_of_a_stick_is_in_the_row_with_its_advice() {
        let page = include_str!("../../../docs/src/reason-codes.md");
        let mut seen = 0;
        for line in page.lines().filter(|line| line.starts_with("| S1")) {
            let cells: Vec<_> = line.split('|').map(str::trim).collect();
            let number: u16 = cells[1].trim_start_matches('S').parse().unwrap();
            // Those below have rows of their own; what only a driver's fault could cause is not on the sheet.
            if !(100..168).contains(&number) {
                continue;
            }
            let rows: Vec<_> = STICK_CODES.iter().filter(|(codes, ..)| covers(codes, number)).collect();
            let [(_, _, example)] = rows.as_slice() else {
                panic!("S{number} is in {} rows", rows.len())
            };
            assert_eq!(Reason::Stick(*example).remedy(), cells[3], "S{number}");
            seen += 1;
        }
        assert!(seen > 30, "{seen} codes");
    }
}
