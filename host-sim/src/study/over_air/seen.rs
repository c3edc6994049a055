//! What is kept of a run for pictures and logs.

use trueonset::link::ProbeTime;
use trueonset::playout::{EdgeRemarks, PlayedEdge};

use crate::model::channel::Bytes;

/// What became of a frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fate {
    /// Not heard.
    Lost,
    /// Heard, and not accepted.
    Heard,
    /// Accepted.
    Accepted,
}

/// A frame of the probe.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Frame {
    /// Its slot.
    pub slot: u64,
    /// When that began, ns.
    pub sent_ns: i64,
    /// What became of it.
    pub fate: Fate,
    bytes: Bytes,
}

/// How far the receiver's idea of the probe's time was off, after a frame.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Residual {
    /// When the frame was there, ns.
    pub at_ns: i64,
    /// Begin of its slot as the clock has it, less the true one, ns.
    pub off_ns: f64,
    /// The bound stated with it; none while the clock is not locked.
    pub bound_ns: Option<f64>,
}

/// The outputs from an instant on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Outputs {
    /// The instant, ns.
    pub at_ns: i64,
    /// READY.
    pub ready: bool,
    /// The touch line says run.
    pub run: bool,
}

/// An edge that left the receiver.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Left {
    /// When it did, ns.
    pub at_ns: i64,
    /// Its onset as the probe saw it, on the true clock, ns.
    pub onset_ns: i64,
    /// Contact, or its end.
    pub touched: bool,
    /// The onset as the receiver has it, ns, and its bound, ns; none without a time.
    pub told: Option<(f64, f64)>,
    /// What else is to be said of it.
    pub remarks: EdgeRemarks,
}

/// All of it, in order of time.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Course {
    /// Frames sent.
    pub frames: Vec<Frame>,
    /// The receiver's clock.
    pub clock: Vec<Residual>,
    /// Changes of the outputs.
    pub outputs: Vec<Outputs>,
    /// Edges that left.
    pub left: Vec<Left>,
    /// Whether frames and clock are kept: both grow with time, the others with touches.
    keeps_all: bool,
}

impl Course {
    pub(super) fn new(keeps_all: bool) -> Self {
        Self {
            keeps_all,
            ..Self::default()
        }
    }

    pub(super) fn sent(&mut self, slot: u64, sent_ns: u64, bytes: Bytes) {
        if !self.keeps_all {
            return;
        }
        self.frames.push(Frame {
            slot,
            sent_ns: sent_ns as i64,
            fate: Fate::Lost,
            bytes,
        });
    }

    /// A frame of these bytes came; the best of its fates counts.
    pub(super) fn heard(&mut self, bytes: &Bytes, fate: Fate) {
        let own = |frame: &&mut Frame| frame.bytes == *bytes;
        if let Some(frame) = self.frames.iter_mut().rev().find(own) {
            if frame.fate != Fate::Accepted {
                frame.fate = fate;
            }
        }
    }

    /// What the clock says of the newest slot that it has heard.
    pub(super) fn clock(&mut self, time: &ProbeTime, delay_ns: u64, at_ns: u64, tick_ns: f64) {
        let Some(clock) = time.clock() else {
            return;
        };
        let newest = clock.newest();
        let own = |frame: &&Frame| frame.slot == newest;
        let Some(frame) = self.frames.iter().rev().find(own) else {
            return;
        };
        let said = clock.predict(time.config(), newest);
        let ticks = said.at.whole().ticks() as f64 + f64::from(said.at.part_256()) / 256.0;
        self.clock.push(Residual {
            at_ns: at_ns as i64,
            off_ns: ticks * tick_ns - (frame.sent_ns as f64 + delay_ns as f64),
            bound_ns: said
                .doubt_256
                .map(|doubt| f64::from(doubt) / 256.0 * tick_ns),
        });
    }

    pub(super) fn outputs(&mut self, at_ns: u64, ready: bool, run: bool) {
        let before = self.outputs.last();
        if before.is_none_or(|before| (before.ready, before.run) != (ready, run)) {
            self.outputs.push(Outputs {
                at_ns: at_ns as i64,
                ready,
                run,
            });
        }
    }

    pub(super) fn left(&mut self, onset_ns: u64, at_ns: f64, played: &PlayedEdge, tick_ns: f64) {
        let told = played.onset.map(|onset| {
            let bound_ns = f64::from(played.bound) * tick_ns;
            (onset.ticks() as f64 * tick_ns, bound_ns)
        });
        self.left.push(Left {
            at_ns: at_ns.round() as i64,
            onset_ns: onset_ns as i64,
            touched: played.touched,
            told,
            remarks: played.remarks,
        });
    }

    /// On a zero that lies `by_ns` later.
    pub(super) fn earlier(mut self, by_ns: u64) -> Self {
        let by = by_ns as i64;
        self.frames.iter_mut().for_each(|frame| frame.sent_ns -= by);
        self.clock.iter_mut().for_each(|clock| clock.at_ns -= by);
        self.outputs
            .iter_mut()
            .for_each(|outputs| outputs.at_ns -= by);
        for left in &mut self.left {
            left.at_ns -= by;
            left.onset_ns -= by;
            if let Some((onset_ns, _)) = &mut left.told {
                *onset_ns -= by_ns as f64;
            }
        }
        self
    }
}
