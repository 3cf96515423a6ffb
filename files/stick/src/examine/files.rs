//! Findings about single files: why one that looks like an update is not offered.

use packstaff_installer::Reason;

use super::content::{Content, Damage};
use super::finding::{COPY, FETCH, Finding, Severity};
use super::{Original, Seen, names};
use Severity::{Note, Risk, Stops};

/// What is wrong with a file by itself. Nothing, if it is a whole update at the top of the stick under a good name.
pub(super) fn of_file(seen: &Seen, has_original_beside: bool, ending: &str, originals: &[Original]) -> Vec<Finding> {
    let mut findings = Vec::new();
    if let Some(finding) = of_chain(seen) {
        findings.push(finding);
    } else if let Some(finding) = of_content(seen, has_original_beside, originals) {
        findings.push(finding);
    }
    // What the unit shows for a file that it would list; one that it does not look at is no update to it.
    if !(seen.is_at_top && names::has_ending(&seen.name, ending)) {
        let shown = match seen.is_at_top && seen.start.starts_with(&[0xD8, 0x6B]) {
            true => Reason::OtherName,
            false => Reason::NoUpdate,
        };
        for code in findings.iter_mut().filter_map(|finding| finding.code.as_mut()) {
            *code = shown.code();
        }
    }
    if seen.is_update() {
        findings.extend(of_tail(seen));
        findings.extend(of_place(seen, ending));
    }
    for finding in &mut findings {
        finding.about = Some(seen.path.clone());
    }
    findings
}

/// All of the file is there, but the list of its clusters does not end with it.
fn of_tail(seen: &Seen) -> Option<Finding> {
    let error = seen.goes_on?;
    let finding = Finding::new(
        "chain-goes-on",
        Risk,
        "The stick does not know where the file ends. What is in the file is whole.",
        error.to_string(),
    );
    Some(finding.remedy(COPY))
}

fn of_chain(seen: &Seen) -> Option<Finding> {
    let error = seen.broken?;
    let finding = Finding::new(
        "file-unreadable",
        Stops,
        "The file cannot be read as a whole: the stick has lost track of where its parts are.",
        error.to_string(),
    );
    Some(finding.code(error).remedy(COPY))
}

fn of_content(seen: &Seen, has_original_beside: bool, originals: &[Original]) -> Option<Finding> {
    let size = seen.size;
    let damaged = Reason::File(packstaff_envelope::Refusal::NotAnUpdate);
    Some(match &seen.content {
        Content::Update(_) => return None,
        Content::Companion if has_original_beside => Finding::new(
            "companion",
            Note,
            "A Mac has put a small hidden file beside the update. It does no harm.",
            "AppleDouble (RFC 1740); the unit passes over it",
        ),
        Content::Companion => Finding::new(
            "companion-alone",
            Stops,
            "Only the small hidden file that a Mac puts beside a copy is there; the update itself is missing.",
            "AppleDouble (RFC 1740) without the file that it belongs to",
        )
        .code(Reason::NoUpdate)
        .remedy(COPY),
        Content::Empty => Finding::new(
            "file-empty",
            Stops,
            "The file is there, but nothing is in it: the copy was broken off.",
            "0 bytes",
        )
        .code(Reason::TRUNCATED)
        .remedy(COPY),
        _ if names::is_unfinished(&seen.name) => Finding::new(
            "download-unfinished",
            Stops,
            "The download of this file was not finished.",
            format!("the ending is that of a browser's unfinished download; {size} bytes"),
        )
        .code(Reason::NoUpdate)
        .remedy(FETCH),
        Content::Torn(damage) => of_damage(damage, seen, originals),
        Content::Zip if seen.packed_updates.is_empty() => not_an_update(seen, "a zip archive").code(damaged),
        Content::Zip => Finding::new(
            "zipped",
            Stops,
            "The update is still packed in a zip file.",
            format!("a zip archive with {} in it", seen.packed_updates.join(", ")),
        )
        .code(damaged)
        .remedy("Open the zip file, copy the file that is inside to the top of the stick, and eject the stick."),
        Content::Packed(how) => Finding::new(
            "packed",
            Stops,
            "The file is packed, and must be unpacked first.",
            format!("packed with {how}"),
        )
        .code(damaged)
        .remedy("Unpack it, copy the file that is inside to the top of the stick, and eject the stick."),
        Content::Shortcut => Finding::new(
            "shortcut",
            Stops,
            "This is only a pointer to the file. The file itself was not copied.",
            "a desktop's shortcut",
        )
        .code(damaged)
        .remedy("Find the file itself, copy that to the top of the stick, and eject the stick."),
        Content::WebPage => Finding::new(
            "web-page",
            Stops,
            "A web page was saved in place of the file.",
            format!("HTML, {size} bytes"),
        )
        .code(damaged)
        .remedy(FETCH),
        Content::Hollow(fill) => Finding::new(
            "file-hollow",
            Stops,
            "The file has its size, but its contents were never written to the stick.",
            format!("all {size} bytes are {fill:02X}"),
        )
        .code(damaged)
        .remedy(COPY),
        Content::Other => not_an_update(seen, "something else").code(damaged),
    })
}

fn not_an_update(seen: &Seen, what: &str) -> Finding {
    let start: Vec<String> = seen.start.iter().take(8).map(|byte| format!("{byte:02X}")).collect();
    Finding::new(
        "not-an-update",
        Stops,
        "The file has the name of an update, but is another file.",
        format!(
            "{what}; it begins with {}, where an update begins with D8 6B",
            start.join(" ")
        ),
    )
    .remedy(FETCH)
}

fn of_damage(damage: &Damage, seen: &Seen, originals: &[Original]) -> Finding {
    let compared = compared(seen, originals).map_or_else(String::new, |text| format!("; {text}"));
    let (id, owner, maker, refusal) = match damage {
        Damage::Short { has, needs, is_exact } => (
            "file-truncated",
            "The file is not complete: its end is missing.",
            format!("{has} bytes of {}{needs}", if *is_exact { "" } else { "at least " }),
            packstaff_envelope::Refusal::Truncated,
        ),
        Damage::Long { has, needs } => (
            "file-lengthened",
            "The file is longer than it should be.",
            format!("{has} bytes, where the update has {needs}"),
            packstaff_envelope::Refusal::Trailing,
        ),
        Damage::Manifest => (
            "file-damaged",
            "The file is damaged.",
            "the manifest has another digest than the one that was signed".to_owned(),
            packstaff_envelope::Refusal::ManifestDigest,
        ),
        Damage::Text => (
            "file-damaged",
            "The file is damaged.",
            "the text has another digest than the one that was signed".to_owned(),
            packstaff_envelope::Refusal::TextDigest,
        ),
        Damage::Payload { hollow_from } => (
            "file-damaged",
            "The file is damaged.",
            match hollow_from {
                None => "the payload has another digest than the one that was signed".to_owned(),
                Some(from) => format!("the payload has another digest; from byte {from} on it was never written"),
            },
            packstaff_envelope::Refusal::PayloadDigest,
        ),
        Damage::Structure(refusal) => ("file-damaged", "The file is damaged.", damage.part(), *refusal),
    };
    Finding::new(id, Stops, owner, maker + &compared)
        .code(Reason::File(refusal))
        .remedy(COPY)
}

/// How far a damaged file is one of the ledger's.
fn compared(seen: &Seen, originals: &[Original]) -> Option<String> {
    let common = |original: &&Original| {
        seen.bytes
            .iter()
            .zip(&original.bytes)
            .take_while(|(one, other)| one == other)
            .count()
    };
    // The wrapper and the manifest's first bytes alike: the start of any two files of one maker.
    let best = originals.iter().max_by_key(common)?;
    let first = common(&best);
    if first < 64 {
        return None;
    }
    let differ = seen
        .bytes
        .iter()
        .zip(&best.bytes)
        .filter(|(one, other)| one != other)
        .count();
    Some(match differ {
        0 => format!("as far as it goes it is {}", best.name),
        _ => format!("against {}, {differ} bytes differ, the first at {first}", best.name),
    })
}

/// Where a whole update is, and what it is called.
fn of_place(seen: &Seen, ending: &str) -> Vec<Finding> {
    let mut findings = Vec::new();
    if seen.is_in_bin {
        findings.push(
            Finding::new(
                "in-the-bin",
                Stops,
                "The file was deleted: it lies in the stick's bin.",
                "within a desktop's bin",
            )
            .code(Reason::NoUpdate)
            .remedy(COPY),
        );
        return findings;
    }
    if !seen.is_at_top {
        findings.push(
            Finding::new(
                "in-a-folder",
                Stops,
                "The file is in a folder. The unit looks only at the top of the stick.",
                "a whole update, not in the root directory",
            )
            .code(Reason::NoUpdate)
            .remedy("Move the file out of the folder to the top of the stick, and eject the stick."),
        );
    }
    if !names::has_ending(&seen.name, ending) {
        let hidden = if names::is_like_an_update(&seen.name, ending) {
            " Your computer may hide the end of names."
        } else {
            ""
        };
        findings.push(
            Finding::new(
                "other-ending",
                Stops,
                format!("The end of the file's name was changed.{hidden}"),
                format!("a whole update, whose name does not end in .{ending}"),
            )
            .code(Reason::OtherName)
            .remedy(format!(
                "Save the file again under the name that is on the sheet; it ends in .{ending}."
            )),
        );
    } else if names::is_second_copy(&seen.name) {
        findings.push(Finding::new(
            "second-copy",
            Note,
            "The computer changed the name because it had a file of that name already. The unit takes it all the same.",
            "a name as browsers and desktops give to second copies",
        ));
    }
    if seen.is_hidden {
        findings.push(Finding::new(
            "hidden",
            Note,
            "The file is marked as hidden, so that computers may not show it. The unit takes it all the same.",
            "attribute hidden or system",
        ));
    }
    findings
}

/// An update that was there and was deleted.
pub(super) fn of_deleted(path: &str, size: u32, written: packstaff_fat::Stamp) -> Finding {
    let when = written.calendar().map_or_else(String::new, |at| {
        format!(", last written {:04}-{:02}-{:02}", at.year, at.month, at.day)
    });
    Finding::new(
        "deleted",
        Stops,
        "An update was on the stick and was deleted.",
        format!("a deleted entry of {size} bytes{when}"),
    )
    .about(path)
    .code(Reason::NoUpdate)
    .remedy(COPY)
}
