//! THREAT.IMG.EXTRA (RFC 9124, 4.2.15): foreign code behind a genuine image.
//!
//! The unit is the demo's board D, its installer the one that units link; between two of its steps, somebody programs one
//! granule of the slot that the image does not use.

use packstaff_bench::open::Bench;
use packstaff_bench::stick_spec;
use packstaff_installer::{Installer, Reason, Region, Reply};
use packstaff_product::Unlock;
use packstaff_rehearsal::sticks::insert;
use packstaff_unit::drive::{Answer, Wish, look};
use packstaff_unit::flash::{Change, SumKey};
use std::path::Path;

#[derive(Debug, PartialEq)]
enum Ending {
    Started,
    Waiting(Reason),
}

/// Installs the demo's version 2.0 on a new unit; `foreign` is the address, from the end of the slot's free part downward, of
/// the code that somebody slips in just before flash is digested.
fn install(foreign: Option<u32>) -> Ending {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo/kc4");
    let bench = Bench::open(&folder).unwrap();
    let mut identity = Unlock::IdentityFile(folder.join("keys/demo-identity.txt"));
    let keyring = bench.keyring(&mut identity).unwrap();
    let board = bench.product.board("D").unwrap();
    let blueprint = bench.blueprint(board, keyring.keyring(), "g2").unwrap();
    let release = bench.ledger.latest_issue_of("2.0").unwrap();
    let file = release.update_file(release.record.board("D").unwrap()).unwrap();

    let mut world = blueprint.new_unit(Vec::new(), SumKey::fixed()).unwrap();
    let stick = insert(packstaff_stick::build(&stick_spec::plain(&[("KC4D.UPD", &file)])).unwrap());
    let config = blueprint.config();
    let mut machine = Installer::new();
    let mut answer = None::<Answer>;
    loop {
        let wish = Wish::from(machine.step(&config, answer.as_ref().map_or(Reply::PowerUp, Answer::reply)));
        if let (Wish::DigestFlash(Region { base, .. }), Some(below)) = (&wish, foreign)
            && *base == config.slot.base
        {
            let code = Change::Program {
                address: config.place().record.base - below,
                data: vec![0x5a; config.flash.granule as usize],
            };
            // A second digest of the same install finds the granule programmed already.
            let _ = world.flash.apply(&code);
        }
        answer = Some(match look(&wish, &world.flash, Some(&stick)) {
            Some(found) => found,
            None => match wish {
                Wish::Change(change) => {
                    world.flash.apply(&change).unwrap();
                    Answer::Done
                }
                Wish::Ask(listing) => Answer::Chosen(listing.offers().next().map(|(row, _, _)| row)),
                Wish::Wait(reason) => return Ending::Waiting(reason),
                Wish::Start(_) => return Ending::Started,
                other => panic!("{other:?}"),
            },
        });
    }
}

#[test]
fn an_image_with_foreign_code_behind_it_is_not_committed() {
    assert_eq!(install(None), Ending::Started);
    for below in [8, 4096, 100_000] {
        assert_eq!(
            install(Some(below)),
            Ending::Waiting(Reason::FlashDiffers),
            "{below} bytes below"
        );
    }
}
