//! The rows of a release's report that come from its builds, its update files and its stick.

use crate::report::{Cell, Report, Verdict};
use crate::text::{bytes, hex};
use packstaff_bench::release::{
    BoardBuild, Examination, Examined, Finished, Made, Opened, Packed, Recorded, SignaturesLeft, StickReading, Taken,
};
use packstaff_image::checks::Question;

const BUILD: &str = "Build";
const FILE: &str = "Update file";
const STICK: &str = "Stick";

/// What was found of each board's build.
pub(super) fn set_builds(report: &mut Report, examined: &Examined) {
    for (column, build) in examined.builds.iter().enumerate() {
        let read = match &build.found {
            Ok(found) => Cell::pass(found.format.to_string()),
            Err(error) => Cell::fail(
                error.to_string(),
                "a build in ELF, Intel HEX, S-record or raw form",
                format!("The file is {}.", build.path.display()),
            ),
        };
        report.set(BUILD, "read", "The build can be read", column, read);
        set_checks(report, column, build);
    }
}

fn set_checks(report: &mut Report, column: usize, build: &BoardBuild) {
    let Ok(found) = &build.found else { return };
    for check in &found.checks {
        let question = check.question;
        let mut cell = Cell::from(check.clone());
        if question == Question::Fits {
            cell.figure = fits(found);
        }
        report.set(BUILD, question.id(), question.title(), column, cell);
    }
    let Some(image) = &found.image else { return };
    let cell = match image.recorded {
        Recorded::New => Cell::pass("new"),
        Recorded::Same => Cell::pass("as recorded"),
        Recorded::Another => Cell::fail(
            "another image than the one that was released under this version",
            "the recorded image, or a version that is not recorded yet",
            "Two images under one version could not be told apart by anybody. Give this build a version of its own.",
        ),
    };
    report.set(BUILD, "recorded", "The ledger has no other image", column, cell);
}

fn fits(found: &Examination) -> String {
    format!("{} of {}", bytes(found.size), bytes(u64::from(found.usable)))
}

/// What came of packing each board's image.
pub(super) fn set_packing(report: &mut Report, made: &Made) {
    for (column, packing) in made.packings.iter().enumerate() {
        if let Some(left) = packing.signatures_left {
            let title = "HSS-LMS signatures left";
            report.set(FILE, "one-time-keys", title, column, signatures_left(left));
        }
        for opening in &packing.openings {
            let generation = &opening.generation;
            let id = format!("opens-{generation}");
            let title = format!("Units of generation {generation} open it");
            report.set(FILE, &id, &title, column, opened(&opening.opened));
        }
        if let Some(packed) = &packing.packed {
            let title = "Signed, encrypted, read back";
            report.set(FILE, "file", title, column, summary(packed));
        }
    }
}

fn signatures_left(signatures: SignaturesLeft) -> Cell {
    let SignaturesLeft { left, capacity } = signatures;
    let cell = Cell::pass(format!("{left} of {capacity}"));
    if !signatures.are_few() {
        return cell;
    }
    Cell {
        verdict: Verdict::Warn,
        expected: format!("{} or more", signatures.few()),
        explanation:
            "Each update file that is made takes one, a dry run's too. Units that trust this key alone can get no more \
                      updates once there is none: build new units with another key in time."
                .to_owned(),
        ..cell
    }
}

fn opened(opened: &Opened) -> Cell {
    match opened {
        Opened::TheImage => Cell::pass(""),
        Opened::Another { found, expected } => Cell::fail(
            format!("an image with the SHA-256 {}", hex(found)),
            format!("the build's image, {}", hex(expected)),
            "The file holds another image than the build. Nothing may go out like this: please report it.",
        ),
        Opened::Refused(refusal) => Cell::fail(
            format!("refused: {refusal}"),
            "a file that these units read",
            "If the release is in the ledger already, its keys are no longer those of the keyring: raise the issue in product.toml and release again.",
        ),
    }
}

fn summary(packed: &Packed) -> Cell {
    Cell {
        found: format!("SHA-256 {}", hex(&packstaff_envelope::sha256(&packed.file))),
        ..Cell::pass(format!("{}, {}", packed.name, bytes(packed.file.len() as u64)))
    }
}

/// What new units read from the stick, board by board.
pub(super) fn set_stick(report: &mut Report, finished: &Finished) {
    for (column, board) in finished.made.examined.product.boards.iter().enumerate() {
        let here = |reading: &&StickReading| reading.board == board.revision;
        for reading in finished.readings.iter().filter(here) {
            let generation = &reading.generation;
            let cell = match reading.taken {
                Taken::Runs { blocks } => Cell::pass(format!("{blocks} blocks read")),
                Taken::Not(ending) => Cell::fail(
                    format!("{ending:?}"),
                    "the unit finds its file on the stick and runs it",
                    "The unit's own reader does not find what was put on the stick: please report it.",
                ),
            };
            let id = format!("takes-{generation}");
            let title = format!("A new unit of generation {generation} takes it");
            report.set(STICK, &id, &title, column, cell);
        }
    }
}
