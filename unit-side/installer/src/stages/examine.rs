//! Reading the header of one file, and deciding whether this unit would install it.

use super::stream::{FileStream, Pulled};
use super::{Context, Outcome, Plan, Turn, Wish};
use crate::listing::Offer;
use crate::reason::Reason;
use crate::request::Reply;
use packstaff_envelope::{ContentKey, Fed, HeaderReader, Manifest};
use packstaff_fat::{Entry, Volume};

/// How every update file begins: CBOR tag 107 around a map.
const ENVELOPE_TAG: [u8; 2] = [0xd8, 0x6b];
/// How the companion files begin that some desktops leave beside a copied file (RFC 1740, AppleDouble).
const COMPANION: [u8; 4] = [0x00, 0x05, 0x16, 0x07];

/// An examination under way.
#[derive(Clone, PartialEq, Eq, Hash)]
pub(super) struct Examine {
    file: Entry,
    /// The name has the ending of an update file.
    named: bool,
    fresh: bool,
    stream: FileStream,
    header: HeaderReader,
}

/// What an examination has to say.
pub(super) enum Examined {
    /// First this block must be read.
    Wish(Wish),
    /// This unit would install it.
    Fit(Manifest, ContentKey),
    /// It looks like an update, but this unit would not install it.
    Unfit(Reason),
    /// It is none of our business.
    Foreign,
}

impl Examine {
    pub(super) fn open(volume: &Volume, file: Entry, named: bool) -> Self {
        let stream = FileStream::open(volume, &file);
        Self {
            file,
            named,
            fresh: true,
            stream,
            header: HeaderReader::new(file.size),
        }
    }

    pub(super) const fn file(&self) -> Entry {
        self.file
    }

    pub(super) fn step(&mut self, context: &Context<'_>, volume: &Volume, reply: Option<Reply<'_>>) -> Examined {
        let mut reply = reply;
        // Each turn but the last takes a block that was read for it, and the header reader bounds their number.
        loop {
            let bytes = match self.stream.pull(volume, reply.take()) {
                Ok(Pulled::Read(block)) => return Examined::Wish(Wish::ReadStick(block)),
                Ok(Pulled::Data(bytes)) => bytes,
                Ok(Pulled::End) if self.named => return Examined::Unfit(Reason::TRUNCATED),
                Err(reason) if self.named => return Examined::Unfit(reason),
                Ok(Pulled::End) | Err(_) => return Examined::Foreign,
            };
            if core::mem::take(&mut self.fresh) {
                if bytes.starts_with(&COMPANION) {
                    return Examined::Foreign;
                }
                if !self.named {
                    return match bytes.starts_with(&ENVELOPE_TAG) {
                        true => Examined::Unfit(Reason::OtherName),
                        false => Examined::Foreign,
                    };
                }
            }
            match self.header.feed(bytes) {
                Ok(Fed::More) => {}
                Ok(Fed::Complete) => return self.judge(context),
                Err(refusal) => return Examined::Unfit(refusal.into()),
            }
        }
    }

    fn judge(&self, context: &Context<'_>) -> Examined {
        let opened = self
            .header
            .verify(context.config.anchors)
            .map_err(Reason::from)
            .and_then(|manifest| {
                is_ours(context, &manifest)?;
                let key = self.header.content_key(context.config.key)?;
                Ok((manifest, key))
            });
        match opened {
            Ok((manifest, key)) => Examined::Fit(manifest, key),
            Err(reason) => Examined::Unfit(reason),
        }
    }
}

/// Whether a genuine update is one for this unit.
fn is_ours(context: &Context<'_>, manifest: &Manifest) -> Result<(), Reason> {
    let config = context.config;
    if manifest.vendor != config.vendor {
        return Err(Reason::OtherMaker);
    }
    if manifest.class != config.class {
        let sibling = config.siblings.contains(&manifest.class);
        return Err(if sibling {
            Reason::OtherBoard
        } else {
            Reason::OtherProduct
        });
    }
    if manifest.sequence < context.knowledge.register.floor() {
        return Err(Reason::BelowFloor);
    }
    if manifest.image_size > config.usable() {
        return Err(Reason::TooLarge);
    }
    Ok(())
}

/// After the owner's choice: the header is read afresh, and must be the one that was offered.
#[derive(Clone, PartialEq, Eq, Hash)]
pub(crate) struct Confirm {
    volume: Volume,
    chosen: [u8; 32],
    examine: Examine,
}

impl Confirm {
    pub(crate) fn new(volume: Volume, file: Entry, offer: &Offer) -> Self {
        Self {
            volume,
            chosen: offer.manifest,
            examine: Examine::open(&volume, file, true),
        }
    }

    pub(crate) fn step(&mut self, context: &Context<'_>, reply: Option<Reply<'_>>) -> Turn {
        match self.examine.step(context, &self.volume, reply) {
            Examined::Wish(wish) => Turn::Wish(wish),
            Examined::Fit(manifest, key) if manifest.digest == self.chosen => {
                let plan = Plan {
                    volume: self.volume,
                    file: self.examine.file(),
                    manifest,
                    key,
                };
                Turn::Over(Outcome::Confirmed(plan))
            }
            Examined::Unfit(Reason::StickUnreadable) => Turn::Over(Outcome::NoUpdate(Reason::StickUnreadable)),
            Examined::Fit(..) | Examined::Unfit(_) | Examined::Foreign => {
                Turn::Over(Outcome::NoUpdate(Reason::StickChanged))
            }
        }
    }
}
