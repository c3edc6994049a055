//! Items: what a log says of one line at one time.

use trueonset::edge::Level;
use trueonset::onset::Touched;
use trueonset::time::Instant;

use crate::bytes::{Bytes, Reader};

/// What is said.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// The line begins at this level, and this is its level in contact.
    Start(Level, Touched),
    /// An edge to this level.
    Edge(Level),
    /// Time has passed, the level stayed.
    Passed,
}

/// One item of a log.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Item {
    /// When.
    pub at: Instant,
    /// Number of the line, 0 to 15.
    pub line: u8,
    /// What.
    pub what: What,
}

impl Item {
    fn head(&self) -> u8 {
        let (what, level) = match self.what {
            What::Start(level, Touched::High) => (0, number(level)),
            What::Start(level, Touched::Low) => (1, number(level)),
            What::Edge(level) => (2, number(level)),
            What::Passed => (3, 0),
        };
        level << 6 | what << 4 | self.line & 15
    }

    fn of(head: u8, at: Instant) -> Option<Self> {
        let level = match head >> 6 {
            0 => Level::Low,
            1 => Level::High,
            2 => Level::Unknown,
            _ => return None,
        };
        let what = match head >> 4 & 3 {
            0 => What::Start(level, Touched::High),
            1 => What::Start(level, Touched::Low),
            2 => What::Edge(level),
            _ if level == Level::Low => What::Passed,
            _ => return None,
        };
        Some(Self {
            at,
            line: head & 15,
            what,
        })
    }
}

const fn number(level: Level) -> u8 {
    match level {
        Level::Low => 0,
        Level::High => 1,
        Level::Unknown => 2,
    }
}

/// Items being packed behind one another.
#[derive(Clone, Copy, Debug)]
pub struct Block(Instant);

impl Block {
    /// The next item is packed as a step from `base`.
    #[must_use]
    pub const fn from(base: Instant) -> Self {
        Self(base)
    }

    /// Appends `item`; false where it does not fit.
    pub fn push(&mut self, item: &Item, bytes: &mut Bytes) -> bool {
        let step = item.at.ticks().wrapping_sub(self.0.ticks()) as i64;
        let mut zigzag = (step << 1 ^ step >> 63) as u64;
        let start = bytes.all().len();
        let mut fits = bytes.push(&[item.head()]);
        while zigzag > 127 {
            fits &= bytes.push(&[zigzag as u8 | 128]);
            zigzag >>= 7;
        }
        fits &= bytes.push(&[zigzag as u8]);
        if fits {
            self.0 = item.at;
        } else {
            bytes.cut(start);
        }
        fits
    }
}

/// Items out of their bytes; `None` within for one that is none, the last.
#[derive(Clone, Debug)]
pub struct Items<'a> {
    bytes: &'a [u8],
    at: Instant,
}

impl<'a> Items<'a> {
    /// The items of `bytes`, the first a step from `base`.
    #[must_use]
    pub const fn new(base: Instant, bytes: &'a [u8]) -> Self {
        Self { bytes, at: base }
    }

    fn item(&mut self) -> Option<Item> {
        let mut reader = Reader(self.bytes);
        let head = reader.u8()?;
        let mut zigzag = 0_u64;
        let mut shift = 0_u32;
        loop {
            let byte = reader.u8()?;
            zigzag |= u64::from(byte & 127).checked_shl(shift)?;
            if byte < 128 {
                break;
            }
            shift += 7;
        }
        self.bytes = reader.rest();
        let step = (zigzag >> 1) ^ (zigzag & 1).wrapping_neg();
        self.at = Instant::from_ticks(self.at.ticks().wrapping_add(step));
        Item::of(head, self.at)
    }
}

impl Iterator for Items<'_> {
    type Item = Option<Item>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.bytes.is_empty() {
            return None;
        }
        let item = self.item();
        if item.is_none() {
            self.bytes = &[];
        }
        Some(item)
    }
}
