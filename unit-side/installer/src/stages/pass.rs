//! The dry pass: the whole payload is read, digested, decrypted and digested again before anything is erased.

use super::stream::{FileStream, Pulled};
use super::{Outcome, Plan, Turn, Wish};
use crate::reason::Reason;
use crate::request::Reply;
use packstaff_envelope::{PayloadCipher, Sha256, same_digest};
use packstaff_fat::BLOCK;

/// The payload of a plan's file, as a stream: the header in front of it is read over.
#[derive(Clone, PartialEq, Eq, Hash)]
pub(super) struct Payload {
    stream: FileStream,
    /// Bytes of header still to read over.
    ahead: u32,
    /// Payload bytes handed out.
    given: u32,
    size: u32,
}

/// What the payload has for its reader.
pub(super) enum Portion<'b> {
    /// First this block must be read.
    Read(u64),
    /// The next bytes, and their offset in the payload.
    Bytes(u32, &'b [u8]),
    /// All bytes were given.
    End,
}

impl Payload {
    pub(super) fn of(plan: &Plan) -> Self {
        Self {
            stream: FileStream::open(&plan.volume, &plan.file),
            ahead: plan.manifest.payload_offset,
            given: 0,
            size: plan.manifest.image_size,
        }
    }

    pub(super) const fn progress(&self) -> (u32, u32) {
        (self.given, self.size)
    }

    /// Goes on, as [`FileStream::pull`] does.
    pub(super) fn pull<'b>(&mut self, plan: &Plan, reply: Option<Reply<'b>>) -> Result<Portion<'b>, Reason> {
        let mut reply = reply;
        // At most the blocks of the header pass through this loop, one a turn, each after a read of its own.
        loop {
            if self.given >= self.size {
                return Ok(Portion::End);
            }
            match self.stream.pull(&plan.volume, reply)? {
                Pulled::Read(block) => return Ok(Portion::Read(block)),
                Pulled::End => return Err(Reason::StickChanged),
                Pulled::Data(bytes) => {
                    let ahead = (self.ahead as usize).min(bytes.len());
                    self.ahead = self.ahead.saturating_sub(ahead as u32);
                    let bytes = bytes.get(ahead..).unwrap_or_default();
                    let left = self.size.saturating_sub(self.given) as usize;
                    let bytes = bytes.get(..left).unwrap_or(bytes);
                    if !bytes.is_empty() {
                        let offset = self.given;
                        self.given = self.given.saturating_add(bytes.len() as u32);
                        return Ok(Portion::Bytes(offset, bytes));
                    }
                    reply = None;
                }
            }
        }
    }
}

#[derive(Clone, PartialEq, Eq, Hash)]
pub(crate) struct DryPass {
    plan: Plan,
    payload: Payload,
    ciphertext: Sha256,
    plaintext: Sha256,
}

impl DryPass {
    pub(crate) fn new(plan: Plan) -> Self {
        let payload = Payload::of(&plan);
        Self {
            plan,
            payload,
            ciphertext: Sha256::new(),
            plaintext: Sha256::new(),
        }
    }

    pub(crate) const fn progress(&self) -> (u32, u32) {
        self.payload.progress()
    }

    pub(crate) fn step(&mut self, reply: Option<Reply<'_>>) -> Turn {
        let mut reply = reply;
        loop {
            match self.payload.pull(&self.plan, reply.take()) {
                Ok(Portion::Read(block)) => return Turn::Wish(Wish::ReadStick(block)),
                Ok(Portion::Bytes(offset, bytes)) => self.digest(offset, bytes),
                Ok(Portion::End) => return Turn::Over(self.judge()),
                Err(reason) => return Turn::Over(Outcome::NoUpdate(reason)),
            }
        }
    }

    fn digest(&mut self, offset: u32, bytes: &[u8]) {
        self.ciphertext.update(bytes);
        let mut copy = [0; BLOCK];
        let len = bytes.len().min(BLOCK);
        if let Some(plain) = copy.get_mut(..len) {
            packstaff_envelope::copy(plain, bytes);
            PayloadCipher::new(&self.plan.key, &self.plan.manifest.iv).apply(offset, plain);
            self.plaintext.update(plain);
        }
    }

    fn judge(&self) -> Outcome {
        if !same_digest(&self.ciphertext.clone().finish(), &self.plan.manifest.payload_digest) {
            return Outcome::NoUpdate(Reason::PAYLOAD_DAMAGED);
        }
        if !same_digest(&self.plaintext.clone().finish(), &self.plan.manifest.image_digest) {
            return Outcome::NoUpdate(Reason::IMAGE_DIFFERS);
        }
        Outcome::Sound(self.plan.clone())
    }
}
