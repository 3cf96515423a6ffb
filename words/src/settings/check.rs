//! What becomes of settings between all versions, in words.

use super::tables::matrix;
use packstaff_bench::settings::Checked;
use std::fmt::Write;

/// Every pair of versions, what stands in the way of a release, and a conclusion.
pub fn check(checked: &Checked) -> String {
    let versions = checked.matrix.versions.len();
    let mut out = format!("{}, settings of {versions} versions\n\n", checked.product);
    out.push_str(&matrix(&checked.matrix));
    for objection in &checked.objections {
        let _ = writeln!(out, "\nNO {objection}.\n   {}.", objection.advice());
    }
    let conclusion = match checked.objections.len() {
        0 => "No calibration and no counter is lost without a reason.".to_owned(),
        1 => "One thing stands in the way of a release.".to_owned(),
        count => format!("{count} things stand in the way of a release."),
    };
    let _ = writeln!(out, "\n{conclusion}");
    out
}
