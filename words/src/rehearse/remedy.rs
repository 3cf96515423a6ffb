//! What to do where there is no rehearsal.

use super::rows::UnknownBoard;
use crate::remedy::Remedy;
use packstaff_bench::rehearse::RehearseError;
use packstaff_document::DocumentError;

impl Remedy for RehearseError {
    fn remedy(&self) -> Option<String> {
        let text = match self {
            Self::Open(error) => return error.remedy(),
            Self::Settings(error) => return error.remedy(),
            Self::NoBoard(_) => "name a `revision` of product.toml",
            Self::Barred { version, .. } => {
                return Some(format!(
                    "issue {version} again under the higher number, or rehearse another version"
                ));
            }
            Self::NoSuchBeginning(_) => "name a version in the ledger other than the one to come to, or `new`",
            Self::TooLarge { node_bytes, .. } => {
                return Some(format!(
                    "allow for more with --nodes (about {node_bytes} bytes of memory each), begin with fewer versions, or leave faults \
                     out with --faults"
                ));
            }
            Self::NoAnswer { .. } => "please report it: our own installer should not come to this",
            _ => return None,
        };
        Some(text.to_owned())
    }

    fn document(&self) -> Option<&DocumentError> {
        match self {
            Self::Open(error) => error.document(),
            Self::Settings(error) => error.document(),
            _ => None,
        }
    }
}

impl Remedy for UnknownBoard {
    fn remedy(&self) -> Option<String> {
        Some("the record has been changed since it was made: make it again".to_owned())
    }
}
