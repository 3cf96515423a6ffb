//! What flash, the stick and the settings memory hold.

use super::all;
use crate::reasons::{Language, explain};
use crate::text::visible;
use packstaff_bench::trace::{RecordKept, SettingsSeen};
use packstaff_installer::Reason;
use packstaff_trace::{
    Account, DescriptorAccount, FileState, FlashAccount, Intended, Named, Outcome, Purpose, RegisterAccount,
    SectorSeen, Seen, StickSeen, Unreadable,
};
use std::fmt::Write;

pub(super) fn held(flash: &FlashAccount) -> Vec<String> {
    let mut lines = vec![format!("{} of {} bytes were read", flash.read, flash.size)];
    lines.extend(flash.sectors.iter().map(sector));
    lines.extend(descriptor(&flash.descriptor));
    for (record, which) in flash.register.iter().zip(["first", "second"]) {
        lines.push(format!("register, {which} record: {}", register(record)));
    }
    if let Some(floor) = flash.floor {
        lines.push(match floor {
            0 => "floor: none yet, the unit takes every issue".to_owned(),
            _ => format!("floor: issue {floor}, the unit refuses lower ones"),
        });
    }
    lines
}

fn sector(row: &SectorSeen) -> String {
    let size = match row.span.size {
        size if size % 1024 == 0 => format!("{} KiB", size / 1024),
        size => format!("{size} bytes"),
    };
    let count = if row.sectors == 1 {
        "1 sector".to_owned()
    } else {
        format!("{} sectors", row.sectors)
    };
    let mut seen = row.seen.as_ref().map_or("not compared".to_owned(), contents);
    if row.unsteady > 0 {
        let _ = write!(seen, "; {} bytes differ between read-outs", row.unsteady);
    }
    if row.unreadable > 0 {
        let _ = write!(seen, "; {} bytes could not be read", row.unreadable);
    }
    format!(
        "{:#010x}  {size:>8}  {count:>11}  {:<11}  {seen}",
        row.span.start,
        purpose(row.purpose)
    )
    .trim_end()
    .to_owned()
}

fn contents(seen: &Seen) -> String {
    match seen {
        Seen::Erased => "erased".to_owned(),
        Seen::Release { of } => format!("exactly as in {}", all(of)),
        Seen::Begun { of, bytes } => format!("the first {bytes} bytes as in {}, then erased", all(of)),
        Seen::Mixed { of, first, .. } if *first > 0 => format!("torn: the first {first} bytes as in {}", all(of)),
        Seen::Mixed { of, bytes, .. } => format!("torn: {bytes} bytes as in {}", all(of)),
        Seen::Other => "nothing that any release has there".to_owned(),
        Seen::NotRead => "not read".to_owned(),
        Seen::Partly { of, bytes } if of.is_empty() => format!("{bytes} bytes read, as in no release"),
        Seen::Partly { of, bytes } => format!("{bytes} bytes read, as in {}", all(of)),
    }
}

fn descriptor(descriptor: &DescriptorAccount) -> Option<String> {
    let state = match descriptor {
        DescriptorAccount::None => return None,
        DescriptorAccount::Whole(_) => "whole, and stands",
        DescriptorAccount::Voided(_) => "whole, and voided: an install has given it up",
        DescriptorAccount::Erased => "erased",
        DescriptorAccount::Torn => "torn, or not there",
        DescriptorAccount::NotRead => "not read",
    };
    let named = descriptor
        .named()
        .map_or(String::new(), |named| format!(", {}", image(named)));
    Some(format!("descriptor of the slot: {state}{named}"))
}

fn image(named: &Named) -> String {
    let known = named
        .release
        .as_ref()
        .map_or("not in the ledger".to_owned(), |id| format!("release {id}"));
    format!(
        "names version {} of issue {} ({} bytes, {known})",
        named.version, named.issue, named.image_size
    )
}

fn register(record: &RegisterAccount) -> String {
    match record {
        RegisterAccount::Whole { turn, issue, named } => {
            let named = named
                .as_ref()
                .map_or(String::new(), |named| format!(", {}", image(named)));
            format!("whole, turn {turn}, issue {issue}{named}")
        }
        RegisterAccount::Erased => "erased".to_owned(),
        RegisterAccount::Torn => "torn, or never written".to_owned(),
        RegisterAccount::NotRead => "not read".to_owned(),
    }
}

/// What sectors are for.
pub(super) const fn purpose(purpose: Purpose) -> &'static str {
    match purpose {
        Purpose::Slot => "slot",
        Purpose::Stage => "stage",
        Purpose::SecondSlot => "second slot",
        Purpose::Register => "register",
        Purpose::Installer => "installer",
        Purpose::Other => "other",
    }
}

pub(super) fn on_stick(stick: &StickSeen) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(why) = stick.unreadable {
        lines.push(format!(
            "The unit cannot read it: {} ({})",
            unreadable(why),
            why.reason().code()
        ));
    }
    for file in &stick.files {
        let what = match &file.state {
            FileState::Release { id } => format!("exactly the file of {id}"),
            FileState::Damaged { id, .. } => format!("the file of {id}, damaged: {}", why_not(&file.state)),
            FileState::NotOurs { .. } | FileState::Refused(_) | FileState::Unreadable(_) => why_not(&file.state),
            FileState::TooLarge => "too large for an update file, and not read".to_owned(),
        };
        lines.push(format!("{}: {what}", visible(&file.name)));
    }
    if stick.unreadable.is_none() && stick.files.is_empty() {
        lines.push("There is no update file at its top.".to_owned());
    }
    match stick.others {
        0 => {}
        1 => lines.push("One other file or folder at its top.".to_owned()),
        count => lines.push(format!("{count} other files and folders at its top.")),
    }
    for shown in &stick.shows {
        let offers = match shown.offers.as_slice() {
            [] => "offers nothing".to_owned(),
            offers => format!("offers {}", offers.join(", ")),
        };
        let codes = match shown.reasons.as_slice() {
            [] => String::new(),
            reasons => format!(" and shows {}", codes(reasons)),
        };
        lines.push(format!(
            "With it in place, this unit (keys of {}) {offers}{codes}.",
            shown.generation
        ));
    }
    lines
}

/// "U1, S2".
pub(super) fn codes(reasons: &[Reason]) -> String {
    let codes: Vec<_> = reasons.iter().map(|reason| reason.code().to_string()).collect();
    codes.join(", ")
}

fn why_not(state: &FileState) -> String {
    let why = why(state).unwrap_or_default();
    match state.reason() {
        Some(reason) => format!("{why} ({})", reason.code()),
        None => why,
    }
}

/// Why a unit of this board does not use a file, if the file itself says so.
pub(super) fn why(state: &FileState) -> Option<String> {
    Some(match state {
        FileState::Release { .. } | FileState::TooLarge => return None,
        FileState::NotOurs {
            version,
            issue,
            intended,
        } => match intended {
            Intended::ThisBoard => format!(
                "version {version}, issue {issue}, for this board, signed by this maker; the ledger does not have it"
            ),
            Intended::OtherBoard => format!("version {version} for another board revision"),
            Intended::OtherProduct => format!("version {version} for another product"),
        },
        FileState::Damaged { refusal, .. } | FileState::Refused(refusal) => {
            let explained = explain(Reason::File(*refusal), Language::English);
            explained.maker.cause.line.into_owned()
        }
        FileState::Unreadable(why) => unreadable(*why),
    })
}

/// Why something cannot be read, with the figures of this very stick.
pub(super) fn unreadable(why: Unreadable) -> String {
    match why {
        Unreadable::Fat(error) => error.to_string(),
        Unreadable::Block => {
            let explained = explain(why.reason(), Language::English);
            explained.maker.cause.full.into_owned()
        }
    }
}

pub(super) fn kept(settings: &SettingsSeen, account: &Account) -> Vec<String> {
    let mut lines = Vec::new();
    for kept in &settings.versions {
        let whole = kept.records.iter().filter(|record| record.is_whole()).count();
        lines.push(format!(
            "As {} keeps them: {whole} of {} records {} whole.",
            kept.version,
            kept.records.len(),
            if whole == 1 { "is" } else { "are" }
        ));
        for record in kept.records.iter().filter(|record| !record.is_whole()) {
            let place = record
                .address
                .map_or(String::new(), |address| format!(" at {address:#06x}"));
            lines.push(format!("The record{place}: {}.", visible(&flaws(record))));
        }
    }
    if settings.versions.is_empty() {
        lines.push("No record of any version with a layout.".to_owned());
    }
    let runs = account.next.as_ref().and_then(|next| match &next.at_best {
        Outcome::Starts { release, .. } => release.as_ref(),
        _ => None,
    });
    let mut whole = settings.whole().peekable();
    if let Some(runs) = runs.filter(|_| whole.peek().is_some())
        && !whole.any(|version| version == runs.version)
        && !settings.without_layout.contains(&runs.version)
    {
        lines.push(format!(
            "They are not as {runs} keeps them: it has not saved any yet, or did not carry them over."
        ));
    }
    if !settings.without_layout.is_empty() {
        lines.push(format!(
            "Without a layout, and not looked for: {}.",
            settings.without_layout.join(", ")
        ));
    }
    lines
}

/// What does not hold of a record.
fn flaws(record: &RecordKept) -> String {
    let flaws: Vec<_> = record.flaws.iter().map(ToString::to_string).collect();
    flaws.join("; ")
}
