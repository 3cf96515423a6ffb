//! Installers and settings stores with a planted mistake each. The rehearsal must catch every one of them, or it proves nothing.
//!
//! Each mistake is a patch of the machine's own sources, one file in a folder here. The build script copies what decides (the
//! machine and its stages), applies the patch, and compiles each copy as a module; the types of requests, replies and configurations are
//! the original's. Nothing of this is in the code that units link.
//!
//! ```ignore
//! let machine = packstaff_mutants::installer::Mutation::SkipsVoid.machine();
//! ```

mod installer_machine;
mod keeper_machine;

/// Installers with a mistake.
pub mod installer {
    pub use crate::installer_machine::Machine;
    use crate::installer_machine::machine;

    include!(concat!(env!("OUT_DIR"), "/installer.rs"));
}

/// Installers whose processor passes a decision by.
pub mod disturbed {
    pub use crate::installer_machine::Machine;
    use crate::installer_machine::machine;

    include!(concat!(env!("OUT_DIR"), "/disturbed.rs"));
}

/// Settings stores with a mistake.
pub mod keeper {
    pub use crate::keeper_machine::Machine;
    use crate::keeper_machine::{ASIDE, ROOM, machine};

    include!(concat!(env!("OUT_DIR"), "/keeper.rs"));
}

/// What the copies of the installer share with the original, by the names of its modules.
mod installer_shared {
    pub(crate) mod config {
        pub(crate) use packstaff_installer::{Config, GRANULE_MAX, Layout, StartCheck};
        /// As in an installer with all layouts.
        pub(crate) const ONE_PLACE: bool = false;
        /// As in an installer that digests at every start.
        pub(crate) const BY_DESCRIPTOR: bool = false;
    }
    pub(crate) use packstaff_installer as descriptor;
    pub(crate) use packstaff_installer as geometry;
    pub(crate) use packstaff_installer as listing;
    pub(crate) use packstaff_installer as progress;
    pub(crate) use packstaff_installer as reason;
    pub(crate) use packstaff_installer as register;
    pub(crate) use packstaff_installer as request;
}

/// What the copies of the keeper share with the original, by the names of its modules.
mod keeper_shared {
    pub(crate) use packstaff_keeper as config;
    pub(crate) use packstaff_keeper as record;
    pub(crate) use packstaff_keeper as request;
    pub(crate) use packstaff_keeper::{carry, table};
}
