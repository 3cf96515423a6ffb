//! Reading a TOML document with its places, so that every complaint can point at its line.
//!
//! A reader asks for what it expects; what is missing, surplus or of the wrong kind is noted and reading goes on, so
//! that a maker sees everything that is wrong at once.

use crate::problem::{DocumentError, Fault, Problem};
use crate::range::Range;
use std::cell::RefCell;
use std::ops::RangeInclusive;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Bytes of a document that are read at most: far above any real one.
pub const LONGEST: usize = 1 << 20;

/// What has been found wrong so far.
#[derive(Debug)]
pub struct Notes<'i> {
    text: &'i str,
    secret: bool,
    faults: RefCell<Vec<Fault>>,
}

impl<'i> Notes<'i> {
    /// For a text that may be quoted in messages.
    pub const fn new(text: &'i str) -> Self {
        Self {
            text,
            secret: false,
            faults: RefCell::new(Vec::new()),
        }
    }

    /// For a text whose values must not get into any message.
    pub const fn of_secret(text: &'i str) -> Self {
        Self {
            text,
            secret: true,
            faults: RefCell::new(Vec::new()),
        }
    }

    /// Notes a problem with these bytes of the text.
    pub fn add(&self, span: std::ops::Range<usize>, problem: Problem) {
        let (line, column) = self.position(span.start);
        let fault = Fault {
            line,
            column,
            span,
            problem,
        };
        self.faults.borrow_mut().push(fault);
    }

    /// Notes every text that stands more than once; `what` is what must be unique, with its article.
    pub fn refuse_repeats<'t>(
        &self,
        what: &'static str,
        values: impl Iterator<Item = (Option<&'t str>, std::ops::Range<usize>)>,
    ) {
        let mut seen: Vec<(&str, usize)> = Vec::new();
        for (value, span) in values {
            let Some(value) = value else { continue };
            match seen.iter().find(|(earlier, _)| *earlier == value) {
                Some((_, first_line)) => {
                    let problem = Problem::Duplicate {
                        what,
                        value: format!("{value:?}"),
                        first_line: *first_line,
                    };
                    self.add(span, problem);
                }
                None => seen.push((value, self.position(span.start).0)),
            }
        }
    }

    /// Whether nothing has been found wrong so far.
    pub fn is_clean(&self) -> bool {
        self.faults.borrow().is_empty()
    }

    /// Line and column of a byte, both counted from 1.
    pub fn position(&self, byte: usize) -> (usize, usize) {
        let before = self.text.get(..byte).unwrap_or(self.text);
        let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
        let line = before.bytes().filter(|byte| *byte == b'\n').count() + 1;
        let column = before.get(line_start..).unwrap_or_default().chars().count() + 1;
        (line, column)
    }

    /// Ends reading a secret text: the value, or where the first fault is and what it is about, without a copy of the text.
    pub fn finish_secret<T>(self, value: Option<T>) -> Result<T, (usize, String)> {
        let faults = self.faults.into_inner();
        match (value, faults.iter().min_by_key(|fault| fault.line)) {
            (Some(value), None) => Ok(value),
            (_, Some(fault)) => Err((fault.line, fault.problem.subject().to_owned())),
            (None, None) => Err((1, "the text".to_owned())),
        }
    }

    /// Ends reading: the value, unless anything was wrong.
    pub fn finish<T>(self, name: &str, value: Option<T>) -> Result<T, DocumentError> {
        let mut faults = self.faults.into_inner();
        match value {
            Some(value) if faults.is_empty() => Ok(value),
            _ => {
                if faults.is_empty() {
                    // A reader that gives up without a reason is our own mistake; it must not pass for success.
                    let message = "the content could not be used".to_owned();
                    faults.push(Fault {
                        line: 1,
                        column: 1,
                        span: 0..0,
                        problem: Problem::Syntax { message },
                    });
                }
                Err(DocumentError::new(name, self.text, faults))
            }
        }
    }
}

/// Parses the text; a syntax error is noted.
pub fn parse<'i>(notes: &Notes<'i>) -> Option<Spanned<DeTable<'i>>> {
    if notes.text.len() > LONGEST {
        let message = format!("{} bytes are more than such a document can have", notes.text.len());
        notes.add(0..0, Problem::Syntax { message });
        return None;
    }
    match DeTable::parse(notes.text) {
        Ok(root) => Some(root),
        Err(error) => {
            let message = error.message().lines().collect::<Vec<_>>().join("; ");
            notes.add(error.span().unwrap_or(0..0), Problem::Syntax { message });
            None
        }
    }
}

/// A table and how to speak of it.
#[derive(Clone, Debug)]
pub struct Section<'d, 'i> {
    notes: &'d Notes<'i>,
    table: &'d DeTable<'i>,
    at: std::ops::Range<usize>,
    place: &'static str,
}

impl<'d, 'i> Section<'d, 'i> {
    /// The whole document, which may have the keys `known`.
    pub fn root(notes: &'d Notes<'i>, root: &'d Spanned<DeTable<'i>>, known: &'static [&'static str]) -> Self {
        // A key missing at the top is best shown at the top, not as a span over everything.
        let section = Self {
            notes,
            table: root.get_ref(),
            at: 0..0,
            place: "the file",
        };
        section.refuse_others(known);
        section
    }

    /// The whole document, whose keys the maker chooses.
    pub fn open(notes: &'d Notes<'i>, root: &'d Spanned<DeTable<'i>>) -> Self {
        Self {
            notes,
            table: root.get_ref(),
            at: 0..0,
            place: "the file",
        }
    }

    /// All keys and values, in the order of the text. Values speak under the name "a setting".
    pub fn pairs(&self) -> Vec<(String, Entry<'d, 'i>)> {
        pairs_of(self.notes, "a setting", self.table)
    }

    fn refuse_others(&self, known: &'static [&'static str]) {
        for key in self.table.keys() {
            let name: &str = key.get_ref();
            if !known.contains(&name) {
                let near = nearest(name, known.iter().copied());
                let problem = Problem::UnknownKey {
                    place: self.place,
                    key: name.to_owned(),
                    near,
                    known,
                };
                self.notes.add(key.span(), problem);
            }
        }
    }

    /// The value of a key that may be left out.
    pub fn find(&self, key: &'static str) -> Option<Entry<'d, 'i>> {
        let (_, value) = self.table.iter().find(|(name, _)| name.get_ref() == key)?;
        Some(Entry {
            notes: self.notes,
            key,
            value,
        })
    }

    /// The value of a key that must be there.
    pub fn value(&self, key: &'static str) -> Option<Entry<'d, 'i>> {
        let entry = self.find(key);
        if entry.is_none() {
            self.lacks(key, format!("{key} = ..."));
        }
        entry
    }

    fn lacks(&self, key: &'static str, form: String) {
        self.notes.add(
            self.at.clone(),
            Problem::MissingKey {
                place: self.place,
                key,
                form,
            },
        );
    }

    /// The table of `[key]`, which must be there.
    pub fn table(
        &self,
        key: &'static str,
        place: &'static str,
        known: &'static [&'static str],
    ) -> Option<Section<'d, 'i>> {
        match self.find(key) {
            Some(entry) => entry.section(place, known),
            None => {
                self.lacks(key, place.to_owned());
                None
            }
        }
    }

    /// The tables of `[[key]]`, of which there must be at least one.
    pub fn some_sections(
        &self,
        key: &'static str,
        place: &'static str,
        known: &'static [&'static str],
    ) -> Option<Vec<Section<'d, 'i>>> {
        if self.find(key).is_none_or(|entry| entry.is_empty_list()) {
            self.lacks(key, place.to_owned());
            return None;
        }
        Some(self.sections(key, place, known))
    }

    /// The tables of `[[key]]`, none if there is none.
    pub fn sections(
        &self,
        key: &'static str,
        place: &'static str,
        known: &'static [&'static str],
    ) -> Vec<Section<'d, 'i>> {
        let entries = self.find(key).and_then(|entry| entry.list()).unwrap_or_default();
        entries.iter().filter_map(|entry| entry.section(place, known)).collect()
    }

    /// Bytes of the document to point at for the table as a whole.
    pub fn span(&self) -> std::ops::Range<usize> {
        self.at.clone()
    }

    /// Where problems are noted.
    pub const fn notes(&self) -> &'d Notes<'i> {
        self.notes
    }
}

/// The value of a key.
#[derive(Clone, Debug)]
pub struct Entry<'d, 'i> {
    notes: &'d Notes<'i>,
    key: &'static str,
    value: &'d Spanned<DeValue<'i>>,
}

impl<'d, 'i> Entry<'d, 'i> {
    /// Bytes of the document that hold the value.
    pub fn span(&self) -> std::ops::Range<usize> {
        self.value.span()
    }

    /// Where problems are noted.
    pub const fn notes(&self) -> &'d Notes<'i> {
        self.notes
    }

    fn wrong_type<T>(&self, expected: &'static str) -> Option<T> {
        let found = match self.value.get_ref() {
            DeValue::String(_) => "a text",
            DeValue::Integer(_) => "a whole number",
            DeValue::Float(_) => "a fraction",
            DeValue::Boolean(_) => "true or false",
            DeValue::Datetime(_) => "a date or time",
            DeValue::Array(_) => "a list",
            DeValue::Table(_) => "a table",
        };
        self.notes.add(
            self.span(),
            Problem::WrongType {
                key: self.key,
                found,
                expected,
            },
        );
        None
    }

    /// Notes that the value will not do.
    pub fn refuse<T>(&self, expected: impl Into<String>, advice: impl Into<String>) -> Option<T> {
        let found = match self.value.get_ref() {
            _ if self.notes.secret => "this".to_owned(),
            DeValue::String(text) => format!("{text:?}"),
            DeValue::Integer(integer) => integer.to_string(),
            DeValue::Float(number) => number.to_string(),
            DeValue::Datetime(date) => date.to_string(),
            DeValue::Array(members) => format!("a list of {}", members.len()),
            _ => "this".to_owned(),
        };
        let problem = Problem::BadValue {
            key: self.key,
            found,
            expected: expected.into(),
            advice: advice.into(),
        };
        self.notes.add(self.span(), problem);
        None
    }

    /// Notes that the key does not go with the rest of its table.
    pub fn misfit<T>(&self, why: impl Into<String>, advice: &'static str) -> Option<T> {
        let problem = Problem::Misfit {
            key: self.key,
            why: why.into(),
            advice,
        };
        self.notes.add(self.span(), problem);
        None
    }

    /// The text, whatever it holds.
    pub fn raw_text(&self) -> Option<&'d str> {
        match self.value.get_ref() {
            DeValue::String(text) => Some(text),
            _ => self.wrong_type("a text in \"quotes\""),
        }
    }

    /// A text for people: one line, not empty, without control characters or blanks at its ends.
    pub fn text(&self) -> Option<String> {
        let text = self.raw_text()?;
        if text.trim().is_empty() || text.trim() != text || text.chars().any(char::is_control) {
            return self.refuse(
                "one line of text without blanks at its ends",
                "Write the text on one line, without line breaks or tabs.",
            );
        }
        Some(text.to_owned())
    }

    /// A whole number from `allowed`.
    pub fn integer(&self, allowed: RangeInclusive<u64>) -> Option<u64> {
        let DeValue::Integer(integer) = self.value.get_ref() else {
            return self.wrong_type("a whole number");
        };
        match u64::from_str_radix(integer.as_str(), integer.radix()) {
            Ok(number) if allowed.contains(&number) => Some(number),
            _ => self.refuse(
                format!("a whole number from {} to {}", allowed.start(), allowed.end()),
                "Write a number from that range.",
            ),
        }
    }

    /// The number of a document's form, of which there is one that its reader knows.
    pub fn format(&self, known: u64) -> Option<u64> {
        let number = self.integer(1..=u64::MAX)?;
        if number != known {
            return self.refuse(
                format!("a format that this program knows ({known})"),
                "Use the program that wrote it, or a later one.",
            );
        }
        Some(number)
    }

    /// A whole number from `allowed`.
    pub fn integer_u32(&self, allowed: RangeInclusive<u32>) -> Option<u32> {
        let number = self.integer(u64::from(*allowed.start())..=u64::from(*allowed.end()))?;
        u32::try_from(number).ok()
    }

    /// `true` or `false`.
    pub fn boolean(&self) -> Option<bool> {
        match self.value.get_ref() {
            DeValue::Boolean(value) => Some(*value),
            _ => self.wrong_type("true or false, without quotes"),
        }
    }

    /// A whole number or decimal fraction, exactly as it is written, in decimal digits.
    pub fn number_text(&self) -> Option<String> {
        match self.value.get_ref() {
            DeValue::Integer(integer) => match i128::from_str_radix(integer.as_str(), integer.radix()) {
                Ok(number) => Some(number.to_string()),
                Err(_) => self.refuse("a number of at most 128 bits", "Write a smaller number."),
            },
            DeValue::Float(float) => Some(float.as_str().to_owned()),
            _ => self.wrong_type("a number"),
        }
    }

    /// A number, whole or with a fraction; never NaN or infinite.
    pub fn number(&self) -> Option<f64> {
        let number: Option<f64> = self.number_text()?.parse().ok();
        match number.filter(|number| number.is_finite()) {
            Some(number) => Some(number),
            None => self.refuse("a finite number", "Write a number such as 1.4 or 1e12."),
        }
    }

    /// Whether the value is a text.
    pub fn is_text(&self) -> bool {
        matches!(self.value.get_ref(), DeValue::String(_))
    }

    /// The names and values of a table whose names the maker chooses; each value speaks under the table's key.
    pub fn pairs(&self) -> Option<Vec<(String, Entry<'d, 'i>)>> {
        let DeValue::Table(table) = self.value.get_ref() else {
            return self.wrong_type("a table such as { off = 0, on = 1 }");
        };
        Some(pairs_of(self.notes, self.key, table))
    }

    /// A day, without quotes and without a time of day.
    pub fn date(&self) -> Option<crate::Date> {
        const EXPECTED: &str = "a date such as 2026-01-05, without quotes";
        let DeValue::Datetime(found) = self.value.get_ref() else {
            return self.wrong_type(EXPECTED);
        };
        match (found.date, found.time, found.offset) {
            (Some(date), None, None) => match crate::Date::new(date.year, date.month, date.day) {
                Ok(date) => Some(date),
                Err(_) => self.refuse("a day of the calendar", format!("Write {EXPECTED}.")),
            },
            _ => self.refuse("a day alone", format!("Write {EXPECTED}.")),
        }
    }

    fn is_empty_list(&self) -> bool {
        matches!(self.value.get_ref(), DeValue::Array(members) if members.is_empty())
    }

    /// The members of a list; each speaks under the list's key.
    pub fn list(&self) -> Option<Vec<Entry<'d, 'i>>> {
        match self.value.get_ref() {
            DeValue::Array(members) => Some(
                members
                    .iter()
                    .map(|value| Entry {
                        notes: self.notes,
                        key: self.key,
                        value,
                    })
                    .collect(),
            ),
            _ => self.wrong_type("a list in [brackets]"),
        }
    }

    /// The table that the key holds, which may have the keys `known`.
    pub fn section(&self, place: &'static str, known: &'static [&'static str]) -> Option<Section<'d, 'i>> {
        let DeValue::Table(table) = self.value.get_ref() else {
            return self.wrong_type("a table");
        };
        let section = Section {
            notes: self.notes,
            table,
            at: self.span(),
            place,
        };
        section.refuse_others(known);
        Some(section)
    }

    /// `{ start = ..., size = ... }` in bytes.
    pub fn range(&self) -> Option<Range> {
        let section = self.section("the range", &["start", "size"])?;
        range_of(&section, self.key)
    }

    /// One of a fixed set of words.
    pub fn word<T: Copy>(&self, words: &[(&'static str, T)]) -> Option<T> {
        let text = self.raw_text()?;
        if let Some((_, value)) = words.iter().find(|(word, _)| *word == text) {
            return Some(*value);
        }
        let list: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
        let advice = match nearest(text, list.iter().copied()) {
            Some(near) => format!("Did you mean {near:?}?"),
            None => "Choose one of them.".to_owned(),
        };
        self.refuse(format!("one of {}", list.join(", ")), advice)
    }
}

/// In the order of the text, which is the maker's.
fn pairs_of<'d, 'i>(notes: &'d Notes<'i>, key: &'static str, table: &'d DeTable<'i>) -> Vec<(String, Entry<'d, 'i>)> {
    let mut pairs: Vec<_> = table
        .iter()
        .map(|(name, value)| {
            (
                name.span().start,
                name.get_ref().to_string(),
                Entry { notes, key, value },
            )
        })
        .collect();
    pairs.sort_by_key(|(start, ..)| *start);
    pairs.into_iter().map(|(_, name, entry)| (name, entry)).collect()
}

/// The range that a table's `start` and `size` give; `key` is what a complaint calls it.
pub fn range_of(section: &Section<'_, '_>, key: &'static str) -> Option<Range> {
    let start = section.value("start").and_then(|entry| entry.integer_u32(0..=u32::MAX));
    let size = section.value("size").and_then(|entry| entry.integer_u32(0..=u32::MAX));
    match Range::new(start?, size?) {
        Ok(range) => Some(range),
        Err(error) => {
            section.notes().add(section.span(), Problem::BadRange { key, error });
            None
        }
    }
}

/// The known name that `found` was probably meant to be.
///
/// Up to a third of the letters may differ (Damerau-Levenshtein distance); beyond that a hint misleads.
pub fn nearest<'n>(found: &str, known: impl Iterator<Item = &'n str>) -> Option<&'n str> {
    let close = |name: &&str| strsim::damerau_levenshtein(found, name);
    if found.len() > 64 {
        return None;
    }
    let best = known.min_by_key(close)?;
    let most = (best.chars().count().max(found.chars().count()) / 3).max(1);
    (close(&best) <= most).then_some(best)
}
