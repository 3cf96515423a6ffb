//! The stick that owners get: every board's update file, the sheet, and a short text.

use super::Packed;
use crate::told::ForPeople;
use miette::{IntoDiagnostic, Result, WrapErr};
use packstaff_bench::open::Bench;
use packstaff_bench::stick_spec::{self, README, SHEET};
use packstaff_product::{Date, Keyring, Version};
use packstaff_rehearsal::claims::{ReleasedImage, running};
use packstaff_rehearsal::power_up::{Owner, power_up};
use packstaff_rehearsal::sticks::insert;
use packstaff_stick::StickImage;
use packstaff_unit::flash::SumKey;
use packstaff_words::readme::{OnStick, SheetPlace, readme};
use packstaff_words::report::{Cell, Report};

pub(super) fn make(bench: &Bench, version: &Version, date: Date, packed: &[Packed], page: &str) -> Result<StickImage> {
    let files: Vec<_> = packed
        .iter()
        .map(|packed| {
            (
                packed.board.revision.as_str(),
                packed.name.as_str(),
                packed.file.as_slice(),
            )
        })
        .collect();
    release_stick(bench, version, date, &files, Some(page))
}

/// The stick image of a release. `files` are board revision, name and content of each update file.
///
/// # Errors
/// The files do not fit a stick, or a name cannot stand on one.
pub fn release_stick(
    bench: &Bench,
    version: &Version,
    date: Date,
    files: &[(&str, &str, &[u8])],
    page: Option<&str>,
) -> Result<StickImage> {
    let spec = stick_spec::for_release(&bench.product.short, version.numbers().as_slice(), date);
    let spec = files
        .iter()
        .fold(spec, |spec, (_, name, content)| spec.with_file(*name, *content));
    let names = files.iter().map(|(revision, name, _)| (*revision, *name)).collect();
    let held = OnStick { version, files: names };
    let sheet = page.map_or(SheetPlace::Apart, |_| SheetPlace::OnStick);
    let spec = spec.with_file(README, readme(&bench.product, &[held], sheet));
    let spec = match page {
        Some(page) => spec.with_file(SHEET, page),
        None => spec,
    };
    packstaff_stick::build(&spec)
        .into_diagnostic()
        .wrap_err("the stick image")
}

/// Every served generation of every board takes its update from this very stick.
pub(super) fn check(
    bench: &Bench,
    keyring: &Keyring,
    image: &StickImage,
    packed: &[Packed],
    report: &mut Report,
) -> Result<()> {
    let stick = insert(image.clone());
    for packed in packed {
        let column = bench
            .product
            .boards
            .iter()
            .position(|board| board.revision == packed.board.revision)
            .unwrap_or(0);
        let target = ReleasedImage {
            image_size: packed.manifest.image_size,
            image_digest: packed.manifest.image_digest,
        };
        for generation in &bench.product.keys.serve {
            let blueprint = bench.blueprint(&packed.board, keyring, generation).told()?;
            let mut world = blueprint.new_unit(Vec::new(), SumKey::fixed()).into_diagnostic()?;
            world.stick = Some(stick.clone());
            let seen = power_up(&blueprint, &mut world, Owner::Picks(packed.manifest.digest), |_, _| {});
            let cell = match running(&blueprint, &world, seen.ending, &[target]) {
                Some(_) => Cell::pass(format!("{} blocks read", seen.work.stick_blocks)),
                None => Cell::fail(
                    format!("{:?}", seen.ending),
                    "the unit finds its file on the stick and runs it",
                    "The unit's own reader does not find what was put on the stick: please report it.",
                ),
            };
            let title = format!("A new unit of generation {generation} takes it");
            report.set("Stick", &format!("takes-{generation}"), &title, column, cell);
        }
    }
    Ok(())
}
