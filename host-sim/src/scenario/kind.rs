//! What kind of value a key takes, and such a value read.

use crate::fault::{excerpt, Fault};
use crate::quantity;

/// Kind of a key's value.
#[derive(Clone, Copy)]
pub(crate) enum Kind {
    /// A number with a unit.
    Quantity(&'static quantity::Kind),
    /// A number without one.
    Number,
    /// A whole number.
    Count,
    /// One of a few words.
    Word(&'static [&'static str]),
}

/// A value as it was stated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Value {
    /// A quantity in the smallest unit of its kind, or a count.
    Whole(i64),
    /// A number without a unit, finite.
    Number(f64),
    /// A word out of those allowed.
    Word(&'static str),
}

impl Kind {
    /// Reads `text` as a command line has it.
    pub(crate) fn read(self, text: &str) -> Result<Value, Fault> {
        let text = text.trim();
        match self {
            Self::Quantity(kind) => kind.read(text).map(Value::Whole),
            Self::Number => text
                .parse()
                .ok()
                .and_then(finite)
                .ok_or_else(|| self.refuse(&excerpt(text.as_bytes()))),
            Self::Count => text
                .parse()
                .map(Value::Whole)
                .map_err(|_| self.refuse(&excerpt(text.as_bytes()))),
            Self::Word(words) => words
                .iter()
                .find(|word| **word == text)
                .map(|word| Value::Word(word))
                .ok_or_else(|| {
                    let near = super::nearest::nearest(text, words.iter().copied());
                    Fault::new(
                        excerpt(text.as_bytes()),
                        self.form(),
                        near.map_or(String::new(), |near| format!("did you mean {near}?")),
                    )
                }),
        }
    }

    /// Reads a value of a TOML table. Quantities and words stand in quotes, numbers do not.
    pub(crate) fn read_toml(self, value: &toml::Value) -> Result<Value, Fault> {
        match (self, value) {
            (Self::Quantity(_) | Self::Word(_), toml::Value::String(text)) => self.read(text),
            (Self::Number, toml::Value::Float(number)) => {
                finite(*number).ok_or_else(|| self.refuse(&number.to_string()))
            }
            (Self::Number, toml::Value::Integer(number)) => Ok(Value::Number(*number as f64)),
            (Self::Count, toml::Value::Integer(number)) => Ok(Value::Whole(*number)),
            (_, other) => Err(self.refuse(&shown(other))),
        }
    }

    /// What is expected, for a message or a table of keys.
    pub(crate) fn form(self) -> String {
        match self {
            Self::Quantity(kind) => format!(
                "a quantity with its unit in quotes, as \"{}\"",
                kind.example()
            ),
            Self::Number => "a finite number without unit".to_owned(),
            Self::Count => "a whole number without unit".to_owned(),
            Self::Word(words) => format!("one of {}", words.join(", ")),
        }
    }

    /// Units or words, for a table of keys.
    pub(crate) fn allowed(self) -> String {
        match self {
            Self::Quantity(kind) => kind.units(),
            Self::Number => "number".to_owned(),
            Self::Count => "whole number".to_owned(),
            Self::Word(words) => words.join(" "),
        }
    }

    /// `value` in SI units (dB, °C, shares of 1); not a number for a word.
    pub(crate) fn si(self, value: Value) -> f64 {
        match (self, value) {
            (Self::Quantity(kind), Value::Whole(size)) => size as f64 / kind.per_si(),
            (_, Value::Whole(size)) => size as f64,
            (_, Value::Number(number)) => number,
            (_, Value::Word(_)) => f64::NAN,
        }
    }

    fn refuse(self, found: &str) -> Fault {
        let remedy = match self {
            Self::Quantity(kind) => format!("write it as \"{}\"", kind.example()),
            Self::Number => "write it as 0.5".to_owned(),
            Self::Count => "write it as 4".to_owned(),
            Self::Word(words) => format!("write it as \"{}\"", words.first().unwrap_or(&"")),
        };
        Fault::new(found, self.form(), remedy)
    }
}

/// A value as it stood in the file.
fn shown(value: &toml::Value) -> String {
    match value {
        toml::Value::String(text) => excerpt(text.as_bytes()),
        toml::Value::Integer(number) => number.to_string(),
        toml::Value::Float(number) => number.to_string(),
        other => format!("a TOML {}", other.type_str()),
    }
}

fn finite(number: f64) -> Option<Value> {
    number.is_finite().then_some(Value::Number(number))
}

#[cfg(test)]
mod tests {
    use super::{Kind, Value};
    use crate::quantity;

    #[test]
    fn numbers_that_are_none_are_refused() {
        for text in ["nan", "inf", "-inf", "", "1 V", "0x3"] {
            assert!(Kind::Number.read(text).is_err(), "{text}");
        }
        assert!(Kind::Number
            .read_toml(&toml::Value::Float(f64::NAN))
            .is_err());
        assert!(Kind::Count.read("1.5").is_err());
        assert_eq!(Kind::Number.read("0.5").unwrap(), Value::Number(0.5));
    }

    #[test]
    fn a_bare_number_is_shown_the_right_form() {
        let kind = Kind::Quantity(&quantity::LENGTH);
        let why = kind.read_toml(&toml::Value::Integer(5)).unwrap_err();
        assert!(why.to_string().contains("\"0.5um\""), "{why}");
    }

    #[test]
    fn a_word_close_to_another_is_suggested() {
        let why = Kind::Word(&["gaussian", "circular"])
            .read("gausian")
            .unwrap_err();
        assert!(why.to_string().contains("did you mean gaussian?"), "{why}");
    }
}
