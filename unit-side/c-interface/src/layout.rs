//! Sizes and offsets of the structs, as a table in the library, so that a program in C can see at run time, on its own
//! processor, whether its compiler lays them out likewise.

#![allow(unsafe_code, reason = "a table with a name that C knows")]

use crate::types::{
    Config, DigestStorage, InstallerStorage, Memory, Progress, Range, Release, Reply, Request, Row, Run, SigningKey,
    UnitKey,
};
use core::mem::offset_of;

macro_rules! table {
    ($($type:ident { $($field:ident)* })*) => {
        [$(size_of::<$type>() as u16, $(offset_of!($type, $field) as u16,)*)*]
    };
}

/// In the order of `PACKSTAFF_LAYOUT` in the header.
#[unsafe(no_mangle)]
#[allow(non_upper_case_globals, reason = "its name in C")]
pub static packstaff_layout: [u16; 72] = table! {
    Range { base size }
    Run { count size }
    Memory { base granule run_count erased runs }
    SigningKey { algorithm kid_len kid key }
    UnitKey { kid_len kid key }
    Config { vendor class_id extension erased granule flash_base run_count runs siblings signing_keys unit_key beside
        sibling_count signing_key_count layout slot second floors }
    Request { kind address len code block data }
    Reply { kind row blocks data len }
    Progress { phase done total }
    Release { issue version version_count image_size }
    Row { release relation code name manifest }
    InstallerStorage { storage }
    DigestStorage { storage }
};
