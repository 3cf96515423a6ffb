//! Errors of the libraries, told at a terminal: with what to do, and the lines that they are about.

use miette::{Diagnostic, LabeledSpan, NamedSource, Report, SourceCode};
use packstaff_document::{DocumentError, Fault};
use packstaff_words::Remedy;
use std::fmt;

/// An error of a library, with its remedy.
#[derive(Debug)]
struct Told<E> {
    error: E,
    document: Option<Document>,
}

impl<E: Remedy> fmt::Display for Told<E> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.error, f)
    }
}

impl<E: Remedy> std::error::Error for Told<E> {}

impl<E: Remedy> Diagnostic for Told<E> {
    fn help<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        self.error.remedy().map(|text| Box::new(text) as Box<dyn fmt::Display>)
    }

    fn source_code(&self) -> Option<&dyn SourceCode> {
        self.document.as_ref().map(|document| &document.text as &dyn SourceCode)
    }

    fn related<'a>(&'a self) -> Option<Box<dyn Iterator<Item = &'a dyn Diagnostic> + 'a>> {
        let faults = &self.document.as_ref()?.faults;
        Some(Box::new(faults.iter().map(|fault| fault as &dyn Diagnostic)))
    }
}

/// A document that is wrong, with its lines.
#[derive(Debug)]
struct Document {
    text: NamedSource<String>,
    faults: Vec<ToldFault>,
}

impl From<&DocumentError> for Document {
    fn from(error: &DocumentError) -> Self {
        Self {
            text: NamedSource::new(error.name(), error.text().to_owned()).with_language("TOML"),
            faults: error.faults().iter().cloned().map(ToldFault).collect(),
        }
    }
}

/// One thing that is wrong with a document: its words, what to do, and a label at its place.
#[derive(Debug, thiserror::Error)]
#[error(transparent)]
struct ToldFault(Fault);

impl Diagnostic for ToldFault {
    fn help<'a>(&'a self) -> Option<Box<dyn fmt::Display + 'a>> {
        Some(Box::new(self.0.problem.advice()))
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        let label = LabeledSpan::new_with_span(Some("here".to_owned()), self.0.span.clone());
        Some(Box::new(std::iter::once(label)))
    }
}

/// An error, told.
pub fn report(error: impl Remedy) -> Report {
    let document = error.document().map(Document::from);
    Report::new(Told { error, document })
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
