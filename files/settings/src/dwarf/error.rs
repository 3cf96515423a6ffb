//! Why a layout cannot be read from a build.

use thiserror::Error;

/// Why a layout cannot be read from a build.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum DwarfError {
    /// Not an ELF file that can be read.
    #[error("this is not a readable ELF file: {0}. Give the ELF file that the linker wrote, not a hex or binary file")]
    NotElf(String),
    /// An object file, whose addresses and offsets are not final.
    #[error("this is an object file that has not been linked. Give the ELF file that the linker wrote")]
    NotLinked,
    /// No debug information.
    #[error("the file has no debug information. Build with -g, and do not strip the ELF file")]
    NoDebug,
    /// The debug information cannot be followed.
    #[error("the debug information is damaged: {0}. Build the file again")]
    Damaged(String),
    /// No such struct, typedef or variable.
    #[error("nothing in the debug information is called {name:?}.{}", near_text(near.as_deref()))]
    NotFound {
        /// The name looked for.
        name: String,
        /// A name that was probably meant.
        near: Option<String>,
    },
    /// Not a struct.
    #[error("{name:?} is {found}; a record is a struct. Put it into one, or name another type")]
    NotAStruct {
        /// The name looked for.
        name: String,
        /// What it is.
        found: String,
    },
    /// Two types of the same name that differ.
    #[error("{name:?} is laid out in two ways in this build. Give the types different names, or name a variable")]
    Ambiguous {
        /// The name.
        name: String,
    },
    /// A member that a record cannot have.
    #[error("member {path} is {found}. {advice}")]
    Member {
        /// Path of the member.
        path: String,
        /// What it is.
        found: String,
        /// What to do.
        advice: &'static str,
    },
    /// Too large or too deep.
    #[error("{name:?} has {found}; the most is {most}")]
    TooMuch {
        /// The type.
        name: String,
        /// What there is too much of.
        found: String,
        /// The most.
        most: String,
    },
}

fn near_text(near: Option<&str>) -> String {
    near.map_or_else(
        || " Name a struct, a typedef or a variable of the firmware".to_owned(),
        |near| format!(" Did you mean {near:?}?"),
    )
}

impl From<gimli::Error> for DwarfError {
    fn from(error: gimli::Error) -> Self {
        Self::Damaged(error.to_string())
    }
}
