//! What to do, in numbered steps, and what to leave undone.

use super::Sheet;
use maud::{Markup, html};

/// A part of the work: a headline and its steps.
struct Part {
    headline: &'static str,
    steps: Vec<Markup>,
}

pub(super) fn steps(sheet: &Sheet<'_>) -> Markup {
    let parts = [before(sheet), stick(sheet), update(sheet), after(sheet)];
    let firsts = parts.iter().scan(1, |next, part| {
        let first = *next;
        *next += part.steps.len();
        Some(first)
    });
    html! {
        section.steps aria-labelledby="steps" {
            h2 #steps { "What to do" }
            @for (part, first) in parts.iter().zip(firsts) {
                h3 { (part.headline) }
                ol start=(first) role="list" { @for step in &part.steps { li { (step) } } }
            }
        }
    }
}

fn before(sheet: &Sheet<'_>) -> Part {
    let mut steps = vec![
        html! { "Read this whole sheet, and keep it beside you." },
        html! { "Find your unit’s board revision, and your file in the table above." },
    ];
    if !sheet.how_to_see_version.is_empty() {
        steps.push(html! {
            "See which version your unit runs now. " (sheet.how_to_see_version) " The table must name it for your board revision; \
             if it does not, write to us first."
        });
    }
    steps.push(html! { "Write down your settings and calibration values, or photograph the screens that show them." });
    steps.push(html! {
        "Let whatever the unit controls come to rest and cool down. Switch the unit off and take the plug out. "
        @if sheet.disconnect.is_empty() { "Then disconnect whatever the unit controls." } @else { (sheet.disconnect) }
    });
    Part {
        headline: "Make things ready",
        steps,
    }
}

fn stick(sheet: &Sheet<'_>) -> Part {
    let steps = vec![
        html! {
            "Take a plain USB memory stick of your own, best one of 32 GB or less. The unit reads sticks that are formatted as \
             FAT32, as most small ones are when new. " b { "Formatting erases everything on a stick" } ", so save what you need."
        },
        html! {
            @match sheet.boards.as_slice() {
                [board] => { "Copy the file " code { (board.file_name) } " to the stick" }
                _ => { "Copy the file for your board revision (see the table above) to the stick" }
            }
            ": not into a folder, and not zipped. If it came in a zip, open the zip and copy the file inside."
        },
        html! {
            "Check that the file on the stick has exactly the name and the size in the table. If your computer has added "
            "something like “(1)” to the name, rename it."
        },
        html! {
            "Use “Eject” or “Safely remove” on your computer, and wait until it says that you may pull the stick out."
        },
    ];
    Part {
        headline: "Prepare the stick",
        steps,
    }
}

fn update(sheet: &Sheet<'_>) -> Part {
    let mut steps: Vec<Markup> = sheet
        .how_to_start_update
        .iter()
        .map(|action| html! { (action) })
        .collect();
    steps.push(html! {
        "Wait. " b { "Do not switch off, unplug, or pull the stick out" } " until the unit has finished"
        @if sheet.done_shows.is_empty() { ": “What the unit shows” below says how you can tell." }
        @else { " and shows " samp { (sheet.done_shows) } "." }
    });
    Part {
        headline: "Update the unit",
        steps,
    }
}

fn after(sheet: &Sheet<'_>) -> Part {
    let mut steps = Vec::new();
    if !sheet.how_to_see_version.is_empty() {
        steps.push(html! { "Check that the unit now runs version " b { (sheet.version) } ", the same way as before." });
    }
    steps.push(html! {
        "Before you reconnect anything, check limits, alarms, interlocks, settings and calibration against what you wrote down."
    });
    steps.extend(sheet.after_update.iter().map(|action| html! { (action) }));
    steps.push(html! { "Switch off and take the plug out, take the stick out, and only then reconnect what you disconnected." });
    steps.push(html! { "Power up again, keep your distance, and stay with it for the whole of its first run." });
    Part {
        headline: "Check before you reconnect",
        steps,
    }
}

pub(super) fn please_do_not() -> Markup {
    html! {
        section.donts aria-labelledby="donts" {
            h2 #donts { "What not to do" }
            ul {
                li { b { "Do not" } " update while the unit is in use, or while something that it controls is hot, moving or under power." }
                li { b { "Do not" } " use a USB hub or an extension cable. Plug the stick straight into the unit." }
                li { b { "Do not" } " use a file from anybody but us, and do not change ours." }
                li { b { "Do not" } " open the case, and do not use any other tool." }
                li { b { "Do not" } " try over and over. If it fails twice in the same way, stop and write to us." }
                li { b { "Do not" } " reconnect anything before the checks are done." }
            }
        }
    }
}
