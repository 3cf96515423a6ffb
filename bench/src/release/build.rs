//! The builds: read, and checked against the place that each is meant for.

use super::{Order, ReleaseError};
use crate::open::Bench;
use packstaff_image::checks::{self, Check, examine};
use packstaff_image::{Build, Format, ReadError, ReadOptions};
use packstaff_product::{Board, Version};
use std::path::PathBuf;

/// The build of one board, and what is found of it.
#[derive(Clone, Debug)]
pub struct BoardBuild {
    /// The board revision.
    pub board: String,
    /// The file.
    pub path: PathBuf,
    /// What is found of it, or why it is no build.
    pub found: Result<Examination, ReadError>,
}

/// A build that can be read, against the place that it is meant for.
#[derive(Clone, Debug)]
pub struct Examination {
    /// The format of its file.
    pub format: Format,
    /// Bytes from the slot's start to the build's end.
    pub size: u64,
    /// Bytes of the slot that an image may use.
    pub usable: u32,
    /// The checks.
    pub checks: Vec<Check>,
    /// The image as it is sent; `None` where the checks find that the build lies outside of its slot.
    pub image: Option<BuiltImage>,
}

/// An image as it is sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BuiltImage {
    /// Its bytes, from the slot's start.
    pub bytes: Vec<u8>,
    /// What the ledger says about it.
    pub recorded: Recorded,
}

/// What the ledger says about an image. A version is released once: two images under one version could not be told apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Recorded {
    /// The version was not released for this board.
    New,
    /// This very image was released under this version.
    Same,
    /// Another image was released under this version.
    Another,
}

impl BoardBuild {
    /// Whether nothing stands in the way of sending it.
    pub fn holds(&self) -> bool {
        self.found.as_ref().is_ok_and(Examination::holds)
    }

    /// The image as it is sent.
    pub fn image(&self) -> Option<&[u8]> {
        let image = self.found.as_ref().ok()?.image.as_ref()?;
        Some(&image.bytes)
    }
}

impl Examination {
    fn holds(&self) -> bool {
        let recorded = self.image.as_ref().map(|image| image.recorded);
        checks::worst(&self.checks) != checks::Verdict::Fail && recorded.is_some_and(|it| it != Recorded::Another)
    }
}

/// Reads and checks every board's build.
pub(super) fn examine_all(bench: &Bench, version: &Version, order: &Order) -> Result<Vec<BoardBuild>, ReleaseError> {
    for revision in order.builds.keys() {
        bench.board(revision)?;
    }
    let boards = bench.product.boards.iter();
    boards.map(|board| examine_one(bench, version, order, board)).collect()
}

fn examine_one(bench: &Bench, version: &Version, order: &Order, board: &Board) -> Result<BoardBuild, ReleaseError> {
    let path = match order.builds.get(&board.revision) {
        Some(path) => path.clone(),
        None => bench.folder().join(board.build_path(version.text())),
    };
    let mut target = bench.target(board)?;
    // The same version under another issue, or released once already, is no accident.
    target.earlier.retain(|(earlier, _)| earlier != version.text());
    let content = std::fs::read(&path).map_err(|error| ReleaseError::UnreadableBuild {
        board: board.revision.clone(),
        path: path.clone(),
        error,
    })?;
    let options = ReadOptions {
        raw_base: Some(board.map.slot.start()),
    };
    let found = packstaff_image::read(&content, &options).map(|build| Examination {
        format: build.format(),
        size: size(&build, board),
        usable: target.usable,
        checks: examine(&build, &target),
        image: target.image(&build).ok().map(|bytes| BuiltImage {
            recorded: recorded(bench, version, board, &bytes),
            bytes,
        }),
    });
    Ok(BoardBuild {
        board: board.revision.clone(),
        path,
        found,
    })
}

fn size(build: &Build, board: &Board) -> u64 {
    build.span().end.saturating_sub(u64::from(board.map.slot.start()))
}

fn recorded(bench: &Bench, version: &Version, board: &Board, image: &[u8]) -> Recorded {
    let known = bench.ledger.latest_issue_of(version.text());
    match known.and_then(|release| release.record.board(&board.revision)) {
        None => Recorded::New,
        Some(record) if record.image_sha256 == packstaff_envelope::sha256(image) => Recorded::Same,
        Some(_) => Recorded::Another,
    }
}
