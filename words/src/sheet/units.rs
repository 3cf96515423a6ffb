//! What depends on the board revision: which file, how long, which digest.

use super::{BoardPart, Sheet, duration};
use maud::{Markup, html};
use std::fmt::Write as _;

pub(super) fn which_file(sheet: &Sheet<'_>) -> Markup {
    html! {
        section.keep aria-labelledby="file" {
            h2 #file { "Which file is for your unit" }
            p { (sheet.how_to_find_board) }
            table.files {
                thead { tr { th scope="col" { "Board revision" } th scope="col" { "Your file" } th scope="col" { "Size" }
                    th scope="col" { "For units that now run" } } }
                tbody {
                    @for board in &sheet.boards {
                        tr {
                            th scope="row" data-label="Board revision" { (board.revision) }
                            td data-label="Your file" { code { (board.file_name) } }
                            td data-label="Size" { (size_in_words(board.size)) }
                            td data-label="For units that now run" { (from_versions(board)) }
                        }
                    }
                }
            }
            p { "Your unit is not in this table, or you are not sure? Do not try: write to us." }
        }
    }
}

fn from_versions(board: &BoardPart<'_>) -> Markup {
    html! {
        @if board.from_versions.is_empty() { "no version that we have tried: write to us first" }
        @else { "version " (either(&board.from_versions)) }
    }
}

pub(super) fn how_long(sheet: &Sheet<'_>) -> Markup {
    html! {
        section aria-labelledby="time" {
            h2 #time { "How long the unit takes" }
            table {
                thead { tr { th scope="col" { "Board revision" } th scope="col" { "What it does" } th scope="col" { "Time" } } }
                @for board in &sheet.boards {
                    tbody {
                        @for (index, phase) in board.time.phases.iter().enumerate() {
                            tr {
                                @if index == 0 { (board_of(board)) }
                                td data-label="What it does" { (phase.name) }
                                td data-label="Time" { (duration::typical_and_longest(phase.typical_s, phase.longest_s)) }
                            }
                        }
                        tr.sum {
                            @if board.time.phases.is_empty() { (board_of(board)) }
                            td data-label="What it does" { "All of it" }
                            td data-label="Time" {
                                (duration::typical_and_longest(board.time.typical_s, board.time.longest_s))
                            }
                        }
                    }
                }
            }
            p { "These times are computed from the data of the unit’s parts, and rounded. Your own pauses come on top." }
        }
    }
}

fn board_of(board: &BoardPart<'_>) -> Markup {
    html! { th scope="rowgroup" rowspan=(board.time.phases.len() + 1) data-label="Board revision" { (board.revision) } }
}

pub(super) fn digests(sheet: &Sheet<'_>) -> Markup {
    html! {
        section.keep aria-labelledby="digest" {
            h2 #digest { "For the curious: is it exactly our file?" }
            p {
                "You need not do this: the unit checks every file itself, and refuses one that is not ours. If you would like to \
                 see for yourself, let your computer work out the file’s SHA-256 digest in a command window, and compare."
            }
            ul.commands {
                li { "Windows: " code { "certutil -hashfile NAME SHA256" } }
                li { "macOS: " code { "shasum -a 256 NAME" } }
                li { "Linux: " code { "sha256sum NAME" } }
            }
            dl.digests {
                @for board in &sheet.boards {
                    div {
                        dt { code { (board.file_name) } ", board revision " (board.revision) ", " (bytes(board.size)) }
                        dd { code { @for group in board.sha256.chunks(4) { span { (hex(group)) } wbr; } } }
                    }
                }
            }
        }
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        let _ = write!(text, "{byte:02x}"); // writing to a String cannot fail
        text
    })
}

/// "1.8, 2.0 or 2.1".
pub(super) fn either(versions: &[String]) -> String {
    match versions {
        [] => String::new(),
        [only] => only.clone(),
        [most @ .., last] => format!("{} or {last}", most.join(", ")),
    }
}

/// Kilobytes and megabytes are decimal ones; desktops differ, hence "about".
fn size_in_words(size: u64) -> String {
    match size {
        0..1_000 => bytes(size),
        1_000..1_000_000 => format!("about {} KB ({})", size.saturating_add(500) / 1_000, bytes(size)),
        _ => {
            let tenths = size.saturating_add(50_000) / 100_000;
            format!("about {}.{} MB ({})", tenths / 10, tenths % 10, bytes(size))
        }
    }
}

fn bytes(size: u64) -> String {
    let digits = size.to_string();
    let mut text = String::new();
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) {
            text.push(',');
        }
        text.push(digit);
    }
    text + if size == 1 { " byte" } else { " bytes" }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes() {
        assert_eq!(size_in_words(1), "1 byte");
        assert_eq!(size_in_words(999), "999 bytes");
        assert_eq!(size_in_words(98_427), "about 98 KB (98,427 bytes)");
        assert_eq!(size_in_words(1_249_999), "about 1.2 MB (1,249,999 bytes)");
        assert_eq!(
            size_in_words(u64::MAX),
            "about 18446744073709.5 MB (18,446,744,073,709,551,615 bytes)"
        );
    }

    #[test]
    fn alternatives() {
        let versions = ["1.8", "2.0", "2.1"].map(str::to_owned);
        assert_eq!(either(&versions), "1.8, 2.0 or 2.1");
        assert_eq!(either(&versions[..2]), "1.8 or 2.0");
        assert_eq!(either(&versions[..1]), "1.8");
        assert_eq!(either(&[]), "");
    }
}
