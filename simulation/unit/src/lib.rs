//! What a unit is made of: flash geometry, timing, and the simulated world that outlives a power cut.
//!
//! The world is simulated; the installer in it is not: [`drive`] carries out the requests of the very state machine that
//! a unit links.
//!
//! ```
//! use packstaff_unit::flash::{Change, Flash, FlashLayout, SumKey};
//! use packstaff_unit::part::PartsTable;
//! use std::sync::Arc;
//!
//! let part = PartsTable::built_in().part("stm32g474-512k")?;
//! let mut flash = Flash::erased(Arc::new(FlashLayout::of(part)), SumKey::fixed());
//! let data = b"8 bytes.".to_vec();
//! flash.apply(&Change::Program { address: 0x0800_0000, data })?;
//! assert_eq!(flash.bytes(0x0800_0000, 9)?, b"8 bytes.\xff");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

pub mod blueprint;
pub mod drive;
pub mod flash;
pub mod settings_memory;
pub mod stick;
pub mod timing;
pub mod world;

// Units are built of parts: a layout of flash comes from one, and times do.
pub use packstaff_parts as part;
