//! The page as a whole: head, title, cautions, and the sections in their order.

use super::cautions::{Caution, Signal, cautions_for};
use super::{SettingsNote, Sheet, duration, steps, trouble, units};
use maud::{DOCTYPE, Markup, PreEscaped, html};
use packstaff_product::ledger::ReleaseKind;

const STYLE: &str = include_str!("style.css");

pub(super) fn page(sheet: &Sheet<'_>) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="referrer" content="no-referrer";
                title { (sheet.product) " – how to update to version " (sheet.version) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                (heading(sheet))
                main {
                    (cautions(sheet))
                    (units::which_file(sheet))
                    (changes(sheet))
                    (steps::steps(sheet))
                    (steps::please_do_not())
                    (trouble::screens(sheet))
                    (units::how_long(sheet))
                    (trouble::trouble(sheet))
                    (units::digests(sheet))
                }
                (foot(sheet))
            }
        }
    }
}

fn heading(sheet: &Sheet<'_>) -> Markup {
    let longest = |pick: fn(&super::Times<'_>) -> f64| {
        sheet
            .boards
            .iter()
            .map(|board| pick(&board.time))
            .fold(f64::NAN, f64::max)
    };
    let time = duration::typical_and_longest(longest(|time| time.typical_s), longest(|time| time.longest_s));
    let (kind, advice) = match sheet.kind {
        ReleaseKind::Feature => ("New features", "Install it if you like."),
        ReleaseKind::Fix => ("Corrections", "Install it when you can."),
        ReleaseKind::Security => ("Security update", "Install it soon."),
    };
    html! {
        header {
            p.maker { (sheet.maker) }
            h1 { (sheet.product) span.to { "How to update to version " (sheet.version) } }
            dl.facts {
                div { dt { "What it is" } dd { (kind) ", " (sheet.date) ". " (advice) } }
                div { dt { "What you need" } dd { "A USB memory stick, a computer, and this sheet." } }
                div { dt { "How long the unit takes" } dd { b { (time) } } }
                div { dt { "Questions" } dd { (sheet.contact) } }
            }
        }
    }
}

fn cautions(sheet: &Sheet<'_>) -> Markup {
    html! {
        section.cautions aria-labelledby="cautions" {
            h2 #cautions { "Before anything else: what can hurt" }
            p.legend {
                @for signal in Signal::ALL { b { (signal.word()) } ": " (signal.meaning()) ". " }
                "This list cannot be complete: your manual, local codes and licensed people come first."
            }
            div.boxes { @for caution in cautions_for(sheet.hazards) { (caution_box(caution)) } }
        }
    }
}

fn caution_box(caution: Caution) -> Markup {
    html! {
        article class={ "caution " (caution.signal.class()) } {
            h3 { span.signal { (caution.signal.word()) } " " (caution.headline) }
            p { (caution.text) }
        }
    }
}

fn changes(sheet: &Sheet<'_>) -> Markup {
    let SettingsNote { settings, calibration } = sheet.settings;
    html! {
        section aria-labelledby="changes" {
            h2 #changes { "What this update changes" }
            dl.pairs {
                @if !sheet.changes.is_empty() { div { dt { "What is new" } @for change in sheet.changes { dd { (change) } } } }
                (kept("Your settings", settings))
                (kept("Calibration", calibration))
                div { dt { "Going back" } dd { (going_back(&sheet.going_back)) } }
            }
        }
    }
}

fn kept(name: &str, lines: &[String]) -> Markup {
    html! {
        div {
            dt { (name) }
            @for line in lines { dd { (line) } }
            @if lines.is_empty() { dd { "We cannot tell. Write down what your unit shows before you begin." } }
        }
    }
}

fn going_back(versions: &[String]) -> Markup {
    html! {
        @if versions.is_empty() { "No earlier version is offered after this one. If you need one, write to us before you update." }
        @else {
            "You may go back to version " (units::either(versions)) ". Ask us for its file and its own sheet, and follow that \
             sheet: cautions, times and settings may differ."
        }
    }
}

fn foot(sheet: &Sheet<'_>) -> Markup {
    html! {
        footer {
            @if let Some(proof) = &sheet.proof {
                p { b { "What we tried before sending this. " } (proof) " No trial covers everything: if anything looks odd, \
                    stop and write to us." }
            }
            @if let Some(until) = sheet.supported_until {
                p { "We mean to supply security updates for this product until " (until) "." }
            }
            p { (sheet.maker) " · " (sheet.contact) " · sheet for " (sheet.product) " version " (sheet.version) ", " (sheet.date) }
        }
    }
}
