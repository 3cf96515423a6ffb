//! Texts: found in their room, and fitted into another.

use super::Happened;
use crate::table::{Form, Outside, Text};

/// A text that fits.
pub(super) struct Fit<'a> {
    pub(super) bytes: &'a [u8],
    pub(super) happened: Option<Happened>,
}

/// What of the text in `room` goes into the new one; `None` if there is to be no carry-over.
pub(super) fn fit<'a>(text: &Text, room: &'a [u8]) -> Option<Fit<'a>> {
    let found = found(text.from_form, room);
    let hold = usize::from(text.to_room);
    let hold = match text.to_form {
        Form::Filled => hold,
        Form::Terminated => hold.saturating_sub(1),
        Form::Counted => hold.saturating_sub(1).min(255),
    };
    if found.len() <= hold {
        return Some(Fit {
            bytes: found,
            happened: None,
        });
    }
    match text.outside {
        Outside::Clamp => Some(Fit {
            bytes: cut(found, hold),
            happened: Some(Happened::Cut),
        }),
        Outside::Default => Some(Fit {
            bytes: &[],
            happened: Some(Happened::Defaulted),
        }),
        Outside::Refuse => None,
    }
}

/// Fills a room with a text that fits.
pub(super) fn fill(room: &mut [u8], form: Form, bytes: &[u8]) {
    room.fill(0);
    let rest = match (form, room.split_first_mut()) {
        (Form::Counted, Some((count, rest))) => {
            *count = bytes.len() as u8;
            rest
        }
        _ => room,
    };
    rest.iter_mut().zip(bytes).for_each(|(to, from)| *to = *from);
}

fn found(form: Form, room: &[u8]) -> &[u8] {
    match form {
        Form::Filled | Form::Terminated => {
            let end = room.iter().position(|byte| *byte == 0).unwrap_or(room.len());
            room.get(..end).unwrap_or_default()
        }
        Form::Counted => {
            let (count, rest) = room.split_first().unwrap_or((&0, &[]));
            rest.get(..usize::from(*count)).unwrap_or(rest)
        }
    }
}

/// At most `hold` bytes, and no character cut in two: a character's later bytes are 10xxxxxx (RFC 3629, section 3).
fn cut(bytes: &[u8], hold: usize) -> &[u8] {
    let begins = |at: usize| bytes.get(at).is_none_or(|byte| byte & 0xc0 != 0x80);
    let end = (hold.saturating_sub(3)..=hold).rev().find(|at| begins(*at));
    bytes.get(..end.unwrap_or(hold)).unwrap_or_default()
}
