//! Plans and dumps as JSON.

use packstaff_settings::carry::{Carrier, Matrix, Outcome, Plan};
use packstaff_settings::dump::Reading;
use packstaff_settings::layout::Way;
use serde_json::{Value as Json, json};

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

/// A dump as JSON.
pub fn reading_json(reading: &Reading) -> Json {
    let copies = reading.copies.iter().map(|copy| {
        json!({
            "address": copy.address,
            "whole": copy.is_whole(),
            "generation": copy.generation,
            "flaws": copy.flaws.iter().map(ToString::to_string).collect::<Vec<_>>(),
        })
    });
    json!({
        "whole": reading.chosen.is_some(),
        "copies": copies.collect::<Vec<_>>(),
        "settings": reading.settings.to_json(),
    })
}
