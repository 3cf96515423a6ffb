//! The machine's request, as a C caller takes it.

use crate::types::{self, Code, requests};
use packstaff_installer::{Reason, Request};

const NOTHING: types::Request = types::Request {
    kind: 0,
    address: 0,
    len: 0,
    code: Code {
        number: 0,
        letter: 0,
        zero: 0,
    },
    block: 0,
    data: core::ptr::null(),
};

/// A reason by its code.
pub(crate) fn code(reason: Reason) -> Code {
    let code = reason.code();
    Code {
        number: code.number,
        // A letter of the alphabet, always.
        letter: code.letter as u8,
        zero: 0,
    }
}

/// The request as C has it. What is to be programmed stays in the machine's storage.
pub(crate) fn give(request: Request<'_>) -> types::Request {
    let ranged = |kind, address, len| types::Request {
        kind,
        address,
        len,
        ..NOTHING
    };
    let reasoned = |kind, reason| types::Request {
        kind,
        code: code(reason),
        ..NOTHING
    };
    match request {
        Request::FindStick => ranged(requests::FIND_STICK, 0, 0),
        Request::ReadStick { block } => types::Request {
            block,
            ..ranged(requests::READ_STICK, 0, 0)
        },
        Request::ReadFlash { address, len } => ranged(requests::READ_FLASH, address, len),
        Request::DigestFlash { address, len } => ranged(requests::DIGEST_FLASH, address, len),
        Request::CheckBlank { address, len } => ranged(requests::CHECK_BLANK, address, len),
        Request::Erase { address } => ranged(requests::ERASE, address, 0),
        Request::Program { address, data } => types::Request {
            data: data.as_ptr(),
            ..ranged(requests::PROGRAM, address, data.len() as u32)
        },
        Request::Ask { .. } => ranged(requests::ASK, 0, 0),
        Request::Tell { reason, .. } => reasoned(requests::TELL, reason),
        Request::Wait { reason, .. } => reasoned(requests::WAIT, reason),
        Request::Start { address } => ranged(requests::START, address, 0),
    }
}
