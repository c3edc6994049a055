//! What a board can be told and what it answers, whether it is emulated or on this machine.

use std::error::Error;

use trueonset::edge::Level;
use trueonset::lines::Pins;
use trueonset::pins::Captured;
use trueonset::playout::PlayedEdge;
use trueonset::time::Instant;

use crate::script::Trouble as Kind;

/// A frame of the air.
pub(crate) type Frame = [u8; 16];

/// What went wrong, for the reader of the report.
pub(crate) type Trouble = Box<dyn Error>;

/// What a board finds when its timer has come to a tick.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Inputs {
    /// Pins, as the image numbers them.
    pub(crate) pins: u8,
    /// Cells at rest and under load, mV.
    pub(crate) millivolts: (u16, u16),
    /// From the first look at the counter in this pass to the second; all later ones find it as
    /// the second does.
    pub(crate) pass_ticks: u32,
}

impl Inputs {
    /// The output pins as they are seen.
    pub(crate) fn seen(self) -> Pins {
        Pins {
            ready: self.pins & SEEN_READY != 0,
            run: self.pins & SEEN_RUN != 0,
            stop: false,
        }
    }

    /// The counter at the second look, of a pass that begins at `tick`.
    pub(crate) fn read_again(self, tick: u64) -> u32 {
        (tick as u32).wrapping_add(self.pass_ticks)
    }

    /// The output pins as they are after `told` was written over `before`.
    pub(crate) fn driven(self, told: Pins, before: u8) -> u8 {
        if self.pins & UNWRITABLE != 0 {
            return before;
        }
        let pin = |on, pin| if on { pin } else { 0 };
        pin(told.ready, READY) | pin(told.run, RUN)
    }

    /// The re-arm wire as it is read.
    pub(crate) fn rearm(self) -> Level {
        if self.pins & UNREADABLE != 0 {
            Level::Unknown
        } else {
            Level::from(self.pins & REARM != 0)
        }
    }
}

/// Bytes of silence, which end any message: the longest has 21.
pub(crate) const SILENCE: [u8; 21] = [0; 21];

/// The re-arm wire.
pub(crate) const REARM: u8 = 1;
/// READY and RUN as they stand behind the output stage.
pub(crate) const SEEN_READY: u8 = 1 << 1;
/// See [`SEEN_READY`].
pub(crate) const SEEN_RUN: u8 = 1 << 2;
/// No output can be driven.
pub(crate) const UNWRITABLE: u8 = 1 << 4;
/// It had no power before this start.
pub(crate) const POWER: u8 = 1 << 5;
/// The comparator of the barrier.
pub(crate) const BLOCKED: u8 = 1 << 3;
/// The comparator cannot be read.
pub(crate) const BLOCKED_UNREADABLE: u8 = 1 << 6;
/// The re-arm wire cannot be read.
pub(crate) const UNREADABLE: u8 = 1 << 7;

/// Output pins of an answer.
pub(crate) const READY: u8 = 1;
/// See [`READY`].
pub(crate) const RUN: u8 = 1 << 1;
/// The light of the barrier.
pub(crate) const LAMP: u8 = 1 << 3;
/// The watchdog was fed.
pub(crate) const FED: u8 = 1 << 4;
/// The voltages were converted.
pub(crate) const CONVERTED: u8 = 1 << 5;

/// An edge as told to the control.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Told {
    /// Tick of the board, 0 for none.
    pub(crate) onset: u64,
    /// How far it may be off, ticks.
    pub(crate) bound: u32,
    /// As the probe counts.
    pub(crate) number: u8,
    /// Touch, not release.
    pub(crate) touched: bool,
    /// Remarks as bits.
    pub(crate) remarks: u8,
}

impl From<&PlayedEdge> for Told {
    fn from(edge: &PlayedEdge) -> Self {
        Self {
            onset: edge.onset.map_or(0, Instant::ticks),
            bound: edge.bound,
            number: edge.number,
            touched: edge.touched,
            remarks: edge.remarks.bits() as u8,
        }
    }
}

/// An edge that the capture unit has stamped as it should.
pub(crate) fn stamped(tick: u64, level: bool) -> Captured {
    Captured {
        raw: tick as u32,
        level: Level::from(level),
        over: false,
    }
}

/// An edge as the capture unit gives it under these troubles.
pub(crate) fn captured(is: impl Fn(Kind) -> bool, tick: u64, level: bool) -> Option<Captured> {
    let edge = stamped(tick, level);
    if is(Kind::StuckCapture) || is(Kind::OneDirection) && !level {
        return None;
    }
    Some(Captured {
        over: is(Kind::OverCapture),
        level: if is(Kind::UnknownLevel) {
            Level::Unknown
        } else {
            edge.level
        },
        ..edge
    })
}

/// When a timer of 32 bits, at `now`, shows the low bits of `tick` the next time, unless it just
/// did: a board whose time has run ahead sets its compare units all the same.
pub(crate) fn shows(now: u64, tick: u64) -> u64 {
    let ahead = (tick as u32).wrapping_sub(now as u32) as i32;
    now.saturating_add_signed(ahead.into())
}

/// What a board does in one pass.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Answer {
    /// Frames for the air, with the tick of their first edge.
    pub(crate) frames: Vec<(u64, Frame)>,
    /// Edges for the control.
    pub(crate) told: Vec<Told>,
    /// When it wants to be woken; none: only by an interrupt.
    pub(crate) wake: Option<u64>,
    /// After which its compare unit drops the lines.
    pub(crate) valid_until: Option<u64>,
    /// Output pins.
    pub(crate) pins: u8,
    /// Causes of the latch, as bits.
    pub(crate) latched: u8,
}

/// A board.
pub(crate) trait Side {
    /// The capture unit has stamped an edge.
    fn captured(&mut self, edge: Captured) -> Result<(), Trouble>;
    /// A frame was heard, its first edge at `count`.
    fn heard(&mut self, count: u32, frame: &Frame) -> Result<(), Trouble>;
    /// Noise on the port, which ends with [`SILENCE`]: whatever of it looks like a message is one.
    fn noise(&mut self, bytes: &[u8]) -> Result<(), Trouble> {
        let mut rest = bytes;
        loop {
            rest = match *rest {
                [b'C', c0, c1, c2, c3, bits, ref rest @ ..] => {
                    let level = if bits & 4 == 0 {
                        Level::from(bits & 1 != 0)
                    } else {
                        Level::Unknown
                    };
                    self.captured(Captured {
                        raw: u32::from_le_bytes([c0, c1, c2, c3]),
                        level,
                        over: bits & 2 != 0,
                    })?;
                    rest
                }
                [b'F', c0, c1, c2, c3, ref rest @ ..] => {
                    let (frame, rest) = rest.split_first_chunk().ok_or("noise without silence")?;
                    self.heard(u32::from_le_bytes([c0, c1, c2, c3]), frame)?;
                    rest
                }
                [_, ref rest @ ..] => rest,
                [] => return Ok(()),
            }
        }
    }
    /// The board starts anew, its flash as it was; what was told to it since the last pass is lost.
    fn restart(&mut self) -> Result<(), Trouble>;
    /// The timer has come to `tick`.
    fn go(&mut self, tick: u64, inputs: Inputs) -> Result<Answer, Trouble>;
}

/// Two boards that must do the same, tick for tick.
pub(crate) struct Both<A, B>(pub(crate) A, pub(crate) B);

impl<A: Side, B: Side> Side for Both<A, B> {
    fn captured(&mut self, edge: Captured) -> Result<(), Trouble> {
        self.0.captured(edge)?;
        self.1.captured(edge)
    }

    fn noise(&mut self, bytes: &[u8]) -> Result<(), Trouble> {
        self.0.noise(bytes)?;
        self.1.noise(bytes)
    }

    fn heard(&mut self, count: u32, frame: &Frame) -> Result<(), Trouble> {
        self.0.heard(count, frame)?;
        self.1.heard(count, frame)
    }

    fn restart(&mut self) -> Result<(), Trouble> {
        self.0.restart()?;
        self.1.restart()
    }

    fn go(&mut self, tick: u64, inputs: Inputs) -> Result<Answer, Trouble> {
        let emulated = self.0.go(tick, inputs)?;
        let simulated = self.1.go(tick, inputs)?;
        if emulated == simulated {
            return Ok(emulated);
        }
        Err(
            format!("at tick {tick} the board does {emulated:?}, the simulation {simulated:?}")
                .into(),
        )
    }
}
