//! What the integration tests share.
#![allow(dead_code)]

use packstaff_settings::carry::History;
use packstaff_settings::layout::Layout;
use std::path::{Path, PathBuf};
use std::process::Command;

/// The demo product.
pub(crate) fn kc4() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/kc4")
}

/// A layout of the demo.
pub(crate) fn kc4_layout(version: &str) -> Layout {
    let path = kc4().join(format!("settings/{version}.toml"));
    let text = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    Layout::from_text(&path.to_string_lossy(), &text).unwrap_or_else(|error| panic!("{error}"))
}

/// The demo's history.
pub(crate) fn kc4_history() -> History {
    History::new(["1.8", "2.0", "2.1"].map(kc4_layout).to_vec()).unwrap()
}

/// Runs a tool; a tool that is not there is a failure that names its Debian package.
pub(crate) fn run(package: &str, command: &mut Command) -> Vec<u8> {
    let tool = command.get_program().to_string_lossy().into_owned();
    let output = command
        .output()
        .unwrap_or_else(|error| panic!("{tool} cannot be run ({error}). Install Debian's package {package}."));
    assert!(
        output.status.success(),
        "{tool} failed:\n{}",
        String::from_utf8_lossy(&output.stderr)
    );
    output.stdout
}

/// A small generator of repeatable numbers (xorshift, Marsaglia 2003), so that a failure can be run again.
pub(crate) struct Numbers(pub(crate) u64);

impl Numbers {
    pub(crate) fn next(&mut self) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0
    }

    pub(crate) fn below(&mut self, end: u64) -> u64 {
        self.next() % end
    }
}
