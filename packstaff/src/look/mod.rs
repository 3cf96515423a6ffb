//! `look`: says what any file is, in detail. Nothing here needs a key, and nothing is verified: the words say so.

mod build;
mod stick;
mod texts;
mod update;

use miette::{IntoDiagnostic, Result, WrapErr};
use serde::Serialize;
use std::io::{Read, Seek};
use std::path::Path;

/// What a file is, line by line.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Description {
    /// What the file is, in a few words.
    pub kind: String,
    /// What it holds: a name and a value each.
    pub lines: Vec<Line>,
    /// What somebody should know before relying on it.
    pub remarks: Vec<String>,
}

/// One name and its value.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Line {
    /// The name.
    pub name: String,
    /// The value.
    pub value: String,
}

impl Description {
    fn new(kind: impl Into<String>) -> Self {
        Self {
            kind: kind.into(),
            lines: Vec::new(),
            remarks: Vec::new(),
        }
    }

    fn line(&mut self, name: &str, value: impl std::fmt::Display) {
        self.lines.push(Line {
            name: name.to_owned(),
            value: visible(&value.to_string()),
        });
    }

    fn remark(&mut self, text: impl Into<String>) {
        self.remarks.push(visible(&text.into()));
    }

    /// For a terminal.
    pub fn text(&self) -> String {
        let width = self
            .lines
            .iter()
            .map(|line| line.name.chars().count())
            .max()
            .unwrap_or(0);
        let lines = self
            .lines
            .iter()
            .map(|line| format!("  {:<width$}  {}\n", line.name, line.value));
        let remarks = self.remarks.iter().map(|remark| format!("\n{remark}\n"));
        std::iter::once(format!("{}\n", self.kind))
            .chain(lines)
            .chain(remarks)
            .collect()
    }
}

pub(crate) use packstaff_words::text::visible;

/// Largest file that is read as a whole. Stick images are read block by block, whatever their size.
const WHOLE_MAX: u64 = 64 << 20;

/// Looks at a file.
///
/// # Errors
/// It cannot be read.
pub fn look(path: &Path) -> Result<Description> {
    let failed = || format!("{} cannot be read", path.display());
    let mut file = std::fs::File::open(path).into_diagnostic().wrap_err_with(failed)?;
    let size = file.metadata().into_diagnostic().wrap_err_with(failed)?.len();
    if let Some(description) = stick::look(&mut file) {
        return Ok(description);
    }
    if size > WHOLE_MAX {
        return Ok(too_large(format!("{size} bytes")));
    }
    // What is no ordinary file may say that it is empty, and then never end.
    let mut bytes = Vec::new();
    // A pipe cannot go back, and nothing has been read from it yet.
    let _ = file.rewind();
    file.take(WHOLE_MAX + 1)
        .read_to_end(&mut bytes)
        .into_diagnostic()
        .wrap_err_with(failed)?;
    if bytes.len() as u64 > WHOLE_MAX {
        return Ok(too_large(format!("more than {WHOLE_MAX} bytes")));
    }
    Ok(describe(&path.display().to_string(), &bytes))
}

fn too_large(size: String) -> Description {
    let mut description = Description::new("Not a file of ours, and too large to look into");
    description.line("size", size);
    description
}

/// Describes a file's contents; `name` is only for messages. Stick images are recognised by [`look`].
pub fn describe(name: &str, bytes: &[u8]) -> Description {
    update::look(bytes)
        .or_else(|| texts::look(name, bytes))
        .or_else(|| build::look(bytes))
        .unwrap_or_else(|| {
            let mut description = Description::new("Nothing that this program knows; a raw binary, perhaps");
            description.line("size", packstaff_words::text::bytes(bytes.len() as u64));
            description.line(
                "SHA-256",
                packstaff_words::text::hex(&packstaff_envelope::sha256(bytes)),
            );
            description
        })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn tricks_on_the_terminal_are_shown_for_what_they_are() {
        let mut description = Description::new("x");
        description.line("name", "evil\u{202e}cod\u{1b}[31m");
        assert_eq!(description.lines[0].value, "evil\u{fffd}cod\u{fffd}[31m");
    }

    proptest! {
        #[test]
        fn any_bytes_are_described(bytes in proptest::collection::vec(any::<u8>(), 0..2000)) {
            prop_assert!(!describe("x", &bytes).kind.is_empty());
        }

        #[test]
        fn any_bytes_that_begin_like_an_update_are_described(bytes in proptest::collection::vec(any::<u8>(), 0..2000)) {
            let file = [&[0xd8, 0x6b][..], &bytes].concat();
            prop_assert!(describe("x", &file).kind.starts_with("An update file"));
        }
    }
}
