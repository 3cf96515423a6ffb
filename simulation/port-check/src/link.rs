//! What the line runs over: a process's standard streams, or a serial device.

use crate::finding::Finding;
use crate::line::{opened, sealed};
use std::ffi::OsString;
use std::fs::{File, OpenOptions};
use std::io::{BufRead, BufReader, Write};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::thread;
use std::time::{Duration, Instant};

/// How the port is reached.
#[derive(Clone, Debug)]
pub enum Way {
    /// A program: its standard input and output are the line. A cut kills it, and it is run again.
    Program(Vec<OsString>),
    /// A serial device. A cut asks the port to reset itself, unless there is a command that switches its supply off and on.
    Device {
        /// The device.
        path: PathBuf,
        /// Bits a second.
        baud: u32,
        /// What switches the supply off and on again, if there is something that does.
        power: Option<Vec<OsString>>,
    },
}

/// How long one greeting is waited for.
const GREETING: Duration = Duration::from_millis(400);

/// An open line.
pub struct Link {
    way: Way,
    patience: Duration,
    open: Option<Open>,
}

struct Open {
    child: Option<Child>,
    to: Box<dyn Write + Send>,
    from: Receiver<String>,
}

impl Link {
    /// A line that is opened when it is first needed. `patience`: how long an answer may take.
    pub const fn new(way: Way, patience: Duration) -> Self {
        Self {
            way,
            patience,
            open: None,
        }
    }

    /// Whether a cut can come in the middle of an operation.
    pub const fn cuts_at_will(&self) -> bool {
        matches!(self.way, Way::Program(_))
    }

    /// Sends words and gives the words of the answer.
    ///
    /// # Errors
    /// [`Finding::Line`].
    pub fn ask(&mut self, words: &str) -> Result<String, Finding> {
        self.send(words)?;
        self.receive(words)
    }

    /// Sends words without waiting for an answer.
    ///
    /// # Errors
    /// [`Finding::Line`].
    pub fn send(&mut self, words: &str) -> Result<(), Finding> {
        let open = self.opened()?;
        let sent = open
            .to
            .write_all(sealed(words).as_bytes())
            .and_then(|()| open.to.flush());
        sent.map_err(|error| Finding::Line(format!("{:?} cannot be sent: {error}", head(words))))
    }

    fn receive(&mut self, asked: &str) -> Result<String, Finding> {
        let patience = self.patience;
        self.receive_within(asked, patience)
    }

    fn receive_within(&mut self, asked: &str, patience: Duration) -> Result<String, Finding> {
        match self.opened()?.from.recv_timeout(patience) {
            Ok(line) => opened(&line)
                .map(str::to_owned)
                .map_err(|error| Finding::Line(error.to_string())),
            Err(RecvTimeoutError::Timeout) => Err(Finding::Line(format!(
                "no answer to {:?} within {} s",
                head(asked),
                self.patience.as_secs_f32()
            ))),
            Err(RecvTimeoutError::Disconnected) => {
                self.close();
                Err(Finding::Gone(format!("the port is gone after {:?}", head(asked))))
            }
        }
    }

    /// The supply goes, and comes back. With nothing to switch it, the port resets itself.
    ///
    /// # Errors
    /// [`Finding::Line`].
    pub fn cut(&mut self) -> Result<(), Finding> {
        match &self.way {
            // A device stays open: whoever reads from it would go on reading after it was opened again.
            Way::Device { power, .. } => match power.as_deref().and_then(<[_]>::split_first) {
                Some((program, arguments)) => {
                    let switched = Command::new(program).args(arguments).status();
                    if !switched.as_ref().is_ok_and(std::process::ExitStatus::success) {
                        return Err(Finding::Line(format!("the supply cannot be switched: {switched:?}")));
                    }
                }
                None => self.send("reset")?,
            },
            Way::Program(_) => self.close(),
        }
        self.greet()
    }

    /// Waits until the port says who it is. A board that starts may lose a greeting, or say something else first.
    ///
    /// # Errors
    /// [`Finding::Line`], [`Finding::Gone`], or [`Finding::Version`].
    pub fn greet(&mut self) -> Result<(), Finding> {
        let begun = Instant::now();
        let mut greetings = 0_u32;
        loop {
            greetings += 1;
            let answer = self
                .send("hello")
                .and_then(|()| self.receive_within("hello", GREETING.min(self.patience)));
            match answer {
                Ok(words) if words == "port 1" => break,
                Ok(words) if words.starts_with("port ") => return Err(Finding::Version(words)),
                Err(finding @ Finding::Gone(_)) if self.cuts_at_will() => return Err(finding),
                Ok(words) if begun.elapsed() >= self.patience => {
                    return Err(Finding::Line(format!("the answer to \"hello\" is {words:?}")));
                }
                Err(finding) if begun.elapsed() >= self.patience => return Err(finding),
                // A port that answers wrongly at once need not be asked as often as one can.
                Ok(_) | Err(_) => thread::sleep(Duration::from_millis(20)),
            }
        }
        // Answers to earlier greetings may still be on their way.
        while greetings > 1 && self.opened()?.from.recv_timeout(GREETING).is_ok() {}
        Ok(())
    }

    fn close(&mut self) {
        if let Some(Open { child: Some(child), .. }) = &mut self.open {
            // It may have gone by itself.
            let _ = child.kill();
            let _ = child.wait();
        }
        self.open = None;
    }

    fn opened(&mut self) -> Result<&mut Open, Finding> {
        if self.open.is_none() {
            self.open = Some(match &self.way {
                Way::Program(words) => program(words)?,
                Way::Device { path, baud, .. } => device(path, *baud)?,
            });
        }
        self.open
            .as_mut()
            .ok_or_else(|| Finding::Line("the line is closed".to_owned()))
    }
}

impl Drop for Link {
    fn drop(&mut self) {
        self.close();
    }
}

/// The first words, for a message.
fn head(words: &str) -> String {
    words.chars().take(40).collect()
}

fn program(words: &[OsString]) -> Result<Open, Finding> {
    let (program, arguments) = words
        .split_first()
        .ok_or_else(|| Finding::Line("there is no program to run".to_owned()))?;
    let mut child = Command::new(program)
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .map_err(|error| Finding::Line(format!("{} cannot be run: {error}", program.display())))?;
    match (child.stdin.take(), child.stdout.take()) {
        (Some(to), Some(from)) => Ok(Open {
            to: Box::new(to),
            from: lines(from),
            child: Some(child),
        }),
        _ => Err(Finding::Line("the program's streams cannot be had".to_owned())),
    }
}

fn device(path: &PathBuf, baud: u32) -> Result<Open, Finding> {
    let failed = |error: std::io::Error| Finding::Line(format!("{}: {error}", path.display()));
    // Raw, so that no byte is changed, echoed or taken for a command.
    let set = Command::new("stty")
        .arg("-F")
        .arg(path)
        .args(["raw", "-echo", &baud.to_string()])
        .output()
        .map_err(|error| {
            Finding::Line(format!(
                "stty cannot be run: {error}; on Debian it comes with coreutils"
            ))
        })?;
    if !set.status.success() {
        let said = String::from_utf8_lossy(&set.stderr);
        return Err(Finding::Line(said.trim().to_owned()));
    }
    let to: File = OpenOptions::new().read(true).write(true).open(path).map_err(failed)?;
    let from = to.try_clone().map_err(failed)?;
    Ok(Open {
        to: Box::new(to),
        from: lines(from),
        child: None,
    })
}

/// Reads lines as they come, so that waiting for one can come to an end.
fn lines(from: impl std::io::Read + Send + 'static) -> Receiver<String> {
    let (sender, receiver) = channel();
    thread::spawn(move || {
        let mut from = BufReader::new(from);
        let mut line = Vec::new();
        while from.read_until(b'\n', &mut line).is_ok_and(|read| read > 0) {
            let text = String::from_utf8_lossy(&line).into_owned();
            line.clear();
            if sender.send(text).is_err() {
                break;
            }
        }
    });
    receiver
}
