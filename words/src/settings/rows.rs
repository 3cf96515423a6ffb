//! The settings' part of a release's report.

use super::tables::counts;
use crate::report::{Cell, Report, Verdict};
use packstaff_bench::settings::{AsBuilt, OwnLayout, ReleaseSettings};
use packstaff_settings::carry::{Carrier, Objection, Plan};
use packstaff_settings::layout::Layout;

const SECTION: &str = "Settings";

/// What becomes of settings when a version is released, as rows.
pub fn set_release(report: &mut Report, settings: &ReleaseSettings) {
    for changed in &settings.changed {
        let cell = Cell::fail(
            format!("settings/{changed}.toml is not the file that was released"),
            "the recorded layout: what units in the field hold does not change any more",
            "Take the file from your version control again. A version with another layout is another version.",
        );
        let title = format!("The layout of {changed} is as released");
        everywhere(report, &format!("released-{changed}"), &title, &cell);
    }
    match &settings.own {
        Some(own) => set_own(report, own),
        None => {
            let cell = Cell::fail(
                format!("no settings/{}.toml", settings.version),
                "a description of what this version keeps, as earlier versions have one",
                "Copy the file of the version before and change what changed, or make one with `packstaff settings import`.",
            );
            everywhere(report, "described", "The layout is described", &cell);
        }
    }
}

fn set_own(report: &mut Report, own: &OwnLayout) {
    for (column, (_, built)) in own.builds.iter().enumerate() {
        let title = "The layout is as the build has it";
        report.set(SECTION, "as-built", title, column, built_cell(&own.layout, built));
    }
    for without in &own.without {
        let cell = Cell {
            verdict: Verdict::Warn,
            ..Cell::fail(
                format!("no settings/{without}.toml"),
                "a description of what that version keeps",
                "What becomes of the settings of its owners is not known.",
            )
        };
        everywhere(report, &format!("from-{without}"), &format!("From {without}"), &cell);
    }
    for plan in own.plans() {
        let (id, title) = match plan.to == own.layout.version {
            true => (format!("from-{}", plan.from), format!("From {}", plan.from)),
            false => (format!("to-{}", plan.to), format!("Back to {}", plan.to)),
        };
        everywhere(report, &id, &title, &plan_cell(own, plan));
    }
}

fn everywhere(report: &mut Report, id: &str, title: &str, cell: &Cell) {
    for column in 0..report.columns.len() {
        report.set(SECTION, id, title, column, cell.clone());
    }
}

fn plan_cell(own: &OwnLayout, plan: &Plan) -> Cell {
    let objections: Vec<&Objection> = own.objections_to(plan).collect();
    if let Some(first) = objections.first() {
        let found: Vec<String> = objections.iter().map(ToString::to_string).collect();
        return Cell::fail(
            found.join("; "),
            "every calibration and counter is carried over, or a reason is given why not",
            format!("{}.", first.advice()),
        );
    }
    let figure = match &plan.carrier {
        Carrier::Unchanged => "the same layout".to_owned(),
        Carrier::Nobody { .. } => "left as they are".to_owned(),
        Carrier::Keeper | Carrier::Firmware => counts(plan),
    };
    Cell {
        explanation: match &plan.carrier {
            Carrier::Nobody { because: Some(because) } => because.clone(),
            _ => String::new(),
        },
        ..Cell::pass(figure)
    }
}

fn built_cell(layout: &Layout, built: &AsBuilt) -> Cell {
    let name = &layout.record.name;
    match built {
        AsBuilt::Same => Cell::pass(format!("{} bytes", layout.record.size)),
        AsBuilt::Differs(found) => Cell::fail(
            found.iter().take(4).cloned().collect::<Vec<_>>().join("; "),
            format!("struct {name} as the build has it"),
            format!(
                "Correct settings/{}.toml, or the firmware. `packstaff settings import` shows what the build has.",
                layout.version
            ),
        ),
        AsBuilt::NotCompared => Cell {
            explanation: format!(
                "The build has no debug information about struct {name}, so nothing can be compared. Build with -g to have it."
            ),
            ..Cell::pass("not compared")
        },
        AsBuilt::Unreadable(error) => Cell::fail(
            error.to_string(),
            "debug information that can be followed",
            "Build it again with -g.",
        ),
    }
}
