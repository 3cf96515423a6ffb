//! Names of update files.

use super::ReleaseError;
use crate::open::EXTENSION;
use packstaff_product::Version;

/// Letters of a name before its ending.
const LONGEST: usize = 8;

/// The name of a board's update file: upper case, 8 and 3 characters, so that every computer and every unit reads it alike.
///
/// # Errors
/// The product's short name, the board's revision and the version are too long together.
pub fn file_name(short: &str, board: &str, version: &Version) -> Result<String, ReleaseError> {
    let numbers = version.numbers();
    let numbers: Vec<_> = numbers.as_slice().iter().map(u32::to_string).collect();
    let start = format!("{short}{board}").to_ascii_uppercase();
    let candidates = [
        format!("{start}-{}", numbers.join("-")),
        format!("{start}{}", numbers.join("-")),
        format!("{start}{}", numbers.concat()),
    ];
    candidates
        .into_iter()
        .find(|name| name.len() <= LONGEST)
        .map(|name| format!("{name}.{EXTENSION}"))
        .ok_or_else(|| ReleaseError::Name {
            short: short.to_owned(),
            board: board.to_owned(),
            version: version.text().to_owned(),
        })
}

#[cfg(test)]
mod tests {
    use super::*;
    use packstaff_product::Scheme;

    #[test]
    fn names_fit_eight_and_three() {
        let name = |short, board, version: &str| file_name(short, board, &Scheme::Dotted.read(version).unwrap());
        assert_eq!(name("KC4", "C", "2.1").unwrap(), "KC4C-2-1.UPD");
        assert_eq!(name("KC4", "C", "2.10").unwrap(), "KC4C2-10.UPD");
        assert_eq!(name("KC4", "C", "2.10.7").unwrap(), "KC4C2107.UPD");
        assert!(name("KC45", "C2", "2.10.7").is_err());
    }
}
