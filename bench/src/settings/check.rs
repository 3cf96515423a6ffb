//! What becomes of settings between all versions, and what stands in the way of a release.

use super::error::SettingsError;
use super::layouts::history;
use crate::open::Bench;
use packstaff_settings::carry::{Matrix, Objection, Reach};

/// What becomes of settings between all versions of a product.
#[derive(Clone, Debug)]
pub struct Checked {
    /// The product's name.
    pub product: String,
    /// Every pair of versions.
    pub matrix: Matrix,
    /// What stands in the way of a release, each once.
    pub objections: Vec<Objection>,
}

/// Works out what becomes of settings between all versions.
///
/// # Errors
/// No version has a layout, one is wrong, or its rules are.
pub fn check(bench: &Bench) -> Result<Checked, SettingsError> {
    let matrix = history(bench)?.matrix().map_err(SettingsError::Plan)?;
    let reach = Reach {
        oldest: Some(bench.product.policy.oldest.text()),
    };
    let mut objections = Vec::new();
    for version in &matrix.versions {
        for objection in matrix.objections(version, reach) {
            if !objections.contains(&objection) {
                objections.push(objection);
            }
        }
    }
    Ok(Checked {
        product: bench.product.name.clone(),
        matrix,
        objections,
    })
}
