//! What came of a rehearsal in the XML that build servers read: a suite for each case, a test for each claim.
//!
//! There is no standard for it. Elements and attributes are those that build servers commonly read (common practice): `testsuites`,
//! `testsuite`, `testcase`, `failure`.

use super::outcome::{Broken, CaseOutcome, KeepingOutcome, Outcome};
use super::rows::{broken, claims_of, keeping_claims};
use rehearsal::claims::Claim;
use std::fmt::Write;

struct Suite {
    name: String,
    class: String,
    tests: Vec<Test>,
}

struct Test {
    name: String,
    failure: Option<(String, String)>,
}

/// The document.
pub fn junit(outcome: &Outcome) -> String {
    let suite = |name: String, part: &str, tests: Vec<Test>| Suite {
        class: format!("{}.{part}", outcome.product),
        name,
        tests,
    };
    let installs = outcome
        .cases
        .iter()
        .map(|case| suite(case.name(), &case.board, tests(case)));
    let explored = outcome.keeping.iter().filter(|case| case.unexplored.is_none());
    let keeping = explored.map(|case| suite(case.name.clone(), "settings", keeping_tests(case)));
    let suites: Vec<Suite> = installs.chain(keeping).collect();
    let count = |tests: &[Test]| (tests.len(), tests.iter().filter(|test| test.failure.is_some()).count());
    let all = suites.iter().map(|suite| count(&suite.tests));
    let (tests, failures) = all.fold((0, 0), |sum, one| (sum.0 + one.0, sum.1 + one.1));
    let name = escaped(&format!("{}, rehearsed", outcome.product));
    let mut out = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n");
    let _ = writeln!(
        out,
        "<testsuites name=\"{name}\" tests=\"{tests}\" failures=\"{failures}\">"
    );
    for suite in &suites {
        let (tests, failures) = count(&suite.tests);
        let name = escaped(&suite.name);
        let _ = writeln!(
            out,
            "  <testsuite name=\"{name}\" tests=\"{tests}\" failures=\"{failures}\" errors=\"0\" skipped=\"0\">"
        );
        for test in &suite.tests {
            let class = escaped(&suite.class);
            let _ = write!(
                out,
                "    <testcase classname=\"{class}\" name=\"{}\"",
                escaped(&test.name)
            );
            match &test.failure {
                None => out.push_str("/>\n"),
                Some((message, text)) => {
                    let (message, text) = (escaped(message), escaped(text));
                    let _ = writeln!(
                        out,
                        ">\n      <failure message=\"{message}\" type=\"claim\">{text}</failure>\n    </testcase>"
                    );
                }
            }
        }
        out.push_str("  </testsuite>\n");
    }
    out.push_str("</testsuites>\n");
    out
}

fn tests(case: &CaseOutcome) -> Vec<Test> {
    let installs = case.installs.iter().map(|install| Test {
        name: format!("without a cut, from {}", install.from.as_deref().unwrap_or("new")),
        failure: (!install.holds).then(|| (install.seen.clone(), install.seen.clone())),
    });
    let claims = claims_of(case)
        .filter(|claim| *claim != Claim::SettingsKept)
        .map(|claim| judged(claim, &case.broken));
    installs.chain(claims).collect()
}

fn keeping_tests(case: &KeepingOutcome) -> Vec<Test> {
    let claims = keeping_claims(case).iter().copied();
    claims.map(|claim| judged(claim, &case.broken)).collect()
}

fn judged(claim: Claim, all: &[Broken]) -> Test {
    Test {
        name: format!("{}: {}", claim.id(), claim.statement()),
        failure: broken(all, claim).map(|broken| (broken.seen.clone(), broken.story.join("\n"))),
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
