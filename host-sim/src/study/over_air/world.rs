//! Both sides of a link and what is between them, driven along by time.

use std::collections::VecDeque;

use trueonset::clock::ClockConfig;
use trueonset::frame::{Key, Mark, Quality};
use trueonset::head::{Head, HeadConfig, HeadStatus, Waking};
use trueonset::lines::Decision;
use trueonset::link::{LinkConfig, Outcome, Stored};
use trueonset::playout::{EdgeRemarks, PlayedEdge};
use trueonset::receiver::{Receiver, ReceiverConfig, Taken};
use trueonset::time::{Instant, TickRate};

use super::seen::{Course, Fate};
use super::{Flight, Flown, ID, NAME};
use crate::fault::Fault;
use crate::model::channel::{Air, Delivery, What};
use crate::model::oscillator::Oscillator;
use crate::model::rng::{self, Rng};
use crate::scenario::Link;

/// Ticks of the receiver and of the probe.
const RECEIVER_HZ: u32 = Link::RECEIVER_HZ;
const PROBE_HZ: u32 = 8_000_000;
/// A tick of the receiver, ns.
const TICK_NS: f64 = 1e9 / RECEIVER_HZ as f64;
/// From a latch to the operator's hand, and from one try to the next, ns.
const OPERATOR_NS: u64 = 1_100_000_000;
/// Newest edges that are kept for comparison.
const EDGES: usize = 8;

/// A true edge on its way.
#[derive(Debug, Clone, Copy)]
struct TrueEdge {
    number: u8,
    at_ns: u64,
    told: bool,
}

/// Probe, air and board.
pub(super) struct World<'a> {
    flight: &'a Flight,
    config: LinkConfig,
    head_config: HeadConfig,
    head: Head,
    receiver: Receiver,
    air: Air,
    oscillator: Oscillator,
    noise: Rng,
    /// The present slot: its number, and when the probe's clock shows its begin and end, ns.
    slot: u64,
    begin_ns: u64,
    end_ns: u64,
    /// How far it has come, ns and ticks of the receiver.
    at_ns: u64,
    now: u64,
    /// From one poll to the next at most, ticks.
    poll: u64,
    decision: Decision,
    /// Since when READY has stood, ns.
    ready_since: Option<u64>,
    edges: VecDeque<TrueEdge>,
    number: u8,
    /// A contact under run that has not stopped the line yet, ns, and whether it should have.
    running: Option<(u64, bool)>,
    /// When the last one did, ns.
    stopped_ns: Option<u64>,
    wire: bool,
    hand_ns: u64,
    latched: bool,
    pub(super) flown: Flown,
    /// What is kept for pictures, if anything is.
    pub(super) course: Option<Course>,
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

const fn ticks(ns: u64) -> u64 {
    (ns as u128 * RECEIVER_HZ as u128 / 1_000_000_000) as u64
}

fn ns(ticks: u64) -> u64 {
    (u128::from(ticks) * 1_000_000_000 / u128::from(RECEIVER_HZ)) as u64
}

impl<'a> World<'a> {
    /// What a look adds to the time of what it sees, ns: a poll of 50 µs and two ticks.
    const LOOK_NS: u64 = 50_125;

    /// At time 0, the probe's quiet time before it. The receiver is polled at frames, deadlines, ends of slots, and
    /// every `poll` ticks besides.
    pub(super) fn new(flight: &'a Flight, seed: u64, poll: u64) -> Result<Self, Fault> {
        let rates = TickRate::from_hz(RECEIVER_HZ)
            .and_then(|receiver| TickRate::from_hz(PROBE_HZ).map(|probe| (receiver, probe)));
        let (receiver_rate, probe_rate) = rates.map_err(wrong)?;
        let config = LinkConfig::new(receiver_rate, flight.plan).map_err(wrong)?;
        let head_config = HeadConfig::new(probe_rate, ID, &flight.plan).map_err(wrong)?;
        let clock =
            ClockConfig::new(receiver_rate, flight.plan.slot_ns, flight.kind).map_err(wrong)?;
        let probe = ReceiverConfig::new(&config, ID, clock).map_err(wrong)?;
        let paired = Waking::paired(&head_config);
        let waking = Waking::read(&head_config, [&paired, &paired])
            .ok_or_else(|| wrong("no number of a start"))?;
        let (_, record) = waking.write();
        let counted = waking
            .stored([&record, &record])
            .map_err(|_| wrong("a start that is not counted"))?;
        let head = counted.head(key()?, Instant::default(), false);
        let mark = Mark::default().record(ID);
        let stored = Stored::read(&config, [&mark, &mark], ID);
        let mut world = World {
            flight,
            config,
            head_config,
            head,
            receiver: Receiver::new(&probe, key()?, stored),
            air: Air::new(&flight.air, seed)?,
            oscillator: flight.oscillator.clone(),
            noise: rng::stream(&[NAME, seed, 2]),
            slot: 0,
            begin_ns: 0,
            end_ns: 0,
            at_ns: 0,
            now: 0,
            poll,
            decision: Decision::STOP,
            ready_since: None,
            edges: VecDeque::with_capacity(EDGES),
            number: 0,
            running: None,
            stopped_ns: None,
            wire: false,
            hand_ns: OPERATOR_NS,
            latched: false,
            flown: Flown::default(),
            course: None,
        };
        world.confirms(false);
        world.begin_slot();
        Ok(world)
    }

    /// Goes on to `at_ns`.
    pub(super) fn until(&mut self, at_ns: u64) {
        while self.end_ns <= at_ns {
            self.end_slot();
        }
        self.listen(at_ns);
    }

    /// Goes on to the end of the present slot.
    pub(super) fn end_slot(&mut self) {
        self.listen(self.end_ns);
        self.begin_ns = self.end_ns;
        self.slot += 1;
        self.flown.seconds = self.begin_ns as f64 * 1e-9;
        self.begin_slot();
    }

    fn begin_slot(&mut self) {
        let slot_s = f64::from(self.flight.plan.slot_ns) * 1e-9;
        let shows = (self.slot + 1) as f64 * slot_s;
        self.end_ns = (self.oscillator.shows(&mut self.noise, shows) * 1e9) as u64;
        self.oscillator.keep_within(self.flight.tolerance());
        let slot = self.slot;
        if self.head.next(&self.head_config, slot.saturating_sub(1)) == slot {
            let bytes = self.head.frame(&self.head_config, slot);
            self.air.send(slot, self.begin_ns, bytes);
            if let Some(course) = &mut self.course {
                course.sent(slot, self.begin_ns, bytes);
            }
        }
    }

    /// How far it has come, ns.
    pub(super) fn at_ns(&self) -> u64 {
        self.at_ns
    }

    /// Whether the last edge told was a touch.
    pub(super) fn touched(&self) -> bool {
        self.number & 1 == 1
    }

    /// Since when READY has stood, ns; none while it is down.
    pub(super) fn ready_since(&self) -> Option<u64> {
        self.ready_since
    }

    /// Whether the touch line says run.
    pub(super) fn runs(&self) -> bool {
        self.decision.at(Instant::from_ticks(self.now)).run
    }

    /// When the last contact under run stopped the line, ns; none while it has not.
    pub(super) fn stopped_ns(&self) -> Option<u64> {
        self.stopped_ns
    }

    /// Ticks that the probe's clock shows `after_ns` from now; it runs evenly, as it does within this slot.
    pub(super) fn shown(&self, after_ns: f64) -> f64 {
        let slot_ticks = u64::from(self.flight.plan.slot_ns) * u64::from(PROBE_HZ) / 1_000_000_000;
        let into_ns = (self.at_ns - self.begin_ns) as f64 + after_ns;
        let part = into_ns / (self.end_ns - self.begin_ns) as f64;
        (self.slot as f64 + part) * slot_ticks as f64
    }

    /// The probe is told of an edge whose onset it saw when its clock showed `shown` ticks, which was at `onset_ns` by
    /// the true clock. Whether it took it.
    pub(super) fn tell(&mut self, shown: f64, onset_ns: u64, touched: bool) -> bool {
        self.confirms(false);
        let at = Instant::from_ticks(shown.round() as u64);
        let told = self
            .head
            .edge(&self.head_config, at, touched, Quality::Clean);
        if told.is_err() {
            return false;
        }
        self.number = (self.number + 1) & 31;
        if self.edges.len() == EDGES {
            self.edges.pop_front();
        }
        self.edges.push_back(TrueEdge {
            number: self.number,
            at_ns: onset_ns,
            told: false,
        });
        true
    }

    /// A true contact, now; from here on until it is told the probe says that it confirms an edge.
    pub(super) fn contact(&mut self, at_ns: u64) {
        self.confirms(true);
        self.flown.touches += 1;
        if self.decision.at(Instant::from_ticks(ticks(at_ns))).run {
            self.flown.under_ready += 1;
            self.running = Some((at_ns, false));
            self.stopped_ns = None;
        }
    }

    /// What the probe says besides edges: it measures, and may be confirming one.
    fn confirms(&mut self, between: bool) {
        let mut status = HeadStatus::default();
        status.signs.measuring = true;
        status.between = between;
        self.head.set_status(status);
    }

    /// The receiver's side up to `until_ns`.
    fn listen(&mut self, until_ns: u64) {
        while let Some(delivery) = self.air.next(until_ns) {
            self.polls(ticks(delivery.arrival_ns));
            self.deliver(&delivery);
        }
        self.polls(ticks(until_ns));
        self.at_ns = until_ns;
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
        if let Some(course) = &mut self.course {
            let fate = if accepted {
                Fate::Accepted
            } else {
                Fate::Heard
            };
            course.heard(&delivery.bytes, fate);
            if accepted {
                let delay_ns = self.flight.air.timing.delay_ns;
                course.clock(self.receiver.time(), delay_ns, delivery.arrival_ns, TICK_NS);
            }
        }
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
            self.now = due.min(self.now.saturating_add(self.poll)).min(until);
            self.look();
        }
    }

    /// A poll: edges that leave, the operator, the lines.
    fn look(&mut self) {
        let now = Instant::from_ticks(self.now);
        let now_ns = ns(self.now);
        // What was said has run out: the outputs fell by themselves.
        let ran_out = self.decision.valid_until.filter(|until| *until < now);
        if let Some(until) = ran_out {
            self.stopped(ns(until.ticks()));
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
            let _ = self.receiver.rearm(&self.config, now, self.wire.into());
            if self.wire || !latched {
                self.hand_ns = now_ns + OPERATOR_NS;
            }
        }
        self.decision = self.receiver.lines(&self.config, now);
        if !self.decision.run {
            self.stopped(now_ns);
        }
        let fell = ran_out.filter(|_| !self.decision.ready);
        self.outputs(fell.map_or(now_ns, |until| ns(until.ticks())));
        let limit = u64::from(self.flight.plan.delay_ns)
            + u64::from(self.flight.plan.bound_ns)
            + self.flight.air.timing.delay_ns;
        if let Some((at_ns, overdue)) = &mut self.running {
            if !*overdue && now_ns > *at_ns + limit + Self::LOOK_NS {
                *overdue = true;
                self.flown.ran_on += 1;
            }
        }
    }

    /// What the outputs say from `at_ns` on.
    fn outputs(&mut self, at_ns: u64) {
        let Decision { ready, run, .. } = self.decision;
        if self.ready_since.is_some() && !ready {
            self.flown.drops += 1;
        }
        self.ready_since = ready.then_some(self.ready_since.unwrap_or(at_ns));
        if let Some(course) = &mut self.course {
            course.outputs(at_ns, ready, run);
        }
    }

    fn stopped(&mut self, at_ns: u64) {
        if let Some((from_ns, _)) = self.running.take() {
            self.stopped_ns = Some(at_ns);
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
        if let Some(course) = &mut self.course {
            course.left(edge.at_ns, now_ns, played, TICK_NS);
        }
        if let (Some(onset), true) = (played.onset, plain) {
            let off = (onset.ticks() as f64 * TICK_NS - true_ns).abs();
            let outside = u64::from(off > f64::from(played.bound) * TICK_NS);
            self.flown.outside += outside;
            self.flown.touches_outside += outside * u64::from(played.touched);
            if played.touched {
                let bound = f64::from(played.bound) * TICK_NS;
                self.flown.bound_max_ns = self.flown.bound_max_ns.max(bound);
                let late = now_ns - true_ns - f64::from(self.flight.plan.delay_ns);
                self.flown.edge.add(late);
                self.flown.edge_max_ns = self.flown.edge_max_ns.max(late.abs());
            }
        }
    }
}
