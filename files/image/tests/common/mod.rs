//! What the integration tests share: general-purpose tools, and writers of each format.
// Each test binary is a crate of its own and uses its own part.
#![allow(dead_code, unreachable_pub)]

pub mod tools;
pub mod writers;

use packstaff_image::{Build, ReadError, ReadOptions};

/// Reads a file that carries its own addresses.
pub fn read(bytes: &[u8]) -> Result<Build, ReadError> {
    packstaff_image::read(bytes, &ReadOptions::default())
}

/// The segments as plain pairs, which is what two builds must agree on.
pub fn content(build: &Build) -> Vec<(u32, Vec<u8>)> {
    build
        .segments()
        .iter()
        .map(|segment| (segment.address, segment.data.clone()))
        .collect()
}
