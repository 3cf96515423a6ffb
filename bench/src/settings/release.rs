//! What becomes of owners' settings when a version is released.

use super::error::SettingsError;
use super::layouts::{described, put_together, released};
use crate::open::Bench;
use packstaff_product::Version;
use packstaff_settings::carry::{Matrix, Objection, Plan, Reach};
use packstaff_settings::dwarf::{DwarfError, differences};
use packstaff_settings::layout::{Layout, Way};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

/// What becomes of settings when a version is released.
#[derive(Clone, Debug)]
pub struct ReleaseSettings {
    /// The version.
    pub version: String,
    /// Released versions whose file in the product folder is no longer what was released.
    pub changed: Vec<String>,
    /// The version's own layout, and what follows from it; `None` if it has none, though others have.
    pub own: Option<OwnLayout>,
}

/// A layout that is released, and what follows from it.
#[derive(Clone, Debug)]
pub struct OwnLayout {
    /// The layout.
    pub layout: Layout,
    /// Board by board, in the order of the product file: its revision, and the layout against its build.
    pub builds: Vec<(String, AsBuilt)>,
    /// Released versions that have no layout: what becomes of their owners' settings is not known.
    pub without: Vec<String>,
    /// What becomes of settings between this version and those that were released.
    pub matrix: Matrix,
    /// What stands in the way of the release.
    pub objections: Vec<Objection>,
}

/// A layout file against the debug information of a build.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum AsBuilt {
    /// They agree.
    Same,
    /// They do not: each difference.
    Differs(Vec<String>),
    /// The build has no debug information about the record.
    NotCompared,
    /// The debug information cannot be followed.
    Unreadable(DwarfError),
}

/// What becomes of settings when this version goes out; `None` if no version is described. Builds that are not where the product
/// file says are in `builds`, by board revision.
///
/// # Errors
/// A layout file is wrong, or its rules are; or a build cannot be read.
pub fn of_release(
    bench: &Bench,
    version: &Version,
    builds: &BTreeMap<String, PathBuf>,
) -> Result<Option<ReleaseSettings>, SettingsError> {
    // Rules name earlier versions whether or not they were released from this folder; judged is what was.
    let released = released(bench);
    let described = described(bench)?;
    let judged = |other: &str| other == version.text() || released.contains(other);
    if !described.layouts.iter().any(|layout| judged(&layout.version)) {
        return Ok(None);
    }
    let mut settings = ReleaseSettings {
        version: version.text().to_owned(),
        changed: described.changed,
        own: None,
    };
    let own = described.layouts.iter().find(|layout| layout.version == version.text());
    let Some(layout) = own.cloned() else {
        return Ok(Some(settings));
    };
    let without = described.without.into_iter().filter(|other| judged(other)).collect();
    let builds = against_builds(bench, &layout, builds)?;
    let matrix = put_together(described.layouts)?.matrix();
    let mut matrix = matrix.map_err(SettingsError::Carry)?;
    matrix.plans.retain(|plan| judged(&plan.from) && judged(&plan.to));
    let reach = Reach {
        oldest: Some(bench.product.policy.oldest.text()),
    };
    settings.own = Some(OwnLayout {
        objections: matrix.objections(version.text(), reach),
        layout,
        builds,
        without,
        matrix,
    });
    Ok(Some(settings))
}

/// The layout file against the debug information of each board's build.
fn against_builds(
    bench: &Bench,
    layout: &Layout,
    builds: &BTreeMap<String, PathBuf>,
) -> Result<Vec<(String, AsBuilt)>, SettingsError> {
    let boards = bench.product.boards.iter();
    let compared = boards.map(|board| {
        let built = match builds.get(&board.revision) {
            Some(path) => as_built(layout, path),
            None => as_built(layout, &bench.folder().join(board.build_path(&layout.version))),
        };
        Ok((board.revision.clone(), built?))
    });
    compared.collect()
}

fn as_built(layout: &Layout, path: &Path) -> Result<AsBuilt, SettingsError> {
    let content = std::fs::read(path).map_err(|error| SettingsError::Unreadable {
        path: path.to_owned(),
        error,
    })?;
    Ok(match differences(layout, &content) {
        Ok(found) if found.is_empty() => AsBuilt::Same,
        Ok(found) => AsBuilt::Differs(found),
        Err(DwarfError::NotElf(_) | DwarfError::NoDebug | DwarfError::NotFound { .. } | DwarfError::NotLinked) => {
            AsBuilt::NotCompared
        }
        Err(other) => AsBuilt::Unreadable(other),
    })
}

impl ReleaseSettings {
    /// Whether nothing stands in the way of the release.
    pub fn holds(&self) -> bool {
        self.changed.is_empty() && self.own.as_ref().is_some_and(OwnLayout::holds)
    }

    /// What becomes of settings; `None` if the version's layout is not described.
    pub fn matrix(&self) -> Option<&Matrix> {
        self.own.as_ref().map(|own| &own.matrix)
    }
}

impl OwnLayout {
    fn holds(&self) -> bool {
        let builds = self.builds.iter().all(|(_, built)| built.holds());
        // Ways up from this version were judged when the later one was released.
        builds && self.plans().all(|plan| self.objections_to(plan).next().is_none())
    }

    /// The ways to this version, and the ways back from it.
    pub fn plans(&self) -> impl Iterator<Item = &Plan> {
        let version = &self.layout.version;
        let concerns = move |plan: &&Plan| plan.to == *version || plan.from == *version && plan.way == Way::Down;
        self.matrix.plans.iter().filter(concerns)
    }

    /// What stands in the way of a release because of this way.
    pub fn objections_to(&self, plan: &Plan) -> impl Iterator<Item = &Objection> {
        self.objections.iter().filter(|objection| match objection {
            Objection::Loses { from, to, .. } | Objection::LeftAlone { from, to, .. } => {
                *from == plan.from && *to == plan.to
            }
        })
    }
}

impl AsBuilt {
    /// Whether it does not stand in the way of a release.
    pub const fn holds(&self) -> bool {
        matches!(self, Self::Same | Self::NotCompared)
    }
}
