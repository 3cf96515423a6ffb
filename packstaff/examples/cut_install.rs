//! A demonstration unit whose install was cut short: writes a read-out of its flash and an image of its stick, for `packstaff trace`.
//!
//! ```text
//! cargo run -p packstaff --example cut_install -- demo/kc4 demo/kc4/keys/demo-identity.txt D 1.8 2.0 120 /tmp/cut
//! ```
//!
//! The arguments: the product folder, an age identity that opens its keyring, the board, the version that the unit has, the version
//! that is installed, the change of flash that power fails in, and a folder for `flash.bin` and `stick.img`. Both versions must be in
//! the ledger. The unit is simulated; its installer is the one that units run.

use miette::{IntoDiagnostic, Result, WrapErr, miette};
use packstaff::told::ForPeople;
use packstaff_bench::open::Bench;
use packstaff_bench::rehearse::{Beginning, BoardUnderTest, recorded_files};
use packstaff_bench::release::stick_image;
use packstaff_bench::stick_spec::README;
use packstaff_product::Unlock;
use packstaff_rehearsal::power_up::{Owner, power_up};
use packstaff_rehearsal::sticks::insert;
use packstaff_unit::flash::{Change, EraseCut, Inside, Torn};
use packstaff_words::readme::{OnStick, SheetPlace, readme};
use std::path::Path;

fn main() -> Result<()> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [folder, identity, board, from, to, change, out] = arguments.as_slice() else {
        return Err(miette!(
            "seven arguments are needed: FOLDER IDENTITY BOARD FROM TO CHANGE OUT"
        ));
    };
    let nth: usize = change.parse().into_diagnostic().wrap_err("the number of the change")?;
    let bench = Bench::open(Path::new(folder)).told()?;
    let keyring = bench.keyring(&mut Unlock::IdentityFile(identity.into())).told()?;
    let board = bench
        .product
        .board(board)
        .ok_or_else(|| miette!("there is no board {board}"))?;
    let files = recorded_files(&bench, board).told()?;
    let board_under_test = BoardUnderTest::of(&bench, keyring.keyring(), board, files).told()?;

    let version = bench.version(to).told()?;
    let file = board_under_test.file(to).told()?;
    let release = bench
        .ledger
        .latest_issue_of(to)
        .ok_or_else(|| miette!("the ledger has no release of {to}"))?;
    let held = OnStick {
        version: &version,
        files: vec![(&board.revision, &file.name)],
    };
    let readme = readme(&bench.product, &[held], SheetPlace::Apart);
    let files = [(file.name.as_str(), file.bytes.as_slice()), (README, readme.as_bytes())];
    let image = stick_image(&bench.product.short, &version, release.record.date, &files).into_diagnostic()?;

    let mut world = board_under_test.world(&Beginning::Runs(from.clone())).told()?;
    world.stick = Some(insert(image.clone()));
    let mut changes = Vec::new();
    power_up(
        &board_under_test.blueprint,
        &mut world,
        Owner::Picks(file.manifest),
        |world, change| {
            changes.push((world.flash.clone(), change.clone()));
        },
    );
    let count = changes.len();
    let (mut flash, change) = changes
        .into_iter()
        .nth(nth)
        .ok_or_else(|| miette!("this install has {count} changes of flash, numbered from 0"))?;
    let torn = match &change {
        Change::Erase { .. } => Torn::Erase(EraseCut::Lower),
        Change::Program { data, .. } => Torn::Program {
            whole: data.len() as u32 / board_under_test.blueprint.layout.geometry().granule / 2,
            inside: Inside::Part,
        },
    };
    flash.tear(&change, torn).into_diagnostic()?;

    let sectors = flash.layout().sectors();
    let (base, size) = sectors.first().zip(sectors.last()).map_or((0, 0), |(first, last)| {
        (first.base, (last.end() - u64::from(first.base)) as u32)
    });
    let out = Path::new(out);
    std::fs::create_dir_all(out).into_diagnostic()?;
    std::fs::write(out.join("flash.bin"), flash.bytes(base, size).into_diagnostic()?).into_diagnostic()?;
    image.write_to(out.join("stick.img")).into_diagnostic()?;
    println!(
        "power failed in change {nth} of {count}: {} and {} are written",
        out.join("flash.bin").display(),
        out.join("stick.img").display()
    );
    Ok(())
}
