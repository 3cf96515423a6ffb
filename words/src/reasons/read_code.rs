//! Codes as owners write them.

use crate::Remedy;
use packstaff_installer::{Code, Reason};
use std::collections::BTreeSet;
use thiserror::Error;

/// A text that is no code of a unit.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum CodeError {
    /// It has not the form of one.
    #[error("`{0}` is no reason code: a code is one of the letters S, F, N and U and a number, such as U1 or S113")]
    Form(String),
    /// No unit shows it.
    #[error("no unit shows {code}: the codes next to it are {}", .near.iter().map(ToString::to_string).collect::<Vec<_>>().join(", "))]
    Unknown {
        /// What was read.
        code: Code,
        /// Codes near it that units show, upward: of its letter, up to two below and up to two above; never empty.
        near: Vec<Code>,
    },
}

/// Reads a code, with or without a space, in either case.
///
/// # Errors
/// The text has another form, or no unit shows that code.
pub fn read_code(text: &str) -> Result<Reason, CodeError> {
    let form = || {
        let shown = text.chars().take(20);
        CodeError::Form(shown.map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect())
    };
    let mut chars = text.trim().chars();
    let letter = chars.next().map(|letter| letter.to_ascii_uppercase());
    let letter = letter.filter(|letter| "SFNU".contains(*letter)).ok_or_else(form)?;
    let digits = chars.as_str().trim_start();
    let plain = !digits.is_empty() && digits.bytes().all(|byte| byte.is_ascii_digit());
    let number = digits.parse::<u16>().ok().filter(|_| plain).ok_or_else(form)?;
    let code = Code { letter, number };
    Reason::from_code(code).ok_or_else(|| CodeError::Unknown { code, near: near(code) })
}

impl Remedy for CodeError {
    fn remedy(&self) -> Option<String> {
        match self {
            Self::Form(_) => None,
            Self::Unknown { .. } => Some("ask the owner to look again, or for a photograph of the display".to_owned()),
        }
    }
}

fn near(code: Code) -> Vec<Code> {
    let of_letter = Reason::all()
        .map(Reason::code)
        .filter(|known| known.letter == code.letter);
    let known: BTreeSet<Code> = of_letter.collect();
    let mut near: Vec<Code> = known.range(..code).rev().take(2).copied().collect();
    near.reverse();
    near.extend(known.range(code..).take(2));
    near
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn codes_are_read_as_owners_write_them() {
        for text in ["U1", "u1", " U 1 ", "u01"] {
            assert_eq!(read_code(text), Ok(Reason::NoImage), "{text}");
        }
        for wrong in ["", "U", "X1", "U1x", "1U", "U+1", "U99999999"] {
            assert!(matches!(read_code(wrong), Err(CodeError::Form(_))), "{wrong}");
        }
    }

    /// Every number of every letter, far beyond the highest code.
    #[test]
    fn codes_that_units_show_are_explained_and_all_others_refused() {
        let shown: BTreeSet<Code> = Reason::all().map(Reason::code).collect();
        let mut explained = 0;
        for letter in ['S', 'F', 'N', 'U'] {
            for number in 0..2000 {
                let code = Code { letter, number };
                match read_code(&code.to_string()) {
                    Ok(reason) => {
                        assert_eq!(reason.code(), code);
                        assert!(shown.contains(&code), "{code}");
                        explained += 1;
                    }
                    Err(CodeError::Unknown { code: read, near }) => {
                        assert!(read == code && !shown.contains(&code), "{code}");
                        assert!(
                            !near.is_empty() && near.iter().all(|near| shown.contains(near)),
                            "{code}: {near:?}"
                        );
                    }
                    Err(other) => panic!("{code}: {other}"),
                }
            }
        }
        assert_eq!(explained, shown.len());
    }

    #[test]
    fn a_refusal_names_the_codes_around_it() {
        let told = |text: &str| read_code(text).unwrap_err().to_string();
        assert_eq!(
            told("s150"),
            "no unit shows S150: the codes next to it are S145, S146, S160, S161"
        );
        assert_eq!(told("N99"), "no unit shows N99: the codes next to it are N4, N5");
        assert_eq!(told("U0"), "no unit shows U0: the codes next to it are U1, U2");
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in ".{0,12}") {
            let _ = read_code(&text);
        }
    }
}
