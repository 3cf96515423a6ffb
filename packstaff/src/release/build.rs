//! The builds: read, and checked against the place that each is meant for.

use super::Options;
use crate::told::ForPeople;
use miette::{IntoDiagnostic, Result, WrapErr};
use packstaff_bench::open::{Bench, OpenError};
use packstaff_image::checks::{Question, examine as examine_build};
use packstaff_image::{Build, ReadOptions};
use packstaff_product::{Board, Version};
use packstaff_words::report::{Cell, Report, Verdict};
use packstaff_words::text::bytes;

/// Each board's revision and image.
pub(super) type Images = Vec<(String, Vec<u8>)>;

/// Reads and checks every board's build. `None` if one of them must not go out.
pub(super) fn examine(
    bench: &Bench,
    version: &Version,
    options: &Options,
    report: &mut Report,
) -> Result<Option<Images>> {
    let boards = &bench.product.boards;
    let known = |revision: &String| boards.iter().any(|board| board.revision == *revision);
    if let Some(found) = options.builds.keys().find(|revision| !known(revision)) {
        let known: Vec<_> = boards.iter().map(|board| board.revision.as_str()).collect();
        return Err(crate::told::report(OpenError::UnknownBoard {
            found: found.clone(),
            known: known.join(", "),
        }));
    }
    let mut images = Images::new();
    for (column, board) in bench.product.boards.iter().enumerate() {
        let mut target = bench.target(board).told()?;
        // The same version under another issue, or released once already, is no accident.
        target.earlier.retain(|(earlier, _)| earlier != version.text());
        let path = match options.builds.get(&board.revision) {
            Some(path) => path.clone(),
            None => bench.folder().join(board.build_path(version.text())),
        };
        let content = std::fs::read(&path).into_diagnostic().wrap_err_with(|| {
            format!(
                "the build for board {}, {}, cannot be read",
                board.revision,
                path.display()
            )
        })?;
        let build = match packstaff_image::read(
            &content,
            &ReadOptions {
                raw_base: Some(board.map.slot.start()),
            },
        ) {
            Ok(build) => build,
            Err(error) => {
                let expected = "a build in ELF, Intel HEX, S-record or raw form";
                let cell = Cell::fail(error.to_string(), expected, format!("The file is {}.", path.display()));
                report.set("Build", "read", "The build can be read", column, cell);
                continue;
            }
        };
        report.set(
            "Build",
            "read",
            "The build can be read",
            column,
            Cell::pass(build.format().to_string()),
        );
        for check in examine_build(&build, &target) {
            let question = check.question;
            let mut cell = Cell::from(check);
            if question == Question::Fits {
                cell.figure = format!("{} of {}", bytes(size(&build, board)), bytes(u64::from(target.usable)));
            }
            report.set("Build", question.id(), question.title(), column, cell);
        }
        if let Ok(image) = target.image(&build) {
            check_record(bench, version, board, column, &image, report);
            images.push((board.revision.clone(), image));
        }
    }
    Ok((report.verdict != Verdict::Fail).then_some(images))
}

fn size(build: &Build, board: &Board) -> u64 {
    build.span().end.saturating_sub(u64::from(board.map.slot.start()))
}

/// A version that is recorded already must be the very same image: a version is released once.
fn check_record(bench: &Bench, version: &Version, board: &Board, column: usize, image: &[u8], report: &mut Report) {
    let known = bench
        .ledger
        .latest_issue_of(version.text())
        .and_then(|release| release.record.board(&board.revision));
    let cell = match known {
        None => Cell::pass("new"),
        Some(record) if record.image_sha256 == packstaff_envelope::sha256(image) => Cell::pass("as recorded"),
        Some(_) => Cell::fail(
            "another image than the one that was released under this version",
            "the recorded image, or a version that is not recorded yet",
            "Two images under one version could not be told apart by anybody. Give this build a version of its own.",
        ),
    };
    report.set("Build", "recorded", "The ledger has no other image", column, cell);
}
