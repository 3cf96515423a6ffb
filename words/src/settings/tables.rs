//! Settings as text and as JSON.

use crate::text::wrap;
use packstaff_settings::carry::{Carried, Carrier, Fate, Lost, Matrix, Outcome, Plan};
use packstaff_settings::dump::{DumpError, Reading, Value, read_record};
use packstaff_settings::layout::{Layout, Way};
use serde_json::{Value as Json, json};
use std::fmt::Write;

/// How many of a plan's fields fare how, in a few words.
pub(super) fn counts(plan: &Plan) -> String {
    let [kept, converted, new, lost] = plan.counts();
    let words = [(kept, "kept"), (converted, "converted"), (new, "new"), (lost, "lost")];
    let words: Vec<String> = words
        .iter()
        .filter(|(count, _)| *count > 0)
        .map(|(count, word)| format!("{count} {word}"))
        .collect();
    words.join(", ")
}

/// Every pair of versions: come from down the side, gone to across the top.
pub fn matrix(matrix: &Matrix) -> String {
    let cell = |from: &str, to: &str| match matrix.plan(from, to) {
        None => String::new(),
        Some(plan) => match &plan.carrier {
            Carrier::Unchanged => "the same".to_owned(),
            Carrier::Nobody { because: Some(_) } => "left as they are".to_owned(),
            Carrier::Nobody { because: None } => "NOT CARRIED".to_owned(),
            Carrier::Keeper | Carrier::Firmware if plan.objections().is_empty() => counts(plan),
            Carrier::Keeper | Carrier::Firmware => format!("LOSES {}", plan.objections().len()),
        },
    };
    let mut rows = vec![
        std::iter::once("from \\ to".to_owned())
            .chain(matrix.versions.iter().cloned())
            .collect::<Vec<_>>(),
    ];
    for from in &matrix.versions {
        rows.push(
            std::iter::once(from.clone())
                .chain(matrix.versions.iter().map(|to| cell(from, to)))
                .collect(),
        );
    }
    columns(&rows)
}

/// Rows of cells, lined up.
fn columns(rows: &[Vec<String>]) -> String {
    let count = rows.iter().map(Vec::len).max().unwrap_or(0);
    let width = |column: usize| {
        let cells = rows.iter().filter_map(|row| row.get(column));
        cells.map(|cell| cell.chars().count()).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..count).map(width).collect();
    let mut out = String::new();
    for row in rows {
        let cells = row.iter().zip(&widths).map(|(cell, width)| format!("{cell:<width$}"));
        let line = cells.collect::<Vec<_>>().join("  ");
        // Writing to a String cannot fail.
        let _ = writeln!(out, "  {}", line.trim_end());
    }
    out
}

fn carrier(plan: &Plan) -> String {
    match &plan.carrier {
        Carrier::Unchanged => "Both have the same layout: nothing is carried over.".to_owned(),
        Carrier::Keeper => "Carried over by keeper, in the unit.".to_owned(),
        Carrier::Firmware => format!("Carried over by the firmware of {}, by its own code.", plan.to),
        Carrier::Nobody { because: Some(because) } => format!("Nobody carries them over in a unit. {because}"),
        Carrier::Nobody { because: None } => "Nobody carries them over in a unit, and no reason is given.".to_owned(),
    }
}

/// Two layouts, field by field.
pub fn diff(plan: &Plan) -> String {
    let mut out = format!("Settings from {} to {}: {}\n", plan.from, plan.to, counts(plan));
    for line in wrap(&carrier(plan), 100) {
        let _ = writeln!(out, "{line}");
    }
    for (outcome, heading) in [
        (Outcome::Kept, "Kept"),
        (Outcome::Converted, "Converted"),
        (Outcome::Defaulted, "New: nothing comes to it"),
    ] {
        let fates: Vec<&Fate> = plan.fates.iter().filter(|fate| fate.outcome == outcome).collect();
        if fates.is_empty() {
            continue;
        }
        let _ = writeln!(out, "\n{heading}");
        let rows: Vec<Vec<String>> = fates.iter().map(|fate| row(fate)).collect();
        out.push_str(&columns(&rows));
    }
    if !plan.lost.is_empty() {
        let _ = writeln!(out, "\nLost");
        let rows: Vec<Vec<String>> = plan
            .lost
            .iter()
            .map(|lost| vec![lost.to_string(), lost.kind.word().to_owned(), reason(lost)])
            .collect();
        out.push_str(&columns(&rows));
    }
    for objection in plan.objections() {
        let _ = writeln!(out, "\nNO {objection}.");
        for line in wrap(&format!("{}.", objection.advice()), 96) {
            let _ = writeln!(out, "   {line}");
        }
    }
    out
}

fn reason(lost: &Lost) -> String {
    match (&lost.because, lost.aside) {
        (Some(because), _) => because.clone(),
        (None, true) => "kept aside until the newer version is back".to_owned(),
        (None, false) => String::new(),
    }
}

fn row(fate: &Fate) -> Vec<String> {
    let was = match &fate.was {
        Some(was) if *was != fate.field => format!("{was} -> {}", fate.field),
        _ => fate.field.clone(),
    };
    let mark = if fate.kind.is_irreplaceable() {
        fate.kind.word()
    } else {
        ""
    };
    let becomes = fate.becomes.iter().map(|value| format!("is {value}"));
    let changes = fate
        .changes
        .iter()
        .filter(|change| !matches!(change, packstaff_settings::carry::Change::Renamed))
        .map(ToString::to_string);
    let changes: Vec<String> = becomes.chain(changes).collect();
    vec![was, mark.to_owned(), changes.join("; ")]
}

/// What a dump says, for people.
pub fn reading(reading: &Reading) -> String {
    let mut out = String::new();
    for (index, copy) in reading.copies.iter().enumerate() {
        let place = match copy.address {
            Some(address) => format!("Copy at {address:#06x}"),
            None => "Record".to_owned(),
        };
        let generation = copy
            .generation
            .map_or_else(String::new, |number| format!(", generation {number}"));
        let state = if copy.is_whole() { "whole" } else { "NOT WHOLE" };
        let chosen = if reading.chosen == Some(index) {
            ": these are its settings"
        } else {
            ""
        };
        let _ = writeln!(out, "{place}: {state}{generation}{chosen}");
        for flaw in copy.flaws.iter().take(6) {
            let _ = writeln!(out, "   {flaw}");
        }
    }
    if reading.chosen.is_none() {
        let _ = writeln!(
            out,
            "No copy is whole. What follows was saved from all of them; doubtful values are marked."
        );
    }
    out.push('\n');
    let rows: Vec<Vec<String>> = reading.settings.values().into_iter().map(value_row).collect();
    out.push_str(&columns(&rows));
    let doubtful = reading
        .settings
        .values()
        .iter()
        .filter(|value| value.doubt.is_some())
        .count();
    if doubtful > 0 {
        let all = reading.settings.values().len();
        let _ = writeln!(out, "\n{doubtful} of {all} values are doubtful.");
    }
    out
}

fn value_row(value: &Value) -> Vec<String> {
    let doubt = value
        .doubt
        .as_ref()
        .map_or_else(String::new, |doubt| format!("DOUBTFUL: {doubt}"));
    let kind = if value.kind.is_irreplaceable() {
        value.kind.word()
    } else {
        ""
    };
    vec![value.path.clone(), value.to_string(), kind.to_owned(), doubt]
}

/// What an owner would have after an update: each field before and after.
///
/// # Errors
/// The record made is not one of the layout gone to, which would be our own mistake.
pub fn carried(plan: &Plan, before: &Reading, to: &Layout, made: &Carried) -> Result<String, DumpError> {
    let after = read_record(to, &made.record)?;
    let mut out = format!("Settings of {} as {} would have them\n", plan.from, plan.to);
    for line in wrap(&carrier(plan), 100) {
        let _ = writeln!(out, "{line}");
    }
    out.push('\n');
    let old = before.settings.values();
    let mut rows = vec![vec![
        format!("in {}", plan.to),
        "before".to_owned(),
        "after".to_owned(),
        String::new(),
    ]];
    for value in after.settings.values() {
        let source = source_of(plan, to, value, &old);
        let mut notes = Vec::new();
        if source.is_none() {
            notes.push("new".to_owned());
        }
        if let Some(doubt) = source.and_then(|source| source.doubt.as_ref()) {
            notes.push(format!("DOUBTFUL: {doubt}"));
        }
        notes.extend(happened(to, value, made));
        rows.push(vec![
            value.path.clone(),
            source.map_or_else(|| "-".to_owned(), ToString::to_string),
            value.to_string(),
            notes.join("; "),
        ]);
    }
    out.push_str(&columns(&rows));
    if !plan.lost.is_empty() {
        let _ = writeln!(out, "\nLost");
        let rows: Vec<Vec<String>> = plan
            .lost
            .iter()
            .map(|lost| vec![lost.to_string(), reason(lost)])
            .collect();
        out.push_str(&columns(&rows));
    }
    Ok(out)
}

/// The value that this one came from: by the plan's names, with the same indices in the same order.
fn source_of<'v>(plan: &Plan, to: &Layout, value: &Value, old: &[&'v Value]) -> Option<&'v Value> {
    let leaf = to.leaves().into_iter().find(|leaf| leaf.path == value.path)?;
    let fate = plan.fates.iter().find(|fate| fate.field == leaf.name)?;
    let was = fate.was.as_ref()?;
    old.iter().copied().find(|source| {
        let (name, indices) = taken_apart(&source.path);
        name == *was && indices == leaf.indices
    })
}

fn taken_apart(path: &str) -> (String, Vec<u32>) {
    let mut indices = Vec::new();
    let names: Vec<&str> = path
        .split('.')
        .map(
            |part| match part.strip_suffix(']').and_then(|part| part.split_once('[')) {
                Some((name, index)) => {
                    indices.extend(index.parse::<u32>().ok());
                    name
                }
                None => part,
            },
        )
        .collect();
    (names.join("."), indices)
}

fn happened(to: &Layout, value: &Value, made: &Carried) -> Vec<String> {
    use packstaff_keeper::carry::Happened;
    let leaves = to.leaves();
    let Some(leaf) = leaves.iter().find(|leaf| leaf.path == value.path) else {
        return Vec::new();
    };
    let own = made.notices.iter().filter(|notice| notice.at == leaf.at as usize);
    own.map(|notice| {
        match notice.what {
            Happened::Clamped => "MOVED into its range",
            Happened::Defaulted => "NOT ALLOWED here: as in a new unit",
            Happened::Cut => "CUT to the room there is",
            Happened::GivenBack => "given back from what was kept aside",
        }
        .to_owned()
    })
    .collect()
}

/// A plan as JSON.
pub fn plan_json(plan: &Plan) -> Json {
    let (carrier, because) = match &plan.carrier {
        Carrier::Unchanged => ("unchanged", None),
        Carrier::Keeper => ("keeper", None),
        Carrier::Firmware => ("firmware", None),
        Carrier::Nobody { because } => ("nobody", because.clone()),
    };
    let fates = plan.fates.iter().map(|fate| {
        json!({
            "field": fate.field,
            "means": fate.means,
            "was": fate.was,
            "kind": fate.kind.word(),
            "becomes": fate.becomes,
            "outcome": match fate.outcome {
                Outcome::Kept => "kept",
                Outcome::Converted => "converted",
                Outcome::Defaulted => "new",
            },
            "changes": fate.changes.iter().map(ToString::to_string).collect::<Vec<_>>(),
            "elements": { "carried": fate.elements.0, "all": fate.elements.1 },
        })
    });
    let lost = plan.lost.iter().map(|lost| {
        json!({
            "field": lost.field,
            "what": lost.to_string(),
            "kind": lost.kind.word(),
            "because": lost.because,
            "aside": lost.aside,
        })
    });
    json!({
        "from": plan.from,
        "to": plan.to,
        "way": match plan.way { Way::Up => "up", Way::Down => "down" },
        "carrier": carrier,
        "because": because,
        "fields": fates.collect::<Vec<_>>(),
        "lost": lost.collect::<Vec<_>>(),
        "objections": plan.objections().iter().map(ToString::to_string).collect::<Vec<_>>(),
        "table_bytes": plan.table.len(),
    })
}

/// All plans as JSON.
pub fn matrix_json(matrix: &Matrix) -> Json {
    json!({
        "versions": matrix.versions,
        "pairs": matrix.plans.iter().map(plan_json).collect::<Vec<_>>(),
    })
}
