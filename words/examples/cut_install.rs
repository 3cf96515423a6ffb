//! A demonstration unit whose install was cut short: writes a read-out of its flash and an image of its stick, for `packstaff trace`.
//!
//! ```text
//! cargo run -p packstaff-words --example cut_install -- demo/kc4 demo/kc4/keys/demo-identity.txt D 1.8 2.0 120 /tmp/cut
//! ```
//!
//! The arguments: the product folder, an age identity that opens its keyring, the board, the version that the unit has, the version
//! that is installed, the change of flash that power fails in, and a folder for `flash.bin` and `stick.img`. Both versions must be in
//! the ledger. The unit is simulated; its installer is the one that units run.

use packstaff_bench::open::Bench;
use packstaff_bench::rehearse::{Beginning, BoardUnderTest, recorded_files};
use packstaff_bench::release::stick_image;
use packstaff_bench::stick_spec::README;
use packstaff_product::Unlock;
use packstaff_rehearsal::power_up::{Owner, power_up};
use packstaff_rehearsal::sticks::insert;
use packstaff_unit::flash::{Change, EraseCut, Inside, Torn};
use packstaff_words::readme::{OnStick, SheetPlace, readme};
use std::error::Error;
use std::path::Path;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [folder, identity, board, from, to, change, out] = arguments.as_slice() else {
        return Err("seven arguments are needed: FOLDER IDENTITY BOARD FROM TO CHANGE OUT".into());
    };
    let nth: usize = change
        .parse()
        .map_err(|error| format!("the number of the change: {error}"))?;
    let bench = Bench::open(Path::new(folder))?;
    let keyring = bench.keyring(&mut Unlock::IdentityFile(identity.into()))?;
    let board = bench
        .product
        .board(board)
        .ok_or_else(|| format!("there is no board {board}"))?;
    let files = recorded_files(&bench, board)?;
    let board_under_test = BoardUnderTest::of(&bench, keyring.keyring(), board, files)?;

    let version = bench.version(to)?;
    let file = board_under_test.file(to)?;
    let release = bench
        .ledger
        .latest_issue_of(to)
        .ok_or_else(|| format!("the ledger has no release of {to}"))?;
    let held = OnStick {
        version: &version,
        files: vec![(&board.revision, &file.name)],
    };
    let readme = readme(&bench.product, &[held], SheetPlace::Apart);
    let files = [(file.name.as_str(), file.bytes.as_slice()), (README, readme.as_bytes())];
    let image = stick_image(&bench.product.short, &version, release.record.date, &files)?;

    let mut world = board_under_test.world(&Beginning::Runs(from.clone()))?;
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
        .ok_or_else(|| format!("this install has {count} changes of flash, numbered from 0"))?;
    let torn = match &change {
        Change::Erase { .. } => Torn::Erase(EraseCut::Lower),
        Change::Program { data, .. } => Torn::Program {
            whole: data.len() as u32 / board_under_test.blueprint.layout.geometry().granule / 2,
            inside: Inside::Part,
        },
    };
    flash.tear(&change, torn)?;

    let sectors = flash.layout().sectors();
    let (base, size) = sectors.first().zip(sectors.last()).map_or((0, 0), |(first, last)| {
        (first.base, (last.end() - u64::from(first.base)) as u32)
    });
    let out = Path::new(out);
    std::fs::create_dir_all(out)?;
    std::fs::write(out.join("flash.bin"), flash.bytes(base, size)?)?;
    image.write_to(out.join("stick.img"))?;
    println!(
        "power failed in change {nth} of {count}: {} and {} are written",
        out.join("flash.bin").display(),
        out.join("stick.img").display()
    );
    Ok(())
}
