//! The keys of a plan as they were stated, each checked alone.

use std::collections::BTreeMap;

use crate::fault::{Fault, Place};
use crate::quantity::{FINE_LENGTH, LENGTH, SHARE, SPEED, TIME};
use crate::scenario::kind::{Kind, Value};
use crate::scenario::nearest::nearest;
use crate::scenario::tables::{place, toml_of, unknown};

/// Keys, tables in front. `budget.NAME.` stands for any name.
const KEYS: &[(&str, Kind)] = &[
    (
        "check.kind",
        Kind::Word(&[
            "length",
            "radius",
            "breakage",
            "runout",
            "wear",
            "drift",
            "repeatability",
        ]),
    ),
    ("check.touches", Kind::Count),
    ("check.decision", Kind::Word(&["fixed", "sequential"])),
    ("check.hold", Kind::Quantity(&TIME)),
    ("check.release", Kind::Quantity(&LENGTH)),
    ("check.reference_position", Kind::Quantity(&LENGTH)),
    ("check.reference_length", Kind::Quantity(&LENGTH)),
    ("tool.expected", Kind::Quantity(&LENGTH)),
    ("tool.expected_doubt", Kind::Quantity(&FINE_LENGTH)),
    ("tool.wear", Kind::Quantity(&LENGTH)),
    ("tool.long", Kind::Quantity(&LENGTH)),
    ("tool.smallest_break", Kind::Quantity(&LENGTH)),
    ("tool.teeth", Kind::Count),
    ("tool.speed", Kind::Quantity(&SPEED)),
    ("tool.limit", Kind::Quantity(&LENGTH)),
    ("tool.run_out", Kind::Quantity(&LENGTH)),
    ("latch.method", Kind::Word(&["edge", "history", "scan"])),
    ("latch.delay", Kind::Quantity(&TIME)),
    ("latch.delay_doubt", Kind::Quantity(&TIME)),
    ("latch.period", Kind::Quantity(&TIME)),
    ("latch.feed_error", Kind::Quantity(&SHARE)),
    ("budget.NAME.half_width", Kind::Quantity(&FINE_LENGTH)),
    ("budget.NAME.sd", Kind::Quantity(&FINE_LENGTH)),
    (
        "budget.NAME.shape",
        Kind::Word(&["flat", "triangle", "arcsine", "normal"]),
    ),
    ("budget.NAME.dof", Kind::Count),
    (
        "budget.NAME.class",
        Kind::Word(&["touch", "cycle", "setup"]),
    ),
    ("budget.NAME.group", Kind::Count),
    ("alarm.shift", Kind::Quantity(&FINE_LENGTH)),
    ("alarm.false_every", Kind::Count),
    ("drift.rise", Kind::Quantity(&LENGTH)),
    ("drift.time_constant", Kind::Quantity(&TIME)),
    (
        "repeatability.meaning",
        Kind::Word(&["sd", "2sd", "2.8sd", "4sd", "range"]),
    ),
    ("repeatability.limit", Kind::Quantity(&FINE_LENGTH)),
];

/// The keys, one a line, with their units or words.
#[must_use]
pub fn manual() -> String {
    let mut text = String::from("  check.line                    name of a line\n");
    for (key, kind) in KEYS {
        text += &format!("  {key:<28}  {}\n", kind.allowed());
    }
    text
}

/// What a plan states.
pub(super) struct Stated {
    pub(super) source: String,
    text: String,
    values: BTreeMap<String, Value>,
    /// Of `[check] line`, the one key that is any text.
    pub(super) line: Option<String>,
    /// Names of the tables `[budget.NAME]`, in rising order.
    pub(super) entries: Vec<String>,
}

impl Stated {
    /// # Errors
    /// No TOML, an unknown table or key, or a value of another kind.
    pub(super) fn parse(text: &str, source: &str) -> Result<Self, Fault> {
        let mut stated = Self {
            source: source.to_owned(),
            text: text.to_owned(),
            values: BTreeMap::new(),
            line: None,
            entries: Vec::new(),
        };
        for (table, keys) in &toml_of(text, source, "check")? {
            let names = KEYS.iter().filter_map(|(full, _)| full.split('.').next());
            let known = names.clone().any(|name| name == table);
            if !known {
                let here = place(source, text, table, None);
                return Err(unknown(&here, table, "table", nearest(table, names)));
            }
            let Some(keys) = keys.as_table() else {
                return Err(stated.fault(
                    table,
                    format!("{table} that is no table, or one of several"),
                    format!("one table [{table}]"),
                    "write its name in single brackets, once, and its keys beneath",
                ));
            };
            if table != "budget" {
                stated.take(table, table, keys)?;
                continue;
            }
            for (name, entry) in keys {
                let full = format!("budget.{name}");
                let Some(entry) = entry.as_table() else {
                    let here = place(source, text, "budget", Some(name));
                    return Err(Fault::new(
                        format!("the key {full}"),
                        "a table for each contribution",
                        format!("write [budget.{name}] with half_width or sd beneath"),
                    )
                    .at(Place::File(here)));
                };
                stated.take(&full, "budget.NAME", entry)?;
                stated.entries.push(name.clone());
            }
        }
        Ok(stated)
    }

    fn take(&mut self, table: &str, listed: &str, keys: &toml::Table) -> Result<(), Fault> {
        for (key, value) in keys {
            let full = format!("{table}.{key}");
            let here = place(&self.source, &self.text, table, Some(key));
            if full == "check.line" {
                let Some(name) = value.as_str() else {
                    return Err(Fault::new(
                        "a line without quotes",
                        "the name of a line",
                        "write it as \"probe\"",
                    )
                    .at(Place::Setting(format!("{here}: {full}"))));
                };
                self.line = Some(name.to_owned());
                continue;
            }
            let wanted = format!("{listed}.{key}");
            let Some((_, kind)) = KEYS.iter().find(|(known, _)| *known == wanted) else {
                let prefix = format!("{listed}.");
                let known = KEYS
                    .iter()
                    .filter_map(|(known, _)| known.strip_prefix(&prefix));
                let known = known.chain((listed == "check").then_some("line"));
                return Err(unknown(&here, &full, "key", nearest(key, known)));
            };
            let at = |why: Fault| why.or_at(Place::Setting(format!("{here}: {full}")));
            let value = kind.read_toml(value).map_err(at)?;
            if let Value::Whole(number) = value {
                let signed = ["check.reference_position", "latch.delay"].contains(&full.as_str());
                if number < 0 && !signed {
                    return Err(at(Fault::new(
                        "a number below 0",
                        "0 or more",
                        "state it without a sign",
                    )));
                }
            }
            self.values.insert(full, value);
        }
        Ok(())
    }

    pub(super) fn whole(&self, key: &str) -> Option<i64> {
        match self.values.get(key) {
            Some(Value::Whole(number)) => Some(*number),
            _ => None,
        }
    }

    pub(super) fn word(&self, key: &str) -> Option<&'static str> {
        match self.values.get(key) {
            Some(Value::Word(word)) => Some(word),
            _ => None,
        }
    }

    /// # Errors
    /// It is not stated.
    pub(super) fn needed(&self, key: &str, why: &str) -> Result<i64, Fault> {
        self.whole(key)
            .ok_or_else(|| self.fault(key, format!("no {key}"), why, "state it in the plan"))
    }

    /// A fault about a key, with its line.
    pub(super) fn fault(
        &self,
        key: &str,
        found: impl Into<String>,
        expected: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Fault {
        let (table, name) = key.rsplit_once('.').unwrap_or((key, ""));
        let here = place(&self.source, &self.text, table, Some(name));
        let here = if here == self.source {
            place(&self.source, &self.text, table, None)
        } else {
            here
        };
        Fault::new(found, expected, remedy).at(Place::File(here))
    }
}
