//! The sheet's table of codes: from the table of reasons, with codes that say the same to an owner in one row.

use super::CodeRow;
use crate::reasons::{AtFault, Language, explain};
use crate::text::sentence;
use packstaff_envelope::Refusal;
use packstaff_installer::{Code, Reason};

/// Files' codes that an owner is likely to see each by itself; the others share one row.
const LIKELY: [Refusal; 7] = [
    Refusal::NotAnUpdate,
    Refusal::Truncated,
    Refusal::NoSignature,
    Refusal::UnknownSigner,
    Refusal::BadSignature,
    Refusal::NoRecipient,
    Refusal::PayloadDigest,
];

/// The rows: sticks, files, files for other units, units. What only a mistake of the port could cause is not among them.
pub fn codes() -> Vec<CodeRow> {
    let own = |letters: &'static str| {
        let ours = Reason::OWN.into_iter();
        ours.filter(move |reason| letters.contains(reason.code().letter))
    };
    let sticks = Reason::all().filter(|reason| matches!(reason, Reason::Stick(_)));
    let mut rows = shared(own("S").chain(sticks));
    rows.extend(shared(LIKELY.into_iter().map(Reason::File)));
    rows.push(CodeRow {
        code: "any other F".to_owned(),
        meaning: "The file is damaged, or of a kind that this unit does not know.".to_owned(),
        remedy:
            "Copy it again from the maker, and eject the stick before you pull it out. If the code stays, write to us."
                .to_owned(),
    });
    rows.extend(shared(own("NU")));
    rows
}

/// One row for all that say the same.
fn shared(reasons: impl Iterator<Item = Reason>) -> Vec<CodeRow> {
    let mut rows = Vec::<(Vec<Code>, String, String)>::new();
    for reason in reasons {
        let explained = explain(reason, Language::English);
        if explained.at_fault == AtFault::Port {
            continue;
        }
        let meaning = sentence(&explained.owner.cause.line);
        let remedy = explained.owner.remedy.line.into_owned();
        let code = reason.code();
        match rows
            .iter_mut()
            .find(|(_, means, does)| (means, does) == (&meaning, &remedy))
        {
            Some((codes, ..)) => codes.push(code),
            None => rows.push((vec![code], meaning, remedy)),
        }
    }
    let row = |(codes, meaning, remedy): (Vec<Code>, _, _)| CodeRow {
        code: spans(&codes),
        meaning,
        remedy,
    };
    rows.into_iter().map(row).collect()
}

/// "S111–114, S116": codes upward, as short as can be.
fn spans(codes: &[Code]) -> String {
    let mut spans = Vec::<(Code, u16)>::new();
    for code in codes {
        match spans.last_mut() {
            Some((first, last)) if first.letter == code.letter && last.saturating_add(1) == code.number => {
                *last = code.number;
            }
            _ => spans.push((*code, code.number)),
        }
    }
    let span = |(first, last): (Code, u16)| match first.number == last {
        true => first.to_string(),
        false => format!("{first}–{last}"),
    };
    spans.into_iter().map(span).collect::<Vec<_>>().join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whether a code is within one of `S110`, `S117–120`.
    fn covers(codes: &str, code: Code) -> bool {
        let number = |text: &str| text.trim_start_matches(code.letter).parse::<u16>().ok();
        codes.split(", ").any(|part| {
            let mut ends = part.split('–').map(number);
            let first = ends.next().flatten();
            let last = ends.next().flatten().or(first);
            part.starts_with(code.letter) && first <= Some(code.number) && Some(code.number) <= last
        })
    }

    #[test]
    fn each_code_is_in_the_row_with_its_advice() {
        let rows = codes();
        let mut seen = 0;
        for reason in Reason::all().filter(|reason| !matches!(reason, Reason::File(_))) {
            let explained = explain(reason, Language::English);
            let code = reason.code();
            let found: Vec<_> = rows.iter().filter(|row| covers(&row.code, code)).collect();
            match (explained.at_fault, found.as_slice()) {
                (AtFault::Port, []) => {}
                (_, [row]) => {
                    assert_eq!(row.remedy, explained.owner.remedy.line, "{code}");
                    seen += 1;
                }
                _ => panic!("{code} is in {} rows", found.len()),
            }
        }
        assert!(seen > 45, "{seen} codes");
    }

    #[test]
    fn codes_with_the_same_advice_share_a_row() {
        let codes: Vec<_> = codes().into_iter().map(|row| row.code).collect();
        for shared in [
            "S110",
            "S111–114, S116, S130–146",
            "S115, S117–120",
            "S160–167",
            "F9–10",
            "any other F",
            "U1",
        ] {
            assert!(codes.iter().any(|code| code == shared), "{shared}: {codes:?}");
        }
    }
}
