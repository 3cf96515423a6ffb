//! What came of a rehearsal in the XML that build servers read: a suite for each case, a test for each claim.
//!
//! There is no standard for it. Elements and attributes are those that build servers commonly read (common practice): `testsuites`,
//! `testsuite`, `testcase`, `failure`, `skipped`.

use super::record::{BrokenClaim, CaseRecord, Record, SettingsRecord};
use super::rows::{broken, claims_of, settings_claims};
use packstaff_rehearsal::claims::Claim;
use std::fmt::Write;

/// What came of one test.
pub(super) enum End {
    Holds,
    Fails {
        message: String,
        text: String,
    },
    /// It was not looked at to the end, and why.
    #[cfg_attr(
        not(feature = "own-loader"),
        expect(dead_code, reason = "products are rehearsed to the end")
    )]
    Skipped(String),
}

impl End {
    /// A claim that does not hold.
    pub(super) fn of(broken: &BrokenClaim) -> Self {
        Self::Fails {
            message: broken.seen.clone(),
            text: broken.story.join("\n"),
        }
    }
}

/// One test.
pub(super) struct Test {
    pub(super) name: String,
    pub(super) end: End,
}

/// Tests that belong together.
pub(super) struct Suite {
    pub(super) name: String,
    /// The name that its tests are grouped by.
    pub(super) class: String,
    pub(super) tests: Vec<Test>,
}

impl Suite {
    fn failures(&self) -> usize {
        let fails = |test: &&Test| matches!(test.end, End::Fails { .. });
        self.tests.iter().filter(fails).count()
    }

    fn skipped(&self) -> usize {
        let skipped = |test: &&Test| matches!(test.end, End::Skipped(_));
        self.tests.iter().filter(skipped).count()
    }

    fn write(&self, out: &mut String) {
        let _ = writeln!(
            out,
            "  <testsuite name=\"{}\" tests=\"{}\" failures=\"{}\" errors=\"0\" skipped=\"{}\">",
            escaped(&self.name),
            self.tests.len(),
            self.failures(),
            self.skipped()
        );
        for test in &self.tests {
            let (class, name) = (escaped(&self.class), escaped(&test.name));
            let _ = write!(out, "    <testcase classname=\"{class}\" name=\"{name}\"");
            let _ = match &test.end {
                End::Holds => writeln!(out, "/>"),
                End::Fails { message, text } => {
                    let (message, text) = (escaped(message), escaped(text));
                    writeln!(
                        out,
                        ">\n      <failure message=\"{message}\" type=\"claim\">{text}</failure>\n    </testcase>"
                    )
                }
                End::Skipped(why) => writeln!(out, ">\n      <skipped message=\"{}\"/>\n    </testcase>", escaped(why)),
            };
        }
        out.push_str("  </testsuite>\n");
    }
}

/// The results of a product's rehearsal.
pub fn junit(record: &Record) -> String {
    let suite = |name: String, part: &str, tests: Vec<Test>| Suite {
        class: format!("{}.{part}", record.product),
        name,
        tests,
    };
    let cases = record.cases.iter();
    let installs = cases.map(|case| suite(case.name(), &case.board, tests(case)));
    let explored = record.keeping.iter().filter(|case| case.unexplored.is_none());
    let settings = explored.map(|case| suite(case.name.clone(), "settings", settings_tests(case)));
    let suites: Vec<_> = installs.chain(settings).collect();
    document(&format!("{}, rehearsed", record.product), &suites)
}

/// The document.
pub(super) fn document(name: &str, suites: &[Suite]) -> String {
    let mut out = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    let _ = writeln!(
        out,
        "<testsuites name=\"{}\" tests=\"{}\" failures=\"{}\">",
        escaped(name),
        suites.iter().map(|suite| suite.tests.len()).sum::<usize>(),
        suites.iter().map(Suite::failures).sum::<usize>()
    );
    suites.iter().for_each(|suite| suite.write(&mut out));
    out.push_str("</testsuites>\n");
    out
}

fn tests(case: &CaseRecord) -> Vec<Test> {
    let installs = case.installs.iter().map(|install| Test {
        name: format!("without a cut, from {}", install.from.as_deref().unwrap_or("new")),
        end: match install.holds {
            true => End::Holds,
            false => End::Fails {
                message: install.seen.clone(),
                text: install.seen.clone(),
            },
        },
    });
    let claims = claims_of(case)
        .filter(|claim| *claim != Claim::SettingsKept)
        .map(|claim| judged(claim, &case.covered.broken));
    installs.chain(claims).collect()
}

fn settings_tests(case: &SettingsRecord) -> Vec<Test> {
    let claims = settings_claims(case).iter().copied();
    claims.map(|claim| judged(claim, &case.broken)).collect()
}

fn judged(claim: Claim, all: &[BrokenClaim]) -> Test {
    Test {
        name: format!("{}: {}", claim.id(), claim.statement()),
        end: broken(all, claim).map_or(End::Holds, End::of),
    }
}

/// A text for an attribute or an element (Extensible Markup Language 1.0, 2.2 and 2.4): what is no character there is left out.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for char in text.chars() {
        match char {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\n' | '\t' => out.push(char),
            '\u{0}'..='\u{1f}' | '\u{fffe}' | '\u{ffff}' => {}
            _ => out.push(char),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn markup_in_texts_stays_text() {
        assert_eq!(escaped("a<b & \"c\"\u{1}\n"), "a&lt;b &amp; &quot;c&quot;\n");
    }
}
