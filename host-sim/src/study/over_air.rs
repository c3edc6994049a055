//! Touches carried over the air: both sides of the link in the core, the channel, the probe's
//! oscillator, and a control that looks at the lines.
//!
//! ```text
//!  true edges ─▶ probe's clock ─▶ core Head ─▶ Air ─▶ core Receiver ─▶ lines
//!       └───────────────── compared by the true clock ─────────────────┘
//! ```
//!
//! The receiver's clock is the true one, 16 MHz. Frames begin exactly with their slots on the
//! probe's clock; the receiver is polled at every frame, at every deadline and every 50 µs besides.
//! Something arms the line again 1.1 s after a latch, as an operator would.

use rand_distr::{Distribution, StandardUniform};
use trueonset::clock::{ClockConfig, Oscillator as Kind};
use trueonset::frame::{Key, Mark, Quality};
use trueonset::head::{Head, HeadConfig, HeadStatus, Waking};
use trueonset::lines::Decision;
use trueonset::link::{LinkConfig, LinkPlan, Outcome, Stored};
use trueonset::playout::{EdgeRemarks, PlayedEdge};
use trueonset::receiver::{Receiver, Taken};
use trueonset::time::{Instant, TickRate};

use super::statistics::Moments;
use crate::fault::Fault;
use crate::model::channel::{Air, Delivery, Setting, What};
use crate::model::oscillator::Oscillator;
use crate::model::rng::{self, Rng};

/// Ticks of the receiver and of the probe.
const RECEIVER_HZ: u32 = 16_000_000;
const PROBE_HZ: u32 = 8_000_000;
/// Number of the probe.
pub const ID: u16 = 5;
/// From one poll to the next at most, ticks of the receiver: 50 µs.
const POLL: u64 = 800;
/// From a latch to the operator's hand, and from one try to the next, ns.
const OPERATOR_NS: u64 = 1_100_000_000;
/// Names the streams among all others.
const NAME: u64 = 0x006f_7665_7261_6972;

/// One run over one channel.
#[derive(Debug, Clone)]
pub struct Flight {
    /// The plan of both sides.
    pub plan: LinkPlan,
    /// What the air does.
    pub air: Setting,
    /// The probe's oscillator, and what the receiver is told of it.
    pub oscillator: Oscillator,
    /// Limits told to the receiver.
    pub kind: Kind,
}

/// What a run came to.
#[derive(Debug, Clone, Default)]
pub struct Flown {
    /// Touches made, and those met by READY.
    pub touches: u64,
    /// Touches made while the line said run.
    pub under_ready: u64,
    /// Touches that left late although READY was up.
    pub late: u64,
    /// Edges told twice.
    pub twice: u64,
    /// Onsets farther off than their stated bound, unflagged.
    pub outside: u64,
    /// Frames of others, damaged ones or replays that were accepted.
    pub foreign: u64,
    /// The longest time from a contact under READY to stop, ns.
    pub stop_max_ns: u64,
    /// Contacts under READY after which the line ran on beyond delay + bound + poll.
    pub ran_on: u64,
    /// The output edge of touches against contact + delay, ns.
    pub edge: Moments,
    /// The farthest of them, ns.
    pub edge_max_ns: f64,
    /// The greatest bound stated with an unflagged touch, ns.
    pub bound_max_ns: f64,
    /// Falls of READY.
    pub drops: u64,
    /// Times the line was latched.
    pub latches: u64,
    /// Length of the run, s.
    pub seconds: f64,
}

/// A true edge on its way.
#[derive(Debug, Clone, Copy)]
struct TrueEdge {
    number: u8,
    at_ns: u64,
    told: bool,
}

struct World<'a> {
    flight: &'a Flight,
    config: LinkConfig,
    head_config: HeadConfig,
    head: Head,
    receiver: Receiver,
    air: Air,
    rng: Rng,
    /// Ticks of the receiver.
    now: u64,
    decision: Decision,
    /// The newest edges, oldest first.
    edges: Vec<TrueEdge>,
    number: u8,
    /// A contact under run that has not stopped the line yet, ns.
    running: Option<u64>,
    wire: bool,
    hand_ns: u64,
    latched: bool,
    flown: Flown,
}

fn key() -> Result<Key, Fault> {
    // Invented, and good for nothing but a simulation.
    let mut byte = 0_u8;
    let bytes = [0; 16].map(|_: u8| {
        byte = byte.wrapping_mul(37).wrapping_add(11);
        byte
    });
    Key::new(bytes).map_err(|why| Fault::new(why.to_string(), "a key", "none"))
}

fn wrong(why: impl std::fmt::Display) -> Fault {
    Fault::new(
        why.to_string(),
        "a link that keeps its promises",
        "change what the rule names",
    )
}

impl Flight {
    /// Carries `touches` touches, a third of a second apart on average; half of them let go within
    /// 2 to 30 ms, the others within 60 to 120 ms.
    ///
    /// # Errors
    /// A plan that breaks a rule, a channel out of range.
    pub fn fly(&self, touches: u64, seed: u64) -> Result<Flown, Fault> {
        let rates = TickRate::from_hz(RECEIVER_HZ)
            .and_then(|receiver| TickRate::from_hz(PROBE_HZ).map(|probe| (receiver, probe)));
        let (receiver_rate, probe_rate) = rates.map_err(wrong)?;
        let config = LinkConfig::new(receiver_rate, self.plan).map_err(wrong)?;
        let head_config = HeadConfig::new(probe_rate, ID, &self.plan).map_err(wrong)?;
        let clock = ClockConfig::new(receiver_rate, self.plan.slot_ns, self.kind).map_err(wrong)?;
        let paired = Waking::paired(&head_config);
        let waking = Waking::read(&head_config, [&paired, &paired])
            .ok_or_else(|| wrong("no number of a start"))?;
        let mut head = waking.stored(key()?, Instant::default(), false);
        let mut status = HeadStatus::default();
        status.signs.measuring = true;
        head.set_status(status);
        let mark = Mark::default().record(ID);
        let stored = Stored::read(&config, [&mark, &mark], ID);
        let mut world = World {
            flight: self,
            config,
            head_config,
            head,
            receiver: Receiver::new(key()?, ID, clock, stored),
            air: Air::new(&self.air, seed)?,
            rng: rng::stream(&[NAME, seed, 1]),
            now: 0,
            decision: Decision::STOP,
            edges: Vec::new(),
            number: 0,
            running: None,
            wire: false,
            hand_ns: OPERATOR_NS,
            latched: false,
            flown: Flown::default(),
        };
        world.run(touches, seed);
        Ok(world.flown)
    }
}

const fn ticks(ns: u64) -> u64 {
    (ns as u128 * RECEIVER_HZ as u128 / 1_000_000_000) as u64
}

fn ns(ticks: u64) -> u64 {
    (u128::from(ticks) * 1_000_000_000 / u128::from(RECEIVER_HZ)) as u64
}

impl World<'_> {
    fn run(&mut self, touches: u64, seed: u64) {
        let mut oscillator = self.flight.oscillator.clone();
        let mut noise = rng::stream(&[NAME, seed, 2]);
        let slot_s = f64::from(self.flight.plan.slot_ns) * 1e-9;
        // True time at which the probe's clock shows the begin of slots.
        let mut begin_ns = 0_u64;
        let mut next_edge_ns = 1_500_000_000;
        let mut slot = 0_u64;
        while self.flown.touches < touches || self.number & 1 == 1 {
            let end_ns = (oscillator.shows(&mut noise, (slot + 1) as f64 * slot_s) * 1e9) as u64;
            if self.head.next(&self.head_config, slot.saturating_sub(1)) == slot {
                let bytes = self.head.frame(&self.head_config, slot);
                self.air.send(slot, begin_ns, bytes);
            }
            while next_edge_ns < end_ns {
                self.listen(next_edge_ns);
                let touched = self.number & 1 == 0;
                self.edge(next_edge_ns, touched, slot, (begin_ns, end_ns));
                next_edge_ns += self.pause(touched);
            }
            self.listen(end_ns);
            begin_ns = end_ns;
            slot += 1;
        }
        self.flown.seconds = begin_ns as f64 * 1e-9;
    }

    /// From an edge to the next.
    fn pause(&mut self, touched: bool) -> u64 {
        let even: f64 = StandardUniform.sample(&mut self.rng);
        let place: f64 = StandardUniform.sample(&mut self.rng);
        let (from, to) = match (touched, even < 0.5) {
            (true, true) => (2.0, 30.0),
            (true, false) => (60.0, 120.0),
            (false, _) => (150.0, 450.0),
        };
        ((from + place * (to - from)) * 1e6) as u64
    }

    /// An edge of the truth, in slot `slot` that lasts from `begin_ns` to `end_ns`.
    fn edge(&mut self, at_ns: u64, touched: bool, slot: u64, (begin_ns, end_ns): (u64, u64)) {
        let slot_ticks = u64::from(self.flight.plan.slot_ns) * u64::from(PROBE_HZ) / 1_000_000_000;
        // Within a slot the probe's clock runs evenly.
        let part = (at_ns - begin_ns) as f64 / (end_ns - begin_ns) as f64;
        let shown = slot * slot_ticks + (part * slot_ticks as f64).round() as u64;
        let told = self.head.edge(
            &self.head_config,
            Instant::from_ticks(shown),
            touched,
            Quality::Clean,
        );
        debug_assert!(told.is_ok(), "{told:?}");
        self.number = (self.number + 1) & 31;
        if self.edges.len() == 8 {
            self.edges.remove(0);
        }
        self.edges.push(TrueEdge {
            number: self.number,
            at_ns,
            told: false,
        });
        if touched {
            self.flown.touches += 1;
            if self.decision.at(Instant::from_ticks(ticks(at_ns))).run {
                self.flown.under_ready += 1;
                self.running = Some(at_ns);
            }
        }
    }

    /// The receiver's side up to `until_ns`.
    fn listen(&mut self, until_ns: u64) {
        while let Some(delivery) = self.air.next(until_ns) {
            self.polls(ticks(delivery.arrival_ns));
            self.deliver(&delivery);
        }
        self.polls(ticks(until_ns));
    }

    fn deliver(&mut self, delivery: &Delivery) {
        let now = Instant::from_ticks(self.now);
        let arrival = Instant::from_ticks(ticks(delivery.stamp_ns).min(self.now));
        let taken = self
            .receiver
            .frame(&self.config, now, arrival, &delivery.bytes);
        let accepted = matches!(
            taken,
            Taken::Genuine(
                Outcome::Life
                    | Outcome::Held
                    | Outcome::Older
                    | Outcome::Joining
                    | Outcome::Standby
            )
        );
        if accepted && !matches!(delivery.what, What::Clean | What::Copy) {
            self.flown.foreign += 1;
        }
        if let Some(write) = self.receiver.want() {
            self.receiver.stored(write.mark);
        }
        self.look();
    }

    /// All polls that are due by `until`.
    fn polls(&mut self, until: u64) {
        while self.now < until {
            let due = self.receiver.deadline(&self.config);
            let due = due.map_or(u64::MAX, Instant::ticks).max(self.now + 1);
            self.now = due.min(self.now + POLL).min(until);
            self.look();
        }
    }

    /// A poll: edges that leave, the operator, the lines.
    fn look(&mut self) {
        let now = Instant::from_ticks(self.now);
        let now_ns = ns(self.now);
        if self.decision.valid_until.is_some_and(|until| until < now) {
            self.stopped(
                self.decision
                    .valid_until
                    .map_or(0, |until| ns(until.ticks())),
            );
        }
        while let Some(played) = self.receiver.poll(&self.config, now) {
            self.played(&played);
        }
        let latched = !self.receiver.causes().is_empty();
        if latched && !self.latched {
            self.flown.latches += 1;
        }
        self.latched = latched;
        if now_ns >= self.hand_ns {
            // Down, and up at the next poll: a rise.
            self.wire = latched && !self.wire;
            let _ = self.receiver.rearm(&self.config, now, self.wire);
            if self.wire || !latched {
                self.hand_ns = now_ns + OPERATOR_NS;
            }
        }
        let before = self.decision.at(now);
        self.decision = self.receiver.lines(&self.config, now);
        if before.ready && !self.decision.ready {
            self.flown.drops += 1;
        }
        if !self.decision.run {
            self.stopped(now_ns);
        }
        let limit = u64::from(self.flight.plan.delay_ns)
            + u64::from(self.flight.plan.bound_ns)
            + self.flight.air.timing.delay_ns;
        if let Some(at_ns) = self.running {
            // A poll and a tick more for the look itself.
            if now_ns > at_ns + limit + ns(POLL) + 125 {
                self.flown.ran_on += 1;
                self.running = None;
            }
        }
    }

    fn stopped(&mut self, at_ns: u64) {
        if let Some(from_ns) = self.running.take() {
            let took = at_ns.saturating_sub(from_ns);
            self.flown.stop_max_ns = self.flown.stop_max_ns.max(took);
        }
    }

    fn played(&mut self, played: &PlayedEdge) {
        let delay_ns = self.flight.air.timing.delay_ns;
        let now_ns = self.now as f64 * 1e9 / f64::from(RECEIVER_HZ);
        let plain = played.remarks.is_empty();
        if played.touched
            && played.remarks.has(EdgeRemarks::LATE)
            && !played.remarks.has(EdgeRemarks::MASKED)
        {
            self.flown.late += 1;
        }
        let known = self
            .edges
            .iter_mut()
            .rev()
            .find(|edge| edge.number == played.number);
        let Some(edge) = known else {
            return;
        };
        self.flown.twice += u64::from(edge.told);
        edge.told = true;
        let true_ns = (edge.at_ns + delay_ns) as f64;
        let tick_ns = 1e9 / f64::from(RECEIVER_HZ);
        if let (Some(onset), true) = (played.onset, plain) {
            let off = (onset.ticks() as f64 * tick_ns - true_ns).abs();
            self.flown.outside += u64::from(off > f64::from(played.bound) * tick_ns);
            if played.touched {
                let bound = f64::from(played.bound) * tick_ns;
                self.flown.bound_max_ns = self.flown.bound_max_ns.max(bound);
                let late = now_ns - true_ns - f64::from(self.flight.plan.delay_ns);
                self.flown.edge.add(late);
                self.flown.edge_max_ns = self.flown.edge_max_ns.max(late.abs());
            }
        }
    }
}
