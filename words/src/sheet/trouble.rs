//! What the unit shows, and how to tell what went wrong.

use super::{BoardPart, Sheet};
use maud::{Markup, html};

/// What an owner sees, and what to try: the reports that makers of such units hear most.
const SYMPTOMS: [(&str, &str); 7] = [
    (
        "Nothing happens with the stick in",
        "Push it in firmly. Try another plain stick of 32 GB or less, formatted as FAT32 (that erases it). If your computer asks \
         for a partition scheme, choose “Master Boot Record”.",
    ),
    (
        "The unit finds no update on the stick",
        "The file must be at the top of the stick, not in a folder, and not zipped. Compare name and size with the table. A \
         much smaller file may be a saved web page or a shortcut, or a download that did not finish.",
    ),
    (
        "The file seems to have the right name, but the unit ignores it",
        "Your computer may hide the end of names: the file may really end in “.txt” or “.bin”. Get it again from us and do not \
         let the computer rename it. If you see only a name that begins with “._”, copy the file again and eject the stick.",
    ),
    (
        "The unit says that the file is damaged",
        "Copy it again, eject the stick, and wait until the computer says that you may pull it out. If that does not help, take \
         another stick: worn or falsely labelled ones lose data.",
    ),
    (
        "It takes longer than “How long the unit takes” says",
        "Wait that long once more. If it still shows the same, switch off, wait a minute, and switch on with the stick in place. \
         If it happens again, write to us.",
    ),
    (
        "The unit still runs the old version",
        "Look at the code that it showed, and at the board revision. If it offered a choice, make sure that you chose this \
         version.",
    ),
    (
        "Settings, readings or calibration look wrong",
        "Leave everything disconnected. Compare with what you wrote down and with “What this update changes”. Do not use the \
         unit like this: write to us.",
    ),
];

const WITH_THE_STICK: &str = "Put the same stick back and switch the unit on. Choose the update again if it asks. If it says that it \
                              needs a stick, it is waiting for exactly this.";
const ALONE: &str = "Switch the unit on: it starts by itself, with the version it had or with the new one. Look which one it is. If it is \
                     the one it had, put the stick back and choose the update again.";

/// What to do after a cut: units that hold one image need the stick, others do not.
fn after_a_cut(sheet: &Sheet<'_>) -> String {
    let (alone, others): (Vec<_>, Vec<_>) = sheet.boards.iter().partition(|board| board.starts_alone);
    let names = |boards: &[&BoardPart<'_>]| {
        let names: Vec<_> = boards.iter().map(|board| board.revision).collect();
        names.join(", ")
    };
    match (alone.is_empty(), others.is_empty()) {
        (true, _) => WITH_THE_STICK.to_owned(),
        (false, true) => ALONE.to_owned(),
        (false, false) => format!(
            "Board {}: {WITH_THE_STICK} Board {}: {ALONE}",
            names(&others),
            names(&alone)
        ),
    }
}

fn symptom(sign: &str, remedy: &str) -> Markup {
    html! {
        tr { th scope="row" data-label="What you see" { (sign) } td data-label="What to do" { (remedy) } }
    }
}

pub(super) fn screens(sheet: &Sheet<'_>) -> Markup {
    html! {
        @if !sheet.screens.is_empty() {
            section aria-labelledby="screens" {
                h2 #screens { "What the unit shows" }
                table.screens {
                    thead { tr { th scope="col" { "When" } th scope="col" { "It shows" } th scope="col" { "What that means" } } }
                    tbody {
                        @for screen in &sheet.screens {
                            tr {
                                th scope="row" data-label="When" { (screen.when) }
                                td data-label="It shows" { samp { (screen.shows) } }
                                td data-label="What that means" { (screen.means) }
                            }
                        }
                    }
                }
            }
        }
    }
}

pub(super) fn trouble(sheet: &Sheet<'_>) -> Markup {
    html! {
        section aria-labelledby="trouble" {
            h2 #trouble { "How to tell what went wrong" }
            p.first {
                "If anything smells, smokes, sparks, hisses or moves when it should not: cut the power if you can do so without \
                 danger, get away from it, and get help. Do not look for the cause on this sheet."
            }
            @if !sheet.codes.is_empty() {
                h3 { "If the unit shows a code" }
                table.codes {
                    thead { tr { th scope="col" { "Code" } th scope="col" { "What it means" } th scope="col" { "What to do" } } }
                    tbody {
                        @for row in &sheet.codes {
                            tr {
                                th scope="row" data-label="Code" { samp { (row.code) } }
                                td data-label="What it means" { (row.meaning) }
                                td data-label="What to do" { (row.remedy) }
                            }
                        }
                    }
                }
            }
            h3 { "If something else is wrong" }
            table.symptoms {
                thead { tr { th scope="col" { "What you see" } th scope="col" { "What to do" } } }
                tbody {
                    (symptom("The power failed, or the stick came out", &after_a_cut(sheet)))
                    @for (sign, remedy) in SYMPTOMS { (symptom(sign, remedy)) }
                }
            }
            h3 { "When you write to us" }
            p {
                "Tell us: the product, its board revision and serial number; the version before the update; the code, or a \
                 photograph of what the unit shows; the name and size of the file on the stick; and when it happened. Keep the \
                 stick as it is: do not erase it, we may ask for what is on it. Write to " b { (sheet.contact) } "."
            }
        }
    }
}
