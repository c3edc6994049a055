//! One row of the table of touches.

use serde::{Serialize, Serializer};
use trueonset::flags::Flags;
use trueonset::hits::{Cutter, Deepest};
use trueonset::onset::Contact;
use trueonset::time::TickRate;

use super::clock::{log_ns, nearest_log_ns};

/// Names of the columns, in their order.
pub const COLUMNS: &str =
    "line,onset_ns,doubt_ns,first_edge_ns,last_edge_ns,edges,confirmed_ns,release_ns,release_doubt_ns,flags";

/// A touch and, where it was confirmed before the log's end, its release. Times in ns on the
/// log's own zero.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Row {
    /// Name of the line.
    pub line: String,
    /// The instant of contact.
    pub onset_ns: i64,
    /// One standard uncertainty of it, rounded up; `None` where it is not known.
    pub doubt_ns: Option<u64>,
    /// First edge of the chatter.
    pub first_edge_ns: i64,
    /// Last edge of the chatter.
    pub last_edge_ns: i64,
    /// Edges of the chatter.
    pub edges: u32,
    /// When the hold was over.
    pub confirmed_ns: i64,
    /// The instant of release.
    pub release_ns: Option<i64>,
    /// One standard uncertainty of it, rounded up.
    pub release_doubt_ns: Option<u64>,
    /// Remarks.
    #[serde(serialize_with = "words")]
    pub flags: Flags,
    /// Of a turning cutter: what its hits told.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cutter: Option<CutterRow>,
}

/// What the hits of a turning cutter told.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct CutterRow {
    /// Hits in one contact.
    pub hits: u32,
    /// Mean tooth period between them; 0 with a single one.
    pub tooth_period_ns: u64,
    /// Hits a turn.
    pub hits_per_turn: f64,
    /// The longest time one hit blocked.
    pub widest_ns: i64,
    /// Tooth periods from the tooth of the first hit to the deepest one; none where the hits
    /// cannot tell.
    pub deepest_tooth: Option<u8>,
}

impl CutterRow {
    /// In ns and hits a turn.
    #[must_use]
    pub fn of(cutter: &Cutter) -> Self {
        Self {
            hits: cutter.hits,
            tooth_period_ns: cutter.tooth_period_256 >> 8,
            hits_per_turn: f64::from(cutter.per_turn_256) / 256.0,
            widest_ns: cutter.widest.ticks(),
            deepest_tooth: match cutter.deepest {
                Deepest::Tooth(tooth) => Some(tooth),
                Deepest::CannotTell => None,
            },
        }
    }
}

fn words<S: Serializer>(flags: &Flags, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_seq(flags.words())
}

impl Row {
    /// The row of a touch, its release still to come.
    #[must_use]
    pub fn of(line: &str, touch: &Contact) -> Self {
        Self {
            line: line.to_owned(),
            onset_ns: nearest_log_ns(touch.onset),
            doubt_ns: doubt_ns(touch),
            first_edge_ns: log_ns(touch.first_edge),
            last_edge_ns: log_ns(touch.last_edge),
            edges: touch.edges,
            confirmed_ns: log_ns(touch.confirmed),
            release_ns: None,
            release_doubt_ns: None,
            flags: touch.flags,
            cutter: None,
        }
    }

    /// Adds the release.
    pub fn released(&mut self, touch: &Contact, release: &Contact, cutter: Option<&Cutter>) {
        self.cutter = cutter.map(CutterRow::of);
        self.release_ns = Some(nearest_log_ns(release.onset));
        self.release_doubt_ns = doubt_ns(release);
        self.flags = touch.flags_with(release);
    }

    /// The row as CSV, in the order of [`COLUMNS`], without the end of line.
    #[must_use]
    pub fn csv(&self) -> String {
        format!(
            "{},{},{},{},{},{},{},{},{},{}",
            csv_field(&self.line),
            self.onset_ns,
            or_empty(self.doubt_ns),
            self.first_edge_ns,
            self.last_edge_ns,
            self.edges,
            self.confirmed_ns,
            or_empty(self.release_ns),
            or_empty(self.release_doubt_ns),
            self.flags
        )
    }
}

/// One standard uncertainty in ns.
#[must_use]
pub fn doubt_ns(contact: &Contact) -> Option<u64> {
    contact.doubt.map(|doubt| doubt.ns(TickRate::NANOSECONDS))
}

fn or_empty<T: ToString>(value: Option<T>) -> String {
    value.map_or_else(String::new, |value| value.to_string())
}

/// A CSV field, quoted where it has to be (RFC 4180).
fn csv_field(text: &str) -> String {
    if text.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", text.replace('"', "\"\""))
    } else {
        text.to_owned()
    }
}
