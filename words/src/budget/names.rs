//! What updates and what is finished after a cut are called.

use packstaff_bench::budget::{Finishing, UpdateOf};

/// An update, behind the words "An update".
pub(super) fn update(of: &UpdateOf) -> String {
    match of {
        UpdateOf::Newest(version) => format!("to {version}"),
        UpdateOf::FillingSlot => "that fills the slot".to_owned(),
    }
}

/// What has to be finished after a cut.
pub(super) fn finishing(what: &Finishing) -> String {
    match what {
        Finishing::Page => "one page".to_owned(),
        Finishing::Save(name) => format!("a whole save of {name}"),
    }
}
