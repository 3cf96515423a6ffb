//! What cargo knows of the packages: `cargo metadata`, as far as it is needed here.

use crate::run::{House, capture};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

#[derive(Deserialize)]
pub(crate) struct Metadata {
    pub(crate) packages: Vec<Package>,
    pub(crate) workspace_members: Vec<String>,
}

#[derive(Deserialize)]
pub(crate) struct Package {
    pub(crate) id: String,
    pub(crate) name: String,
    pub(crate) version: String,
    /// `None` for packages of the workspace.
    pub(crate) source: Option<String>,
    /// An SPDX expression.
    pub(crate) license: Option<String>,
    pub(crate) dependencies: Vec<Dependency>,
    /// What each feature switches on.
    pub(crate) features: BTreeMap<String, Vec<String>>,
    pub(crate) manifest_path: PathBuf,
    /// The registries that it may go to; `None` for any, and an empty list for none.
    publish: Option<Vec<String>>,
}

impl Package {
    /// Whether others can use it: chores, proofs and the like stay in the house.
    pub(crate) fn is_for_others(&self) -> bool {
        self.publish.as_ref().is_none_or(|registries| !registries.is_empty())
    }

    /// The folder with its manifest.
    pub(crate) fn folder(&self) -> &Path {
        self.manifest_path.parent().unwrap_or(&self.manifest_path)
    }
}

#[derive(Deserialize)]
pub(crate) struct Dependency {
    pub(crate) name: String,
    /// `None` for an ordinary one, `dev` for tests, `build` for build scripts.
    pub(crate) kind: Option<String>,
    /// Only packages of the workspace have one.
    pub(crate) path: Option<PathBuf>,
}

impl Metadata {
    /// Reads the packages of a workspace and everything that they depend on, as its Cargo.lock fixes it.
    pub(crate) fn of(house: &House, manifest: &str) -> Result<Self, String> {
        let json = capture(&mut house.cargo(&[
            "metadata",
            "--format-version",
            "1",
            "--locked",
            "--manifest-path",
            manifest,
        ]))?;
        serde_json::from_slice(&json).map_err(|error| format!("cargo metadata: {error}"))
    }

    /// The workspace's own packages.
    pub(crate) fn members(&self) -> impl Iterator<Item = &Package> {
        self.packages
            .iter()
            .filter(|package| self.workspace_members.contains(&package.id))
    }
}
