//! The line: words in printable ASCII, closed by a check sum.
//!
//! `WORDS ~CCCCCCCC`, ended by a line feed (a carriage return before it does not count): the CRC-32 of IEEE 802.3 over the bytes of
//! WORDS, as eight hexadecimal digits. All numbers are hexadecimal, in small letters, without a prefix; bytes are pairs of digits.
//! The judge asks, the port answers with exactly one line.

use crc::{CRC_32_ISO_HDLC, Crc};
use std::fmt::Write;

const CRC: Crc<u32> = Crc::<u32>::new(&CRC_32_ISO_HDLC);
/// Bytes of a line that a port must be able to take, the line feed aside.
pub const LINE_MAX: usize = 1199;

/// A line that cannot be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LineError {
    /// No check sum at its end.
    #[error("no check sum at the end of {0:?}: the line is garbled, or something else talks on it")]
    NoSum(String),
    /// Another check sum.
    #[error("the check sum of {0:?} does not fit: the line is garbled; try a lower speed, or a shorter cable")]
    WrongSum(String),
}

/// The line for `words`, with its check sum and line feed.
pub fn sealed(words: &str) -> String {
    format!("{words} ~{:08x}\n", CRC.checksum(words.as_bytes()))
}

/// The words of a line.
///
/// # Errors
/// It is not whole.
pub fn opened(line: &str) -> Result<&str, LineError> {
    let line = line.trim_end_matches(['\r', '\n']);
    let (words, sum) = line
        .rsplit_once(" ~")
        .filter(|(_, sum)| sum.len() == 8)
        .ok_or_else(|| LineError::NoSum(shown(line)))?;
    match u32::from_str_radix(sum, 16) {
        Ok(sum) if sum == CRC.checksum(words.as_bytes()) => Ok(words),
        _ => Err(LineError::WrongSum(shown(line))),
    }
}

/// A line as a message may show it: short, and without control characters.
fn shown(line: &str) -> String {
    let mut shown: String = line.chars().take(80).filter(|letter| !letter.is_control()).collect();
    if line.chars().count() > 80 {
        shown.push('…');
    }
    shown
}

/// Bytes as digits.
pub fn digits(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// Digits as bytes; `None` if they are not pairs of digits.
pub fn bytes(digits: &str) -> Option<Vec<u8>> {
    let (pairs, rest) = digits.as_bytes().as_chunks::<2>();
    if !rest.is_empty() {
        return None;
    }
    pairs
        .iter()
        .map(|pair| {
            let digit = |byte: u8| match byte {
                b'0'..=b'9' => Some(byte - b'0'),
                b'a'..=b'f' => Some(byte - b'a' + 10),
                _ => None,
            };
            Some(digit(pair[0])? << 4 | digit(pair[1])?)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The check value of CRC-32/ISO-HDLC in Greg Cook's catalogue of parametrised CRC algorithms.
    #[test]
    fn the_check_sum_is_the_well_known_one() {
        assert_eq!(sealed("123456789"), "123456789 ~cbf43926\n");
    }

    #[test]
    fn what_is_not_whole_is_told() {
        assert!(matches!(opened("hello"), Err(LineError::NoSum(_))));
        assert!(matches!(opened("hello ~00000000"), Err(LineError::WrongSum(_))));
        assert!(matches!(opened("hello ~zzzzzzzz"), Err(LineError::WrongSum(_))));
    }

    proptest! {
        #[test]
        fn lines_come_back(words in "[ -~]{0,1150}") {
            let line = sealed(&words);
            prop_assert_eq!(opened(&line), Ok(words.as_str()));
        }

        #[test]
        fn a_changed_letter_is_noticed(words in "[a-z0-9 ]{1,40}", at in any::<prop::sample::Index>()) {
            let line = sealed(&words);
            let at = at.index(words.len());
            let mut bytes = line.into_bytes();
            bytes[at] ^= 1;
            let line = String::from_utf8(bytes).unwrap();
            prop_assert!(opened(&line).is_err());
        }

        #[test]
        fn nothing_that_comes_is_too_much(line in "\\PC{0,200}") {
            let _ = opened(&line);
            let _ = super::bytes(&line);
        }

        #[test]
        fn bytes_come_back(data in proptest::collection::vec(any::<u8>(), 0..64)) {
            prop_assert_eq!(super::bytes(&digits(&data)), Some(data));
        }
    }
}
