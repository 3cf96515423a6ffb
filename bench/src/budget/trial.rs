//! One install on a simulated unit, with keys and an image that are made up for it: what a unit does depends on neither, so
//! that no keyring has to be opened.

use super::error::BudgetError;
use crate::open::{Bench, EXTENSION, OpenError, kid, unit_key};
use crate::stick_spec;
use crate::wear::{Most, Wear};
use ed25519_dalek::{Signer, SigningKey};
use packstaff_envelope::encode::iv;
use packstaff_envelope::{Anchor, Draft, EncodeError, TextEntry, TextItem, UnitKey, encode_checked, open};
use packstaff_product::Board;
use packstaff_rehearsal::claims::{ReleasedImage, running};
use packstaff_rehearsal::power_up::{Ending, Owner, power_up};
use packstaff_rehearsal::sticks::insert;
use packstaff_unit::blueprint::Blueprint;
use packstaff_unit::flash::SumKey;
use packstaff_unit::timing::Work;
use packstaff_unit::world::World;

/// What a unit did in one install.
#[derive(Clone, Debug)]
pub(super) struct Trial {
    /// Everything, counted.
    pub(super) work: Work,
    /// How often the sector that was erased most was erased.
    pub(super) erases_most: Most,
}

/// About as many bytes of text as a release's notes are.
const TEXT_BYTES: usize = 400;

/// Installs an image of `image_bytes` bytes on a unit that runs another of the same size.
///
/// # Errors
/// The board's memory map is no good, or the image does not fit.
pub(super) fn trial(bench: &Bench, board: &Board, image_bytes: u32) -> Result<Trial, BudgetError> {
    let keys = Keys::for_trial(bench)?;
    let blueprint = bench.blueprint_with(board, vec![keys.signer], keys.own.clone())?;
    let mut world = blueprint.new_unit(Vec::new(), SumKey::fixed())?;
    let mut install = |version: u32| {
        let image = image(image_bytes, version);
        let file = keys.file(bench, board, version, &image)?;
        install(&blueprint, &mut world, &keys, &file, version)?.map_err(|ending| BudgetError::NotInstalled {
            board: board.revision.clone(),
            image_bytes,
            ending,
        })
    };
    install(1)?;
    install(2)
}

/// Installs one file. Inside: how the power-up ended, if what was picked does not run.
fn install(
    blueprint: &Blueprint,
    world: &mut World,
    keys: &Keys,
    file: &[u8],
    version: u32,
) -> Result<Result<Trial, Ending>, BudgetError> {
    let opened = open(file, &[keys.signer], &keys.own).map_err(BudgetError::Refused)?;
    let name = format!("TRIAL{version}.{EXTENSION}");
    let stick = packstaff_stick::build(&stick_spec::plain(&[(&name, file)]))?;
    world.stick = Some(insert(stick));
    let mut wear = Wear::default();
    let up = power_up(blueprint, world, Owner::wants(&opened.manifest), |_, change| {
        wear.see(change);
    });
    let release = ReleasedImage {
        image_size: opened.manifest.image_size,
        image_digest: opened.manifest.image_digest,
    };
    if running(blueprint, world, up.ending, &[release]) != Some(release) {
        return Ok(Err(up.ending));
    }
    Ok(Ok(Trial {
        work: up.work,
        erases_most: wear.most(&blueprint.layout),
    }))
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

/// Keys that are made up for trials.
struct Keys {
    signing: SigningKey,
    signer: Anchor,
    /// As many as the product serves generations.
    recipients: Vec<UnitKey>,
    /// The unit's: the last of them, for a unit tries the others first.
    own: UnitKey,
}

impl Keys {
    fn for_trial(bench: &Bench) -> Result<Self, OpenError> {
        let signing = SigningKey::from_bytes(&[0x5a; 32]);
        let signer = Anchor::ed25519(kid(b"trial")?, signing.verifying_key().to_bytes());
        let key = |index: usize| {
            let fill = u8::try_from(index).unwrap_or(u8::MAX);
            unit_key(&format!("t{index}"), [fill; 32])
        };
        let last = bench.product.keys.serve.len().saturating_sub(1);
        Ok(Self {
            signing,
            signer,
            recipients: (0..=last).map(key).collect::<Result<_, _>>()?,
            own: key(last)?,
        })
    }

    fn file(&self, bench: &Bench, board: &Board, version: u32, image: &[u8]) -> Result<Vec<u8>, EncodeError> {
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
            recipients: &self.recipients,
            content_key: [version as u8; 32],
            iv: iv([version as u8; 12]),
        };
        encode_checked(&draft, &self.signer, |bytes| self.signing.sign(bytes).to_bytes())
    }
}
