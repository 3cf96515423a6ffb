//! The codes that units show, with what each means and what to do: the table on the sheet.

use super::CodeRow;
use packstaff_envelope::Refusal;
use packstaff_installer::Reason;

/// Codes of sticks that cannot be read, with the same advice in one row, and an example that the advice is taken from.
const STICK_CODES: [(&str, &str, packstaff_fat::Error); 4] = [
    (
        "S110",
        "The stick does not answer as it should.",
        packstaff_fat::Error::EmptyDevice,
    ),
    (
        "S111–114, S116, S130–146",
        "The stick is not in a format that the unit reads, or the format is damaged.",
        packstaff_fat::Error::ExFat,
    ),
    (
        "S115, S117–120",
        "The stick was set up in a way that the unit does not read.",
        packstaff_fat::Error::Gpt,
    ),
    (
        "S160–167",
        "The file, or the folder that it is in, is damaged.",
        packstaff_fat::Error::DirectoryTooLong,
    ),
];

/// The codes that an owner is likely to see each by itself; those of unreadable sticks by what to do; and the rest of the files' codes.
pub fn codes() -> Vec<CodeRow> {
    let row = |reason: Reason| CodeRow {
        code: reason.code().to_string(),
        // What some texts advise behind a semicolon is in the column for that.
        meaning: sentence_case(reason.to_string().split("; ").next().unwrap_or_default()),
        remedy: reason.remedy().to_owned(),
    };
    let files = [
        Refusal::NotAnUpdate,
        Refusal::Truncated,
        Refusal::UnknownSigner,
        Refusal::BadSignature,
        Refusal::NoRecipient,
        Refusal::PayloadDigest,
    ];
    let (own, others): (Vec<_>, Vec<_>) = Reason::OWN.into_iter().partition(|reason| reason.code().letter == 'S');
    let sticks = STICK_CODES.map(|(code, meaning, example)| CodeRow {
        code: code.to_owned(),
        meaning: meaning.to_owned(),
        remedy: Reason::Stick(example).remedy().to_owned(),
    });
    let mut rows: Vec<_> = own.into_iter().map(row).collect();
    rows.extend(sticks);
    rows.extend(files.map(|refusal| row(Reason::File(refusal))));
    rows.push(CodeRow {
        code: "any other F".to_owned(),
        meaning: "The file is damaged, or of a kind that this unit does not know.".to_owned(),
        remedy:
            "Copy it again from the maker, and eject the stick before you pull it out. If the code stays, write to us."
                .to_owned(),
    });
    rows.extend(others.into_iter().map(row));
    rows
}

fn sentence_case(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| {
        format!("{}{}.", first.to_uppercase(), chars.as_str().trim_end_matches('.'))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whether a number is within one of `S110`, `S117–120`.
    fn covers(codes: &str, number: u16) -> bool {
        codes.split(", ").any(|part| {
            let mut ends = part
                .split('–')
                .map(|code| code.trim_start_matches('S').parse::<u16>().unwrap());
            let first = ends.next().unwrap();
            (first..=ends.next().unwrap_or(first)).contains(&number)
        })
    }

    /// The page of the guide is written from the very code that units run, and has every code with its remedy.
    #[test]
    fn each_code_of_a_stick_is_in_the_row_with_its_advice() {
        let page = include_str!("../../../docs/src/reason-codes.md");
        let mut seen = 0;
        for line in page.lines().filter(|line| line.starts_with("| S1")) {
            let cells: Vec<_> = line.split('|').map(str::trim).collect();
            let number: u16 = cells[1].trim_start_matches('S').parse().unwrap();
            // Those below have rows of their own; what only a driver's fault could cause is not on the sheet.
            if !(100..168).contains(&number) {
                continue;
            }
            let rows: Vec<_> = STICK_CODES.iter().filter(|(codes, ..)| covers(codes, number)).collect();
            let [(_, _, example)] = rows.as_slice() else {
                panic!("S{number} is in {} rows", rows.len())
            };
            assert_eq!(Reason::Stick(*example).remedy(), cells[3], "S{number}");
            seen += 1;
        }
        assert!(seen > 30, "{seen} codes");
    }
}
