//! What a verb found, as a table for people and as JSON for machines.

use crate::text::wrap;
use serde::Serialize;
use std::fmt::Write;

/// The answer of one check.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// Holds.
    Pass,
    /// Can be right, and is more often a mistake.
    Warn,
    /// Does not hold.
    Fail,
}

impl Verdict {
    /// The word in the table: told apart without colour.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Pass => "ok",
            Self::Warn => "look",
            Self::Fail => "NO",
        }
    }
}

/// One cell of the table: one check of one board.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Cell {
    /// The answer.
    pub verdict: Verdict,
    /// A figure or a few words for the table.
    pub figure: String,
    /// What was found.
    pub found: String,
    /// What was expected.
    pub expected: String,
    /// Why it matters and, unless it holds, what to do.
    pub explanation: String,
}

impl Cell {
    /// A check that holds, with a figure.
    pub fn pass(figure: impl Into<String>) -> Self {
        let figure = figure.into();
        Self {
            verdict: Verdict::Pass,
            found: figure.clone(),
            figure,
            expected: String::new(),
            explanation: String::new(),
        }
    }

    /// A check that does not hold.
    pub fn fail(found: impl Into<String>, expected: impl Into<String>, explanation: impl Into<String>) -> Self {
        Self {
            verdict: Verdict::Fail,
            figure: String::new(),
            found: found.into(),
            expected: expected.into(),
            explanation: explanation.into(),
        }
    }
}

impl From<packstaff_image::checks::Check> for Cell {
    fn from(check: packstaff_image::checks::Check) -> Self {
        use packstaff_image::checks::Verdict as Of;
        Self {
            verdict: match check.verdict {
                Of::Pass => Verdict::Pass,
                Of::Warn => Verdict::Warn,
                Of::Fail => Verdict::Fail,
            },
            figure: String::new(),
            found: check.found,
            expected: check.expected,
            explanation: check.explanation,
        }
    }
}

/// One check, board by board.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Row {
    /// A short name that does not change.
    pub id: String,
    /// What is checked.
    pub title: String,
    /// One cell a column; `None` where it does not apply.
    pub cells: Vec<Option<Cell>>,
}

/// Checks that belong together.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Section {
    /// What they are about.
    pub title: String,
    /// The checks.
    pub rows: Vec<Row>,
}

/// Everything that a verb found.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Report {
    /// What this is a report of.
    pub heading: String,
    /// The columns: board revisions, if nothing else.
    pub columns: Vec<String>,
    /// The word before each column's name.
    #[serde(skip)]
    pub column_word: &'static str,
    /// The checks.
    pub sections: Vec<Section>,
    /// The overall answer: the gravest of all.
    pub verdict: Verdict,
    /// The overall answer in words.
    pub conclusion: String,
    /// Files that were written.
    pub written: Vec<String>,
}

impl Report {
    /// A report without checks yet.
    pub fn new(heading: impl Into<String>, columns: Vec<String>) -> Self {
        Self {
            heading: heading.into(),
            columns,
            column_word: "board",
            sections: Vec::new(),
            verdict: Verdict::Pass,
            conclusion: String::new(),
            written: Vec::new(),
        }
    }

    /// Adds checks; rows of the same `id` in the last section of that title come together.
    pub fn set(&mut self, section: &str, id: &str, title: &str, column: usize, cell: Cell) {
        self.verdict = self.verdict.max(cell.verdict);
        if self.sections.last().is_none_or(|last| last.title != section) {
            self.sections.push(Section {
                title: section.to_owned(),
                rows: Vec::new(),
            });
        }
        let columns = self.columns.len();
        let Some(section) = self.sections.last_mut() else {
            return;
        };
        let index = section.rows.iter().position(|row| row.id == id).unwrap_or_else(|| {
            section.rows.push(Row {
                id: id.to_owned(),
                title: title.to_owned(),
                cells: vec![None; columns],
            });
            section.rows.len() - 1
        });
        if let Some(place) = section.rows[index].cells.get_mut(column) {
            *place = Some(cell);
        }
    }

    /// As [`set`](Self::set), but a graver answer that stands there already stays.
    pub fn set_worst(&mut self, section: &str, id: &str, title: &str, column: usize, cell: Cell) {
        let sections = self.sections.iter().rev().find(|held| held.title == section);
        let row = sections.and_then(|held| held.rows.iter().find(|row| row.id == id));
        let stands = row.and_then(|row| row.cells.get(column)?.as_ref());
        if stands.is_none_or(|stands| stands.verdict <= cell.verdict) {
            self.set(section, id, title, column, cell);
        }
    }

    /// Every cell that does not hold, with the check and the board that it belongs to.
    pub fn objections(&self) -> impl Iterator<Item = (&Row, &str, &Cell)> {
        self.sections
            .iter()
            .flat_map(|section| &section.rows)
            .flat_map(move |row| {
                row.cells.iter().zip(&self.columns).filter_map(move |(cell, column)| {
                    let cell = cell.as_ref().filter(|cell| cell.verdict != Verdict::Pass)?;
                    Some((row, column.as_str(), cell))
                })
            })
    }

    /// The report as JSON, for machines; its last line ends like the others.
    ///
    /// # Errors
    /// The JSON writer's own: none is known for a report.
    pub fn json(&self) -> serde_json::Result<String> {
        serde_json::to_string_pretty(self).map(|text| text + "\n")
    }

    /// The table, for a terminal or a file. `colour` sets words apart that need a look.
    pub fn table(&self, colour: bool) -> String {
        let shades = Shades { on: colour };
        let rows = || self.sections.iter().flat_map(|section| &section.rows);
        let titles = rows().map(|row| row.title.chars().count()).max().unwrap_or(0);
        let width = |column: usize| {
            let cells = rows().filter_map(|row| row.cells.get(column)?.as_ref());
            let widest = cells
                .map(|cell| cell.verdict.word().len() + 1 + cell.figure.chars().count())
                .max();
            widest.unwrap_or(0).max(self.columns[column].chars().count() + 6)
        };
        let widths: Vec<_> = (0..self.columns.len()).map(width).collect();
        let mut out = String::new();
        let _ = writeln!(out, "{}", shades.strong(&self.heading));
        for section in &self.sections {
            let _ = write!(
                out,
                "\n{}",
                shades.strong(&format!("{:<1$}", section.title, titles + 2))
            );
            for (column, width) in self.columns.iter().zip(&widths) {
                let _ = write!(out, "  {:<1$}", format!("{} {column}", self.column_word), width);
            }
            let line = out.trim_end().len();
            out.truncate(line);
            out.push('\n');
            for row in &section.rows {
                let mut line = format!("  {:<1$}", row.title, titles);
                for (cell, width) in row.cells.iter().zip(&widths) {
                    let Some(cell) = cell else {
                        let _ = write!(line, "  {:<width$}", "");
                        continue;
                    };
                    let word = cell.verdict.word();
                    let rest = width.saturating_sub(word.len());
                    let _ = write!(
                        line,
                        "  {}{:<rest$}",
                        shades.verdict(cell.verdict),
                        format!(" {}", cell.figure)
                    );
                }
                let _ = writeln!(out, "{}", line.trim_end());
            }
        }
        for (row, column, cell) in self.objections() {
            let _ = write!(
                out,
                "\n{} {}, {} {column}",
                shades.verdict(cell.verdict),
                row.title,
                self.column_word
            );
            let _ = write!(out, "\n   found     {}", cell.found);
            if !cell.expected.is_empty() {
                let _ = write!(out, "\n   expected  {}", cell.expected);
            }
            for line in cell.explanation.lines().flat_map(|line| wrap(line, 96)) {
                let _ = write!(out, "\n   {line}");
            }
            out.push('\n');
        }
        if !self.written.is_empty() {
            out.push('\n');
            for file in &self.written {
                let _ = writeln!(out, "  wrote {file}");
            }
        }
        let _ = writeln!(out);
        for line in wrap(&self.conclusion, 100) {
            let _ = writeln!(out, "{line}");
        }
        out
    }
}

struct Shades {
    on: bool,
}

impl Shades {
    fn paint(&self, style: anstyle::Style, text: &str) -> String {
        match self.on {
            true => format!("{}{text}{}", style.render(), style.render_reset()),
            false => text.to_owned(),
        }
    }

    fn strong(&self, text: &str) -> String {
        self.paint(anstyle::Style::new().bold(), text)
    }

    fn verdict(&self, verdict: Verdict) -> String {
        let style = match verdict {
            Verdict::Pass => anstyle::Style::new().fg_color(Some(anstyle::AnsiColor::Cyan.into())),
            Verdict::Warn => anstyle::Style::new()
                .bold()
                .fg_color(Some(anstyle::AnsiColor::Yellow.into())),
            Verdict::Fail => anstyle::Style::new().bold().invert(),
        };
        self.paint(style, verdict.word())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn report() -> Report {
        let mut report = Report::new("KC-4 2.1", vec!["C".into(), "D".into()]);
        report.set("Build", "fits", "fits the slot", 0, Cell::pass("21.0 of 447.9 KiB"));
        report.set(
            "Build",
            "fits",
            "fits the slot",
            1,
            Cell::fail("300 KiB", "at most 216 KiB", "Make it smaller."),
        );
        report.set("Build", "start", "starts at the slot", 0, Cell::pass(""));
        report.conclusion = "Not released.".into();
        report
    }

    #[test]
    fn the_table_lines_up_and_says_what_is_wrong() {
        let table = report().table(false);
        let expected = "\
KC-4 2.1

Build                 board C               board D
  fits the slot       ok 21.0 of 447.9 KiB  NO
  starts at the slot  ok

NO fits the slot, board D
   found     300 KiB
   expected  at most 216 KiB
   Make it smaller.

Not released.
";
        assert_eq!(table, expected);
    }

    #[test]
    fn a_graver_answer_stays_and_explanations_keep_their_lines() {
        let mut report = report();
        report.set_worst("Build", "fits", "fits the slot", 1, Cell::pass("now"));
        report.set_worst(
            "Build",
            "fits",
            "fits the slot",
            0,
            Cell::fail("a", "b", "First.\nSecond."),
        );
        let cells = &report.sections[0].rows[0].cells;
        assert!(cells.iter().flatten().all(|cell| cell.verdict == Verdict::Fail));
        assert!(
            report.table(false).contains("\n   First.\n   Second.\n"),
            "{}",
            report.table(false)
        );
    }

    #[test]
    fn colour_only_adds_to_the_words() {
        let coloured = report().table(true);
        assert_ne!(coloured, report().table(false));
        let stripped = anstream::adapter::strip_str(&coloured).to_string();
        assert_eq!(stripped, report().table(false));
    }

    #[test]
    fn the_gravest_answer_decides() {
        assert_eq!(report().verdict, Verdict::Fail);
        assert_eq!(Report::new("", vec![]).verdict, Verdict::Pass);
    }
}
