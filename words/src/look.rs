//! What a file is, line by line. Nothing of it is verified: the words say so.

use crate::reasons::{Language, explain};
use crate::text::{bytes, hex, visible};
use packstaff_bench::look::{Description, Held, PartsFit, RecordedReport, Size, StickSeen};
use packstaff_bench::notes::Notes;
use packstaff_envelope::Refusal;
use packstaff_envelope::ids::{ALG_ED25519, ALG_HSS_LMS};
use packstaff_envelope::look::{ClaimedSigner, Span, Unverified};
use packstaff_image::Build;
use packstaff_installer::Reason;
use packstaff_product::{Product, Record, Uuid, Version};
use serde::Serialize;

/// What a file is, in words: for a terminal, and as JSON.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Account {
    /// What the file is, in a few words.
    pub kind: String,
    /// What it holds: a name and a value each.
    pub lines: Vec<Line>,
    /// What somebody should know before relying on it.
    pub remarks: Vec<String>,
}

/// One name and its value.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Line {
    /// The name.
    pub name: String,
    /// The value.
    pub value: String,
}

const UPDATE: &str = "An update file (a SUIT envelope)";
const DAMAGED_UPDATE: &str = "An update file, damaged";

impl Account {
    fn new(kind: impl Into<String>) -> Self {
        Self {
            kind: kind.into(),
            lines: Vec::new(),
            remarks: Vec::new(),
        }
    }

    fn line(&mut self, name: &str, value: impl std::fmt::Display) {
        self.lines.push(Line {
            name: name.to_owned(),
            value: visible(&value.to_string()),
        });
    }

    fn remark(&mut self, text: impl Into<String>) {
        self.remarks.push(visible(&text.into()));
    }

    fn with_line(mut self, name: &str, value: impl std::fmt::Display) -> Self {
        self.line(name, value);
        self
    }

    fn with_remark(mut self, text: impl Into<String>) -> Self {
        self.remark(text);
        self
    }

    /// For a terminal.
    pub fn text(&self) -> String {
        let width = self
            .lines
            .iter()
            .map(|line| line.name.chars().count())
            .max()
            .unwrap_or(0);
        let lines = self
            .lines
            .iter()
            .map(|line| format!("  {:<width$}  {}\n", line.name, line.value));
        let remarks = self.remarks.iter().map(|remark| format!("\n{remark}\n"));
        std::iter::once(format!("{}\n", self.kind))
            .chain(lines)
            .chain(remarks)
            .collect()
    }
}

/// Why units refuse a file, with the code that they show.
fn refused(refusal: Refusal) -> String {
    let explained = explain(Reason::File(refusal), Language::English);
    format!("{} ({})", explained.maker.cause.line, explained.reason.code())
}

/// Says what a file is.
pub fn account(description: &Description) -> Account {
    match description {
        Description::Update { seen, sha256 } => update(seen, sha256),
        Description::DamagedUpdate { bytes: size, refusal } => Account::new(DAMAGED_UPDATE)
            .with_line("size", bytes(*size))
            .with_line("refused", refused(*refusal)),
        Description::Build { build, first_words } => build_account(build, *first_words),
        Description::UnusableBuild { format, error } => {
            Account::new(format!("A build ({format}) that cannot be used")).with_line("refused", error)
        }
        Description::Stick(seen) => stick(seen),
        Description::UnreadableStick { bytes: size, error } => Account::new("A stick image that a unit cannot read")
            .with_line("size", bytes(*size))
            .with_line("refused", error),
        Description::Sealed => Account::new("A file sealed with age: a keyring, perhaps")
            .with_remark("What is in it shows only who can open it: `packstaff keys list` does."),
        Description::Identity => Account::new("An age identity: a secret key")
            .with_remark("It opens what is sealed for it, such as a keyring. Nothing of it is shown here."),
        Description::PublicKey => Account::new("A public key in PEM form")
            .with_remark("`keys export` writes the signing key's public half like this; units are built with it."),
        Description::Report(report) => report_account(report),
        Description::Notes(notes) => notes_account(notes),
        Description::WebPage => Account::new("A web page; a release's sheet, perhaps: open it in a browser"),
        Description::Parts(parts) => parts
            .iter()
            .fold(Account::new("A maker's own table of parts"), |account, (id, name)| {
                account.with_line(id, name)
            }),
        Description::UnusableParts(error) => {
            Account::new("A table of parts that cannot be used").with_line("refused", error)
        }
        Description::Product { product, fit } => product_account(product, *fit),
        Description::UnusableProduct(error) => Account::new("A product file that cannot be used")
            .with_line("refused", error)
            .with_remark("Any verb that takes the product folder says what is wrong, line by line."),
        Description::Record(record) => record_account(record),
        Description::TooLarge(size) => {
            let size = match size {
                Size::Exactly(size) => format!("{size} bytes"),
                Size::MoreThan(size) => format!("more than {size} bytes"),
            };
            Account::new("Not a file of ours, and too large to look into").with_line("size", size)
        }
        Description::Unknown { bytes: size, sha256 } => {
            Account::new("Nothing that this program knows; a raw binary, perhaps")
                .with_line("size", bytes(*size))
                .with_line("SHA-256", hex(sha256))
        }
        // A description that this version has no words for.
        _ => Account::new("A file that is known, but not to this program"),
    }
}

fn update(seen: &Unverified, sha256: &[u8; 32]) -> Account {
    let span = |span: Span| format!("{} at {}", bytes(u64::from(span.size)), span.offset);
    let with_digest = |what: String, digest: &[u8]| format!("{what}, SHA-256 {}", hex(digest));
    let mut account = Account::new(UPDATE)
        .with_line("version", seen.version)
        .with_line("issue", seen.sequence)
        .with_line("vendor", Uuid::from_bytes(seen.vendor))
        .with_line("class", Uuid::from_bytes(seen.class))
        .with_line(
            "image",
            with_digest(bytes(u64::from(seen.image_size)), &seen.image_digest),
        );
    for by in &seen.signers {
        account.line("signed by", signer(by));
    }
    for recipient in &seen.recipients {
        account.line("for generation", recipient);
    }
    for entry in &seen.text_entries {
        account.line(&format!("text ({}) {:?}", entry.language, entry.item), entry.shown());
    }
    account.line("wrapper", span(seen.wrapper));
    account.line("manifest", with_digest(span(seen.manifest), &seen.manifest_digest));
    if let Some(text) = seen.text {
        account.line("text", span(text));
    }
    account.line("payload", with_digest(span(seen.payload), &seen.payload_digest));
    account.line("first counter", hex(&seen.iv));
    account.line("file", with_digest(bytes(u64::from(seen.file_size)), sha256));
    let agrees = match seen.agrees_with_itself() {
        true => "yes",
        false => "NO: it is damaged",
    };
    account.line("agrees with itself", agrees);
    account.with_remark(
        "No signature was checked: anybody can write such a file. A unit checks it, and so does a release.",
    )
}

fn signer(by: &ClaimedSigner) -> String {
    let kid = by
        .kid
        .map_or_else(|| "another algorithm".to_owned(), |kid| kid.to_string());
    match (by.algorithm, by.leaf) {
        (Some(ALG_ED25519), _) => format!("{kid}, Ed25519"),
        (Some(ALG_HSS_LMS), Some(number)) => format!("{kid}, HSS-LMS, one-time key {number}"),
        (Some(ALG_HSS_LMS), None) => format!("{kid}, HSS-LMS"),
        _ => kid,
    }
}

fn build_account(build: &Build, first_words: Option<[u32; 2]>) -> Account {
    let mut account = Account::new(format!("A build ({})", build.format()));
    for segment in build.segments() {
        let size = bytes(segment.data.len() as u64);
        account.line(
            "bytes",
            format!("{:#010x} to {:#010x}, {size}", segment.address, segment.end()),
        );
    }
    if let Some(entry) = build.entry() {
        account.line("entry", format!("{entry:#010x}"));
    }
    if let Some(machine) = build.machine() {
        account.line("machine", machine);
    }
    if let Some([stack, reset]) = first_words {
        account.line(
            "first word",
            format!("{stack:#010x}: for a Cortex-M, the stack's start"),
        );
        account.line(
            "second word",
            format!("{reset:#010x}: for a Cortex-M, the reset vector"),
        );
    }
    account.line("SHA-256 of the bytes", hex(&build.digest()));
    for note in build.notes() {
        account.remark(note.to_string());
    }
    account
}

fn stick(seen: &StickSeen) -> Account {
    let partition = seen.partition.map_or("none".to_owned(), |number| number.to_string());
    let mut account = Account::new("A stick image")
        .with_line("size", bytes(seen.bytes))
        .with_line("format", format!("{:?}", seen.kind))
        .with_line("partition", partition);
    if let Some(label) = &seen.label {
        account.line("label", label);
    }
    for listed in &seen.entries {
        let what = match listed.entry.is_directory() {
            true => "folder".to_owned(),
            false => bytes(u64::from(listed.entry.size)),
        };
        account.line(&listed.to_string(), what);
    }
    if let Some(error) = seen.stopped {
        account.remark(format!("The listing stops here: {error}"));
    }
    for file in &seen.held {
        let name = &file.name;
        account.remark(match &file.held {
            Held::Update { version } => format!("{name}: {UPDATE}, version {version}"),
            Held::DamagedUpdate => format!("{name}: {DAMAGED_UPDATE}"),
            Held::Unreadable => format!("{name} cannot be read"),
        });
    }
    if let Some(name) = &seen.not_looked_into {
        account.remark(format!(
            "Only files of {} together were looked into: {name} and those behind it were not.",
            bytes(StickSeen::LOOKED_INTO_MAX)
        ));
    }
    account
}

fn report_account(report: &RecordedReport) -> Account {
    let mut account = Account::new("A release's report")
        .with_line("of", &report.heading)
        .with_line("verdict", &report.verdict);
    for section in &report.sections {
        let title = section.title.as_deref().unwrap_or("?");
        account.line(title, format!("{} checks", section.checks));
    }
    account.with_remark(&report.conclusion)
}

fn notes_account(notes: &Notes) -> Account {
    let mut account = Account::new("The notes of a release").with_line("kind", notes.kind().word());
    for change in &notes.changes {
        account.line("change", change);
    }
    account
}

fn product_account(product: &Product, fit: PartsFit) -> Account {
    let mut account = Account::new("A product file")
        .with_line("product", &product.name)
        .with_line("maker", &product.maker.name)
        .with_line("vendor", product.maker.vendor);
    for board in &product.boards {
        account.line(
            &format!("board {}", board.revision),
            format!("{}, class {}", board.part, board.class),
        );
    }
    let versions: Vec<_> = product.versions.list.iter().map(Version::text).collect();
    account.line("versions", versions.join(", "));
    account.line("issue", product.policy.issue);
    match fit {
        PartsFit::BuiltIn => account,
        PartsFit::NotBuiltIn => account.with_remark(
            "It does not fit the built-in parts table. Any verb that takes the product folder knows its own table too, and \
             says what is wrong, line by line.",
        ),
    }
}

fn record_account(record: &Record) -> Account {
    let mut account = Account::new("A record of the ledger")
        .with_line("version", &record.version)
        .with_line("issue", record.issue)
        .with_line("date", record.date)
        .with_line("kind", record.kind.word());
    for board in &record.boards {
        account.line(
            &format!("board {}", board.revision),
            format!("{}, image of {} bytes", board.file, board.image_size),
        );
    }
    account
}

#[cfg(test)]
mod tests {
    use super::*;
    use packstaff_bench::look::describe;
    use proptest::prelude::*;

    #[test]
    fn tricks_on_the_terminal_are_shown_for_what_they_are() {
        let account = Account::new("x").with_line("name", "evil\u{202e}cod\u{1b}[31m");
        assert_eq!(account.lines[0].value, "evil\u{fffd}cod\u{fffd}[31m");
    }

    proptest! {
        #[test]
        fn any_bytes_are_described(bytes in proptest::collection::vec(any::<u8>(), 0..2000)) {
            prop_assert!(!account(&describe("x", &bytes)).kind.is_empty());
        }

        #[test]
        fn any_bytes_that_begin_like_an_update_are_described(bytes in proptest::collection::vec(any::<u8>(), 0..2000)) {
            let file = [&[0xd8, 0x6b][..], &bytes].concat();
            prop_assert!(account(&describe("x", &file)).kind.starts_with("An update file"));
        }
    }
}
