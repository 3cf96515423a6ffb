//! Packing: each board's image becomes an update file, or is found to be one already; and every file is opened as units do.

use super::build::BoardBuild;
use super::names::file_name;
use super::signing::{SignaturesLeft, Signing};
use super::{Edition, ReleaseError};
use crate::notes::Notes;
use crate::open::{Bench, unit_key};
use crate::progress::{Progress, Step};
use packstaff_envelope::encode::iv;
use packstaff_envelope::{Draft, Manifest, Refusal, Signer, TextEntry, TextItem, UnitKey, encode_signed, open};
use packstaff_product::ledger::{BoardRecord, Release};
use packstaff_product::{Board, KeyringFile, Product};
use packstaff_rehearsal::claims::ReleasedImage;
use zeroize::Zeroizing;

/// What came of packing one board's image.
#[derive(Clone, Debug)]
pub struct Packing {
    /// The board revision.
    pub board: String,
    /// What is left of the HSS-LMS key, if that signed the file now.
    pub signatures_left: Option<SignaturesLeft>,
    /// The file as units of each served generation open it, in the order of the product file.
    pub openings: Vec<Opening>,
    /// The file; `None` if no units open it.
    pub packed: Option<Packed>,
}

/// An update file as units of one generation open it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Opening {
    /// The generation.
    pub generation: String,
    /// What comes of it.
    pub opened: Opened,
}

/// What comes of opening an update file.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Opened {
    /// The build's image comes out.
    TheImage,
    /// Another image comes out.
    Another {
        /// SHA-256 of that image.
        found: [u8; 32],
        /// SHA-256 of the build's.
        expected: [u8; 32],
    },
    /// It is refused.
    Refused(Refusal),
}

/// The update file of one board, packed or taken from the ledger.
#[derive(Clone, Debug)]
pub struct Packed {
    /// The board revision.
    pub board: String,
    /// The image in the clear.
    pub image: Vec<u8>,
    /// The update file.
    pub file: Vec<u8>,
    /// Its name.
    pub name: String,
    /// What is signed in it.
    pub manifest: Manifest,
}

impl Packing {
    /// Whether the file may go out.
    pub fn holds(&self) -> bool {
        self.packed.is_some() && self.openings.iter().all(|opening| opening.opened == Opened::TheImage)
    }
}

impl Packed {
    /// The image in it, as an installer knows it.
    pub fn released_image(&self) -> ReleasedImage {
        ReleasedImage {
            image_size: self.manifest.image_size,
            image_digest: self.manifest.image_digest,
        }
    }
}

/// What is packed with: the release's texts, who signs, and who can read it.
struct Packer<'a> {
    bench: &'a Bench,
    edition: &'a Edition,
    notes: &'a Notes,
    keyring: &'a KeyringFile,
    signing: Signing<'a>,
    recipients: Vec<UnitKey>,
}

/// Packs every board's image.
///
/// # Errors
/// A key is missing, a name is too long, or the ledger's file is not as it was recorded. A file that units refuse is no error.
pub(super) fn pack(
    bench: &Bench,
    keyring: &KeyringFile,
    edition: &Edition,
    notes: &Notes,
    builds: &[BoardBuild],
    progress: &dyn Progress,
) -> Result<Vec<Packing>, ReleaseError> {
    let images = || {
        builds.iter().filter_map(|build| {
            let board = bench.product.board(&build.board)?;
            Some((board, build.image()?))
        })
    };
    let new = images().filter(|(board, _)| known(bench, edition, board).is_none());
    let signing = Signing::ready(bench, keyring, new.count(), progress)?;
    progress.at(&Step::Packing);
    let keys = keyring.keyring().serving_keys(&bench.product.keys.serve);
    let recipients = keys.map_err(ReleaseError::Served)?;
    let recipients = recipients
        .into_iter()
        .map(|(generation, key)| unit_key(&generation, *key));
    let packer = Packer {
        bench,
        edition,
        notes,
        keyring,
        signing,
        recipients: recipients.collect::<Result<_, _>>()?,
    };
    images().map(|(board, image)| packer.pack(board, image)).collect()
}

/// The board's file, if this version was released under this issue before.
fn known<'b>(bench: &'b Bench, edition: &Edition, board: &Board) -> Option<(&'b Release, &'b BoardRecord)> {
    let release = bench.ledger.find(edition.version.text(), edition.issue)?;
    Some((release, release.record.board(&board.revision)?))
}

impl Packer<'_> {
    fn pack(&self, board: &Board, image: &[u8]) -> Result<Packing, ReleaseError> {
        let mut signatures_left = None;
        let (name, file) = match known(self.bench, self.edition, board) {
            Some((release, record)) => {
                let file = release.update_file(record).map_err(ReleaseError::Archive)?;
                (record.file.clone(), file)
            }
            None => {
                let name = file_name(&self.bench.product.short, &board.revision, &self.edition.version)?;
                let file = self.encode(board, self.signing.signers()?, image)?;
                signatures_left = self.signing.left()?;
                (name, file)
            }
        };
        let (openings, manifest) = self.open(&file, image)?;
        Ok(Packing {
            board: board.revision.clone(),
            signatures_left,
            openings,
            packed: manifest.map(|manifest| Packed {
                board: board.revision.clone(),
                image: image.to_vec(),
                file,
                name,
                manifest,
            }),
        })
    }

    /// Opens a file as units of every served generation do. Gives its manifest if the image comes out for any of them.
    fn open(&self, file: &[u8], image: &[u8]) -> Result<(Vec<Opening>, Option<Manifest>), ReleaseError> {
        let mut manifest = None;
        let mut openings = Vec::new();
        for recipient in &self.recipients {
            let generation = recipient.kid.to_string();
            let anchors = self.bench.anchors(self.keyring.keyring(), &generation)?;
            let opened = match open(file, &anchors, recipient) {
                Ok(opened) if opened.image == image => {
                    manifest = Some(opened.manifest);
                    Opened::TheImage
                }
                Ok(opened) => Opened::Another {
                    found: packstaff_envelope::sha256(&opened.image),
                    expected: packstaff_envelope::sha256(image),
                },
                Err(refusal) => Opened::Refused(refusal),
            };
            openings.push(Opening { generation, opened });
        }
        Ok((openings, manifest))
    }

    fn encode(&self, board: &Board, signers: Vec<Signer<'_>>, image: &[u8]) -> Result<Vec<u8>, ReleaseError> {
        let product = &self.bench.product;
        let mut key = Zeroizing::new([0; 32]);
        let mut nonce = [0; 12];
        getrandom::fill(key.as_mut_slice()).map_err(ReleaseError::NoRandomness)?;
        getrandom::fill(&mut nonce).map_err(ReleaseError::NoRandomness)?;
        let text = self.text(product, board);
        let numbers = self.edition.version.numbers();
        let draft = Draft {
            sequence: self.edition.issue,
            version: numbers.as_slice(),
            vendor: *product.maker.vendor.as_bytes(),
            class: *board.class.as_bytes(),
            image,
            text: &text,
            recipients: &self.recipients,
            content_key: *key,
            iv: iv(nonce),
        };
        encode_signed(&draft, signers, product.keys.header_room() as usize).map_err(|error| ReleaseError::Encode {
            board: board.revision.clone(),
            error,
        })
    }

    fn text(&self, product: &Product, board: &Board) -> Vec<TextEntry> {
        let version = self.edition.version.text();
        let entry = |item, text: &str| TextEntry {
            language: product.owner.language.clone(),
            item,
            value: text.to_owned(),
        };
        vec![
            entry(TextItem::ManifestDescription, &format!("{} {version}", product.name)),
            entry(TextItem::UpdateDescription, &self.notes.changes.join(" ")),
            entry(TextItem::VendorName, &product.maker.name),
            entry(TextItem::ModelName, &product.name),
            entry(TextItem::VendorDomain, &product.maker.domain),
            entry(TextItem::ModelInfo, &board.model),
            entry(TextItem::ComponentVersion, version),
        ]
    }
}
