//! What the maker knows: the kind of unit, and every release for it.

use packstaff_envelope::VersionNumbers;
use packstaff_installer::Descriptor;
use packstaff_unit::blueprint::Blueprint;
use serde::Serialize;

/// One release, as the ledger has it, with its image in the clear.
#[derive(Clone, Debug)]
pub struct Release {
    /// The version's text.
    pub version: String,
    /// Its integers.
    pub numbers: VersionNumbers,
    /// The issue.
    pub issue: u64,
    /// Name of the update file.
    pub file_name: String,
    /// The update file.
    pub file: Vec<u8>,
    /// Digest of its manifest.
    pub manifest: [u8; 32],
    /// The image in the clear.
    pub image: Vec<u8>,
    /// Owners may go to it now: the policy and the issue allow it, and it is the newest issue of its version.
    pub offered: bool,
}

/// A release in few words.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize)]
pub struct ReleaseId {
    /// The version's text.
    pub version: String,
    /// The issue.
    pub issue: u64,
}

impl Release {
    /// In few words.
    pub fn id(&self) -> ReleaseId {
        ReleaseId {
            version: self.version.clone(),
            issue: self.issue,
        }
    }

    /// The descriptor that an install of it programs.
    pub fn descriptor(&self) -> Descriptor {
        Descriptor {
            image_size: self.image.len() as u32,
            sequence: self.issue,
            version: self.numbers,
            image_digest: packstaff_envelope::sha256(&self.image),
        }
    }
}

impl std::fmt::Display for ReleaseId {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.version)
    }
}

/// All units of one board revision.
#[derive(Clone, Debug)]
pub struct KindOfUnit {
    /// The board revision.
    pub board: String,
    /// How such units are built: one for each generation of keys that the unit may have, with the generation's name. All have
    /// the same memory map. At least one.
    pub generations: Vec<(String, Blueprint)>,
    /// Every release for this board, of every issue.
    pub releases: Vec<Release>,
}

impl KindOfUnit {
    /// One blueprint for all that the generations have in common.
    pub(crate) fn blueprint(&self) -> Option<&Blueprint> {
        self.generations.first().map(|(_, blueprint)| blueprint)
    }

    /// The releases of these places in the list, in few words, each once.
    pub(crate) fn ids(&self, of: &[usize]) -> Vec<ReleaseId> {
        let mut ids: Vec<_> = of
            .iter()
            .filter_map(|index| self.releases.get(*index))
            .map(Release::id)
            .collect();
        ids.dedup();
        ids
    }

    /// The release that a descriptor names.
    pub(crate) fn named(&self, descriptor: &Descriptor) -> Option<usize> {
        let exact = self
            .releases
            .iter()
            .position(|release| release.descriptor() == *descriptor);
        exact.or_else(|| {
            self.releases
                .iter()
                .position(|release| release.descriptor().image_digest == descriptor.image_digest)
        })
    }
}
