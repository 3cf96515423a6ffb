//! Reason codes, as owners send them.

use packstaff_envelope::Refusal;
use packstaff_installer::{Code, Reason};
use serde::Serialize;
use thiserror::Error;

/// What a code means.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ReasonSeen {
    /// The code, as units show it.
    pub code: String,
    /// What the unit found.
    pub meaning: String,
    /// What the owner can do.
    pub remedy: String,
}

/// A text that is no code.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum CodeError {
    /// It has not the form of one.
    #[error("`{0}` is no reason code: a code is one of the letters S, F, N and U and a number, such as U1 or S113")]
    Form(String),
    /// No unit shows it.
    #[error("no unit shows {0}: ask the owner to look again, or for a photograph of the display")]
    Unknown(String),
}

/// Findings about a stick that say the same of every stick.
const PLAIN: [packstaff_fat::Error; 16] = {
    use packstaff_fat::Error;
    [
        Error::EmptyDevice,
        Error::NoSignature { block: 0 },
        Error::ExFat,
        Error::Ntfs,
        Error::BitLocker,
        Error::Gpt,
        Error::NotFat { block: 0 },
        Error::StartUpOnly,
        Error::ExtendedOnly,
        Error::NoReservedSectors,
        Error::NoFats,
        Error::NoFatSize,
        Error::NoTotal,
        Error::NoClusters,
        Error::IsDirectory,
        Error::IsFile,
    ]
};

/// Reads a code, with or without a space, in either case.
///
/// # Errors
/// Why it is none.
pub fn reason_of(text: &str) -> Result<ReasonSeen, CodeError> {
    let form = || {
        CodeError::Form(
            text.chars()
                .take(20)
                .map(|c| if c.is_control() { '\u{fffd}' } else { c })
                .collect(),
        )
    };
    let mut chars = text.trim().chars();
    let letter = chars.next().map(|letter| letter.to_ascii_uppercase());
    let letter = letter.filter(|letter| "SFNU".contains(*letter)).ok_or_else(form)?;
    let digits = chars.as_str().trim_start();
    let plain = !digits.is_empty() && digits.bytes().all(|byte| byte.is_ascii_digit());
    let number = digits.parse::<u16>().ok().filter(|_| plain).ok_or_else(form)?;
    let code = Code { letter, number };
    if let Some(reason) = known().find(|reason| reason.code() == code) {
        return Ok(ReasonSeen {
            code: code.to_string(),
            meaning: meaning(reason),
            remedy: reason.remedy().to_owned(),
        });
    }
    let family = |meaning: &str, like: packstaff_fat::Error| ReasonSeen {
        code: code.to_string(),
        meaning: meaning.to_owned(),
        remedy: Reason::Stick(like).remedy().to_owned(),
    };
    // The figures that such a finding has are the stick's: an image of it shows them.
    match (letter, number) {
        ('S', 119..=120) => Ok(family(
            "the stick's partition table is damaged",
            packstaff_fat::Error::PartitionEmpty { slot: 1 },
        )),
        ('S', 130..=159) => Ok(family(
            "the stick's volume is damaged, or formatted in an unusual way",
            packstaff_fat::Error::NoFats,
        )),
        ('S', 160..=179) => Ok(family(
            "a file or a folder on the stick is damaged",
            packstaff_fat::Error::ChainLoop { cluster: 2 },
        )),
        _ => Err(CodeError::Unknown(code.to_string())),
    }
}

/// What a reason says, without the advice that its text may end in: the remedy has that.
fn meaning(reason: Reason) -> String {
    let text = reason.to_string();
    let said = match reason {
        Reason::Stick(_) => text.split_once(". ").map_or(text.as_str(), |(said, _)| said),
        Reason::File(_) => text.split_once("; ").map_or(text.as_str(), |(said, _)| said),
        _ => &text,
    };
    said.trim_end_matches('.').to_owned()
}

fn known() -> impl Iterator<Item = Reason> {
    let sticks = PLAIN.into_iter().map(Reason::Stick);
    Reason::OWN
        .into_iter()
        .chain(Refusal::all().map(Reason::File))
        .chain(sticks)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn codes_are_read_as_owners_write_them() {
        for text in ["U1", "u1", " U 1 ", "u01"] {
            assert_eq!(reason_of(text).unwrap().code, "U1", "{text}");
        }
        assert!(reason_of("S113").unwrap().meaning.contains("NTFS"));
        assert!(reason_of("S164").unwrap().remedy.contains("Copy the file again"));
        assert!(reason_of("S142").unwrap().remedy.contains("Format"));
        for wrong in ["", "U", "X1", "U1x", "1U", "U+1", "U99999999"] {
            assert!(matches!(reason_of(wrong), Err(CodeError::Form(_))), "{wrong}");
        }
        assert_eq!(reason_of("N99"), Err(CodeError::Unknown("N99".into())));
    }

    #[test]
    fn every_code_that_a_unit_can_show_is_known() {
        for reason in known() {
            let seen = reason_of(&reason.code().to_string()).unwrap();
            assert_eq!((seen.meaning, seen.remedy.as_str()), (meaning(reason), reason.remedy()));
        }
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in ".{0,12}") {
            let _ = reason_of(&text);
        }
    }
}
