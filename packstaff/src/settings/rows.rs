//! The settings' part of a release's verdict.

use super::layouts::{described, put_together, released};
use super::told::counts;
use miette::{IntoDiagnostic, Result, WrapErr};
use packstaff_bench::open::Bench;
use packstaff_product::Version;
use packstaff_settings::carry::{Carrier, Matrix, Objection, Plan, Reach};
use packstaff_settings::dwarf::{DwarfError, differences};
use packstaff_settings::layout::{Layout, Way};
use packstaff_words::report::{Cell, Report, Verdict};
use std::collections::BTreeMap;
use std::path::PathBuf;

const SECTION: &str = "Settings";

/// What becomes of settings when this version goes out; `None` if the product folder describes none.
///
/// # Errors
/// A layout file is wrong, or its rules are.
pub(crate) fn release_rows(
    bench: &Bench,
    version: &Version,
    builds: &BTreeMap<String, PathBuf>,
    report: &mut Report,
) -> Result<Option<Matrix>> {
    // Rules name earlier versions whether or not they were released from this folder; judged is what was.
    let released = released(bench);
    let versions: Vec<&Version> = bench.product.versions.list.iter().collect();
    let described = described(bench, &versions)?;
    let judged = |other: &str| other == version.text() || released.contains(other);
    if !described.layouts.iter().any(|layout| judged(&layout.version)) {
        return Ok(None);
    }
    for changed in &described.changed {
        everywhere(
            report,
            &format!("released-{changed}"),
            &format!("The layout of {changed} is as released"),
            &Cell::fail(
                format!("settings/{changed}.toml is not the file that was released"),
                "the recorded layout: what units in the field hold does not change any more",
                "Take the file from your version control again. A version with another layout is another version.",
            ),
        );
    }
    let Some(own) = described.layouts.iter().find(|layout| layout.version == version.text()) else {
        everywhere(
            report,
            "described",
            "The layout is described",
            &Cell::fail(
                format!("no settings/{version}.toml"),
                "a description of what this version keeps, as earlier versions have one",
                "Copy the file of the version before and change what changed, or make one with `packstaff settings import`.",
            ),
        );
        return Ok(None);
    };
    against_builds(bench, own, builds, report)?;
    for without in described.without.iter().filter(|other| judged(other)) {
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
    let mut matrix = put_together(described.layouts.clone())?
        .matrix()
        .into_diagnostic()
        .wrap_err("what becomes of settings cannot be worked out")?;
    matrix.plans.retain(|plan| judged(&plan.from) && judged(&plan.to));
    let reach = Reach {
        oldest: Some(bench.product.policy.oldest.text()),
    };
    let objections = matrix.objections(version.text(), reach);
    for plan in matrix.plans.iter().filter(|plan| concerns(plan, version.text())) {
        let (id, title) = match plan.to == version.text() {
            true => (format!("from-{}", plan.from), format!("From {}", plan.from)),
            false => (format!("to-{}", plan.to), format!("Back to {}", plan.to)),
        };
        everywhere(report, &id, &title, &cell(plan, &objections));
    }
    Ok(Some(matrix))
}

fn concerns(plan: &Plan, version: &str) -> bool {
    plan.to == version || plan.from == version && plan.way == Way::Down
}

fn everywhere(report: &mut Report, id: &str, title: &str, cell: &Cell) {
    for column in 0..report.columns.len() {
        report.set(SECTION, id, title, column, cell.clone());
    }
}

fn cell(plan: &Plan, objections: &[Objection]) -> Cell {
    let own = |objection: &&Objection| match objection {
        Objection::Loses { from, to, .. } | Objection::LeftAlone { from, to, .. } => {
            *from == plan.from && *to == plan.to
        }
    };
    let own: Vec<&Objection> = objections.iter().filter(own).collect();
    if let Some(first) = own.first() {
        let found: Vec<String> = own.iter().map(ToString::to_string).collect();
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

/// The layout file against the debug information of each board's build.
fn against_builds(
    bench: &Bench,
    layout: &Layout,
    builds: &BTreeMap<String, PathBuf>,
    report: &mut Report,
) -> Result<()> {
    for (column, board) in bench.product.boards.iter().enumerate() {
        let path = match builds.get(&board.revision) {
            Some(path) => path.clone(),
            None => bench.folder().join(board.build_path(&layout.version)),
        };
        let content = std::fs::read(&path)
            .into_diagnostic()
            .wrap_err_with(|| format!("{} cannot be read", path.display()))?;
        let cell = match differences(layout, &content) {
            Ok(found) if found.is_empty() => Cell::pass(format!("{} bytes", layout.record.size)),
            Ok(found) => Cell::fail(
                found.iter().take(4).cloned().collect::<Vec<_>>().join("; "),
                format!("struct {} as the build has it", layout.record.name),
                format!(
                    "Correct settings/{}.toml, or the firmware. `packstaff settings import` shows what the build has.",
                    layout.version
                ),
            ),
            Err(DwarfError::NotElf(_) | DwarfError::NoDebug | DwarfError::NotFound { .. } | DwarfError::NotLinked) => {
                Cell {
                    explanation: format!(
                        "The build has no debug information about struct {}, so nothing can be compared. Build with -g to have it.",
                        layout.record.name
                    ),
                    ..Cell::pass("not compared")
                }
            }
            Err(other) => Cell::fail(
                other.to_string(),
                "debug information that can be followed",
                "Build it again with -g.",
            ),
        };
        report.set(SECTION, "as-built", "The layout is as the build has it", column, cell);
    }
    Ok(())
}
