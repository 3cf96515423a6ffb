//! What the tests of this crate share.
#![allow(dead_code, unreachable_pub, reason = "each test file uses its own part")]

use packstaff_product::{FlashPart, PartBook};
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

/// The parts that the demo names.
///
/// Sectors of the STM32F405 with 512 KiB: RM0090, Table 5. Pages of the STM32G474 with 512 KiB in dual-bank mode:
/// RM0440, section 3.3.1: 2 KiB each. Sectors of the W25Q16JV: its data sheet, section 6.1: 512 of 4 KiB.
pub struct DemoParts;

impl PartBook for DemoParts {
    fn flash(&self, id: &str) -> Option<FlashPart> {
        let (base, sectors) = match id {
            "stm32f405-512k" => (0x0800_0000, vec![(4, 16 << 10), (1, 64 << 10), (3, 128 << 10)]),
            "stm32g474-512k" => (0x0800_0000, vec![(256, 2 << 10)]),
            "w25q16jv-2m" => (0, vec![(512, 4 << 10)]),
            _ => return None,
        };
        Some(FlashPart {
            core: "Cortex-M4F".to_owned(),
            base,
            sectors,
        })
    }

    fn is_settings_memory(&self, id: &str) -> bool {
        id == "24lc256"
    }

    fn identifiers(&self) -> Vec<String> {
        ["stm32f405-512k", "stm32g474-512k", "w25q16jv-2m", "24lc256"]
            .map(str::to_owned)
            .to_vec()
    }
}
