//! General-purpose tools as second opinions. A missing tool fails the test and names the Debian
//! package.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

pub const GCC: Tool = Tool {
    name: "arm-none-eabi-gcc",
    package: "gcc-arm-none-eabi",
};
pub const OBJCOPY: Tool = Tool {
    name: "arm-none-eabi-objcopy",
    package: "binutils-arm-none-eabi",
};
pub const READELF: Tool = Tool {
    name: "arm-none-eabi-readelf",
    package: "binutils-arm-none-eabi",
};
pub const SHA256SUM: Tool = Tool {
    name: "sha256sum",
    package: "coreutils",
};
pub const SREC_CAT: Tool = Tool {
    name: "srec_cat",
    package: "srecord",
};

pub struct Tool {
    name: &'static str,
    package: &'static str,
}

impl Tool {
    /// Runs the tool in `folder`, demands that it succeeds, and gives what it prints.
    pub fn run(&self, folder: &Path, arguments: &[&str]) -> String {
        let output = Command::new(self.name)
            .args(arguments)
            .current_dir(folder)
            .output()
            .unwrap_or_else(|error| {
                panic!(
                    "cannot run {}: {error}; this test needs the Debian package {}",
                    self.name, self.package
                )
            });
        assert!(
            output.status.success(),
            "{} {arguments:?}: {}\n{}",
            self.name,
            output.status,
            String::from_utf8_lossy(&output.stderr)
        );
        String::from_utf8_lossy(&output.stdout).into_owned()
    }
}

/// A folder with a small firmware linked to `kiln.elf`, from the sources in `tests/data`.
pub struct Firmware {
    folder: tempfile::TempDir,
}

impl Firmware {
    /// Links for the given start of the slot; the linker script says 0x08010000.
    pub fn linked_at(origin: &str) -> Self {
        let sources = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data");
        let folder = tempfile::tempdir().expect("a folder for the firmware");
        let script = fs::read_to_string(sources.join("kiln.ld")).expect("the linker script");
        assert!(script.contains("0x08010000"));
        fs::write(folder.path().join("kiln.ld"), script.replace("0x08010000", origin)).expect("a file");
        fs::copy(sources.join("kiln.S"), folder.path().join("kiln.S")).expect("a file");
        let firmware = Self { folder };
        let arguments = [
            "-nostdlib",
            "-mcpu=cortex-m4",
            "-mthumb",
            "-T",
            "kiln.ld",
            "kiln.S",
            "-o",
            "kiln.elf",
        ];
        GCC.run(firmware.folder(), &arguments);
        firmware
    }

    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder().join(name)
    }

    pub fn file(&self, name: &str) -> Vec<u8> {
        fs::read(self.path(name)).unwrap_or_else(|error| panic!("{name}: {error}"))
    }

    /// Converts the ELF file with GNU objcopy and gives the result.
    pub fn objcopy(&self, output: &str, arguments: &[&str]) -> Vec<u8> {
        OBJCOPY.run(self.folder(), &[arguments, &["kiln.elf", output]].concat());
        self.file(output)
    }

    /// Runs srec_cat on files of the folder and gives its output file.
    pub fn srec_cat(&self, output: &str, arguments: &[&str]) -> Vec<u8> {
        SREC_CAT.run(self.folder(), arguments);
        self.file(output)
    }
}
