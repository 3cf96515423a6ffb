//! The tables in `docs/src/reason-codes.md` are those of the code.
//!
//! After a new reason, `PACKSTAFF_WRITE_DOCS=1 cargo test -p packstaff-installer --test reason_codes` renews them.

use packstaff_envelope::{Part, Refusal};
use packstaff_fat::Error;
use packstaff_installer::Reason;
use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::PathBuf;

/// One example of each finding about a stick, and a match that the compiler refuses when one is missing.
macro_rules! findings {
    ($($name:ident $({ $($field:ident: $value:expr),* })?,)*) => {
        const FINDINGS: &[Error] = &[$(Error::$name $({ $($field: $value),* })?,)*];

        const fn is_listed(error: &Error) -> bool {
            match error {
                $(Error::$name $({ $($field: _),* })? => true,)*
            }
        }
    };
}

findings! {
    EmptyDevice,
    NoSignature { block: 0 },
    ExFat,
    Ntfs,
    BitLocker,
    Gpt,
    NotFat { block: 0 },
    StartUpOnly,
    ExtendedOnly,
    PartitionEmpty { slot: 1 },
    PartitionOutside { slot: 1, start: 9_000_000, blocks: 8_000_000 },
    SectorSize { found: 513 },
    ClusterSize { found: 3, sector_size: 512 },
    NoReservedSectors,
    NoFats,
    MediaByte { found: 0x12 },
    NoFatSize,
    NoTotal,
    NoDataRegion { first_data: 600, total: 500 },
    NoClusters,
    RootEntries { found: 512 },
    TypeConflict { clusters: 70_000 },
    TooManyClusters { clusters: 300_000_000 },
    FatTooShort { found: 1024, needed: 2048 },
    LiveFat { found: 2, fats: 2 },
    Version { found: 0x0100 },
    RootCluster { found: 0, last: 5000 },
    VolumePastEnd { claimed: 9_000_000, available: 8_000_000 },
    FirstCluster { found: 6000, last: 5000 },
    ChainOutside { cluster: 7, found: 6000, last: 5000 },
    ChainFree { cluster: 7 },
    ChainBad { cluster: 7 },
    ChainLoop { cluster: 7 },
    ChainShort { missing: 512 },
    FileTooLarge { size: 2_000_000_000 },
    DirectoryTooLong,
    IsDirectory,
    IsFile,
}

/// What a reason says, without the advice that its text may end in: the table has a column for that.
fn what(reason: Reason) -> String {
    let text = reason.to_string();
    let said = match reason {
        Reason::Stick(_) => text.split_once(". ").map_or(text.as_str(), |(said, _)| said),
        Reason::File(_) => text.split_once("; ").map_or(text.as_str(), |(said, _)| said),
        _ => &text,
    };
    said.trim_end_matches('.').to_owned()
}

fn table(reasons: impl IntoIterator<Item = Reason>) -> String {
    let mut reasons: Vec<_> = reasons.into_iter().collect();
    reasons.sort_by_key(|reason| reason.code());
    let mut out = String::from("| code | what the unit found | what the owner does |\n| --- | --- | --- |\n");
    for reason in reasons {
        let _ = writeln!(out, "| {} | {} | {} |", reason.code(), what(reason), reason.remedy());
    }
    out
}

/// The refusals that say where in the file something is wrong: hundreds for the part, the rest for the finding.
fn file_parts() -> String {
    let plain = |refusal: &Refusal| refusal.code() < 100;
    let mut out = String::from("| hundreds | part of the file |\n| --- | --- |\n");
    let mut parts = BTreeSet::new();
    for refusal in Refusal::all().filter(|refusal| !plain(refusal)) {
        let part = part_of(refusal).expect("every refusal above 100 names its part");
        parts.insert((part as u16, part.to_string()));
    }
    for (hundreds, part) in &parts {
        let _ = writeln!(out, "| {hundreds} | {part} |");
    }
    out.push_str("\n| rest | what was found there |\n| --- | --- |\n");
    let mut findings = BTreeSet::new();
    for refusal in Refusal::all().filter(|refusal| !plain(refusal)) {
        let part = part_of(refusal).map(|part| part.to_string()).unwrap_or_default();
        let text = refusal.to_string();
        let found = text.strip_prefix(&part).expect("the text begins with the part");
        let found = found.trim_start_matches([':', ' ']);
        findings.insert((refusal.code() % 100, found.to_owned()));
    }
    let numbers: BTreeSet<_> = findings.iter().map(|(number, _)| number).collect();
    assert_eq!(numbers.len(), findings.len(), "one number, one meaning, in every part");
    assert_eq!(
        findings.len() * parts.len(),
        Refusal::all().filter(|refusal| !plain(refusal)).count()
    );
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
    let own = |letter: char| {
        let ours = Reason::OWN
            .into_iter()
            .filter(move |reason| reason.code().letter == letter);
        ours.collect::<Vec<_>>()
    };
    let stick = own('S').into_iter().chain(FINDINGS.iter().copied().map(Reason::Stick));
    let file = Refusal::all().filter(|refusal| refusal.code() < 100).map(Reason::File);
    format!(
        "\n## S: the stick\n\n{}\n## F: the file\n\n{}\nFrom F101 on, the number says where and what: the hundreds are the part of the \
         file, the rest is what was found\nthere. So F722 is an algorithm that this unit does not have, in the install command sequence.\n\n\
         {}\n## N: a genuine file that is not for this unit\n\n{}\n## U: the unit itself\n\n{}\n",
        table(stick),
        table(file),
        file_parts(),
        table(own('N')),
        table(own('U')),
    )
}

#[test]
fn the_guide_has_every_reason() {
    const BEGIN: &str = "<!-- from the code: begin -->\n";
    const END: &str = "<!-- from the code: end -->";
    let document: PathBuf = [env!("CARGO_MANIFEST_DIR"), "..", "..", "docs", "src", "reason-codes.md"]
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

#[test]
fn every_finding_about_a_stick_is_listed_once_with_a_code_of_its_own() {
    assert!(FINDINGS.iter().all(is_listed));
    let codes: BTreeSet<_> = FINDINGS.iter().map(Error::code).collect();
    assert_eq!(codes.len(), FINDINGS.len());
    let all = FINDINGS.iter().copied().map(Reason::Stick);
    for reason in all.chain(Reason::OWN).chain(Refusal::all().map(Reason::File)) {
        assert!(!what(reason).is_empty() && !reason.remedy().contains('|'), "{reason:?}");
    }
}

/// A display of two lines has 16 characters in each (common practice); one line is for the code, with room for a few words before it.
#[test]
fn codes_are_short_enough_for_a_display_of_two_lines() {
    let all = Reason::OWN
        .into_iter()
        .chain(FINDINGS.iter().copied().map(Reason::Stick))
        .chain(Refusal::all().map(Reason::File));
    let longest = all
        .map(|reason| reason.code().to_string())
        .max_by_key(String::len)
        .unwrap();
    assert_eq!(longest.len(), 5, "{longest}");
    assert!(16 - longest.len() > "not used:".len());
}
