//! What the tests of this crate share.
#![allow(dead_code, unreachable_pub, reason = "each test file uses its own part")]

use packstaff_product::PartsTable;
use std::ffi::OsStr;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

pub fn demo(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/kc4").join(path)
}

pub fn demo_text() -> String {
    std::fs::read_to_string(demo("product.toml")).expect("the demo's product file is part of the project")
}

/// Runs a general-purpose tool of Debian, and fails with the package's name if it is not there.
pub fn tool<S: AsRef<OsStr>>(name: &str, package: &str, arguments: &[S], input: &[u8]) -> Output {
    let child = Command::new(name)
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn();
    let mut child = match child {
        Ok(child) => child,
        Err(error) => panic!("this test needs `{name}` ({error}): apt-get install {package}"),
    };
    // A tool that fails early closes its end; its own message tells more than a broken pipe.
    let _ = child.stdin.take().expect("it is piped").write_all(input);
    child.wait_with_output().expect("it was started")
}

/// The same, for a tool that must succeed; gives its standard output.
pub fn tool_output<S: AsRef<OsStr>>(name: &str, package: &str, arguments: &[S], input: &[u8]) -> Vec<u8> {
    let output = tool(name, package, arguments, input);
    assert!(
        output.status.success(),
        "{name} failed: {}",
        String::from_utf8_lossy(&output.stderr)
    );
    output.stdout
}

/// The parts that the demo names are built-in ones.
pub fn parts() -> Option<&'static PartsTable> {
    Some(PartsTable::built_in())
}
