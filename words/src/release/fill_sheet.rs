//! The owner's sheet of a release, filled from what was declared, packed and rehearsed.

use crate::rehearse::{Record, owners_sentence};
use crate::settings::{Sentences, owners_sentences};
use crate::sheet::{BoardPart, Phase, Screen, SettingsNote, Sheet, Times, codes, render};
use packstaff_bench::rehearse::Install;
use packstaff_bench::release::{Made, Packed};
use packstaff_installer::Reason;
use packstaff_product::{Product, Screens};
use packstaff_unit::timing::Estimate;
use std::collections::BTreeSet;

/// The page of the sheet.
pub fn page(made: &Made) -> String {
    let product = &made.examined.product;
    let version = made.examined.edition.version.text();
    let date = made.examined.edition.date.to_string();
    let going_back = made.installs().filter(|install| install.to != version);
    let going_back: BTreeSet<_> = going_back.map(|install| install.to.clone()).collect();
    let kept = kept(made);
    let recognise = recognise(product);
    let until = product.supported_until.map(|date| date.to_string());
    let shown = shown(&product.screens, version);
    let screens = MOMENTS
        .iter()
        .zip(&shown)
        .map(|((when, means), shows)| Screen { when, shows, means });
    render(&Sheet {
        maker: &product.maker.name,
        contact: &product.maker.contact,
        product: &product.name,
        version,
        date: &date,
        kind: made.notes.kind(),
        boards: made.packed().map(|packed| part(packed, made)).collect(),
        hazards: &product.hazards,
        going_back: going_back.into_iter().collect(),
        changes: &made.notes.changes,
        settings: SettingsNote {
            settings: &kept.settings,
            calibration: &kept.calibration,
        },
        screens: screens.collect(),
        done_shows: &shown[DONE],
        codes: codes(),
        proof: Some(owners_sentence(&Record::of(&made.rehearsal))),
        how_to_find_board: &recognise,
        how_to_see_version: &product.owner.version_screen,
        disconnect: &product.owner.disconnect,
        how_to_start_update: vec![product.owner.begin.clone()],
        after_update: vec![product.owner.after.clone()],
        supported_until: until.as_deref(),
    })
}

/// When a unit shows something, and what that means for its owner: in the order of [`shown`].
const MOMENTS: [(&str, &str); 6] = [
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

/// Which of the moments is the end of an update.
const DONE: usize = 3;

/// What the unit shows at each of the moments, as an owner may see it.
fn shown(screens: &Screens, version: &str) -> [String; 6] {
    let percent = |text: &str| text.replace("{percent}", "40 %");
    let reason = |text: &str, code: Reason| text.replace("{reason}", &code.code().to_string());
    let this = |text: &str| text.replace("{version}", version);
    [
        this(&screens.choose),
        percent(&screens.check),
        percent(&screens.write),
        this(&screens.done),
        reason(&screens.refused, Reason::NoUpdate),
        reason(&screens.waiting, Reason::NoImage),
    ]
}

/// What becomes of settings and calibration: what was checked, what follows from the layouts, and what the maker adds.
fn kept(made: &Made) -> Sentences {
    let version = made.examined.edition.version.text();
    let matrix = made.examined.settings.as_ref().and_then(|settings| settings.matrix());
    let told = matrix
        .map(|matrix| owners_sentences(matrix, version))
        .unwrap_or_default();
    let settings = [
        "The update does not touch the memory in which your settings are kept: this was checked for every version listed above.".to_owned(),
    ];
    let calibration = ["The same holds for your unit's calibration.".to_owned()];
    Sentences {
        settings: [&settings[..], &told.settings, &made.notes.settings].concat(),
        calibration: [&calibration[..], &told.calibration, &made.notes.calibration].concat(),
    }
}

fn recognise(product: &Product) -> String {
    let boards = product
        .boards
        .iter()
        .map(|board| format!("Board {}: {}", board.revision, board.recognise));
    boards.collect::<Vec<_>>().join(" ")
}

fn part<'a>(packed: &'a Packed, made: &Made) -> BoardPart<'a> {
    let version = made.examined.edition.version.text();
    let here = || {
        made.installs()
            .filter(|install| install.board == packed.board && install.to == version)
    };
    // Coming from an old version takes longest: its descriptor has to be voided first.
    let longest = |install: &&Install| install.estimate.total().longest_s;
    let slowest = here().max_by(|a, b| longest(a).total_cmp(&longest(b)));
    let board = made.examined.product.board(&packed.board);
    BoardPart {
        revision: &packed.board,
        file_name: &packed.name,
        sha256: packstaff_envelope::sha256(&packed.file),
        size: packed.file.len() as u64,
        time: times(slowest.map(|install| install.estimate).unwrap_or_default()),
        starts_alone: board.is_some_and(|board| board.map.second != packstaff_product::SecondPlace::None),
        from_versions: here()
            .filter_map(|install| Some(install.from.version()?.to_owned()))
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
