//! Errors of the libraries, told at a terminal: with what to do, and the lines that they are about.

use miette::{Diagnostic, LabeledSpan, NamedSource, Report, SourceCode};
use packstaff_document::{DocumentError, Fault};
use packstaff_words::Remedy;
use packstaff_words::remedy::Excerpt;
use std::fmt;
use std::ops::Range;

/// An error of a library, with its remedy.
#[derive(Debug)]
struct Told<E> {
    error: E,
    shown: Option<Shown>,
}

/// The text that an error is about.
#[derive(Debug)]
struct Shown {
    text: NamedSource<String>,
    /// The bytes that the error itself is about.
    at: Option<Range<usize>>,
    /// What is wrong with a document, each at its place.
    faults: Vec<ToldFault>,
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
        self.shown.as_ref().map(|shown| &shown.text as &dyn SourceCode)
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        label(self.shown.as_ref()?.at.clone()?)
    }

    fn related<'a>(&'a self) -> Option<Box<dyn Iterator<Item = &'a dyn Diagnostic> + 'a>> {
        let faults = &self.shown.as_ref()?.faults;
        if faults.is_empty() {
            return None;
        }
        Some(Box::new(faults.iter().map(|fault| fault as &dyn Diagnostic)))
    }
}

fn label<'a>(at: Range<usize>) -> Option<Box<dyn Iterator<Item = LabeledSpan> + 'a>> {
    let label = LabeledSpan::new_with_span(Some("here".to_owned()), at);
    Some(Box::new(std::iter::once(label)))
}

impl From<&DocumentError> for Shown {
    fn from(error: &DocumentError) -> Self {
        Self {
            text: NamedSource::new(error.name(), error.text().to_owned()).with_language("TOML"),
            at: None,
            faults: error.faults().iter().cloned().map(ToldFault).collect(),
        }
    }
}

impl From<Excerpt<'_>> for Shown {
    fn from(excerpt: Excerpt<'_>) -> Self {
        Self {
            text: NamedSource::new(excerpt.name, excerpt.text.to_owned()),
            at: excerpt.at,
            faults: Vec::new(),
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
        label(self.0.span.clone())
    }
}

/// An error, told.
pub(crate) fn report(error: impl Remedy) -> Report {
    let document = error.document().map(Shown::from);
    let shown = document.or_else(|| error.excerpt().map(Shown::from));
    Report::new(Told { error, shown })
}

/// Results of the libraries, for the program.
pub(crate) trait ForPeople<T> {
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
