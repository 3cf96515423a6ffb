//! Files of the product folder: product files, records, keyrings; and the sheet.

use super::Description;
use crate::release::Notes;
use packstaff_bench::open::read_product;
use packstaff_parts::PartsTable;
use packstaff_product::{Product, Record};

pub(super) fn look(name: &str, file: &[u8]) -> Option<Description> {
    if file.starts_with(b"age-encryption.org/v1") || file.starts_with(b"-----BEGIN AGE ENCRYPTED FILE-----") {
        let mut description = Description::new("A file sealed with age: a keyring, perhaps");
        description.remark("What is in it shows only who can open it: `packstaff keys list` does.");
        return Some(description);
    }
    let text = std::str::from_utf8(file).ok()?;
    if text.lines().any(|line| line.starts_with("AGE-SECRET-KEY-1")) {
        let mut description = Description::new("An age identity: a secret key");
        description.remark("It opens what is sealed for it, such as a keyring. Nothing of it is shown here.");
        return Some(description);
    }
    if text.starts_with("-----BEGIN PUBLIC KEY-----") {
        let mut description = Description::new("A public key in PEM form");
        description.remark("`keys export` writes the signing key's public half like this; units are built with it.");
        return Some(description);
    }
    if text.starts_with('{')
        && let Ok(report) = serde_json::from_str(text)
        && let Some(description) = report_file(&report)
    {
        return Some(description);
    }
    if let Some(notes) = Notes::in_text(text) {
        let mut description = Description::new("The notes of a release");
        description.line("kind", notes.kind().word());
        for change in &notes.changes {
            description.line("change", change);
        }
        return Some(description);
    }
    if text.starts_with("<!DOCTYPE html>") {
        return Some(Description::new(
            "A web page; a release's sheet, perhaps: open it in a browser",
        ));
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
    let mut description = Description::new("A record of the ledger");
    description.line("version", &record.version);
    description.line("issue", record.issue);
    description.line("date", record.date);
    description.line("kind", record.kind.word());
    for board in &record.boards {
        description.line(
            &format!("board {}", board.revision),
            format!("{}, image of {} bytes", board.file, board.image_size),
        );
    }
    Some(description)
}

/// A report of `release`, as `report.json` has it.
fn report_file(report: &serde_json::Value) -> Option<Description> {
    let text = |name| report.get(name).and_then(serde_json::Value::as_str);
    let sections = report.get("sections")?.as_array()?;
    let (heading, verdict, conclusion) = (text("heading")?, text("verdict")?, text("conclusion")?);
    let mut description = Description::new("A release's report");
    description.line("of", heading);
    description.line("verdict", verdict);
    for section in sections {
        let title = section.get("title").and_then(serde_json::Value::as_str).unwrap_or("?");
        let rows = section
            .get("rows")
            .and_then(serde_json::Value::as_array)
            .map_or(0, Vec::len);
        description.line(title, format!("{rows} checks"));
    }
    description.remark(conclusion);
    Some(description)
}

fn parts_table(name: &str, text: &str) -> Description {
    match PartsTable::with_own(name, text) {
        Ok(table) => {
            let mut description = Description::new("A maker's own table of parts");
            for part in table.own() {
                description.line(&part.id, &part.name);
            }
            description
        }
        Err(error) => {
            let mut description = Description::new("A table of parts that cannot be used");
            description.line("refused", error);
            description
        }
    }
}

fn product_file(name: &str, text: &str) -> Description {
    let mut is_checked = true;
    let read = read_product(name, text, PartsTable::built_in()).or_else(|error| {
        // Its boards may have parts of the maker's own table, which is not at hand here.
        is_checked = false;
        Product::read(name, text, None).map_err(|_| error)
    });
    let product = match read {
        Ok(product) => product,
        Err(report) => {
            let mut description = Description::new("A product file that cannot be used");
            description.line("refused", report);
            description.remark("Any verb that takes the product folder says what is wrong, line by line.");
            return description;
        }
    };
    let mut description = Description::new("A product file");
    description.line("product", &product.name);
    description.line("maker", &product.maker.name);
    description.line("vendor", product.maker.vendor);
    for board in &product.boards {
        description.line(
            &format!("board {}", board.revision),
            format!("{}, class {}", board.part, board.class),
        );
    }
    let versions: Vec<_> = product
        .versions
        .list
        .iter()
        .map(packstaff_product::Version::text)
        .collect();
    description.line("versions", versions.join(", "));
    description.line("issue", product.policy.issue);
    if !is_checked {
        description.remark(
            "It does not fit the built-in parts table. Any verb that takes the product folder knows its own table too, and \
             says what is wrong, line by line.",
        );
    }
    description
}
