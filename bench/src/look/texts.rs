//! Files of the product folder: product files, records, notes, keyrings; and what a release writes.

use super::{Description, PartsFit};
use crate::notes::Notes;
use crate::open::read_product;
use packstaff_parts::PartsTable;
use packstaff_product::{Product, Record};
use serde_json::Value;

/// The report of a release, as `report.json` has it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RecordedReport {
    /// What it is a report of.
    pub heading: String,
    /// Its overall answer.
    pub verdict: String,
    /// The same in words.
    pub conclusion: String,
    /// Its sections.
    pub sections: Vec<ReportSection>,
}

/// A section of such a report.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReportSection {
    /// Its title, if it has one.
    pub title: Option<String>,
    /// How many checks it has.
    pub checks: usize,
}

pub(super) fn look(name: &str, file: &[u8]) -> Option<Description> {
    if file.starts_with(b"age-encryption.org/v1") || file.starts_with(b"-----BEGIN AGE ENCRYPTED FILE-----") {
        return Some(Description::Sealed);
    }
    let text = std::str::from_utf8(file).ok()?;
    if text.lines().any(|line| line.starts_with("AGE-SECRET-KEY-1")) {
        return Some(Description::Identity);
    }
    if text.starts_with("-----BEGIN PUBLIC KEY-----") {
        return Some(Description::PublicKey);
    }
    if text.starts_with('{')
        && let Ok(value) = serde_json::from_str(text)
        && let Some(report) = report(&value)
    {
        return Some(Description::Report(report));
    }
    if let Some(notes) = Notes::in_text(text) {
        return Some(Description::Notes(notes));
    }
    if text.starts_with("<!DOCTYPE html>") {
        return Some(Description::WebPage);
    }
    if !text.lines().any(|line| line.trim_start().starts_with("format")) {
        return None;
    }
    if text.contains("[[part]]") {
        return Some(parts_table(name, text));
    }
    if text.contains("[maker]") {
        return Some(product_file(name, text));
    }
    let record = Record::from_text(name, text).ok()?;
    Some(Description::Record(Box::new(record)))
}

fn parts_table(name: &str, text: &str) -> Description {
    match PartsTable::with_own(name, text) {
        Ok(table) => {
            let named = table.own().iter().map(|part| (part.id.clone(), part.name.clone()));
            Description::Parts(named.collect())
        }
        Err(error) => Description::UnusableParts(error),
    }
}

fn product_file(name: &str, text: &str) -> Description {
    let (product, fit) = match read_product(name, text, PartsTable::built_in()) {
        Ok(product) => (product, PartsFit::BuiltIn),
        // Its boards may have parts of the maker's own table, which is not at hand here.
        Err(error) => match Product::read(name, text, None) {
            Ok(product) => (product, PartsFit::NotBuiltIn),
            Err(_) => return Description::UnusableProduct(error),
        },
    };
    Description::Product {
        product: Box::new(product),
        fit,
    }
}

fn report(value: &Value) -> Option<RecordedReport> {
    let text = |name| Some(value.get(name)?.as_str()?.to_owned());
    let section = |section: &Value| ReportSection {
        title: section.get("title").and_then(Value::as_str).map(str::to_owned),
        checks: section.get("rows").and_then(Value::as_array).map_or(0, Vec::len),
    };
    Some(RecordedReport {
        sections: value.get("sections")?.as_array()?.iter().map(section).collect(),
        heading: text("heading")?,
        verdict: text("verdict")?,
        conclusion: text("conclusion")?,
    })
}
