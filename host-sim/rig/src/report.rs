//! Reports: what a line said, bit for bit.

use trueonset::onset::{Contact, Doubt, DoubtKind, Event, Glitch};
use trueonset::time::FineInstant;

use crate::bytes::{Bytes, Reader};

/// Kinds of a report.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// The tool touched.
    Touch,
    /// The tool let go.
    Release,
    /// Edges without a change of contact.
    Glitch,
}

/// Bytes of a report at most.
pub(crate) const LONGEST: usize = 66;
const CONTACT: usize = 64;
const GLITCH: usize = 32;

/// One report, as it stands in an answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Report<'a> {
    /// Number of its item less that of the first one of the answer.
    pub item: u8,
    /// Number of the line.
    pub line: u8,
    /// Its kind.
    pub kind: Kind,
    /// The values.
    values: &'a [u8],
}

/// Names of the values of a touch or release, in their order.
const CONTACT_NAMES: [&str; 13] = [
    "onset",
    "onset_256",
    "first_edge",
    "last_edge",
    "confirmed",
    "balance",
    "balance_256",
    "causal",
    "causal_256",
    "doubt_16",
    "kind",
    "edges",
    "flags",
];
const CONTACT_BYTES: [usize; 13] = [8, 1, 8, 8, 8, 8, 1, 8, 1, 4, 1, 4, 4];
const GLITCH_NAMES: [&str; 5] = ["first_edge", "last_edge", "width", "edges", "flags"];
const GLITCH_BYTES: [usize; 5] = [8, 8, 8, 4, 4];

impl Report<'_> {
    /// The values with their names, in their order.
    pub fn values(&self) -> impl Iterator<Item = (&'static str, u64)> + '_ {
        let (names, widths): (&[&str], &[usize]) = match self.kind {
            Kind::Touch | Kind::Release => (&CONTACT_NAMES, &CONTACT_BYTES),
            Kind::Glitch => (&GLITCH_NAMES, &GLITCH_BYTES),
        };
        let mut rest = self.values;
        names.iter().zip(widths).map(move |(name, width)| {
            let (value, after) = rest.split_at_checked(*width).unwrap_or((rest, &[]));
            rest = after;
            let value = value.iter().rev();
            (
                *name,
                value.fold(0, |all, byte| all << 8 | u64::from(*byte)),
            )
        })
    }

    /// The value of that name; 0 where there is none.
    #[must_use]
    pub fn value(&self, name: &str) -> u64 {
        let mut values = self.values();
        values
            .find(|(own, _)| *own == name)
            .map_or(0, |(_, value)| value)
    }
}

/// Appends the report of what item number `item` of an answer made `line` say; false where it does
/// not fit.
pub fn push(item: u8, line: u8, event: &Event, bytes: &mut Bytes) -> bool {
    if bytes.left() < LONGEST {
        return false;
    }
    let head = |kind: u8| [item, kind << 4 | line & 15];
    match event {
        Event::Touch(touch) => bytes.push(&head(0)) && contact(touch, bytes),
        Event::Release(release) => bytes.push(&head(1)) && contact(release, bytes),
        Event::Glitch(glitch) => bytes.push(&head(2)) && self::glitch(glitch, bytes),
        // An event of a later library, which this description does not have.
        _ => bytes.push(&head(3)),
    }
}

fn contact(contact: &Contact, bytes: &mut Bytes) -> bool {
    let kind = match contact.kind {
        DoubtKind::Assumed => 0,
        DoubtKind::Limit => 1,
        DoubtKind::Pooled => 2,
        DoubtKind::Measured => 3,
        DoubtKind::Rough => 4,
        _ => 255,
    };
    let doubt = contact.doubt.map_or(0, Doubt::sixteenths);
    fine(contact.onset, bytes)
        && bytes.push(&contact.first_edge.ticks().to_le_bytes())
        && bytes.push(&contact.last_edge.ticks().to_le_bytes())
        && bytes.push(&contact.confirmed.ticks().to_le_bytes())
        && fine(contact.balance, bytes)
        && fine(contact.causal, bytes)
        && bytes.push(&doubt.to_le_bytes())
        && bytes.push(&[kind])
        && bytes.push(&contact.edges.to_le_bytes())
        && bytes.push(&contact.flags.bits().to_le_bytes())
}

fn fine(at: FineInstant, bytes: &mut Bytes) -> bool {
    bytes.push(&at.whole().ticks().to_le_bytes()) && bytes.push(&[at.part_256()])
}

fn glitch(glitch: &Glitch, bytes: &mut Bytes) -> bool {
    bytes.push(&glitch.first_edge.ticks().to_le_bytes())
        && bytes.push(&glitch.last_edge.ticks().to_le_bytes())
        && bytes.push(&glitch.width.ticks().to_le_bytes())
        && bytes.push(&glitch.edges.to_le_bytes())
        && bytes.push(&glitch.flags.bits().to_le_bytes())
}

/// Reports out of the bytes of an answer; `None` within for one that is none, the last.
#[derive(Clone, Debug)]
pub struct Reports<'a>(&'a [u8]);

impl<'a> Reports<'a> {
    /// The reports in `bytes`.
    #[must_use]
    pub const fn new(bytes: &'a [u8]) -> Self {
        Self(bytes)
    }

    fn report(&mut self) -> Option<Report<'a>> {
        let mut reader = Reader(self.0);
        let (item, head) = (reader.u8()?, reader.u8()?);
        let (kind, len) = match head >> 4 {
            0 => (Kind::Touch, CONTACT),
            1 => (Kind::Release, CONTACT),
            2 => (Kind::Glitch, GLITCH),
            _ => return None,
        };
        let (values, rest) = reader.rest().split_at_checked(len)?;
        self.0 = rest;
        Some(Report {
            item,
            line: head & 15,
            kind,
            values,
        })
    }
}

impl<'a> Iterator for Reports<'a> {
    type Item = Option<Report<'a>>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.0.is_empty() {
            return None;
        }
        let report = self.report();
        if report.is_none() {
            self.0 = &[];
        }
        Some(report)
    }
}
