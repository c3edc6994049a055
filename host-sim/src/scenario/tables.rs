//! Tables of a scenario as stated: read out of TOML, changed key by key, not yet judged as a whole.

use std::path::Path;

use super::keys::{Key, KEYS};
use super::kind::Value;
use super::nearest::nearest;
use crate::fault::{Fault, Place};
use crate::text;

/// What a scenario file states.
#[derive(Debug, Clone, PartialEq)]
pub struct Tables {
    /// Where it came from, for messages.
    source: String,
    /// A slot for each key.
    stated: Vec<Option<Value>>,
    /// Tables that stand there without a key: all their defaults are meant.
    bare: Vec<String>,
}

impl Tables {
    /// Nothing stated; `source` stands in messages.
    #[must_use]
    pub fn empty(source: &str) -> Self {
        Self {
            source: source.to_owned(),
            stated: vec![None; KEYS.len()],
            bare: Vec::new(),
        }
    }

    /// Reads a file, or stdin for `-`.
    ///
    /// # Errors
    /// It cannot be read, is no TOML, holds an unknown key or a value of another kind or out of range.
    pub fn read(path: &Path) -> Result<Self, Fault> {
        let (name, text) = text::read(path)?;
        Self::parse(&text, &name)
    }

    /// Reads `text`; `source` stands in messages.
    ///
    /// # Errors
    /// As [`read`](Self::read).
    pub fn parse(text: &str, source: &str) -> Result<Self, Fault> {
        let tables = toml_of(text, source, "onset")?;
        let mut read = Self::empty(source);
        for (table, keys) in &tables {
            let (true, Some(keys)) = (KEYS.iter().any(|key| key.table() == table), keys.as_table())
            else {
                let names = KEYS.iter().map(Key::table);
                let near = nearest(table, names);
                return Err(unknown(
                    &place(source, text, table, None),
                    table,
                    "table",
                    near,
                ));
            };
            if keys.is_empty() {
                read.bare.push(table.clone());
            }
            for (key, value) in keys {
                let full = format!("{table}.{key}");
                let here = place(source, text, table, Some(key));
                let at = |why: Fault| why.or_at(Place::Setting(format!("{here}: {full}")));
                let Some(slot) = KEYS.iter().position(|known| known.full == full) else {
                    let known = KEYS.iter().filter(|known| known.table() == table);
                    let near = nearest(key, known.map(Key::name));
                    return Err(unknown(&here, &full, "key", near));
                };
                let value = KEYS[slot].kind.read_toml(value).map_err(at)?;
                KEYS[slot].check(value).map_err(at)?;
                read.stated[slot] = Some(value);
            }
        }
        Ok(read)
    }

    /// States `key` anew, as `barrier.snr` with the text `60dB`.
    ///
    /// # Errors
    /// An unknown key or a value of another kind or out of range.
    pub fn set(&mut self, key: &str, text: &str) -> Result<(), Fault> {
        let Some(slot) = KEYS.iter().position(|known| known.full == key) else {
            let near = nearest(key, KEYS.iter().map(|known| known.full));
            return Err(unknown("--vary", key, "key", near));
        };
        let at = |why: Fault| why.or_at(Place::Setting(format!("--vary {key}")));
        let value = KEYS[slot].kind.read(text).map_err(at)?;
        KEYS[slot].check(value).map_err(at)?;
        self.stated[slot] = Some(value);
        Ok(())
    }

    /// The value stated for `key` as a number in SI units (dB, °C, shares of 1); none for a word.
    #[must_use]
    pub fn number(&self, key: &str) -> Option<f64> {
        self.stated(key)?;
        Some(self.si(key)).filter(|number| number.is_finite())
    }

    /// Where it came from.
    #[must_use]
    pub fn source(&self) -> &str {
        &self.source
    }

    /// The value stated for `key`, if any.
    #[must_use]
    pub fn stated(&self, key: &str) -> Option<Value> {
        let slot = KEYS.iter().position(|known| known.full == key)?;
        self.stated[slot]
    }

    /// Whether `table` is stated, with or without a key.
    #[must_use]
    pub fn has(&self, table: &str) -> bool {
        self.keys().any(|key| key.table() == table) || self.bare.iter().any(|bare| bare == table)
    }

    /// Names of the keys stated, table by table.
    pub fn stated_keys(&self) -> impl Iterator<Item = &'static str> + '_ {
        self.keys().map(|key| key.full)
    }

    /// The keys stated, in the order of the list of keys.
    pub(crate) fn keys(&self) -> impl Iterator<Item = &'static Key> + '_ {
        let all = KEYS.iter().zip(&self.stated);
        all.filter(|(_, value)| value.is_some()).map(|(key, _)| key)
    }

    /// The value of `key`, stated or by default, in SI units; not a number if it has neither.
    pub(crate) fn si(&self, key: &str) -> f64 {
        let Some((known, stated)) = KEYS
            .iter()
            .zip(&self.stated)
            .find(|(known, _)| known.full == key)
        else {
            return f64::NAN;
        };
        let value = stated.or_else(|| known.absent());
        value.map_or(f64::NAN, |value| known.kind.si(value))
    }
}

/// The tables of a text; a fault names its line, and one of the tables that may be there.
///
/// # Errors
/// It is no TOML.
pub(crate) fn toml_of(text: &str, source: &str, example: &str) -> Result<toml::Table, Fault> {
    text.parse().map_err(|why: toml::de::Error| {
        let line = why.span().and_then(|span| text.get(..span.start));
        let line = line.map_or(1, |before| before.matches('\n').count() + 1);
        Fault::new(
            why.message(),
            format!("TOML with tables such as [{example}]"),
            "correct this line",
        )
        .at(Place::line(source, line as u64))
    })
}

/// `source:line` of a table, or of a key in it; `source` alone where it is written another way.
pub(crate) fn place(source: &str, text: &str, table: &str, key: Option<&str>) -> String {
    let mut open = "";
    for (number, line) in text.lines().enumerate() {
        let line = line.trim();
        if let Some(name) = line
            .strip_prefix('[')
            .and_then(|rest| rest.split(']').next())
        {
            // One of several has two of them.
            open = name.trim_start_matches('[').trim();
        }
        let left = line.split('=').next().unwrap_or("").trim();
        let dotted = left.split_once('.');
        let found = match key {
            None => open == table || left == table,
            Some(key) => {
                (open == table && left == key)
                    || (open.is_empty()
                        && dotted.is_some_and(|(t, k)| t.trim() == table && k.trim() == key))
            }
        };
        if found {
            return format!("{source}:{}", number + 1);
        }
    }
    source.to_owned()
}

/// An unknown table or key, answered with the nearest known one.
pub(crate) fn unknown(source: &str, found: &str, what: &str, near: Option<&str>) -> Fault {
    Fault::new(
        format!("the unknown {what} {found}"),
        format!("a known {what}"),
        near.map_or("see --help".to_owned(), |near| {
            format!("did you mean {near}?")
        }),
    )
    .at(Place::File(source.to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn refusal(text: &str) -> String {
        Tables::parse(text, "s.toml").unwrap_err().to_string()
    }

    #[test]
    fn unknown_words_are_answered_with_the_nearest() {
        assert!(refusal("[barier]\nspan = \"1um\"\n").contains("did you mean barrier?"));
        assert!(refusal("[barrier]\nspam = \"1um\"\n").contains("did you mean span?"));
        assert!(refusal("# x\nspan = 3\n").starts_with("s.toml:2: found the unknown table span"));
        assert!(refusal("[barrier]\ntrip = \"50%\"\nspam = 1\n").starts_with("s.toml:3: "));
        assert!(refusal("barrier.spam = 1\n").starts_with("s.toml:1: "));
        let mut tables = Tables::empty("s.toml");
        let why = tables
            .set("aproach.feed", "1mm/min")
            .unwrap_err()
            .to_string();
        assert!(why.contains("did you mean approach.feed?"), "{why}");
    }

    #[test]
    fn values_out_of_range_name_the_nearest() {
        let why = refusal("[barrier]\nspan = \"0um\"\n");
        assert!(
            why.contains("s.toml:2: barrier.span") && why.contains("1um"),
            "{why}"
        );
        assert!(refusal("[barrier]\nspan = \"-5um\"\n").contains("1um to 10mm"));
        assert!(refusal("[barrier]\nhysteresis = -1\n").contains("0 to 1000"));
        assert!(refusal("[barrier]\nhysteresis = nan\n").contains("finite"));
        assert!(refusal("[barrier]\nspan = 150\n").contains("\"0.5um\""));
        assert!(refusal("[barrier\n").starts_with("s.toml:1: "));
    }

    #[test]
    fn a_key_stated_twice_is_refused() {
        assert!(refusal("[onset]\nhold = \"1ms\"\nhold = \"2ms\"\n").starts_with("s.toml:3"));
    }

    proptest! {
        #[test]
        fn any_text_gets_an_answer(text in "\\PC{0,200}", key in ".{0,20}", value in ".{0,20}") {
            let _ = Tables::parse(&text, "s.toml");
            let _ = Tables::parse(&format!("[barrier]\nspan = {value}\n"), "s.toml");
            let _ = Tables::empty("s.toml").set(&key, &value);
            let _ = Tables::empty("s.toml").set("barrier.hysteresis", &value);
        }
    }
}
