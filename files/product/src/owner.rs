//! What a unit shows and what an owner is told, in the maker's words.

use packstaff_document::{Entry, Section};

/// What the unit's installer shows at each moment.
///
/// The words go on the owner's sheet as they stand. `{version}`, `{percent}` and `{reason}` stand for what the unit
/// puts there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Screens {
    /// What the unit shows them with.
    pub kind: ScreenKind,
    /// While the owner chooses among the stick's files. May hold `{version}`.
    pub choose: String,
    /// While the file is read and checked; nothing has been erased yet. May hold `{percent}`.
    pub check: String,
    /// While flash is written: the time during which power should stay on. May hold `{percent}`.
    pub write: String,
    /// When the new image is about to start. May hold `{version}`.
    pub done: String,
    /// When the stick is not used and the old image goes on. May hold `{reason}`.
    pub refused: String,
    /// When no image can be started and the unit waits for a stick. May hold `{reason}`.
    pub waiting: String,
}

/// What a unit shows things with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ScreenKind {
    /// A display with words.
    Text,
    /// A few seven-segment digits.
    Digits,
    /// Lamps; the words describe how they blink.
    Lamps,
}

impl Screens {
    pub(crate) const KEYS: &[&str] = &["kind", "choose", "check", "write", "done", "refused", "waiting"];

    pub(crate) fn read(section: &Section<'_, '_>) -> Option<Self> {
        let kinds = [
            ("text", ScreenKind::Text),
            ("digits", ScreenKind::Digits),
            ("lamps", ScreenKind::Lamps),
        ];
        let kind = section.value("kind").and_then(|entry| entry.word(&kinds));
        let screen = |key, allowed: &[&str]| section.value(key).and_then(|entry| with_blanks(&entry, allowed));
        let choose = screen("choose", &["{version}"]);
        let check = screen("check", &["{percent}"]);
        let write = screen("write", &["{percent}"]);
        let done = screen("done", &["{version}"]);
        let refused = screen("refused", &["{reason}"]);
        let waiting = screen("waiting", &["{reason}"]);
        Some(Self {
            kind: kind?,
            choose: choose?,
            check: check?,
            write: write?,
            done: done?,
            refused: refused?,
            waiting: waiting?,
        })
    }
}

/// A text that may hold the `allowed` words in braces, and no other braces.
fn with_blanks(entry: &Entry<'_, '_>, allowed: &[&str]) -> Option<String> {
    let text = entry.text()?;
    let rest = allowed.iter().fold(text.clone(), |rest, word| rest.replace(word, ""));
    if rest.contains(['{', '}']) {
        let words = allowed.join(" or ");
        return entry.refuse(
            format!("a text with no braces but {words}"),
            format!("Use {words}, or no braces at all."),
        );
    }
    Some(text)
}

/// What an owner is told besides what the program itself knows.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OwnerTexts {
    /// Language of these texts and of the screens, as in BCP 47: `en`, `de-CH`.
    pub language: String,
    /// What to disconnect before an update.
    pub disconnect: String,
    /// How to start an update: which button, which order.
    pub begin: String,
    /// How to see which version a unit runs.
    pub version_screen: String,
    /// What to check after an update, before anything is connected again.
    pub after: String,
    /// How to get help.
    pub help: String,
}

impl OwnerTexts {
    pub(crate) const KEYS: &[&str] = &["language", "disconnect", "begin", "version_screen", "after", "help"];

    pub(crate) fn read(section: &Section<'_, '_>) -> Option<Self> {
        let language = section.value("language").and_then(|entry| language(&entry));
        let text = |key| section.value(key).and_then(|entry| entry.text());
        let (disconnect, begin) = (text("disconnect"), text("begin"));
        let (version_screen, after, help) = (text("version_screen"), text("after"), text("help"));
        Some(Self {
            language: language?,
            disconnect: disconnect?,
            begin: begin?,
            version_screen: version_screen?,
            after: after?,
            help: help?,
        })
    }
}

/// A language tag by the shape that RFC 5646 section 2.1 gives its subtags; whether it is registered is not checked.
fn language(entry: &Entry<'_, '_>) -> Option<String> {
    let text = entry.raw_text()?;
    let mut subtags = text.split('-');
    let primary = subtags
        .next()
        .is_some_and(|tag| (2..=3).contains(&tag.len()) && tag.bytes().all(|byte| byte.is_ascii_lowercase()));
    let others =
        subtags.all(|tag| (1..=8).contains(&tag.len()) && tag.bytes().all(|byte| byte.is_ascii_alphanumeric()));
    if !primary || !others {
        return entry.refuse("a language tag", "Write it as in BCP 47, such as \"en\" or \"de-CH\".");
    }
    Some(text.to_owned())
}
