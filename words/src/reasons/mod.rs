//! The one table of reasons: what each code that a unit can show means, where the fault lies, and what to do about it; for the
//! owner and for the maker, in a line and in a sentence or two.
//!
//! A unit knows numbers and short names. What they mean to people is here and nowhere else: the sheet, the letter to an
//! owner, the account of a trace and the guide's page of codes are all built from it. The texts of a language are one module,
//! so that another language is one more.
//!
//! The numbers are the unit's: S1nn is 100 and the number of `packstaff_fat::ErrorKind`, F the number of
//! `packstaff_envelope::Refusal`; the others are `packstaff_installer::Reason`'s own.

mod at_fault;
mod english;
mod read_code;

pub use at_fault::AtFault;
pub use read_code::{CodeError, read_code};

use packstaff_installer::Reason;
use std::borrow::Cow;

/// A language of the table.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[non_exhaustive]
pub enum Language {
    /// English.
    #[default]
    English,
}

/// A text in two lengths.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wording {
    /// For a row of a table.
    pub line: Cow<'static, str>,
    /// For a letter or an account: a sentence or two.
    pub full: Cow<'static, str>,
}

/// What a reason is to one reader.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    /// What the unit found. Begins small and ends without a full stop, so that it can stand within a sentence;
    /// [`sentence`](crate::text::sentence) makes one of it.
    pub cause: Wording,
    /// What to do: whole sentences.
    pub remedy: Wording,
}

/// A row of the table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Explanation {
    /// The reason.
    pub reason: Reason,
    /// Where the fault lies.
    pub at_fault: AtFault,
    /// In plain words. Reasons with the same line and the same remedy can share a row of a sheet.
    pub owner: Told,
    /// In exact ones.
    pub maker: Told,
}

/// What a reason means, in a language.
pub fn explain(reason: Reason, language: Language) -> Explanation {
    let at_fault = AtFault::of(reason);
    let (owner, maker) = match language {
        Language::English => (english::owner(reason), english::maker(reason, at_fault)),
    };
    Explanation {
        reason,
        at_fault,
        owner,
        maker,
    }
}

/// What the maker does about reasons of which the fault lies there.
pub fn makers_remedy(at_fault: AtFault, language: Language) -> Wording {
    match language {
        Language::English => english::makers_remedy(at_fault),
    }
}

/// Where a fault lies, in a word or two.
pub const fn at_fault(at_fault: AtFault, language: Language) -> &'static str {
    match language {
        Language::English => english::at_fault(at_fault),
    }
}

/// A part of the update file, as codes from F101 on name it by their hundreds.
pub const fn part(part: packstaff_envelope::Part, language: Language) -> &'static str {
    match language {
        Language::English => english::part(part),
    }
}

/// What was found in a part of the file: what codes from F101 on say with their last two digits. `None` for refusals that name
/// no part.
pub const fn found_in_part(refusal: packstaff_envelope::Refusal, language: Language) -> Option<&'static str> {
    match language {
        Language::English => english::found_in_part(refusal),
    }
}
