//! What can be wrong with a loader, whatever happens to its unit.

use crate::calls::{BOOT, Call, MEMORY, MODULE, REASONS};
use packstaff_unit::flash::FlashFault;
use std::fmt;
use thiserror::Error;

/// Where in the loader something went wrong.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// The function's name, if the module has names.
    pub function: Option<String>,
    /// The function's number.
    pub index: u32,
    /// Bytes from the module's start.
    pub offset: Option<usize>,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.function {
            Some(name) => write!(f, "in {name}")?,
            None => write!(f, "in function {}", self.index)?,
        }
        if let Some(offset) = self.offset {
            write!(f, ", byte {offset:#x} of the module")?;
        }
        Ok(())
    }
}

/// The way into a trap, innermost first; at most the nearest few functions.
#[derive(Clone, Debug, PartialEq, Eq, Default)]
pub struct Way(pub Vec<Place>);

impl fmt::Display for Way {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, place) in self.0.iter().enumerate() {
            match index {
                0 => write!(f, " {place}")?,
                _ => match &place.function {
                    Some(name) => write!(f, ", called by {name}")?,
                    None => write!(f, ", called by function {}", place.index)?,
                },
            }
        }
        Ok(())
    }
}

/// A loader that cannot be rehearsed, or cannot go on.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum LoaderFault {
    /// The file is no module, or uses what the sandbox does not have.
    #[error("this is not a WebAssembly module that can be run here: {why}")]
    NotWebAssembly {
        /// What was found.
        why: String,
    },
    /// A call that no unit provides.
    #[error("the loader asks for {module}.{name}, which is none of the calls of a unit")]
    UnknownCall {
        /// Whose.
        module: String,
        /// Which.
        name: String,
    },
    /// A call with other numbers than the header has.
    #[error("the loader declares {name} as {found}; the header has it as {expected}")]
    OtherCall {
        /// Which.
        name: String,
        /// As in the module.
        found: String,
        /// As in the header.
        expected: String,
    },
    /// No entry.
    #[error("the module exports no function {BOOT} that takes and gives nothing{}", .found.as_ref().map(|found| format!(": it is {found}")).unwrap_or_default())]
    NoBoot {
        /// What has that name.
        found: Option<String>,
    },
    /// No memory.
    #[error("the module exports no memory under the name {MEMORY}, so that nothing can be read into it")]
    NoMemory,
    /// More memory than is allowed.
    #[error("the loader has {asked} bytes of memory at power-up, and {allowed} are allowed")]
    TooMuchMemory {
        /// At least.
        asked: u64,
        /// The limit.
        allowed: usize,
    },
    /// It could not be brought into memory.
    #[error("the module cannot be brought into memory: {why}")]
    NotLoaded {
        /// Why.
        why: String,
    },
    /// A trap.
    #[error("the loader breaks off{way}: {what}")]
    Trap {
        /// What happened.
        what: String,
        /// Where.
        way: Way,
    },
    /// It computes for ever.
    #[error("the loader runs for more than {instructions} instructions without a call{way}")]
    Endless {
        /// The limit.
        instructions: u64,
        /// Where it was then.
        way: Way,
    },
    /// It calls for ever.
    #[error("the loader makes more than {calls} calls after one power-up without coming to an end")]
    TooManyCalls {
        /// The limit.
        calls: u32,
    },
    /// A buffer that is not inside the loader's memory.
    #[error("{call} is given a buffer of {len} bytes at {pointer:#x}, outside the loader's memory of {memory} bytes")]
    Buffer {
        /// The call.
        call: &'static str,
        /// The buffer's address.
        pointer: u32,
        /// Its length.
        len: u32,
        /// The memory's size.
        memory: usize,
    },
    /// A read outside the part.
    #[error(
        "{call} asks for {len} bytes at {address:#010x}, outside the part's flash from {first:#010x} to {last:#010x}"
    )]
    OutsidePart {
        /// The call.
        call: &'static str,
        /// First address.
        address: u32,
        /// Bytes.
        len: u32,
        /// First address of the part.
        first: u32,
        /// Its last.
        last: u32,
    },
    /// A change that the part does not carry out, with no fault of power, stick or flash.
    #[error("the loader asks for what the part does not do: {0}")]
    Refused(FlashFault),
    /// It returned.
    #[error("{BOOT} returned, and the processor has nowhere to go")]
    Returned,
    /// A reason that the header does not have.
    #[error("the loader waits for reason {found}, which the header does not have")]
    NoReason {
        /// The number.
        found: u32,
    },
}

impl LoaderFault {
    /// What to do about it.
    pub fn help(&self) -> String {
        match self {
            Self::NotWebAssembly { .. } => "Compile the loader with clang --target=wasm32 (Debian packages clang and lld), as \
                 examples/own-loader/Makefile does; leave out floating vectors, threads and exceptions."
                .to_owned(),
            Self::UnknownCall { module, .. } => {
                let known: Vec<_> = Call::ALL.iter().map(|call| call.name).collect();
                let calls = format!(
                    "A loader may call {} of module {MODULE}, and nothing else.",
                    known.join(", ")
                );
                match module.as_str() {
                    MODULE => format!("{calls} Is it spelt as in packstaff_loader.h?"),
                    _ => format!(
                        "{calls} Link it without a C library (-nostdlib), and define or leave out what the linker did not find."
                    ),
                }
            }
            Self::OtherCall { .. } => "Include packstaff_loader.h instead of declaring the calls yourself.".to_owned(),
            Self::NoBoot { .. } => {
                format!("Define void {BOOT}(void) and include packstaff_loader.h, which marks it for export.")
            }
            Self::NoMemory => "Do not strip or rename the memory: wasm-ld exports it by itself.".to_owned(),
            Self::TooMuchMemory { .. } => {
                "Make large arrays smaller, or allow for more: memory, under [limits] in the unit's description.".to_owned()
            }
            Self::NotLoaded { .. } => {
                "Check that initialised data fit into the module's memory: link it again with wasm-ld.".to_owned()
            }
            Self::Trap { .. } => "On the unit this would be a fault of the processor, or worse: see the function named here. With \
                 -O0 and -g0, names and order are closer to the source."
                .to_owned(),
            Self::Endless { .. } => "Is there a loop that waits for something? Waiting is packstaff_wait. If the loader computes \
                 for long, allow for more: instructions, under [limits] in the unit's description."
                .to_owned(),
            Self::TooManyCalls { .. } => "Is there a loop that tries again for ever? End it in packstaff_wait: power comes on \
                 again. If the loader reads in small pieces, read larger ones, or allow for more: calls, under [limits]."
                .to_owned(),
            Self::Buffer { .. } => "Look at the buffer's address and length: on the unit, the call would write over something."
                .to_owned(),
            Self::OutsidePart { .. } => "Check a length or an address from flash or from the stick before it is used: \
                 a torn record can hold anything."
                .to_owned(),
            Self::Refused(_) => "Compare sector addresses and granule with the part's, and erase before programming.".to_owned(),
            Self::Returned => format!("End {BOOT} in packstaff_start or packstaff_wait on every way."),
            Self::NoReason { .. } => {
                let first = REASONS.first().map_or("", |reason| reason.1);
                format!("Use a reason of enum packstaff_reason, such as {first}.")
            }
        }
    }
}
