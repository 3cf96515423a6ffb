//! The C side's structs and constants, as `include/packstaff_installer.h` has them. A test compares the two.
//!
//! Kinds are plain integers and no enumerations: a C caller can put any value there, and compilers disagree about the size of
//! an enumeration.

use packstaff_envelope::KID_MAX;

/// Bytes of storage that a machine takes at most. With 64-bit addresses.
#[cfg(target_pointer_width = "64")]
pub const INSTALLER_SIZE: usize = 4864 + WIDER;
/// Bytes of storage that a machine takes at most. With 32-bit addresses.
#[cfg(not(target_pointer_width = "64"))]
pub const INSTALLER_SIZE: usize = 4736 + WIDER;
/// What the room for HSS-LMS signatures adds, where the installer has it.
pub const WIDER: usize = packstaff_envelope::HEADER_MAX - packstaff_envelope::HEADER_MAX_NARROW;
/// Bytes of storage that a digest takes at most.
pub const DIGEST_SIZE: usize = 128;
/// Alignment of storage, in bytes.
pub const STORAGE_ALIGN: usize = 8;

/// Bytes of the largest signing key.
pub const SIGNING_KEY_LEN: usize = 60;
/// Signing keys that a configuration may have.
pub const ANCHORS_MAX: usize = 4;
/// Sector runs that a configuration may have.
pub const RUNS_MAX: usize = 8;
/// Class identifiers of other boards that a configuration may have.
pub const SIBLINGS_MAX: usize = 32;
/// The row that stands for "leave everything as it is".
pub const NO_ROW: u32 = u32::MAX;
/// Bytes of a shown file name, with the zero at its end.
pub const NAME_LEN: usize = 13;

/// What calls return.
pub mod returns {
    /// Done.
    pub const OK: u32 = 0;
    /// A pointer that must be there is null.
    pub const NULL: u32 = 1;
    /// A pointer is not aligned for what it points to.
    pub const MISALIGNED: u32 = 2;
    /// The storage is too small: header and library are not of the same version.
    pub const TOO_SMALL: u32 = 3;
    /// No machine was begun in this storage, or it was ended.
    pub const NOT_BEGUN: u32 = 4;
    /// The configuration breaks a rule.
    pub const CONFIG: u32 = 5;
    /// The reply is of no known kind, or does not answer the last request.
    pub const REPLY: u32 = 6;
    /// Two ranges of memory overlap that must not.
    pub const OVERLAP: u32 = 7;
    /// There is no such row, or nothing is installed.
    pub const NOTHING: u32 = 8;
}

/// What is wrong with a configuration.
pub mod faults {
    /// Nothing.
    pub const NONE: u32 = 0;
    /// The granule.
    pub const GRANULE: u32 = 1;
    /// No signing key.
    pub const NO_ANCHOR: u32 = 2;
    /// The slot, or the second range.
    pub const SLOT: u32 = 3;
    /// The descriptor's two parts in different sectors.
    pub const DESCRIPTOR_SPLIT: u32 = 4;
    /// A floor region that is not one sector.
    pub const FLOOR_SECTOR: u32 = 5;
    /// Ranges that share bytes.
    pub const OVERLAP: u32 = 6;
    /// A count beyond its limit, or a pointer missing where a count is not 0.
    pub const COUNT: u32 = 7;
    /// A key identifier that is not 1 to 16 bytes long, or a kind of key that this library does not know.
    pub const KEY: u32 = 8;
    /// A layout of no known kind.
    pub const LAYOUT: u32 = 9;
}

/// Kinds of signing key: the algorithm's number in COSE (IANA's registry of COSE algorithms).
pub mod algorithms {
    /// Ed25519 (RFC 9864).
    pub const ED25519: i32 = -19;
    /// HSS-LMS (RFC 8778), in a library with the feature `hss-lms`.
    pub const HSS_LMS: i32 = -46;
}

/// What there is beside the slot.
pub mod layouts {
    /// Nothing.
    pub const SINGLE: u32 = 0;
    /// A range where an image is put together.
    pub const STAGED: u32 = 1;
    /// A second slot.
    pub const PAIRED: u32 = 2;
}

/// Kinds of request.
pub mod requests {
    /// Is a stick there?
    pub const FIND_STICK: u32 = 1;
    /// Read a block of it.
    pub const READ_STICK: u32 = 2;
    /// Read flash.
    pub const READ_FLASH: u32 = 3;
    /// Digest flash.
    pub const DIGEST_FLASH: u32 = 4;
    /// Is a range erased?
    pub const CHECK_BLANK: u32 = 5;
    /// Erase a sector.
    pub const ERASE: u32 = 6;
    /// Program granules.
    pub const PROGRAM: u32 = 7;
    /// Let the owner pick.
    pub const ASK: u32 = 8;
    /// Tell the owner something and go on.
    pub const TELL: u32 = 9;
    /// Tell the owner something and wait.
    pub const WAIT: u32 = 10;
    /// Start the image.
    pub const START: u32 = 11;
}

/// Kinds of reply.
pub mod replies {
    /// The unit has just been powered.
    pub const POWER_UP: u32 = 1;
    /// There is no stick.
    pub const NO_STICK: u32 = 2;
    /// There is one.
    pub const STICK: u32 = 3;
    /// A block of it.
    pub const BLOCK: u32 = 4;
    /// Bytes of flash.
    pub const FLASH: u32 = 5;
    /// A digest of flash.
    pub const DIGEST: u32 = 6;
    /// The range is erased.
    pub const BLANK: u32 = 7;
    /// The range is not erased.
    pub const NOT_BLANK: u32 = 8;
    /// What the owner picked.
    pub const CHOSEN: u32 = 9;
    /// Carried out.
    pub const DONE: u32 = 10;
    /// Could not be carried out.
    pub const FAILED: u32 = 11;
}

/// What a unit is doing.
pub mod phases {
    /// Checks its own flash.
    pub const INSPECT: u32 = 1;
    /// Looks at the stick.
    pub const SURVEY: u32 = 2;
    /// Asks or tells the owner.
    pub const OWNER: u32 = 3;
    /// Checks the chosen file.
    pub const CHECK: u32 = 4;
    /// Erases.
    pub const ERASE: u32 = 5;
    /// Programs.
    pub const PROGRAM: u32 = 6;
    /// Checks what it programmed.
    pub const CONFIRM: u32 = 7;
    /// Starts the image.
    pub const START: u32 = 8;
}

/// How an offer relates to what is installed.
pub mod relations {
    /// Nothing is installed.
    pub const FIRST: u32 = 1;
    /// A later version.
    pub const NEWER: u32 = 2;
    /// The same version with another content.
    pub const SIBLING: u32 = 3;
    /// The very image that is installed.
    pub const INSTALLED: u32 = 4;
    /// An earlier version.
    pub const OLDER: u32 = 5;
}

/// `struct packstaff_range`: a range of flash.
#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct Range {
    /// First address.
    pub base: u32,
    /// Bytes.
    pub size: u32,
}

/// `struct packstaff_run`: a run of equal sectors.
#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct Run {
    /// How many.
    pub count: u32,
    /// Bytes of each.
    pub size: u32,
}

/// `struct packstaff_memory`: a memory beside the part's own flash.
#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct Memory {
    /// First address.
    pub base: u32,
    /// Bytes of a granule.
    pub granule: u32,
    /// Runs of sectors.
    pub run_count: u32,
    /// What a byte reads after an erase.
    pub erased: u8,
    /// The runs.
    pub runs: *const Run,
}

/// `struct packstaff_signing_key`: a key whose signatures are accepted.
#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct SigningKey {
    /// Which kind; see [`algorithms`].
    pub algorithm: i32,
    /// Bytes of the identifier, 1 to 16.
    pub kid_len: u32,
    /// The identifier.
    pub kid: [u8; KID_MAX],
    /// The public key: the first 32 bytes for Ed25519, all for HSS-LMS.
    pub key: [u8; SIGNING_KEY_LEN],
}

/// `struct packstaff_unit_key`: the key that content keys are wrapped with.
#[repr(C)]
pub struct UnitKey {
    /// Bytes of the identifier, 1 to 16.
    pub kid_len: u32,
    /// The identifier.
    pub kid: [u8; KID_MAX],
    /// The secret.
    pub key: [u8; 32],
}

/// `struct packstaff_config`: what a unit knows about itself.
#[repr(C)]
pub struct Config {
    /// Vendor identifier.
    pub vendor: [u8; 16],
    /// Class identifier.
    pub class_id: [u8; 16],
    /// Ending of update files' names.
    pub extension: [u8; 3],
    /// What a byte reads after an erase.
    pub erased: u8,
    /// Bytes of a granule.
    pub granule: u32,
    /// First address of flash.
    pub flash_base: u32,
    /// Runs of sectors.
    pub run_count: u32,
    /// The runs.
    pub runs: *const Run,
    /// Class identifiers of other boards.
    pub siblings: *const [u8; 16],
    /// Accepted keys.
    pub signing_keys: *const SigningKey,
    /// The generation's key.
    pub unit_key: *const UnitKey,
    /// A memory beside flash; null if there is none.
    pub beside: *const Memory,
    /// Class identifiers of other boards, how many.
    pub sibling_count: u32,
    /// Accepted keys, how many.
    pub signing_key_count: u32,
    /// What there is beside the slot; see [`layouts`].
    pub layout: u32,
    /// The slot.
    pub slot: Range,
    /// The second range, if there is one.
    pub second: Range,
    /// The floor sectors.
    pub floors: [Range; 2],
}

/// `struct packstaff_code`: a reason.
#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Code {
    /// The number.
    pub number: u16,
    /// The letter; 0 for no reason.
    pub letter: u8,
    /// Always 0.
    pub zero: u8,
}

/// `struct packstaff_request`: what the machine asks for.
#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct Request {
    /// Which kind; see [`requests`].
    pub kind: u32,
    /// First address.
    pub address: u32,
    /// Bytes.
    pub len: u32,
    /// Why.
    pub code: Code,
    /// Block of the stick.
    pub block: u64,
    /// What to program.
    pub data: *const u8,
}

/// `struct packstaff_reply`: what the caller found.
#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct Reply {
    /// Which kind; see [`replies`].
    pub kind: u32,
    /// Row that the owner picked, or [`NO_ROW`].
    pub row: u32,
    /// Blocks of the stick.
    pub blocks: u64,
    /// A block, bytes of flash, or a digest.
    pub data: *const u8,
    /// Bytes of them.
    pub len: u32,
}

/// `struct packstaff_progress`: what the unit is doing.
#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct Progress {
    /// Which phase; see [`phases`].
    pub phase: u32,
    /// How much of it is done.
    pub done: u32,
    /// How much there is to do; 0 where the phase has no measure.
    pub total: u32,
}

/// `struct packstaff_release`: an image, by its release.
#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct Release {
    /// The issue.
    pub issue: u64,
    /// The version's integers; those that do not count are 0.
    pub version: [u32; 3],
    /// How many count, 1 to 3.
    pub version_count: u32,
    /// Bytes of the image.
    pub image_size: u32,
}

/// `struct packstaff_row`: a file on the stick.
#[repr(C)]
#[derive(Clone, Copy, Debug)]
pub struct Row {
    /// What it brings, if it is offered.
    pub release: Release,
    /// How that relates to what is installed; see [`relations`]. 0 if the file is refused.
    pub relation: u32,
    /// Why the file is refused.
    pub code: Code,
    /// The file's name, as shown, ended by a zero.
    pub name: [u8; NAME_LEN],
    /// Digest of the signed manifest, of an offer: names it for certain.
    pub manifest: [u8; 32],
}

/// `struct packstaff_installer`: storage for a machine.
#[repr(C, align(8))]
#[derive(Clone, Copy, Debug)]
pub struct InstallerStorage {
    /// Not to be touched.
    pub storage: [u8; INSTALLER_SIZE],
}

/// `struct packstaff_digest`: storage for a digest in progress.
#[repr(C, align(8))]
#[derive(Clone, Copy, Debug)]
pub struct DigestStorage {
    /// Not to be touched.
    pub storage: [u8; DIGEST_SIZE],
}

const _: () = assert!(align_of::<InstallerStorage>() == STORAGE_ALIGN && align_of::<DigestStorage>() == STORAGE_ALIGN);
