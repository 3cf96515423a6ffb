//! Bringing files, or a whole image, to where a stick is: each thing is written, brought to the medium, read back from there, and
//! compared.

mod device;
mod folder;
mod system;

pub use device::{Permit, erase_and_write, words};
pub use folder::{DeliverError, Delivered, SameName, deliver, other_updates};
pub use system::{DeviceFacts, DeviceRefusal, System};

use std::fs::File;
use std::io;

/// Brings a file to its medium, and asks the system to forget what it holds of it, so that reading it again reads the medium.
///
/// That the system forgets is a wish that it may not grant: then what is compared is what it would write.
fn settle(file: &File) -> io::Result<()> {
    file.sync_all()?;
    #[cfg(target_os = "linux")]
    rustix::fs::fadvise(file, 0, None, rustix::fs::Advice::DontNeed).map_err(io::Error::from)?;
    Ok(())
}
