//! Which expected touch was found, and what is wrong.

use std::collections::BTreeMap;
use std::fmt;

use super::expected::Expected;

/// One touch judged; times in ns.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Finding {
    /// Expected and found.
    Matched {
        line: String,
        expected: i64,
        found: i64,
    },
    /// Found, but not where it was expected.
    Displaced {
        line: String,
        expected: i64,
        found: i64,
    },
    /// Expected and not found.
    Missing { line: String, expected: i64 },
    /// Found and not expected.
    Extra { line: String, found: i64 },
}

impl Finding {
    /// Whether it speaks against the log.
    pub(crate) fn is_wrong(&self) -> bool {
        !matches!(self, Self::Matched { .. })
    }
}

impl fmt::Display for Finding {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Matched { line, expected, .. } => write!(f, "matched {line}: {expected} ns"),
            Self::Displaced {
                line,
                expected,
                found,
            } => {
                let off = i128::from(*found) - i128::from(*expected);
                write!(
                    f,
                    "displaced {line}: expected {expected} ns, found {found} ns, {off:+} ns off"
                )
            }
            Self::Missing { line, expected } => write!(f, "missing {line}: expected {expected} ns"),
            Self::Extra { line, found } => write!(f, "extra {line}: found {found} ns"),
        }
    }
}

/// Pairs the touches of each line in order. A pair farther apart than `within` but nearer than
/// `near` is displaced.
pub(crate) fn judge(
    expected: &[Expected],
    found: &[(String, i64)],
    within: u64,
    near: u64,
) -> Vec<Finding> {
    let mut lines: BTreeMap<&str, (Vec<i64>, Vec<i64>)> = BTreeMap::new();
    for touch in expected {
        lines.entry(&touch.line).or_default().0.push(touch.onset_ns);
    }
    for (line, onset_ns) in found {
        lines.entry(line).or_default().1.push(*onset_ns);
    }
    let mut findings = Vec::new();
    for (line, (mut expected, mut found)) in lines {
        expected.sort_unstable();
        found.sort_unstable();
        findings.extend(pair(line, &expected, &found, within, near));
    }
    findings
}

fn pair(line: &str, expected: &[i64], found: &[i64], within: u64, near: u64) -> Vec<Finding> {
    let matched = in_order(expected, found, |e, f| e.abs_diff(f) <= within);
    let missing = left(expected, matched.iter().map(|pair| pair.0));
    let extra = left(found, matched.iter().map(|pair| pair.1));
    let displaced = in_order(&missing, &extra, |e, f| e.abs_diff(f) < near);
    let line = || line.to_owned();
    let mut findings: Vec<Finding> = Vec::new();
    for (e, f) in &matched {
        findings.push(Finding::Matched {
            line: line(),
            expected: expected[*e],
            found: found[*f],
        });
    }
    for (e, f) in &displaced {
        findings.push(Finding::Displaced {
            line: line(),
            expected: missing[*e],
            found: extra[*f],
        });
    }
    for expected in left(&missing, displaced.iter().map(|pair| pair.0)) {
        findings.push(Finding::Missing {
            line: line(),
            expected,
        });
    }
    for found in left(&extra, displaced.iter().map(|pair| pair.1)) {
        findings.push(Finding::Extra {
            line: line(),
            found,
        });
    }
    findings.sort_by_key(|finding| match finding {
        Finding::Matched { expected, .. }
        | Finding::Displaced { expected, .. }
        | Finding::Missing { expected, .. } => *expected,
        Finding::Extra { found, .. } => *found,
    });
    findings
}

/// The members of `all` that are not among the indices `taken`, which rise.
fn left(all: &[i64], taken: impl Iterator<Item = usize>) -> Vec<i64> {
    let mut taken = taken.peekable();
    let all = all.iter().enumerate();
    all.filter(|(k, _)| taken.next_if_eq(k).is_none())
        .map(|(_, at)| *at)
        .collect()
}

/// Indices of pairs of two sorted lists, each member used once, in order.
fn in_order(a: &[i64], b: &[i64], fits: impl Fn(i64, i64) -> bool) -> Vec<(usize, usize)> {
    let (mut i, mut k) = (0, 0);
    let mut pairs = Vec::new();
    while let (Some(&x), Some(&y)) = (a.get(i), b.get(k)) {
        if fits(x, y) {
            pairs.push((i, k));
            i += 1;
            k += 1;
        } else if x < y {
            i += 1;
        } else {
            k += 1;
        }
    }
    pairs
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_kind_is_told_apart() {
        let expected = [100, 1_000_000, 50_000_000].map(|onset_ns| Expected {
            line: "a".into(),
            onset_ns,
        });
        let found = [(110), (1_050_000), (90_000_000)].map(|at| ("a".to_owned(), at));
        let line = || "a".to_owned();
        assert_eq!(
            judge(&expected, &found, 10, 1_000_000),
            [
                Finding::Matched {
                    line: line(),
                    expected: 100,
                    found: 110
                },
                Finding::Displaced {
                    line: line(),
                    expected: 1_000_000,
                    found: 1_050_000
                },
                Finding::Missing {
                    line: line(),
                    expected: 50_000_000
                },
                Finding::Extra {
                    line: line(),
                    found: 90_000_000
                },
            ]
        );
    }

    #[test]
    fn the_ends_of_time_do_not_overflow() {
        let expected = [Expected {
            line: "a".into(),
            onset_ns: i64::MIN,
        }];
        let findings = judge(&expected, &[("a".to_owned(), i64::MAX)], 10, u64::MAX);
        assert_eq!(findings.len(), 2);
        assert!(findings.iter().all(Finding::is_wrong));
    }

    #[test]
    fn lines_do_not_mix() {
        let expected = [Expected {
            line: "a".into(),
            onset_ns: 5,
        }];
        assert_eq!(judge(&expected, &[("b".to_owned(), 5)], 10, 100).len(), 2);
    }
}
