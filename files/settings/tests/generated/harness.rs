//! The generated C, compiled for this computer, and asked over its standard input and output.

use crate::cases::{ASIDE, BUFFER, Boot, Came, Case, ROOM, Unit};
use packstaff_keeper::Memory;
use packstaff_settings::carry::History;
use packstaff_settings::generate::{File, Request, generate};
use packstaff_settings::layout::Layout;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// Warnings that the generated code is free of.
pub(crate) const STRICT: [&str; 6] = ["-std=c11", "-Wall", "-Wextra", "-Werror", "-Wconversion", "-Wshadow"];

pub(crate) struct Answer {
    pub(crate) fault: u32,
    pub(crate) given_back: bool,
    pub(crate) record: Vec<u8>,
}

pub(crate) struct Harness {
    program: PathBuf,
    _folder: tempfile::TempDir,
}

/// The KC-4's layouts.
pub(crate) fn kiln() -> History {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo/kc4/settings");
    let layout = |version: &str| {
        let text = std::fs::read_to_string(folder.join(format!("{version}.toml"))).unwrap();
        Layout::from_text(version, &text).unwrap()
    };
    History::new(["1.8", "2.0", "2.1"].map(layout).to_vec()).unwrap()
}

pub(crate) fn kiln_files() -> Vec<File> {
    let request = Request {
        version: "2.1",
        prefix: "kc4",
        room: Some(2048),
    };
    generate(&kiln(), &request).unwrap()
}

pub(crate) fn compile(compiler: &str, package: &str, arguments: &[&str], folder: &Path) {
    let output = Command::new(compiler)
        .args(arguments)
        .current_dir(folder)
        .output()
        .unwrap_or_else(|error| panic!("{compiler} cannot be run ({error}): install the Debian package {package}"));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{compiler} {arguments:?}:\n{said}");
}

impl Harness {
    pub(crate) fn build() -> Self {
        let folder = tempfile::tempdir().unwrap();
        for file in kiln_files() {
            std::fs::write(folder.path().join(&file.name), file.text).unwrap();
        }
        std::fs::write(folder.path().join("harness.c"), include_str!("harness.c")).unwrap();
        let sources = ["keeper_carry.c", "keeper_store.c", "harness.c", "-O1", "-o", "harness"];
        compile("gcc", "gcc", &[&STRICT[..], &sources].concat(), folder.path());
        Self {
            program: folder.path().join("harness"),
            _folder: folder,
        }
    }

    fn ask(&self, input: &[u8]) -> Answers {
        let mut child = Command::new(&self.program)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut stdin = child.stdin.take().unwrap();
        let input = input.to_vec();
        let writer = std::thread::spawn(move || stdin.write_all(&input));
        let output = child.wait_with_output().unwrap();
        writer.join().unwrap().unwrap();
        assert!(output.status.success(), "the harness ended with {}", output.status);
        Answers {
            bytes: output.stdout,
            at: 0,
        }
    }

    pub(crate) fn carry(&self, cases: &[Case]) -> Vec<Answer> {
        let mut input = Input::default();
        for case in cases {
            let (newer, left) = case.aside.clone().unwrap_or_default();
            input.number(0);
            for bytes in [&case.table, &case.from, &newer, &left] {
                input.bytes(bytes);
            }
            input.number(case.to_len as u32);
        }
        let mut answers = self.ask(&input.0);
        let answer = |_: &Case| Answer {
            fault: answers.number(),
            given_back: answers.number() != 0,
            record: answers.bytes(),
        };
        cases.iter().map(answer).collect()
    }

    pub(crate) fn live(&self, unit: &Unit, boots: &[Boot]) -> Vec<Came> {
        let mut input = Input::default();
        let (size, sector) = match unit.memory {
            Memory::Pages { page } => (page, 0),
            Memory::Flash { granule, sector, .. } => (granule, sector),
        };
        input.number(1);
        let aside = unit
            .aside
            .map_or([0; 3], |aside| [aside.region.base, aside.region.size, aside.room]);
        let region = [size, sector, unit.region.base, unit.region.size, ROOM];
        region.into_iter().chain(aside).for_each(|number| input.number(number));
        input.bytes(&unit.cells);
        for number in [BUFFER as u32, ASIDE as u32, boots.len() as u32] {
            input.number(number);
        }
        for boot in boots {
            let (layout, len, table, ways_back) = unit.version(boot.newer);
            input.number(layout.into());
            input.number(len.into());
            input.bytes(table);
            input.bytes(ways_back);
            input.bytes(boot.save.as_deref().unwrap_or_default());
        }
        let mut answers = self.ask(&input.0);
        let came = |boot: &Boot| Came {
            found: answers.number(),
            given_back: answers.number() != 0,
            settings: answers.bytes(),
            saved: boot.save.is_some().then(|| answers.number()),
            cells: answers.bytes(),
        };
        boots.iter().map(came).collect()
    }
}

#[derive(Default)]
struct Input(Vec<u8>);

impl Input {
    fn number(&mut self, number: u32) {
        self.0.extend_from_slice(&number.to_le_bytes());
    }

    fn bytes(&mut self, bytes: &[u8]) {
        self.number(bytes.len() as u32);
        self.0.extend_from_slice(bytes);
    }
}

struct Answers {
    bytes: Vec<u8>,
    at: usize,
}

impl Answers {
    fn number(&mut self) -> u32 {
        let bytes = self.bytes[self.at..self.at + 4].try_into().unwrap();
        self.at += 4;
        u32::from_le_bytes(bytes)
    }

    fn bytes(&mut self) -> Vec<u8> {
        let len = self.number() as usize;
        self.at += len;
        self.bytes[self.at - len..self.at].to_vec()
    }
}
