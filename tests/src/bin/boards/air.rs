//! The air between both boards: what becomes of each frame.

use std::cmp::Reverse;
use std::collections::BinaryHeap;
use std::ops::Range;
use std::sync::mpsc::Receiver;

use fastrand::Rng;

use crate::board;
use crate::drive::{Happening, World};
use crate::head;
use crate::script::Trouble as Kind;
use crate::side::Frame;

/// How much faster the probe's crystal is than the board's, ppm.
const FAST_PPM: u128 = 18;
/// How long a frame takes until it is handed over: 16 bytes at 250 kbit/s.
const FRAME_TICKS: u64 = board::HZ as u64 * 128 / 250_000;

/// How long before a trouble the air is calm.
const CALM_MS: u64 = 3_000;
/// From its touch to the edge of the output.
const DELAY_MS: u64 = 48;

/// A frame on its way.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Delivery {
    /// When it is handed over, ticks of the board.
    pub(crate) at: u64,
    /// When its first edge was captured.
    pub(crate) arrival: u64,
    /// As it was heard.
    pub(crate) frame: Frame,
}

/// When the air is out of order, ticks of the board.
#[derive(Clone, Debug)]
pub(crate) struct Spans {
    /// Nothing gets through.
    pub(crate) outages: [Range<u64>; 3],
    /// Noise between the frames.
    pub(crate) noise: Range<u64>,
    /// Frames are heard again later.
    pub(crate) replays: Range<u64>,
    /// Frames are handed over six times.
    pub(crate) copies: Range<u64>,
    /// But for the trouble itself everything gets through: READY stands when it begins, and its
    /// touch is heard. Nor is READY left to chance at the end.
    pub(crate) calm: Vec<Range<u64>>,
}

impl Spans {
    /// For the troubles that are the air's, and the end of all.
    pub(crate) fn of(troubles: &[(Kind, u64)], end: u64) -> Self {
        let ms = u64::from(board::HZ) / 1_000;
        let span = |kind, before_ms: u64, after_ms: u64| {
            let at = troubles.iter().find(|trouble| trouble.0 == kind);
            at.map_or(0..0, |(_, at)| at - before_ms * ms..at + after_ms * ms)
        };
        // A latch is noticed after 1.2 s, and opened at the second try at the latest.
        let calm = troubles.iter().map(|(_, at)| *at).chain([end]);
        let calm = calm.map(|at| at - CALM_MS * ms..at + DELAY_MS * ms);
        Self {
            calm: calm.collect(),
            outages: [
                span(Kind::Outage, 5, 295),
                span(Kind::LostEdges, 0, 30),
                span(Kind::Silence, 0, 300_000),
            ],
            noise: span(Kind::Noise, 0, 300),
            replays: span(Kind::Replays, 0, 300),
            copies: span(Kind::FullQueue, 0, 300),
        }
    }
}

/// How often each happened.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Fates {
    /// Frames sent.
    pub(crate) sent: u32,
    /// Lost one by one, in bursts or in the outage.
    pub(crate) lost: u32,
    /// Heard with wrong bits.
    pub(crate) damaged: u32,
    /// Handed over twice.
    pub(crate) doubled: u32,
    /// Heard again later.
    pub(crate) replayed: u32,
    /// Noise that looked like a frame.
    pub(crate) noise: u32,
}

/// The air.
pub(crate) struct Air {
    from_head: Receiver<(u64, Frame)>,
    random: Rng,
    start: (u64, u64),
    /// In a burst of losses.
    bad: bool,
    waiting: BinaryHeap<Reverse<Delivery>>,
    /// Up to when the head has sent all that it will.
    heard_until: u64,
    spans: Spans,
    /// What became of all.
    pub(crate) fates: Fates,
}

impl Air {
    /// Frames come with their tick of the probe; `start`: ticks of probe and board at the same moment.
    pub(crate) fn new(
        from_head: Receiver<(u64, Frame)>,
        start: (u64, u64),
        seed: u64,
        spans: Spans,
    ) -> Self {
        let mut air = Self {
            from_head,
            random: Rng::with_seed(seed),
            start,
            bad: false,
            waiting: BinaryHeap::new(),
            heard_until: start.1,
            spans,
            fates: Fates::default(),
        };
        let mut at = air.spans.noise.start;
        while at < air.spans.noise.end {
            let mut frame = [0; 16];
            air.random.fill(&mut frame);
            // Every other one begins like a frame of this probe.
            if air.random.bool() {
                frame[..2].copy_from_slice(&head::ID.to_be_bytes());
            }
            air.deliver(at, 0, frame);
            air.fates.noise += 1;
            at += u64::from(board::HZ) / 1_000;
        }
        air
    }

    /// The board's tick at a tick of the probe.
    pub(crate) fn on_board(&self, tick: u64) -> u64 {
        on_board(self.start, tick)
    }

    /// The next frame that is handed over, if it is by `until`.
    fn delivery(&mut self, until: u64) -> Option<Delivery> {
        while self.heard_until <= self.soonest().min(until) {
            match self.from_head.recv() {
                Ok((begin, frame)) => self.send(begin, frame),
                Err(_) => self.heard_until = u64::MAX,
            }
        }
        let soonest = self.soonest();
        (soonest <= until).then(|| self.waiting.pop().map(|Reverse(first)| first))?
    }

    /// When the next frame is handed over, as far as is known.
    fn soonest(&self) -> u64 {
        self.waiting
            .peek()
            .map_or(u64::MAX, |Reverse(first)| first.at)
    }

    fn send(&mut self, begin: u64, mut frame: Frame) {
        let begin = self.on_board(begin);
        self.heard_until = begin;
        self.fates.sent += 1;
        // Bursts of five slots that swallow most, one loss in fifty between them.
        let turn = self.random.f64();
        self.bad = if self.bad { turn > 0.2 } else { turn < 0.01 };
        let lost = self.random.f64() < if self.bad { 0.8 } else { 0.02 };
        let (damaged, doubled) = (self.random.f64() < 0.02, self.random.f64() < 0.03);
        let calm = self.spans.calm.iter().any(|span| span.contains(&begin));
        let [lost, damaged, doubled] = [lost, damaged, doubled].map(|harm| harm && !calm);
        let noisy = self.spans.noise.contains(&begin) && self.random.bool();
        if lost || self.spans.outages.iter().any(|span| span.contains(&begin)) {
            self.fates.lost += 1;
            return;
        }
        let again = frame;
        if damaged || noisy {
            self.fates.damaged += 1;
            for _ in 0..self.random.u32(1..6) {
                frame[self.random.usize(..16)] ^= 1 << self.random.u32(..8);
            }
        }
        // The capture of the first edge scatters by an eighth of a microsecond.
        let arrival = begin + self.random.u64(0..=4);
        self.deliver(arrival, 0, frame);
        let ms = u64::from(board::HZ) / 1_000;
        if doubled {
            // Handed over twice, as by a second demodulator.
            self.fates.doubled += 1;
            let late = self.random.u64(0..20 * ms);
            self.deliver(arrival, late, again);
        }
        if self.spans.copies.contains(&begin) {
            for _ in 0..5 {
                self.deliver(arrival, 0, frame);
            }
        }
        if self.spans.replays.contains(&begin) {
            self.fates.replayed += 1;
            self.deliver(arrival + 10 * ms, 0, again);
        }
    }

    /// Hands a frame over that was captured at `arrival`, `late` ticks after it was complete.
    fn deliver(&mut self, arrival: u64, late: u64, frame: Frame) {
        self.waiting.push(Reverse(Delivery {
            at: arrival + FRAME_TICKS + late,
            arrival,
            frame,
        }));
    }
}

impl World for Air {
    fn next(&mut self, until: u64) -> Option<(u64, Happening)> {
        let heard = self.delivery(until)?;
        Some((heard.at, Happening::Heard(heard.arrival, heard.frame)))
    }
}

/// The board's tick at a tick of the probe, both at `start` at the same moment.
pub(crate) fn on_board(start: (u64, u64), tick: u64) -> u64 {
    let since = u128::from(tick - start.0) * u128::from(board::HZ) * 1_000_000;
    let rate = u128::from(head::HZ) * (1_000_000 + FAST_PPM);
    start.1 + (since / rate) as u64
}
