//! What the signals of a dump are called.
//!
//! A signal is called by its own name as long as that is unique in the dump, else by its path through the
//! scopes, dots between. One identifier with several names is one line, called by the first of them.

use std::collections::{HashMap, HashSet};
use std::fmt;

use super::SKIPPED;
use crate::fault::Fault;
use crate::log::lines::Lines;
use crate::log::lookup::Lookup;

/// One declaration.
pub(super) struct Var {
    /// Index of the path of its scope.
    pub(super) scope: usize,
    pub(super) name: String,
    pub(super) identifier: String,
    /// What it is, if it is nothing of one bit.
    pub(super) other: Option<Other>,
}

/// Signals that are no lines.
#[derive(Debug, Clone, Copy)]
pub(super) enum Other {
    Vector(u32),
    Real,
    Text,
    Event,
}

impl fmt::Display for Other {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Vector(bits) => write!(f, "a vector of {bits} bits"),
            Self::Real => f.write_str("a real"),
            Self::Text => f.write_str("a text"),
            Self::Event => f.write_str("an event without level"),
        }
    }
}

/// Names beside those of the lines.
#[derive(Default)]
pub(super) struct Names {
    aliases: HashMap<String, u32>,
    skipped: HashMap<String, Other>,
    first_alias: Option<String>,
}

impl Names {
    /// Fills the lines and the table of identifiers.
    pub(super) fn assign(
        vars: Vec<Var>,
        paths: &[String],
        lines: &mut Lines,
        identifiers: &mut Lookup,
    ) -> Result<Self, Fault> {
        let ambiguous = ambiguous(&vars);
        let mut names = Self::default();
        let mut repeats: HashMap<String, u32> = HashMap::new();
        for var in vars {
            let path = &paths[var.scope];
            let dotted = ambiguous.contains(&var.name) && !path.is_empty();
            let mut name = if dotted {
                format!("{path}.{}", var.name)
            } else {
                var.name
            };
            let known = identifiers.find(var.identifier.as_bytes());
            if let (Some(line), None) = (known, var.other) {
                if line != SKIPPED && lines.find(&name) != Some(line) {
                    names.first_alias.get_or_insert_with(|| name.clone());
                    names.aliases.insert(name, line);
                }
                continue;
            }
            let number = if let Some(other) = var.other {
                names.skipped.insert(name, other);
                SKIPPED
            } else {
                while lines.find(&name).is_some() {
                    let count = repeats.entry(name.clone()).or_insert(1);
                    *count += 1;
                    name = format!("{name}~{count}");
                }
                lines.add(&name)?
            };
            if known.is_none() {
                identifiers.insert(var.identifier.as_bytes(), number);
            }
        }
        Ok(names)
    }

    /// What a user should know about the names.
    pub(super) fn notes(&self) -> Vec<String> {
        let mut notes = Vec::new();
        if !self.skipped.is_empty() {
            notes.push(format!(
                "{} signals that are not of 1 bit are skipped",
                self.skipped.len()
            ));
        }
        if let Some(first) = &self.first_alias {
            notes.push(format!(
                "{} further names of the same signals, such as {first}, are taken for the first one",
                self.aliases.len()
            ));
        }
        notes
    }

    pub(super) fn alias(&self, name: &str) -> Option<u32> {
        self.aliases.get(name).copied()
    }

    pub(super) fn skipped(&self, name: &str) -> Option<Other> {
        self.skipped.get(name).copied()
    }
}

/// The names that several signals have; several names of one signal do not count.
fn ambiguous(vars: &[Var]) -> HashSet<String> {
    let mut first: HashMap<&str, &str> = HashMap::new();
    let twice = vars
        .iter()
        .filter(|var| *first.entry(&var.name).or_insert(&var.identifier) != var.identifier);
    twice.map(|var| var.name.clone()).collect()
}
