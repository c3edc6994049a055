//! Bodies of messages: see the crate's page for their bytes.

use trueonset::onset::Truncation;
use trueonset::time::Instant;

use crate::bytes::{Bytes, Reader};
use crate::machine::Settings;
use crate::LINES;

/// What the PC asks.
#[derive(Clone, Debug)]
pub enum Request<'a> {
    /// Start anew.
    Hello {
        /// The PC's version.
        version: u8,
        /// Any number, to be given back.
        run: u32,
    },
    /// How edges become touches.
    Settings(Settings),
    /// Items of the log.
    Edges {
        /// Number of the first.
        from: u32,
        /// Time its step counts from.
        base: Instant,
        /// The items, see [`Items`](crate::Items).
        items: &'a [u8],
    },
    /// The log is over.
    End {
        /// Its items.
        items: u32,
    },
}

impl<'a> Request<'a> {
    /// The request as a body. Of EDGES: without its items, which are to be packed behind.
    #[must_use]
    pub fn body(&self) -> Bytes {
        let mut bytes = Bytes::new();
        // All fixed parts fit; what else is cut was cut to fit.
        let mut put = |part: &[u8]| {
            let _ = bytes.push(part);
        };
        match self {
            Self::Hello { version, run } => {
                put(&[0x01, *version]);
                put(&run.to_le_bytes());
            }
            Self::Settings(settings) => {
                put(&[0x02]);
                put(&settings.tick_hz.to_le_bytes());
                put(&settings.hold_ns.to_le_bytes());
                put(&settings.bandwidth_hz.to_le_bytes());
                put(&[match settings.side {
                    Truncation::Before => 0,
                    Truncation::Nearest => 1,
                    Truncation::After => 2,
                }]);
                put(&settings.step_256.to_le_bytes());
            }
            Self::Edges { from, base, items } => {
                put(&[0x03]);
                put(&from.to_le_bytes());
                put(&base.ticks().to_le_bytes());
                put(items);
            }
            Self::End { items } => {
                put(&[0x04]);
                put(&items.to_le_bytes());
            }
        }
        bytes
    }

    /// The request of a body.
    #[must_use]
    pub fn parse(body: &'a [u8]) -> Option<Self> {
        let mut reader = Reader(body);
        match reader.u8()? {
            0x01 => Some(Self::Hello {
                version: reader.u8()?,
                run: reader.u32()?,
            }),
            0x02 => {
                let settings = Settings {
                    tick_hz: reader.u32()?,
                    hold_ns: reader.u64()?,
                    bandwidth_hz: reader.u32()?,
                    side: match reader.u8()? {
                        0 => Truncation::Before,
                        1 => Truncation::Nearest,
                        2 => Truncation::After,
                        _ => return None,
                    },
                    step_256: reader.u32()?,
                };
                reader.done(Self::Settings(settings))
            }
            0x03 => Some(Self::Edges {
                from: reader.u32()?,
                base: Instant::from_ticks(reader.u64()?),
                items: reader.rest(),
            }),
            0x04 => {
                let items = reader.u32()?;
                reader.done(Self::End { items })
            }
            _ => None,
        }
    }
}

/// Why a device takes nothing; the number goes over the line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refusal {
    /// 1: a setting, see [`BadSettings`](crate::BadSettings) for `detail`.
    Settings,
    /// 2: no settings yet, or not since the device started anew.
    NotStarted,
    /// 3: edges that do not go on where the last ones ended; `item` is where.
    OutOfStep,
    /// 4: the item with the number `item` is none, or fits no line.
    Item,
    /// 5: a message that is none of the protocol; `detail` is its first byte.
    Unknown,
    /// 6: an answer has come in since the last request: its own come back, or another device is on
    /// the line.
    Looped,
}

impl Refusal {
    const ALL: [Self; 6] = [
        Self::Settings,
        Self::NotStarted,
        Self::OutOfStep,
        Self::Item,
        Self::Unknown,
        Self::Looped,
    ];
}

/// What the device answers.
#[derive(Clone, Debug)]
pub enum Answer<'a> {
    /// To HELLO.
    Hello {
        /// The device's version.
        version: u8,
        /// The number of the HELLO.
        run: u32,
        /// Release of its library.
        release: [u8; 3],
    },
    /// Settings taken.
    Settings,
    /// To EDGES.
    Took {
        /// Number of the first item.
        from: u32,
        /// Items taken.
        taken: u8,
        /// What came of them, see [`Reports`](crate::Reports).
        reports: &'a [u8],
    },
    /// To END.
    End {
        /// Items taken in all.
        items: u32,
        /// Where the edges of each line went, as [`Machine::tallies`](crate::Machine::tallies).
        tallies: [[u32; 6]; LINES],
    },
    /// A frame came damaged.
    Again,
    /// Nothing was taken.
    Refused {
        /// Why.
        why: Refusal,
        /// At which item.
        item: u32,
        /// More of it.
        detail: u8,
    },
}

impl<'a> Answer<'a> {
    /// A bit of the first byte that all answers have, and no request.
    pub(crate) const KIND: u8 = 0x80;

    /// The answer as a body. Of [`Took`](Self::Took): with what fits of its reports.
    #[must_use]
    pub fn body(&self) -> Bytes {
        let mut bytes = Bytes::new();
        // All fixed parts fit; what else is cut was cut to fit.
        let mut put = |part: &[u8]| {
            let _ = bytes.push(part);
        };
        match self {
            Self::Hello {
                version,
                run,
                release,
            } => {
                put(&[0x81, *version]);
                put(&run.to_le_bytes());
                put(release);
            }
            Self::Settings => put(&[0x82]),
            Self::Took {
                from,
                taken,
                reports,
            } => {
                put(&[0x83]);
                put(&from.to_le_bytes());
                put(&[*taken]);
                put(reports);
            }
            Self::End { items, tallies } => {
                put(&[0x84]);
                put(&items.to_le_bytes());
                put(&[tallies.len() as u8]);
                for count in tallies.iter().flatten() {
                    put(&count.to_le_bytes());
                }
            }
            Self::Again => put(&[0x90]),
            Self::Refused { why, item, detail } => {
                put(&[0x91, *why as u8 + 1]);
                put(&item.to_le_bytes());
                put(&[*detail]);
            }
        }
        bytes
    }

    /// The answer of a body. That to HELLO may be longer: later versions begin alike.
    #[must_use]
    pub fn parse(body: &'a [u8]) -> Option<Self> {
        let mut reader = Reader(body);
        match reader.u8()? {
            0x81 => Some(Self::Hello {
                version: reader.u8()?,
                run: reader.u32()?,
                release: reader.array()?,
            }),
            0x82 => reader.done(Self::Settings),
            0x83 => Some(Self::Took {
                from: reader.u32()?,
                taken: reader.u8()?,
                reports: reader.rest(),
            }),
            0x84 => {
                let items = reader.u32()?;
                let mut tallies = [[0; 6]; LINES];
                let lines = usize::from(reader.u8()?);
                for count in tallies.get_mut(..lines)?.iter_mut().flatten() {
                    *count = reader.u32()?;
                }
                reader.done(Self::End { items, tallies })
            }
            0x90 => reader.done(Self::Again),
            0x91 => {
                let why = *Refusal::ALL.get(usize::from(reader.u8()?.checked_sub(1)?))?;
                let (item, detail) = (reader.u32()?, reader.u8()?);
                reader.done(Self::Refused { why, item, detail })
            }
            _ => None,
        }
    }
}
