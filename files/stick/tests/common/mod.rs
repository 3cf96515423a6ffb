//! What the tests share: general tools, specs, and files with a partition cut out.

#![allow(dead_code, reason = "each test program uses its own part")]

use std::fs::File;
use std::io::{ErrorKind, Seek, SeekFrom, Write};
use std::path::Path;
use std::process::{Command, Output};

use packstaff_stick::{Calendar, DeviceBlock, Kind, StickImage, StickSpec};

pub(crate) const STAMP: Calendar = Calendar {
    year: 2026,
    month: 11,
    day: 25,
    hour: 9,
    minute: 30,
    second: 14,
};

pub(crate) fn spec(kind: Kind, size: u64) -> StickSpec {
    StickSpec {
        kind,
        size,
        partitioned: false,
        sector: DeviceBlock::B512,
        cluster: None,
        label: Some("KILN".to_owned()),
        volume_id: 0x2026_1125,
        disk_id: 0xCAFE_0004,
        stamp: STAMP,
        files: Vec::new(),
    }
}

/// Bytes that do not repeat within a block, a cluster or a file.
pub(crate) fn noise(length: usize, seed: u64) -> Vec<u8> {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    let next = || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 24) as u8
    };
    std::iter::repeat_with(next).take(length).collect()
}

/// Fails with the name of the Debian package if a program is not there.
pub(crate) fn require(tools: &[(&str, &str)]) {
    // Debian keeps some of them where only root looks.
    let path = format!("{}:/usr/sbin:/sbin", std::env::var("PATH").unwrap_or_default());
    for (tool, package) in tools {
        let is_there = path.split(':').any(|folder| Path::new(folder).join(tool).is_file());
        assert!(
            is_there,
            "this test needs `{tool}`: install the Debian package `{package}`"
        );
    }
}

/// Runs a general tool; if it is not there, fails with the name of its Debian package.
pub(crate) fn tool(package: &str, name: &str, set_up: impl FnOnce(&mut Command) -> &mut Command) -> Output {
    // Debian keeps some of them where only root looks.
    let path = format!("{}:/usr/sbin:/sbin", std::env::var("PATH").unwrap_or_default());
    let found = path
        .split(':')
        .map(|folder| Path::new(folder).join(name))
        .find(|file| file.is_file());
    let Some(file) = found else {
        panic!("this test needs `{name}`: install the Debian package `{package}`")
    };
    let mut command = Command::new(file);
    command.env("MTOOLS_SKIP_CHECK", "1").env("LC_ALL", "C");
    match set_up(&mut command).output() {
        Ok(output) => output,
        Err(error) if error.kind() == ErrorKind::NotFound => {
            panic!("this test needs `{name}`: install the Debian package `{package}`")
        }
        Err(error) => panic!("could not run `{name}`: {error}"),
    }
}

/// What the tool wrote; fails if it did not end well.
pub(crate) fn succeed(output: &Output) -> String {
    let text = String::from_utf8_lossy(&output.stdout).into_owned();
    assert!(
        output.status.success(),
        "{}\n{text}{}",
        output.status,
        String::from_utf8_lossy(&output.stderr)
    );
    text
}

/// Writes the blocks from `first` on as a file of its own.
pub(crate) fn write_from(image: &StickImage, first: u64, path: &Path) {
    if first == 0 {
        return image.write_to(path).unwrap();
    }
    let mut file = File::create(path).unwrap();
    file.set_len(image.size() - first * 512).unwrap();
    for number in first..image.blocks() {
        let block = image.read_block(number);
        if block != [0; 512] {
            file.seek(SeekFrom::Start((number - first) * 512)).unwrap();
            file.write_all(&block).unwrap();
        }
    }
}
