//! The emulator: a folder that is the unit, and the process that runs it.

use std::fs;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::mpsc::{RecvTimeoutError, channel};
use std::thread;
use std::time::{Duration, Instant};

const PROGRAM: &str = "qemu-system-arm";
/// Longer than any case takes on a busy machine.
const PATIENCE: Duration = Duration::from_secs(240);

/// A unit in the emulator.
pub(crate) struct Emulator {
    program: PathBuf,
    folder: PathBuf,
}

/// How a run ended.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum End {
    /// The supply went, as asked: the process was killed.
    Cut,
    /// The image was started and greeted.
    Started,
    /// It left by itself without starting anything.
    Left,
}

/// What a run said.
pub(crate) struct Run {
    pub(crate) end: End,
    pub(crate) lines: Vec<String>,
}

impl Run {
    /// What follows `display: ` in lines that begin so.
    pub(crate) fn displayed(&self) -> impl Iterator<Item = &str> {
        self.lines.iter().filter_map(|line| line.strip_prefix("display: "))
    }
}

impl Emulator {
    /// A unit whose folder is `folder`, with a port's program in it.
    pub(crate) fn new(program: &Path, folder: &Path) -> Result<Self, String> {
        let program = program
            .canonicalize()
            .map_err(|error| format!("{}: {error}", program.display()))?;
        Ok(Self {
            program,
            folder: folder.to_owned(),
        })
    }

    /// A file of the unit's folder.
    pub(crate) fn file(&self, name: &str) -> PathBuf {
        self.folder.join(name)
    }

    /// Its flash.
    pub(crate) fn flash(&self) -> Result<Vec<u8>, String> {
        let file = self.file("flash.bin");
        fs::read(&file).map_err(|error| format!("{}: {error}", file.display()))
    }

    /// Gives it a file, or takes one away.
    pub(crate) fn put(&self, name: &str, contents: Option<&[u8]>) -> Result<(), String> {
        let file = self.file(name);
        let done = match contents {
            Some(contents) => fs::write(&file, contents),
            None => match fs::remove_file(&file) {
                Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(()),
                other => other,
            },
        };
        done.map_err(|error| format!("{}: {error}", file.display()))
    }

    /// Runs it until its image has greeted, its supply goes, or it leaves.
    pub(crate) fn run(&self) -> Result<Run, String> {
        let mut child = Command::new(PROGRAM)
            .args(["-M", "mps2-an386", "-nographic", "-monitor", "none", "-serial", "none"])
            // An instruction a nanosecond, and no real time spent asleep.
            .args(["-icount", "shift=0,sleep=off"])
            .args(["-semihosting-config", "enable=on,target=native,arg=version"])
            .arg("-kernel")
            .arg(&self.program)
            .current_dir(&self.folder)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            // The console of semihosting is the emulator's standard error.
            .stderr(Stdio::piped())
            .spawn()
            .map_err(|error| format!("{PROGRAM} cannot be run: {error}; on Debian: apt-get install qemu-system-arm"))?;
        let console = child.stderr.take().ok_or("the emulator's output is not there")?;
        let (sender, receiver) = channel();
        // Ends when the emulator does.
        let reader = thread::spawn(move || {
            for line in BufReader::new(console).lines().map_while(Result::ok) {
                if sender.send(line.trim_end_matches('\r').to_owned()).is_err() {
                    break;
                }
            }
        });
        let begun = Instant::now();
        let mut lines: Vec<String> = Vec::new();
        let end = loop {
            match receiver.recv_timeout(PATIENCE.saturating_sub(begun.elapsed())) {
                Ok(line) => {
                    let end = match line.as_str() {
                        "power cut" => Some(End::Cut),
                        line if line.starts_with("settings ") => Some(End::Started),
                        _ => None,
                    };
                    lines.push(line);
                    if let Some(end) = end {
                        break Ok(end);
                    }
                }
                Err(RecvTimeoutError::Disconnected) => break Ok(End::Left),
                Err(RecvTimeoutError::Timeout) => break Err("it came to no end"),
            }
        };
        // Whatever state it is in: a power cut is a kill.
        let _ = child.kill();
        let _ = child.wait();
        let _ = reader.join();
        match end {
            Ok(end) => Ok(Run { end, lines }),
            Err(why) => Err(format!("{why}; it said:\n{}", lines.join("\n"))),
        }
    }
}
