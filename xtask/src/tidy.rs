//! Places that somebody meant to come back to, and traces of the machine that the work was done on.

use crate::check::{Outcome, Passed};
use crate::metadata::Metadata;
use crate::run::{House, capture};
use std::ffi::OsStr;
use std::fs;
use std::os::unix::ffi::OsStrExt;
use std::path::{Path, PathBuf};

/// Words that mark an unfinished place. Written in two parts, so that this file does not find itself.
const UNFINISHED: [[&str; 2]; 6] = [
    ["TO", "DO"],
    ["FIX", "ME"],
    ["XX", "X"],
    ["to", "do!("],
    ["unimple", "mented!("],
    ["<<<<", "<<< "],
];

/// Endings of files that people write.
const WRITTEN: [&str; 12] = [
    "c", "css", "h", "html", "js", "ld", "md", "py", "rs", "sh", "toml", "yml",
];

/// A C interface cannot do without unsafe code: it denies it, and allows it where it stands.
const ALLOWS_UNSAFE: &str = "packstaff-c-interface";

/// Beginnings of paths that exist on one machine only.
const ELSEWHERE: [[&str; 2]; 4] = [["/ho", "me/"], ["/Us", "ers/"], ["/ro", "ot/"], ["/wo", "rk/"]];

pub(crate) fn check(house: &House) -> Outcome {
    let files = tracked(house)?;
    let unfinished: Vec<String> = UNFINISHED.iter().map(|parts| parts.concat()).collect();
    let elsewhere: Vec<String> = ELSEWHERE.iter().map(|parts| parts.concat()).collect();
    let mut faults = Vec::new();
    for file in &files {
        let Ok(content) = fs::read(house.root.join(file)) else {
            // Deleted, and not committed yet.
            continue;
        };
        let written = file
            .extension()
            .and_then(OsStr::to_str)
            .is_some_and(|ending| WRITTEN.contains(&ending));
        for (number, line) in content.split(|byte| *byte == b'\n').enumerate() {
            let place = || format!("{}:{}", file.display(), number + 1);
            for word in unfinished.iter().filter(|word| written && stands_alone(line, word)) {
                faults.push(format!("{}: {word} marks an unfinished place", place()));
            }
            for path in elsewhere.iter().filter(|path| begins_a_path(line, path)) {
                faults.push(format!("{}: {path} is a path of one machine", place()));
            }
        }
    }
    let members = Metadata::of(house, "Cargo.toml")?;
    for package in members.members() {
        let text = fs::read_to_string(&package.manifest_path).map_err(|error| error.to_string())?;
        let of_its_own = package.name == ALLOWS_UNSAFE && text.contains("unsafe_code = \"deny\"");
        if !text.contains("[lints]\nworkspace = true") && !of_its_own {
            faults.push(format!("{} does not take the workspace's lints", package.name));
        }
    }
    if !faults.is_empty() {
        return Err(faults.join("\n"));
    }
    Ok(Passed::Holds(format!("nothing found in {} files", files.len())))
}

/// The files under version control.
fn tracked(house: &House) -> Result<Vec<PathBuf>, String> {
    let listing = capture(house.command("git").args(["ls-files", "-z"]))
        .map_err(|why| format!("{why}\nThis step reads the list of files from version control: run it in a clone."))?;
    let names = listing.split(|byte| *byte == 0).filter(|name| !name.is_empty());
    Ok(names
        .map(|name| Path::new(OsStr::from_bytes(name)).to_owned())
        .collect())
}

fn places<'a>(line: &'a [u8], word: &'a str) -> impl Iterator<Item = (Option<u8>, Option<u8>)> + 'a {
    let length = word.len();
    let windows = line.windows(length.max(1)).enumerate();
    windows
        .filter(move |(_, window)| *window == word.as_bytes())
        .map(move |(start, _)| {
            let before = start.checked_sub(1).and_then(|index| line.get(index)).copied();
            (before, line.get(start + length).copied())
        })
}

/// Whether the word is there, and not as a part of a longer one.
fn stands_alone(line: &[u8], word: &str) -> bool {
    let letter = |byte: Option<u8>| byte.is_some_and(|byte| byte.is_ascii_alphanumeric() || byte == b'_');
    let open_ended = !word.ends_with(|last: char| last.is_ascii_alphanumeric());
    places(line, word).any(|(before, after)| !letter(before) && (open_ended || !letter(after)))
}

/// Whether an absolute path begins like this: not a piece of a relative path or of an address.
fn begins_a_path(line: &[u8], start: &str) -> bool {
    let inside = |byte: u8| byte.is_ascii_alphanumeric() || b"._-~/}$)".contains(&byte);
    places(line, start).any(|(before, _)| !before.is_some_and(inside))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_found_alone() {
        assert!(stands_alone(b"// LATER: more", "LATER"));
        assert!(stands_alone(b"LATER", "LATER"));
        assert!(!stands_alone(b"LATERAL, COLLATER, LATER_1", "LATER"));
        assert!(!stands_alone(b"let laters = 1;", "later!("));
        assert!(stands_alone(b"    later!()", "later!("));
        assert!(stands_alone(b"later!(now)", "later!("));
    }

    #[test]
    fn paths_are_found_where_they_begin() {
        assert!(begins_a_path(b"see /kiln/x", "/kiln/"));
        assert!(begins_a_path(b"\"/kiln/x\"", "/kiln/"));
        assert!(begins_a_path(b"/kiln/", "/kiln/"));
        assert!(!begins_a_path(b"out/kiln/x", "/kiln/"));
        assert!(!begins_a_path(b"https://host.example/kiln/", "/kiln/"));
    }
}
