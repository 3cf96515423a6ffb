//! The tables in `docs/src/reason-codes.md` are those of the table of reasons.
//!
//! After a new reason, `PACKSTAFF_WRITE_DOCS=1 cargo test -p packstaff-words --test reason_codes` renews them.

use packstaff_envelope::{Part, Refusal};
use packstaff_installer::Reason;
use packstaff_words::reasons::{
    AtFault, Explanation, Language, Wording, at_fault, explain, found_in_part, makers_remedy, part,
};
use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::PathBuf;

fn explained(reason: Reason) -> Explanation {
    explain(reason, Language::English)
}

fn table(reasons: impl Iterator<Item = Reason>) -> String {
    let mut reasons: Vec<_> = reasons.collect();
    reasons.sort_by_key(|reason| reason.code());
    let mut out = String::from("| code | what the unit found | at fault | what the owner does |\n");
    out.push_str("| --- | --- | --- | --- |\n");
    for reason in reasons {
        let row = explained(reason);
        let _ = writeln!(
            out,
            "| {} | {} | {} | {} |",
            reason.code(),
            row.maker.cause.line,
            at_fault(row.at_fault, Language::English),
            row.owner.remedy.line
        );
    }
    out
}

/// What the maker does, by where the fault lies.
fn remedies() -> String {
    let mut out = String::from("| at fault | what you do |\n| --- | --- |\n");
    for place in AtFault::ALL {
        let remedy = makers_remedy(place, Language::English);
        let _ = writeln!(out, "| {} | {} |", at_fault(place, Language::English), remedy.full);
    }
    out
}

/// The refusals that say where in the file something is wrong: hundreds for the part, the rest for the finding.
fn in_parts() -> String {
    let refusals = || Refusal::all().filter(|refusal| refusal.code() > 100);
    let parts: BTreeSet<_> = refusals()
        .filter_map(part_of)
        .map(|at| (at as u16, part(at, Language::English)))
        .collect();
    let findings: BTreeSet<_> = refusals()
        .filter_map(|refusal| Some((refusal.code() % 100, found_in_part(refusal, Language::English)?)))
        .collect();
    let numbers: BTreeSet<_> = findings.iter().map(|(number, _)| number).collect();
    assert_eq!(numbers.len(), findings.len(), "one number, one meaning, in every part");
    assert_eq!(findings.len() * parts.len(), refusals().count());
    let mut out = String::from("| hundreds | part of the file |\n| --- | --- |\n");
    for (hundreds, part) in &parts {
        let _ = writeln!(out, "| {hundreds} | {part} |");
    }
    out.push_str("\n| rest | what was found there |\n| --- | --- |\n");
    for (number, found) in &findings {
        let _ = writeln!(out, "| {number:02} | {found} |");
    }
    out
}

const fn part_of(refusal: Refusal) -> Option<Part> {
    match refusal {
        Refusal::Malformed(place) => Some(place.part),
        Refusal::UnknownCritical(part)
        | Refusal::Missing(part)
        | Refusal::UnknownAlgorithm(part)
        | Refusal::Template(part) => Some(part),
        _ => None,
    }
}

fn tables() -> String {
    let of = |letter: char| Reason::all().filter(move |reason| reason.code().letter == letter);
    let whole_files = of('F').filter(|reason| reason.code().number < 100);
    format!(
        "\n## S: the stick\n\n{}\n## F: the file\n\n{}\nFrom F101 on, the number says where and what: the hundreds are the part of the \
         file, the rest is what was found\nthere. So F722 is an algorithm that this unit does not have, in the install command sequence.\n\n\
         {}\n## N: a genuine file that is not for this unit\n\n{}\n## U: the unit itself\n\n{}\n## What the maker does\n\n{}\n",
        table(of('S')),
        table(whole_files),
        in_parts(),
        table(of('N')),
        table(of('U')),
        remedies(),
    )
}

#[test]
fn the_guide_has_every_reason() {
    const BEGIN: &str = "<!-- from the code: begin -->\n";
    const END: &str = "<!-- from the code: end -->";
    let document: PathBuf = [env!("CARGO_MANIFEST_DIR"), "..", "docs", "src", "reason-codes.md"]
        .iter()
        .collect();
    let text = std::fs::read_to_string(&document).unwrap();
    let start = text.find(BEGIN).expect("the page has the mark where tables begin") + BEGIN.len();
    let end = start + text[start..].find(END).expect("the page has the mark where tables end");
    let tables = tables();
    if std::env::var_os("PACKSTAFF_WRITE_DOCS").is_some() {
        std::fs::write(&document, [&text[..start], &tables, &text[end..]].concat()).unwrap();
    } else {
        assert!(
            text[start..end] == tables,
            "docs/src/reason-codes.md is not what the code says; this file's first lines say how to renew it"
        );
    }
}

/// Both readers are told a cause and a remedy, in both lengths; causes can stand within a sentence, remedies are sentences.
#[test]
fn every_reason_is_told_to_both_readers_in_both_lengths() {
    let plain = |text: &str| text.len() > 10 && !text.contains(['|', '\n']) && !text.contains("  ");
    let lengths = |wording: &Wording| [wording.line.clone().into_owned(), wording.full.clone().into_owned()];
    for reason in Reason::all() {
        let row = explained(reason);
        for told in [&row.owner, &row.maker] {
            for cause in lengths(&told.cause) {
                let first = cause.chars().next().unwrap();
                assert!(
                    plain(&cause) && first.is_lowercase() && !cause.ends_with('.'),
                    "{reason:?}: {cause}"
                );
            }
            for remedy in lengths(&told.remedy) {
                let first = remedy.chars().next().unwrap();
                assert!(
                    plain(&remedy) && first.is_uppercase() && remedy.ends_with('.'),
                    "{reason:?}: {remedy}"
                );
            }
        }
    }
}

/// What owners read in full has no word of the trade.
#[test]
fn owners_are_told_in_plain_words() {
    for reason in Reason::all() {
        let row = explained(reason);
        for text in [&row.owner.cause.full, &row.owner.remedy.full] {
            for word in [
                "flash", "slot", "payload", "manifest", "digest", "register", "sector", "cluster", "0x",
            ] {
                assert!(!text.contains(word), "{}: {word:?} is in {text}", reason.code());
            }
        }
    }
}
