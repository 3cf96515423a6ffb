//! Fills the owner's sheet from what was declared, packed and rehearsed.

use super::Packed;
use super::rehearse::Rehearsed;
use packstaff_bench::notes::Notes;
use packstaff_bench::open::Bench;
use packstaff_bench::rehearse::Install;
use packstaff_installer::Reason;
use packstaff_product::{Date, Version};
use packstaff_settings::carry::Matrix;
use packstaff_unit::timing::Estimate;
use packstaff_words::rehearse::owners_sentence;
use packstaff_words::settings::owners_sentences;
use packstaff_words::sheet::{BoardPart, Phase, Screen, SettingsNote, Sheet, Times, render};

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
        kind: notes.kind(),
        boards: packed.iter().map(|packed| part(packed, version, installs)).collect(),
        hazards: &product.hazards,
        going_back: going_back.into_iter().collect(),
        changes: &notes.changes,
        settings: SettingsNote {
            settings: &all_settings,
            calibration: &all_calibration,
        },
        screens: screens.collect(),
        done_shows: &texts[3],
        codes: packstaff_words::sheet::codes(),
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
