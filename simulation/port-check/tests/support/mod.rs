//! The example port, compiled for this machine.
#![allow(unreachable_pub)] // each test file has it as a module of its own

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::LazyLock;
use tempfile::TempDir;

/// The static library for this machine.
static LIBRARY: LazyLock<PathBuf> = LazyLock::new(|| {
    let built = Command::new(env!("CARGO"))
        .args(["rustc", "--quiet", "--package", "packstaff-c-interface", "--lib"])
        .args(["--crate-type", "staticlib", "--message-format", "json"])
        .current_dir(root())
        .output()
        .unwrap();
    assert!(built.status.success(), "{}", String::from_utf8_lossy(&built.stderr));
    let said = String::from_utf8_lossy(&built.stdout);
    let library = said
        .split('"')
        .rfind(|word| word.ends_with("/libpackstaff_c_interface.a"));
    PathBuf::from(library.expect("cargo names the library"))
});

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../..")
}

/// The port with a planted mistake, or with none, in a folder with a flash that holds `fill` everywhere.
pub fn port(mistake: u32, fill: u8) -> (TempDir, PathBuf) {
    let folder = TempDir::new().unwrap();
    let made = Command::new("make")
        .args(["--silent", "-C"])
        .arg(root().join("ports/c-example"))
        .arg("host")
        .arg(format!("MISTAKE={mistake}"))
        .arg(format!("LIBRARY={}", LIBRARY.display()))
        .arg(format!("OUT={}", folder.path().display()))
        .output()
        .unwrap_or_else(|error| panic!("cannot run make: {error}; this test needs the Debian packages make and gcc"));
    assert!(
        made.status.success(),
        "{}\nthis test needs the Debian packages make, gcc and libc6-dev",
        String::from_utf8_lossy(&made.stderr)
    );
    std::fs::write(folder.path().join("flash.bin"), vec![fill; 512 << 10]).unwrap();
    std::fs::write(folder.path().join("bench.txt"), "serve\n").unwrap();
    let program = folder.path().join("loader-host");
    (folder, program)
}
