//! One install on a simulated unit, with keys and an image that are made up for it: what a unit does depends on neither, so
//! that no keyring has to be opened.

use crate::told::ForPeople;
use ed25519_dalek::{Signer, SigningKey};
use miette::{IntoDiagnostic, Result, WrapErr};
use packstaff_bench::open::{Bench, EXTENSION, unit_key};
use packstaff_bench::stick_spec;
use packstaff_bench::wear::{Most, Wear};
use packstaff_envelope::encode::iv;
use packstaff_envelope::{Anchor, Draft, Kid, TextEntry, TextItem, UnitKey, encode_checked, open};
use packstaff_product::Board;
use packstaff_rehearsal::claims::{ReleasedImage, running};
use packstaff_rehearsal::power_up::{Owner, power_up};
use packstaff_rehearsal::sticks::insert;
use packstaff_unit::flash::SumKey;
use packstaff_unit::timing::Work;

/// What a unit did in one install.
#[derive(Clone, Debug)]
pub(crate) struct Trial {
    /// Everything, counted.
    pub(crate) work: Work,
    /// How often the sector that was erased most was erased.
    pub(crate) erases_most: Most,
}

/// About as many bytes of text as a release's notes are.
const TEXT_BYTES: usize = 400;

/// Installs an image of `image_bytes` bytes on a unit that runs another of the same size.
///
/// # Errors
/// The board's memory map is no good, or the image does not fit.
pub(crate) fn trial(bench: &Bench, board: &Board, image_bytes: u32) -> Result<Trial> {
    let signing = SigningKey::from_bytes(&[0x5a; 32]);
    let kid = Kid::new(b"trial").ok_or_else(|| miette::miette!("five bytes make a key's name"))?;
    let signer = Anchor::ed25519(kid, signing.verifying_key().to_bytes());
    let generations = (0..bench.product.keys.serve.len().max(1)).map(|index| {
        let fill = u8::try_from(index).unwrap_or(u8::MAX);
        unit_key(&format!("t{index}"), [fill; 32])
    });
    let recipients = generations.collect::<Result<Vec<_>, _>>().told()?;
    // The last one: a unit tries the others first.
    let own = recipients
        .last()
        .cloned()
        .ok_or_else(|| miette::miette!("there is at least one key"))?;
    let blueprint = bench.blueprint_with(board, vec![signer], own.clone()).told()?;
    let mut world = blueprint.new_unit(Vec::new(), SumKey::fixed()).into_diagnostic()?;
    let mut seen = None;
    for version in 1..=2_u32 {
        let image = image(image_bytes, version);
        let file = file(bench, board, version, &image, &recipients, &signer, &signing)?;
        let opened = open(&file, &[signer], &own)
            .map_err(|refusal| miette::miette!("a file that was made for a trial does not open: {refusal}"))?;
        let name = format!("TRIAL{version}.{EXTENSION}");
        let stick = packstaff_stick::build(&stick_spec::plain(&[(&name, &file)])).into_diagnostic()?;
        world.stick = Some(insert(stick));
        let mut wear = Wear::default();
        let up = power_up(&blueprint, &mut world, Owner::wants(&opened.manifest), |_, change| {
            wear.see(change);
        });
        let release = ReleasedImage {
            image_size: opened.manifest.image_size,
            image_digest: opened.manifest.image_digest,
        };
        if running(&blueprint, &world, up.ending, &[release]) != Some(release) {
            return Err(miette::miette!(
                "an image of {image_bytes} bytes cannot be installed on board {}: {:?}",
                board.revision,
                up.ending
            ));
        }
        seen = Some(Trial {
            work: up.work,
            erases_most: wear.most(&blueprint.layout),
        });
    }
    seen.ok_or_else(|| miette::miette!("two installs were tried"))
}

/// Bytes without pattern (Marsaglia's xorshift): as in code, no granule is erased by chance.
fn image(bytes: u32, seed: u32) -> Vec<u8> {
    let mut state = seed.wrapping_mul(0x9e37_79b9) | 1;
    let next = || {
        state ^= state << 13;
        state ^= state >> 17;
        state ^= state << 5;
        (state >> 24) as u8
    };
    std::iter::repeat_with(next).take(bytes as usize).collect()
}

fn file(
    bench: &Bench,
    board: &Board,
    version: u32,
    image: &[u8],
    recipients: &[UnitKey],
    signer: &Anchor,
    signing: &SigningKey,
) -> Result<Vec<u8>> {
    let text = [TextEntry {
        language: "en".to_owned(),
        item: TextItem::UpdateDescription,
        value: "-".repeat(TEXT_BYTES),
    }];
    let draft = Draft {
        sequence: bench.product.policy.issue,
        version: &[version, 0],
        vendor: *bench.product.maker.vendor.as_bytes(),
        class: *board.class.as_bytes(),
        image,
        text: &text,
        recipients,
        content_key: [version as u8; 32],
        iv: iv([version as u8; 12]),
    };
    encode_checked(&draft, signer, |bytes| signing.sign(bytes).to_bytes())
        .into_diagnostic()
        .wrap_err("a file for a trial")
}
