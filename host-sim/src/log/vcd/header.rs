//! The header of a dump: timescale, scopes, declarations.

use super::names::{Names, Other, Var};
use super::SKIPPED;
use crate::fault::{excerpt, Fault, Place};
use crate::log::lines::{Lines, MAX_TABLE_BYTES};
use crate::log::lookup::Lookup;
use crate::log::window::Window;

/// Most declarations of a dump, skipped ones included.
const MAX_VARS: usize = 32_768;
const _: () = assert!(
    SKIPPED as usize > MAX_VARS,
    "no line has the number that stands for none"
);

/// Most words of one `$var`, `$scope` or `$timescale`.
const MAX_WORDS: usize = 16;

/// From units of the dump to ns.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Scale {
    /// The unit is this many ns.
    Times(u64),
    /// This many units are 1 ns.
    Divided(u64),
}

impl Scale {
    /// Rounded half to even, and whether that was exact; `None` beyond 64 bits.
    pub(super) fn ns(self, mark: u64) -> Option<(i64, bool)> {
        let (whole, exact) = match self {
            Self::Times(factor) => (mark.checked_mul(factor)?, true),
            Self::Divided(divisor) => {
                let (whole, rest) = (mark / divisor, mark % divisor);
                let up = rest * 2 > divisor || (rest * 2 == divisor && whole % 2 == 1);
                (whole + u64::from(up), rest == 0)
            }
        };
        Some((i64::try_from(whole).ok()?, exact))
    }

    /// From the words of `$timescale`, joined.
    fn parse(text: &str) -> Option<Self> {
        let (number, unit) = text.split_at(text.find(|c: char| !c.is_ascii_digit())?);
        let number: u64 = match number {
            "1" => 1,
            "10" => 10,
            "100" => 100,
            _ => return None,
        };
        match unit {
            "s" => Some(Self::Times(number * 1_000_000_000)),
            "ms" => Some(Self::Times(number * 1_000_000)),
            "us" => Some(Self::Times(number * 1_000)),
            "ns" => Some(Self::Times(number)),
            "ps" => Some(Self::Divided(1_000 / number)),
            "fs" => Some(Self::Divided(1_000_000 / number)),
            _ => None,
        }
    }
}

/// Everything a header says.
pub(super) struct Header {
    pub(super) lines: Lines,
    pub(super) names: Names,
    pub(super) identifiers: Lookup,
    pub(super) scale: Scale,
    pub(super) notes: Vec<String>,
}

/// Reads and consumes everything up to `$enddefinitions $end`.
pub(super) fn read(window: &mut Window) -> Result<Header, Fault> {
    let mut draft = Draft::default();
    while let Some(length) = window.token()? {
        let token = window.data()[..length].to_owned();
        let done = draft
            .token(&token)
            .map_err(|fault| fault.or_at(window.place(0)))?;
        window.consume(length);
        if done {
            return draft.finish(window.file());
        }
    }
    Err(Fault::new(
        "the end of the log inside its header",
        "$enddefinitions $end",
        "the log is cut off; save it again",
    )
    .at(window.place(0)))
}

#[derive(Default)]
struct Draft {
    /// The keyword of the open section, and its words where they matter.
    section: Option<(String, Vec<String>)>,
    scopes: Vec<String>,
    /// Dotted path of the open scopes, by number; declarations refer to it.
    paths: Vec<String>,
    vars: Vec<Var>,
    scale: Option<Scale>,
    bytes: usize,
}

impl Draft {
    /// Takes one token; `true` once the header is complete.
    fn token(&mut self, token: &[u8]) -> Result<bool, Fault> {
        let Some((keyword, mut words)) = self.section.take() else {
            if token.first() != Some(&b'$') || token == b"$end" {
                return Err(Fault::new(
                    format!("{} in the header", excerpt(token)),
                    "a section that begins with $, or $enddefinitions",
                    "add the missing $enddefinitions $end, or remove the word",
                ));
            }
            self.section = Some((String::from_utf8_lossy(token).into_owned(), Vec::new()));
            return Ok(false);
        };
        if token == b"$end" {
            return self.close(&keyword, &words);
        }
        if matches!(
            keyword.as_str(),
            "$var" | "$scope" | "$timescale" | "$upscope" | "$enddefinitions"
        ) {
            let word = std::str::from_utf8(token)
                .ok()
                .filter(|word| !word.chars().any(char::is_control));
            let word = word.filter(|_| words.len() < MAX_WORDS).ok_or_else(|| {
                Fault::new(
                    format!("{} in {keyword}", excerpt(token)),
                    "its $end",
                    "add the missing $end",
                )
            })?;
            words.push(word.to_owned());
        }
        self.section = Some((keyword, words));
        Ok(false)
    }

    fn close(&mut self, keyword: &str, words: &[String]) -> Result<bool, Fault> {
        match keyword {
            "$enddefinitions" => return Ok(true),
            "$timescale" => {
                let text = words.concat();
                self.scale = Some(Scale::parse(&text).ok_or_else(|| {
                    Fault::new(
                        format!("the timescale {}", excerpt(text.as_bytes())),
                        "1, 10 or 100 and one of s ms us ns ps fs",
                        "correct $timescale",
                    )
                })?);
            }
            "$scope" => {
                let name = words
                    .last()
                    .filter(|_| words.len() == 2)
                    .ok_or_else(|| wrong(keyword, words, "type and name"))?;
                let path = match self.scopes.last() {
                    Some(outer) => format!("{outer}.{name}"),
                    None => name.clone(),
                };
                self.spend(path.len())?;
                self.scopes.push(path);
            }
            "$upscope" => match self.scopes.pop() {
                Some(_) => {}
                None => {
                    return Err(Fault::new(
                        "$upscope",
                        "an open $scope before it",
                        "remove it",
                    ))
                }
            },
            "$var" => self.declare(words)?,
            // $date, $version, $comment, and sections that other programs add: no matter here.
            _ => {}
        }
        Ok(false)
    }

    fn declare(&mut self, words: &[String]) -> Result<(), Fault> {
        let expected = "type, size, identifier and name";
        let [kind, size, identifier, name @ ..] = words else {
            return Err(wrong("$var", words, expected));
        };
        let bits: u32 = size
            .parse()
            .map_err(|_| wrong("$var", words, "a whole number as its size"))?;
        if name.is_empty() {
            return Err(wrong("$var", words, expected));
        }
        if self.vars.len() == MAX_VARS {
            return Err(Fault::new(
                format!("more than {MAX_VARS} signals"),
                "a dump of fewer signals",
                "dump only the signals of interest",
            ));
        }
        let name = name.concat();
        let path = self.scopes.last().cloned().unwrap_or_default();
        if self.paths.last() != Some(&path) {
            self.spend(path.len())?;
            self.paths.push(path);
        }
        self.spend(name.len() + identifier.len())?;
        let other = match kind.as_str() {
            "real" | "realtime" => Some(Other::Real),
            "string" => Some(Other::Text),
            "event" => Some(Other::Event),
            _ if bits != 1 => Some(Other::Vector(bits)),
            _ => None,
        };
        let scope = self.paths.len() - 1;
        self.vars.push(Var {
            scope,
            name,
            identifier: identifier.clone(),
            other,
        });
        Ok(())
    }

    /// Keeps the memory of a header within its bound.
    fn spend(&mut self, bytes: usize) -> Result<(), Fault> {
        self.bytes += bytes;
        if self.bytes > MAX_TABLE_BYTES {
            return Err(Fault::new(
                format!("more than {MAX_TABLE_BYTES} bytes of names and identifiers"),
                "a dump of fewer signals",
                "dump only the signals of interest",
            ));
        }
        Ok(())
    }

    fn finish(self, file: &str) -> Result<Header, Fault> {
        let mut notes = Vec::new();
        let scale = self.scale.unwrap_or_else(|| {
            notes.push("the dump states no timescale: 1 ns is assumed".to_owned());
            Scale::Times(1)
        });
        let mut header = Header {
            lines: Lines::new(),
            names: Names::default(),
            identifiers: Lookup::new(),
            scale,
            notes,
        };
        header.names = Names::assign(
            self.vars,
            &self.paths,
            &mut header.lines,
            &mut header.identifiers,
        )
        .map_err(|fault| fault.or_at(Place::File(file.to_owned())))?;
        header.notes.extend(header.names.notes());
        Ok(header)
    }
}

fn wrong(keyword: &str, words: &[String], expected: &str) -> Fault {
    Fault::new(
        format!("{keyword} {}", excerpt(words.join(" ").as_bytes())),
        expected,
        format!("write {keyword} as IEEE 1364 has it"),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_timescales() {
        assert_eq!(Scale::parse("1ns"), Some(Scale::Times(1)));
        assert_eq!(Scale::parse("100s"), Some(Scale::Times(100_000_000_000)));
        assert_eq!(Scale::parse("10ps"), Some(Scale::Divided(100)));
        assert_eq!(Scale::parse("100fs"), Some(Scale::Divided(10_000)));
        for text in ["", "1", "3us", "1 ns", "ns", "1000ns", "1as"] {
            assert_eq!(Scale::parse(text), None, "{text}");
        }
    }

    #[test]
    fn finer_than_a_nanosecond_rounds_half_to_even() {
        let ps = Scale::Divided(1000);
        assert_eq!(ps.ns(500), Some((0, false)));
        assert_eq!(ps.ns(1_500), Some((2, false)));
        assert_eq!(ps.ns(1_501), Some((2, false)));
        assert_eq!(ps.ns(2_000), Some((2, true)));
        assert_eq!(ps.ns(u64::MAX), Some((18_446_744_073_709_552, false)));
        assert_eq!(Scale::Times(1_000).ns(u64::MAX), None);
        assert_eq!(Scale::Times(1).ns(u64::MAX), None);
    }
}
