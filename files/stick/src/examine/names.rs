//! What owners' computers do to names, and what they leave behind.

/// Whether a name looks as if the file were an update: one of its parts between dots is the ending, whatever was put before it,
/// behind it or between.
#[must_use]
pub fn is_like_an_update(name: &str, ending: &str) -> bool {
    let name = name.trim_end_matches('"');
    name.split('.').skip(1).any(|part| {
        part.split([' ', '(', '[', '_', '-'])
            .next()
            .is_some_and(|word| word.eq_ignore_ascii_case(ending))
    })
}

/// Whether a computer takes this name for one that ends as an update must: what a unit sees is the first three characters behind the
/// last dot (FAT specification, "Naming Conventions").
#[must_use]
pub fn has_ending(name: &str, ending: &str) -> bool {
    name.rsplit_once('.').is_some_and(|(base, last)| {
        let first: String = last.chars().filter(|c| *c != ' ').take(3).collect();
        !base.is_empty() && first.eq_ignore_ascii_case(ending)
    })
}

/// How a browser or a desktop marks the second copy of a file (common practice): `name (1).upd`, `Copy of name.upd`,
/// `name - Copy.upd`, `name copy.upd`, `name 2.upd`.
#[must_use]
pub fn is_second_copy(name: &str) -> bool {
    let base = name.rsplit_once('.').map_or(name, |(base, _)| base).trim_end();
    let lower = base.to_lowercase();
    let numbered = base
        .strip_suffix(')')
        .and_then(|rest| rest.rsplit_once('('))
        .is_some_and(|(before, number)| {
            !before.is_empty() && !number.is_empty() && number.bytes().all(|byte| byte.is_ascii_digit())
        });
    let counted = base.rsplit_once(' ').is_some_and(|(before, last)| {
        !before.is_empty() && last.len() == 1 && last.bytes().all(|byte| byte.is_ascii_digit())
    });
    numbered || counted || lower.starts_with("copy of ") || lower.ends_with(" - copy") || lower.ends_with(" copy")
}

/// The endings that browsers give to what they have not finished (common practice).
#[must_use]
pub fn is_unfinished(name: &str) -> bool {
    let endings = ["crdownload", "part", "partial", "download", "opdownload", "tmp"];
    name.rsplit_once('.')
        .is_some_and(|(_, last)| endings.iter().any(|ending| last.eq_ignore_ascii_case(ending)))
}

/// What operating systems put on sticks for themselves (common practice).
#[must_use]
pub fn is_leftover(name: &str) -> bool {
    const NAMES: [&str; 15] = [
        ".spotlight-v100",
        ".trashes",
        ".fseventsd",
        ".ds_store",
        ".temporaryitems",
        ".apdisk",
        "system volume information",
        "$recycle.bin",
        "recycler",
        "desktop.ini",
        "thumbs.db",
        "autorun.inf",
        "lost+found",
        "lost.dir",
        "android",
    ];
    let lower = name.to_lowercase();
    NAMES.contains(&lower.as_str()) || lower.starts_with(".trash-")
}

/// Folders that hold what was thrown away.
#[must_use]
pub fn is_bin(name: &str) -> bool {
    let lower = name.to_lowercase();
    lower == ".trashes" || lower == "$recycle.bin" || lower == "recycler" || lower.starts_with(".trash-")
}

/// What a repair of the file system leaves (common practice): `FOUND.000`, `FILE0001.CHK`, `FSCK0000.REC`.
#[must_use]
pub fn is_from_a_repair(name: &str) -> bool {
    let upper = name.to_uppercase();
    let numbered = |prefix: &str, suffix: &str| {
        upper
            .strip_prefix(prefix)
            .and_then(|rest| rest.strip_suffix(suffix))
            .is_some_and(|digits| !digits.is_empty() && digits.bytes().all(|byte| byte.is_ascii_digit()))
    };
    numbered("FOUND.", "") || numbered("FILE", ".CHK") || numbered("FSCK", ".REC")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_that_computers_make_are_known() {
        for name in [
            "kc4.upd",
            "KC4 (1).UPD",
            "kc4.upd.txt",
            "kc4.upd.crdownload",
            "kc4.upd (1)",
            "._KC4.UPD",
            "a.upd-1",
        ] {
            assert!(is_like_an_update(name, "UPD"), "{name}");
        }
        for name in ["kc4.txt", "upd", "update.doc", "notes.updated", "UPD notes.txt"] {
            assert!(!is_like_an_update(name, "UPD"), "{name}");
        }
        for (name, is) in [
            ("a.upd", true),
            ("a.UPDATE", true),
            ("a.upd.txt", false),
            ("upd", false),
            (".upd", false),
        ] {
            assert_eq!(has_ending(name, "UPD"), is, "{name}");
        }
        for name in [
            "KC4 (1).UPD",
            "Copy of KC4.UPD",
            "KC4 - Copy.UPD",
            "KC4 copy.upd",
            "KC4 2.upd",
            "KC4 (23).UPD",
        ] {
            assert!(is_second_copy(name), "{name}");
        }
        for name in ["KC4-0142.UPD", "KC4.UPD", "(1).UPD", "photocopy.UPD", "KC4 2025.upd"] {
            assert!(!is_second_copy(name), "{name}");
        }
        assert!(is_unfinished("kc4.upd.crdownload") && is_unfinished("x.PART") && !is_unfinished("part.upd"));
        assert!(is_leftover("System Volume Information") && is_leftover(".Trash-1000") && !is_leftover("KC4.UPD"));
        assert!(is_bin("$RECYCLE.BIN") && !is_bin("System Volume Information"));
        assert!(is_from_a_repair("FOUND.000") && is_from_a_repair("file0003.chk") && !is_from_a_repair("FILE.CHK"));
    }
}
