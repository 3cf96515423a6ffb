//! A C caller's reply, as the machine takes it.

#![allow(unsafe_code, reason = "bytes of a C caller")]

use crate::pointer::{Span, slice};
use crate::types::{self, NO_ROW, replies, requests, returns};
use packstaff_installer::Reply;

/// Bytes of a digest.
const DIGEST: usize = 32;

/// Whether a reply of this kind answers a request of that kind; 0 stands for no request yet.
///
/// After a cut the caller begins anew, so "the unit has just been powered" answers everything.
pub(crate) const fn answers(reply: u32, asked: u32) -> bool {
    match asked {
        _ if reply == replies::POWER_UP => true,
        requests::FIND_STICK => matches!(reply, replies::NO_STICK | replies::STICK),
        requests::READ_STICK => matches!(reply, replies::BLOCK | replies::FAILED),
        requests::READ_FLASH => matches!(reply, replies::FLASH | replies::FAILED),
        requests::DIGEST_FLASH => matches!(reply, replies::DIGEST | replies::FAILED),
        requests::CHECK_BLANK => matches!(reply, replies::BLANK | replies::NOT_BLANK | replies::FAILED),
        requests::ERASE | requests::PROGRAM => matches!(reply, replies::DONE | replies::FAILED),
        requests::ASK => reply == replies::CHOSEN,
        requests::TELL | requests::WAIT | requests::START => reply == replies::DONE,
        _ => false,
    }
}

/// How many bytes a reply of this kind must bring.
fn bytes_of(kind: u32, asked_len: u32) -> usize {
    match kind {
        replies::BLOCK => packstaff_fat::BLOCK,
        replies::FLASH => asked_len as usize,
        replies::DIGEST => DIGEST,
        _ => 0,
    }
}

/// Takes a reply over; its bytes stay in the caller's memory.
///
/// # Safety
/// If the reply's kind brings bytes, and its pointer is not null, as many as its length says lie there, and nobody changes them
/// for as long as `'a`.
pub(crate) unsafe fn take<'a>(
    reply: types::Reply,
    asked: u32,
    asked_len: u32,
    machine: Span,
) -> Result<Reply<'a>, u32> {
    if !answers(reply.kind, asked) {
        return Err(returns::REPLY);
    }
    let wanted = bytes_of(reply.kind, asked_len);
    if wanted != 0 && reply.len as usize != wanted {
        return Err(returns::REPLY);
    }
    machine.apart_from(Span::from(reply.data, wanted))?;
    // SAFETY: this function's own condition, and there are as many bytes as the length says.
    let bytes: &'a [u8] = unsafe { slice(reply.data, wanted) }?;
    Ok(match reply.kind {
        replies::POWER_UP => Reply::PowerUp,
        replies::NO_STICK => Reply::NoStick,
        replies::STICK => Reply::Stick { blocks: reply.blocks },
        replies::BLOCK => Reply::Block(bytes.try_into().map_err(|_| returns::REPLY)?),
        replies::FLASH => Reply::Flash(bytes),
        replies::DIGEST => Reply::Digest(bytes.try_into().map_err(|_| returns::REPLY)?),
        replies::BLANK => Reply::Blank(true),
        replies::NOT_BLANK => Reply::Blank(false),
        replies::CHOSEN => Reply::Chosen((reply.row != NO_ROW).then_some(reply.row as usize)),
        replies::DONE => Reply::Done,
        _ => Reply::Failed,
    })
}
