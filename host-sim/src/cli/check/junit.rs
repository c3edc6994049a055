//! The findings as `JUnit` XML: a test case for each expected touch, and a failing one for each extra.

use quick_junit::{NonSuccessKind, Report, TestCase, TestCaseStatus, TestSuite};

use super::verdict::Finding;
use crate::fault::Fault;

/// The document of a log that could not be judged at all.
pub(crate) fn unjudged(log: &str, why: &Fault) -> Result<String, Fault> {
    document(log, &[], Some(why))
}

/// The document; a damage that ended the log early is an error among its cases.
pub(crate) fn document(
    log: &str,
    findings: &[Finding],
    damage: Option<&Fault>,
) -> Result<String, Fault> {
    let mut suite = TestSuite::new(log);
    if let Some(damage) = damage {
        let mut status = TestCaseStatus::non_success(NonSuccessKind::Error);
        status.set_message(damage.to_string());
        suite.add_test_case(TestCase::new("the log can be read to its end", status));
    }
    for finding in findings {
        let (name, line) = match finding {
            Finding::Matched { line, expected, .. }
            | Finding::Displaced { line, expected, .. }
            | Finding::Missing { line, expected } => (format!("touch at {expected} ns"), line),
            Finding::Extra { line, found } => (format!("extra touch at {found} ns"), line),
        };
        let status = if finding.is_wrong() {
            let mut status = TestCaseStatus::non_success(NonSuccessKind::Failure);
            status.set_message(finding.to_string());
            status
        } else {
            TestCaseStatus::success()
        };
        let mut case = TestCase::new(name, status);
        case.set_classname(line.as_str());
        suite.add_test_case(case);
    }
    let mut report = Report::new("trueonset check");
    report.add_test_suite(suite);
    report.to_string().map_err(|why| {
        Fault::new(
            why.to_string(),
            "text for XML",
            "rename lines whose names have control characters",
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn failures_are_counted_and_names_escaped() {
        let line = || "<a>".to_owned();
        let text = document(
            "edges.csv",
            &[
                Finding::Matched {
                    line: line(),
                    expected: 1,
                    found: 1,
                },
                Finding::Extra {
                    line: line(),
                    found: 9,
                },
            ],
            Some(&Fault::new("a hole", "none", "mend it")),
        )
        .unwrap();
        let page = roxmltree::Document::parse(&text).unwrap();
        let suite = page
            .descendants()
            .find(|node| node.has_tag_name("testsuite"))
            .unwrap();
        assert_eq!(
            (suite.attribute("tests"), suite.attribute("failures")),
            (Some("3"), Some("1"))
        );
        assert_eq!(suite.attribute("errors"), Some("1"));
        assert!(text.contains("&lt;a&gt;") && text.contains("found a hole"));
    }
}
