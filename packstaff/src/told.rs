//! Errors of the libraries, told at a terminal: with what to do, and the lines that they are about.

use miette::{Diagnostic, LabeledSpan, Report, SourceCode};
use packstaff_words::Remedy;
use std::fmt;

/// An error of a library, with its remedy.
#[derive(Debug)]
struct Told<E>(E);

impl<E: Remedy> fmt::Display for Told<E> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.0, f)
    }
}

impl<E: Remedy> std::error::Error for Told<E> {}

impl<E: Remedy> Diagnostic for Told<E> {
    fn help<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        let remedy = self.0.remedy().map(|text| Box::new(text) as Box<dyn fmt::Display>);
        remedy.or_else(|| self.0.document().and_then(Diagnostic::help))
    }

    fn source_code(&self) -> Option<&dyn SourceCode> {
        self.0.document().and_then(Diagnostic::source_code)
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        self.0.document().and_then(Diagnostic::labels)
    }

    fn related<'a>(&'a self) -> Option<Box<dyn Iterator<Item = &'a dyn Diagnostic> + 'a>> {
        self.0.document().and_then(Diagnostic::related)
    }
}

/// An error, told.
pub fn report(error: impl Remedy) -> Report {
    Report::new(Told(error))
}

/// Results of the libraries, for the program.
pub trait ForPeople<T> {
    /// The same, with an error that says what to do.
    ///
    /// # Errors
    /// As before.
    fn told(self) -> miette::Result<T>;
}

impl<T, E: Remedy> ForPeople<T> for Result<T, E> {
    fn told(self) -> miette::Result<T> {
        self.map_err(report)
    }
}
