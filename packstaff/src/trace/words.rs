//! The account, for the maker.

use super::{SettingsSeen, Traced};
use packstaff_trace::{
    Account, Course, DescriptorAccount, FileState, FlashAccount, Named, Next, Outcome, RegisterAccount, ReleaseId,
    Repair, SectorSeen, Seen, StickSeen, Where, Work,
};
use packstaff_words::text::{bytes, visible};
use std::fmt::Write;

/// Characters in a line, where words can be broken.
const WIDTH: usize = 100;

/// The account as text.
pub fn text(traced: &Traced) -> String {
    let account = &traced.account;
    let mut out = format!(
        "{}, board {}: what happened to this unit\n",
        traced.product, account.board
    );
    section(&mut out, "Sent", &traced.sent);
    if let Some(flash) = &account.flash {
        section(&mut out, "What happened", &happened(flash));
        block(&mut out, "What flash holds", &held(flash));
    }
    if let Some(code) = &account.code {
        let what = format!(
            "{}: {}. The sheet tells the owner: {}",
            code.code,
            code.meaning.trim_end_matches('.'),
            code.remedy
        );
        section(&mut out, "What the unit says", &[what]);
    }
    if let Some(stick) = &account.stick {
        section(&mut out, "What the stick holds", &on_stick(stick));
    }
    if let Some(settings) = &traced.settings {
        section(&mut out, "What the settings memory holds", &kept(settings, account));
    }
    if let Some(next) = &account.next {
        section(
            &mut out,
            "What it does next, switched on without a stick",
            &does_next(next),
        );
    }
    let tried = match account.flash {
        Some(_) => "What repairs it, tried on this very unit in the simulation",
        None => "What repairs it, tried on units of this board in the simulation: flash was not read",
    };
    block(&mut out, tried, &repairs(&account.repair));
    let misfits = account
        .misfits
        .iter()
        .map(|misfit| format!("{}: {}", misfit.what, misfit.explanation));
    let misfits: Vec<_> = misfits.map(|text| capital(&text)).collect();
    section(&mut out, "What does not fit together", &misfits);
    let unseen = account
        .unseen
        .iter()
        .map(|unseen| format!("{}: would tell {}.", capital(unseen.what), unseen.would_tell));
    section(&mut out, "Not looked at", &unseen.collect::<Vec<_>>());
    out.push_str("\nA reply to the owner, to be read through before it is sent\n\n");
    for line in traced.reply.lines() {
        out.push_str(if line.is_empty() { "" } else { "  " });
        let _ = writeln!(out, "{line}");
    }
    out
}

/// A title, and paragraphs that are broken into lines.
fn section(out: &mut String, title: &str, paragraphs: &[String]) {
    let lines: Vec<_> = paragraphs.iter().flat_map(|paragraph| hung(paragraph, WIDTH)).collect();
    block(out, title, &lines);
}

/// A title, and lines as they are; nothing if there are none.
fn block(out: &mut String, title: &str, lines: &[String]) {
    if lines.is_empty() {
        return;
    }
    let _ = write!(out, "\n{title}\n");
    for line in lines {
        let _ = writeln!(out, "  {line}");
    }
}

/// Lines of a paragraph, all but the first set in.
fn hung(paragraph: &str, width: usize) -> Vec<String> {
    let mut lines = Vec::<String>::new();
    for word in paragraph.split(' ') {
        match lines.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= width => {
                line.push(' ');
                line.push_str(word);
            }
            Some(_) => lines.push(format!("  {word}")),
            None => lines.push(word.to_owned()),
        }
    }
    lines
}

/// "2.0", "1.8 or 2.0"; each version once.
pub(super) fn versions(ids: &[ReleaseId]) -> String {
    let mut names: Vec<&str> = ids.iter().map(|id| id.version.as_str()).collect();
    names.dedup();
    match names.as_slice() {
        [] => "a version that cannot be told".to_owned(),
        [only] => (*only).to_owned(),
        [most @ .., last] => format!("{} or {last}", most.join(", ")),
    }
}

fn place(place: Where) -> &'static str {
    match place {
        Where::Slot => "the slot",
        Where::SecondSlot => "the second slot",
        Where::Stage => "the stage",
    }
}

fn happened(flash: &FlashAccount) -> Vec<String> {
    let mut told: Vec<_> = flash.courses.iter().map(course).collect();
    if told.len() > 1 {
        told.insert(
            0,
            "More than one course of events leaves flash like this; likeliest first:".to_owned(),
        );
    }
    told
}

fn course(course: &Course) -> String {
    let version = versions(&course.installing);
    let at = place(course.place);
    let mut said = match course.work {
        Work::Nothing if course.installing.is_empty() => {
            "The unit is as a new one: nothing was ever installed, and no install is under way.".to_owned()
        }
        Work::Nothing => format!("The unit holds {version}, whole, and no install is under way."),
        Work::Recording if course.written.is_some() => {
            format!(
                "An install of {version} was broken off at its last step: all of it is written, and it was being recorded."
            )
        }
        Work::Recording => format!(
            "{} is installed. What the unit keeps of it in the register was still being written; the next start finishes that.",
            capital(&version)
        ),
        Work::Writing => match course.written {
            Some((done, of)) if done == of => {
                format!(
                    "An install of {version} was broken off when all {} were written to {at}, before it was recorded.",
                    bytes(u64::from(of))
                )
            }
            Some((done, of)) => format!(
                "An install of {version} was broken off while it was being written to {at}: {done} of {of} bytes are there ({} %).",
                u64::from(done) * 100 / u64::from(of.max(1))
            ),
            None => format!(
                "What was written to {at} is of no release: the stick did not answer the second time as it had the first. Such an image \
                 is never started."
            ),
        },
        Work::Erasing if course.installing.is_empty() => format!(
            "An install was broken off while {at} was being erased, before anything was written: flash does not show which version was \
             to come."
        ),
        Work::Erasing => format!(
            "An install of {version} was broken off while {at} was being erased, before anything was written{}.",
            if course.by_stick {
                " (the version is the stick's: flash does not show it)"
            } else {
                ""
            }
        ),
        Work::Damaged => format!(
            "{} was damaged: the image there is not the one that its record names, and no power cut during an install leaves it so.",
            capital(at)
        ),
    };
    if let Some(torn) = course.torn {
        let _ = write!(said, " Power failed inside the granule at {torn:#010x}.");
    }
    if !course.remains.is_empty() {
        let _ = write!(said, " Remains of {} lie there.", versions(&course.remains));
    }
    if let Some(runs) = course
        .runs
        .as_ref()
        .filter(|runs| course.work != Work::Nothing && !course.installing.contains(runs))
    {
        let _ = write!(said, " Meanwhile the unit still has {runs}.");
    }
    said
}

fn held(flash: &FlashAccount) -> Vec<String> {
    let mut lines = vec![format!("{} of {} bytes were read", flash.read, flash.size)];
    lines.extend(flash.sectors.iter().map(sector));
    if flash.descriptor.state != "none" {
        lines.push(descriptor(&flash.descriptor));
    }
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
        row.span.start, row.purpose
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

/// "1.8 and 2.0".
fn all(ids: &[ReleaseId]) -> String {
    let mut names: Vec<&str> = ids.iter().map(|id| id.version.as_str()).collect();
    names.dedup();
    match names.as_slice() {
        [most @ .., last] if !most.is_empty() => format!("{} and {last}", most.join(", ")),
        _ => names.concat(),
    }
}

fn descriptor(descriptor: &DescriptorAccount) -> String {
    let named = descriptor
        .named
        .as_ref()
        .map_or(String::new(), |named| format!(", {}", image(named)));
    let state = match descriptor.state {
        "whole" => "whole, and stands",
        "voided" => "whole, and voided: an install has given it up",
        "erased" => "erased",
        "torn" => "torn, or not there",
        _ => "not read",
    };
    format!("descriptor of the slot: {state}{named}")
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
    match (record.turn, record.issue) {
        (Some(turn), Some(issue)) => {
            let named = record
                .named
                .as_ref()
                .map_or(String::new(), |named| format!(", {}", image(named)));
            format!("whole, turn {turn}, issue {issue}{named}")
        }
        _ => match record.state {
            "erased" => "erased".to_owned(),
            "torn" => "torn, or never written".to_owned(),
            _ => "not read".to_owned(),
        },
    }
}

fn on_stick(stick: &StickSeen) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some((code, why)) = &stick.unreadable {
        lines.push(format!("The unit cannot read it: {} ({code})", visible(why)));
    }
    for file in &stick.files {
        let what = match &file.state {
            FileState::Release { id } => format!("exactly the file of {id}"),
            FileState::Damaged { id, why, code } => format!("the file of {id}, damaged: {} ({code})", visible(why)),
            FileState::NotOurs { what } => visible(what),
            FileState::Refused { why, code } => format!("{} ({code})", visible(why)),
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
        let codes = match shown.codes.as_slice() {
            [] => String::new(),
            codes => format!(" and shows {}", codes.join(", ")),
        };
        lines.push(format!(
            "With it in place, this unit (keys of {}) {offers}{codes}.",
            shown.generation
        ));
    }
    lines
}

fn kept(settings: &SettingsSeen, account: &Account) -> Vec<String> {
    let mut lines = Vec::new();
    for kept in &settings.versions {
        let whole = kept.records.iter().filter(|record| record.flaws.is_empty()).count();
        lines.push(format!(
            "As {} keeps them: {whole} of {} records {} whole.",
            kept.version,
            kept.records.len(),
            if whole == 1 { "is" } else { "are" }
        ));
        for record in kept.records.iter().filter(|record| !record.flaws.is_empty()) {
            let place = record
                .address
                .map_or(String::new(), |address| format!(" at {address:#06x}"));
            lines.push(format!("The record{place}: {}.", visible(&record.flaws.join("; "))));
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

fn does_next(next: &Next) -> Vec<String> {
    if next.certain {
        let by_itself = match (next.changes, &next.at_best) {
            (0, _) => String::new(),
            (changes, Outcome::Starts { .. }) => {
                format!(" It makes {changes} changes of flash before: it finishes by itself what was begun.")
            }
            (changes, _) => format!(" It makes {changes} changes of flash before."),
        };
        return vec![format!("{}{by_itself}", capital(&outcome(&next.at_best)))];
    }
    vec![
        "That depends on what was not read.".to_owned(),
        format!("If that is as it should be: {}", outcome(&next.at_best)),
        format!("If it is not: {}", outcome(&next.at_worst)),
    ]
}

fn outcome(outcome: &Outcome) -> String {
    match outcome {
        Outcome::Starts {
            release: Some(release), ..
        } => format!("it starts {release}."),
        Outcome::Starts { address, .. } => {
            format!("it starts the image at {address:#010x}, which is in no record of the ledger.")
        }
        Outcome::Waits { code, meaning } => format!("it waits for a stick and shows {code}: {meaning}."),
        Outcome::Fails { how } => format!("the installer fails: {how}. This must not be: please report it."),
    }
}

fn repairs(repair: &Repair) -> Vec<String> {
    let mut lines = match repair.needed {
        Some(false) => vec!["No stick is needed. If the unit waits all the same, the first of these helps:".to_owned()],
        Some(true) => vec!["A stick is needed:".to_owned()],
        None => vec!["Whether a stick is needed cannot be told; if the unit waits:".to_owned()],
    };
    let width = repair
        .tried
        .iter()
        .map(|fix| fix.file.chars().count())
        .max()
        .unwrap_or(0);
    for fix in &repair.tried {
        let intended = match (fix.intended, repair.needed) {
            (false, _) => "",
            (true, Some(false)) => ", the version that it has",
            (true, _) => ", the version that was being installed",
        };
        let works = match fix.works_for.as_slice() {
            [] => "does not help".to_owned(),
            works => format!("works (keys of {}){intended}", works.join(", ")),
        };
        let fails = fix.fails_for.iter().map(|refused| {
            format!(
                "; with keys of {} it shows {}",
                refused.generation,
                refused.shows.join(", ")
            )
        });
        lines.push(format!("{:<width$}  {works}{}", fix.file, fails.collect::<String>()));
    }
    if repair.tried.is_empty() {
        lines.push("The ledger has no release that owners may go to.".to_owned());
    }
    lines
}

/// The same text with a capital letter at its beginning.
pub(super) fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars
        .next()
        .map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

impl Traced {
    /// Whether the account leaves a question open.
    pub fn is_certain(&self) -> bool {
        certain(&self.account)
    }
}

fn certain(account: &Account) -> bool {
    let one = account.flash.as_ref().is_some_and(|flash| flash.courses.len() == 1);
    one && account.misfits.is_empty() && account.repair.needed.is_some()
}
