extern crate std;

use super::*;
use crate::clock::{ClockConfig, Oscillator};
use crate::frame::Quality;
use crate::head::{Head, HeadConfig, HeadStatus, Waking};
use crate::lines::RearmRefused;
use crate::link::{LinkPlan, RECORD};
use crate::time::TickRate;

/// A probe and its receiver on one clock of 16 MHz, the air without loss.
struct Pair {
    head: Head,
    head_config: HeadConfig,
    receiver: Receiver,
    config: LinkConfig,
    now: u64,
    slot: u64,
    /// How much slower than the receiver's the probe's clock runs, ppm.
    slow_ppm: u64,
    /// Ticks by which arrivals scatter, five times this at most.
    scatter: u64,
    /// The store takes what it is given.
    stores: bool,
    mark: Mark,
}

const MS: u64 = 16_000;

fn key() -> Key {
    Key::new([3, 1, 4, 1, 5, 9, 2, 6, 5, 3, 5, 8, 9, 7, 9, 3]).unwrap_or_else(|_| panic!())
}

impl Pair {
    fn new() -> Self {
        Self::with(LinkPlan::INFRARED, Some(Mark::default()))
    }

    /// With both records holding that mark, or torn.
    fn with(plan: LinkPlan, mark: Option<Mark>) -> Self {
        let rate = TickRate::from_hz(16_000_000).unwrap();
        let head_config = HeadConfig::new(rate, 5, &plan).unwrap();
        let paired = Waking::paired(&head_config);
        let waking = Waking::read(&head_config, [&paired, &paired]).unwrap();
        let (_, record) = waking.write();
        let Ok(counted) = waking.stored([&record, &record]) else {
            panic!()
        };
        let head = counted.head(key(), Instant::from_ticks(0), false);
        let config = LinkConfig::new(rate, plan).unwrap();
        let clock = ClockConfig::new(rate, 1_000_000, Oscillator::CRYSTAL).unwrap();
        let probe = ReceiverConfig::new(&config, 5, clock).unwrap();
        let record = mark.map_or([0; RECORD], |mark| mark.record(5));
        let stored = Stored::read(&config, [&record, &record], 5);
        let mut pair = Self {
            head,
            head_config,
            receiver: Receiver::new(&probe, key(), stored),
            config,
            now: 0,
            slot: 0,
            slow_ppm: 0,
            scatter: 0,
            stores: true,
            mark: mark.unwrap_or_default(),
        };
        pair.measuring(true);
        pair
    }

    /// The board starts anew, with what its store holds.
    fn restart(&mut self) {
        let time = self.receiver.time().config();
        let probe = ReceiverConfig::new(&self.config, 5, *time).unwrap();
        let mark = self.mark.record(5);
        let stored = Stored::read(&self.config, [&mark, &mark], 5);
        self.receiver = Receiver::new(&probe, key(), stored);
    }

    fn measuring(&mut self, measuring: bool) {
        let mut status = HeadStatus::default();
        status.signs.measuring = measuring;
        self.head.set_status(status);
    }

    /// An edge of the truth.
    fn edge(&mut self, ticks: u64, touched: bool) {
        let at = Instant::from_ticks(ticks);
        self.head
            .edge(&self.head_config, at, touched, Quality::Clean)
            .unwrap();
    }

    /// Up to `until`; frames are heard where `heard` says so. Edges that left, and the last lines.
    fn run(
        &mut self,
        until: u64,
        mut heard: impl FnMut(u64) -> bool,
    ) -> (std::vec::Vec<(u64, PlayedEdge)>, Decision) {
        let mut left = std::vec::Vec::new();
        let mut lines = Decision::STOP;
        while self.now < until {
            let next = self.head.next(&self.head_config, self.slot);
            let begin = self.head.begin(&self.head_config, next).ticks();
            let due = self
                .receiver
                .deadline(&self.config)
                .map_or(u64::MAX, Instant::ticks);
            // Polled every 50 µs at least, as a main loop does.
            let then = begin
                .min(due.max(self.now + 1))
                .min(self.now + 800)
                .min(until);
            self.now = then;
            let now = Instant::from_ticks(then);
            if then == begin {
                self.slot = next;
                let bytes = self.head.frame(&self.head_config, next);
                if heard(next) {
                    // As if it had run fast before: nothing arrives later than it is handed in.
                    let early = (4_000 * MS).saturating_sub(then) * self.slow_ppm / 1_000_000;
                    let early = early + self.slot * 7 % 6 * self.scatter;
                    let arrival = Instant::from_ticks(then.saturating_sub(early));
                    let _ = self.receiver.frame(&self.config, now, arrival, &bytes);
                }
                if let Some(write) = self.receiver.want().filter(|_| self.stores) {
                    self.mark = write.mark;
                    self.receiver.stored(write.mark);
                }
            }
            while let Some(edge) = self.receiver.poll(&self.config, now) {
                left.push((then, edge));
            }
            lines = self.receiver.lines(&self.config, now);
        }
        (left, lines)
    }
}

#[test]
fn ready_comes_after_the_join_and_an_edge_leaves_after_the_delay() {
    let mut pair = Pair::new();
    let (left, lines) = pair.run(400 * MS, |_| true);
    assert!(left.is_empty() && lines.ready && lines.run, "{lines:?}");
    let touch = 400 * MS + 5_000;
    pair.edge(touch, true);
    let (left, lines) = pair.run(touch + 49 * MS, |_| true);
    assert_eq!(left.len(), 1);
    let (at, edge) = left[0];
    assert!(edge.touched && edge.remarks.is_empty(), "{edge:?}");
    assert!(
        edge.onset.unwrap().ticks().abs_diff(touch) <= 2,
        "{edge:?} {touch}"
    );
    assert!(at.abs_diff(touch + 48 * MS) <= 3, "{at}");
    assert!(lines.ready && !lines.run);
    let release = touch + 60 * MS;
    pair.run(release, |_| true);
    pair.edge(release, false);
    let (left, lines) = pair.run(release + 49 * MS, |_| true);
    assert!(left.len() == 1 && lines.run, "{left:?} {lines:?}");
}

#[test]
fn silence_stops_the_line_before_a_touch_could_be_late_and_ready_returns() {
    let mut pair = Pair::new();
    pair.run(400 * MS, |_| true);
    let heard_last = pair.slot;
    let (_, lines) = pair.run(400 * MS + 41 * MS, |_| false);
    assert!(lines.ready, "beat {heard_last}");
    let (_, lines) = pair.run(400 * MS + 43 * MS, |_| false);
    assert!(!lines.ready);
    let (_, lines) = pair.run(600 * MS, |_| true);
    assert!(lines.ready && lines.run && pair.receiver.causes().is_empty());
}

/// A touch of which only its release was heard: its time comes with the older edge.
#[test]
fn a_touch_and_its_release_in_one_outage_are_both_timed() {
    let mut pair = Pair::new();
    pair.run(400 * MS, |_| true);
    let touch = 400 * MS + 8_000;
    pair.run(touch, |_| true);
    pair.edge(touch, true);
    let release = touch + 4 * MS;
    pair.run(release, |_| false);
    pair.edge(release, false);
    let (left, lines) = pair.run(touch + 60 * MS, |slot| slot > 410);
    assert_eq!(left.len(), 2, "{left:?}");
    for ((at, edge), true_at) in left.iter().zip([touch, release]) {
        assert!(edge.remarks.is_empty(), "{edge:?}");
        assert!(at.abs_diff(true_at + 48 * MS) <= 3);
    }
    assert!(lines.run);
}

/// Of two edges of one outage the newest has its time when the clock contradicts itself: only the
/// one before is told without.
#[test]
fn an_edge_that_waits_with_its_time_is_not_told_without_one_as_well() {
    let mut told = 0;
    // An oscillator beyond its tolerance, which the clock names once in a second or so.
    for begin in 900..1_500 {
        let mut pair = Pair::new();
        pair.slow_ppm = 85;
        let touch = begin * MS + 8_000;
        pair.run(touch, |_| true);
        pair.edge(touch, true);
        let release = touch + 4 * MS;
        pair.run(release, |_| false);
        pair.edge(release, false);
        let (left, _) = pair.run(touch + 60 * MS, |_| true);
        let mut numbers: std::vec::Vec<_> = left.iter().map(|(_, edge)| edge.number).collect();
        numbers.sort_unstable();
        // Where neither has a time, the latch stands for the one before.
        assert!(numbers == [1, 2] || numbers == [2], "{begin}: {left:?}");
        told += u32::from(left.iter().any(|(_, edge)| edge.onset.is_none()));
    }
    assert!(told > 0);
}

#[test]
fn an_edge_known_and_never_timed_latches_until_armed_again() {
    let mut pair = Pair::new();
    pair.run(400 * MS, |_| true);
    let touch = 400 * MS + 8_000;
    pair.run(touch, |_| true);
    pair.edge(touch, true);
    pair.run(touch + 30 * MS, |_| true);
    pair.measuring(true);
    // The release, and its numbers run on by two more in a silence.
    for k in 1..4 {
        let at = touch + 30 * MS + k * 3 * MS;
        pair.run(at, |_| false);
        pair.edge(at, k % 2 == 0);
    }
    let (_, lines) = pair.run(touch + 50 * MS, |_| true);
    assert!(!lines.ready);
    assert!(pair.receiver.causes().contains(Causes::SEQUENCE));
    let (_, lines) = pair.run(touch + 300 * MS, |_| true);
    assert!(!lines.ready, "it stays");
    let rearm = |pair: &mut Pair, wire| {
        pair.receiver.rearm(
            &pair.config,
            Instant::from_ticks(pair.now),
            Level::from(wire),
        )
    };
    assert_eq!(rearm(&mut pair, true), None, "high since power-up");
    // Low, an error, high: a rise that nobody saw arms nothing, and the error is latched.
    assert_eq!(rearm(&mut pair, false), None);
    let now = Instant::from_ticks(pair.now);
    let unread = pair.receiver.rearm(&pair.config, now, Level::Unknown);
    assert_eq!(unread, None);
    assert_eq!(rearm(&mut pair, true), None, "not seen low since");
    assert!(pair.receiver.causes().contains(Causes::FAULT));
    let _ = pair.run(touch + 400 * MS, |_| true);
    assert_eq!(rearm(&mut pair, false), None);
    assert_eq!(rearm(&mut pair, true), Some(Ok(())));
    let (_, lines) = pair.run(touch + 420 * MS, |_| true);
    assert!(lines.ready && lines.run);
}

#[test]
fn standby_takes_ready_down_without_a_latch() {
    let mut pair = Pair::new();
    pair.run(400 * MS, |_| true);
    pair.measuring(false);
    let (_, lines) = pair.run(600 * MS, |_| true);
    assert!(!lines.ready && pair.receiver.causes().is_empty());
    pair.measuring(true);
    let (_, lines) = pair.run(700 * MS, |_| true);
    assert!(lines.ready && lines.run);
}

/// Live links, and whatever may come then: bytes of any kind, arrivals and calls at any time.
#[test]
fn anything_at_any_time_is_taken_without_harm() {
    let mut next = crate::drawn::numbers(11);
    let (mut ready, mut accepted) = (0, 0);
    for _ in 0..150 {
        let mut pair = Pair::new();
        pair.run(400 * MS, |_| true);
        for round in 0..60 {
            // Mostly on by little; now and then back, or anywhere.
            let step = next() % (3 * MS);
            let now = match next() % 40 {
                0 => pair.now.saturating_sub(step * 100),
                1 if round > 50 => next() >> (next() % 64),
                _ => pair.now + step,
            };
            let at = Instant::from_ticks(now);
            let arrival = match next() % 4 {
                0 => Instant::from_ticks(next() >> (next() % 64)),
                _ => Instant::from_ticks(now.saturating_sub(next() % MS)),
            };
            let mut bytes = [0; FRAME];
            bytes[..8].copy_from_slice(&next().to_be_bytes());
            bytes[8..].copy_from_slice(&next().to_be_bytes());
            match next() % 3 {
                0 => {
                    let slot = next() >> (24 + next() % 40);
                    bytes = pair.head.frame(&pair.head_config, slot);
                }
                1 => {
                    let (_, lines) = pair.run(pair.now + 5 * MS, |_| true);
                    ready += u32::from(lines.ready);
                }
                _ => {}
            }
            let taken = pair.receiver.frame(&pair.config, at, arrival, &bytes);
            accepted += u32::from(matches!(taken, Taken::Genuine(Outcome::Life)));
            while pair.receiver.poll(&pair.config, at).is_some() {}
            let lines = pair.receiver.lines(&pair.config, at);
            assert!(!lines.run || lines.ready);
            let _ = pair
                .receiver
                .rearm(&pair.config, at, Level::from(next() % 2 == 0));
            if let Some(write) = pair.receiver.want() {
                pair.receiver.stored(write.mark);
            }
        }
    }
    // It was alive while that came.
    assert!(ready > 500, "{ready} {accepted}");
}

/// A flood is not forgotten by a silence and the join after it: no re-arm while it goes on.
#[test]
fn a_join_forgets_no_flood() {
    let mut pair = Pair::new();
    pair.run(400 * MS, |_| true);
    for k in 0..8 {
        pair.run((400 + k) * MS + 3, |_| true);
        let mut bytes = pair.head.frame(&pair.head_config, 12_345);
        bytes[11] ^= 1;
        let sum = crate::frame::crc16(&bytes[..14]).to_be_bytes();
        bytes[14..].copy_from_slice(&sum);
        let now = Instant::from_ticks(pair.now);
        let taken = pair.receiver.frame(&pair.config, now, now, &bytes);
        assert_eq!(taken, Taken::BadTag);
    }
    assert!(pair.receiver.causes().contains(Causes::FLOOD));
    let try_rearm = |pair: &mut Pair| {
        let now = Instant::from_ticks(pair.now);
        let _ = pair.receiver.rearm(&pair.config, now, Level::Low);
        pair.receiver.rearm(&pair.config, now, Level::High)
    };
    pair.run(480 * MS, |_| false);
    pair.run(1_600 * MS, |_| true);
    assert_eq!(try_rearm(&mut pair), Some(Err(RearmRefused::CausePersists)));
    pair.run(11_000 * MS, |_| true);
    assert_eq!(try_rearm(&mut pair), Some(Ok(())));
    let counts = pair.receiver.counts();
    assert_eq!((counts.rearms, counts.refused), (1, 1));
    assert!(pair.receiver.causes_before().contains(Causes::FLOOD));
}

/// A touch whose chatter and hold last, and then nothing is heard: the line stops at the delay
/// after contact at the latest, as READY falls.
#[test]
fn contact_under_confirmation_vouches_for_nothing() {
    for hold_ms in [1, 5, 10, 15, 30, 200] {
        let mut pair = Pair::new();
        pair.run(400 * MS, |_| true);
        let touch = 401 * MS;
        pair.run(touch, |_| true);
        let between = |pair: &mut Pair, between| {
            let mut status = HeadStatus::default();
            status.signs.measuring = true;
            status.between = between;
            pair.head.set_status(status);
        };
        between(&mut pair, true);
        let mut ran = touch;
        for k in 0..hold_ms {
            let (_, lines) = pair.run(touch + (k + 1) * MS, |_| true);
            if lines.run {
                ran = pair.now;
            }
        }
        pair.edge(touch, true);
        between(&mut pair, false);
        for k in 0..80 {
            let (_, lines) = pair.run(touch + (hold_ms + k) * MS, |_| false);
            if lines.run {
                ran = pair.now;
            }
        }
        assert!(ran - touch <= 48 * MS, "{hold_ms}: {}", ran - touch);
    }
    // Nor does a link come up that has only heard of an edge under confirmation.
    let mut pair = Pair::new();
    let mut status = HeadStatus::default();
    status.signs.measuring = true;
    status.between = true;
    pair.head.set_status(status);
    assert!(!pair.run(400 * MS, |_| true).1.run);
}

#[test]
fn standby_is_no_fall_of_ready() {
    let mut pair = Pair::new();
    pair.run(60_000 * MS, |_| true);
    let before = pair.receiver.grade();
    pair.measuring(false);
    pair.run(65_000 * MS, |_| true);
    pair.measuring(true);
    pair.run(66_000 * MS, |_| true);
    assert_eq!(pair.receiver.grade(), before);
}

/// A time far ahead by mistake: stop, whatever is heard, and the watchdog starves. The start after
/// it is the way back.
#[test]
fn a_time_far_ahead_is_stop_until_the_watchdog_ends_it() {
    use crate::lines::{Form, Outputs, OutputsConfig};
    let mut pair = Pair::new();
    let (_, lines) = pair.run(400 * MS, |_| true);
    assert!(lines.ready);
    let stage = OutputsConfig::new(pair.config.rate(), Form::Levels, 1_000_000).unwrap();
    let mut outputs = Outputs::new();
    let _ = outputs.set(&stage, lines, Instant::from_ticks(pair.now));
    // An hour ahead, in one pass.
    let ahead = Instant::from_ticks(3_600_000 * MS);
    let lines = pair.receiver.lines(&pair.config, ahead);
    assert_eq!(lines, Decision::STOP);
    let _ = outputs.set(&stage, lines, ahead);
    for ms in (450..3_000).step_by(50) {
        let (_, lines) = pair.run(ms * MS, |_| true);
        assert_eq!(lines, Decision::STOP, "{ms}");
        let set = outputs.set(&stage, lines, Instant::from_ticks(pair.now));
        assert!(!set.feed_watchdog && !set.pins.ready, "{ms}");
    }
    pair.restart();
    // Past the mark, as after any loss of power.
    let (_, lines) = pair.run(65_000 * MS, |_| true);
    assert!(lines.ready);
}

/// What a link waits for that does not live, each told from the others, and until when.
#[test]
fn why_a_link_does_not_live_is_told() {
    let awaits = |pair: &Pair| {
        let now = Instant::from_ticks(pair.now);
        let vitals = pair.receiver.vitals(&pair.config, now);
        (vitals.state == State::Live, vitals.awaits)
    };
    let mut silent = Pair::new();
    silent.run(400 * MS, |_| false);
    assert_eq!(awaits(&silent), (false, Awaits::Frames));
    silent.run(700 * MS, |_| true);
    assert_eq!(awaits(&silent), (true, Awaits::Frames));

    let mut torn = Pair::with(LinkPlan::INFRARED, None);
    assert_eq!(awaits(&torn), (false, Awaits::Pairing));
    torn.run(700 * MS, |_| true);
    assert_eq!(awaits(&torn), (false, Awaits::Pairing));

    // The probe's counter passes the mark after 2 s.
    let mark = Mark {
        boot: 1,
        slot: 2_000,
    };
    let mut behind = Pair::with(LinkPlan::INFRARED, Some(mark));
    behind.run(200 * MS, |_| true);
    assert_eq!(awaits(&behind), (false, Awaits::Frames), "quiet");
    behind.run(1_900 * MS, |_| true);
    assert_eq!(awaits(&behind), (false, Awaits::Mark));
    behind.run(2_200 * MS, |_| true);
    assert_eq!(awaits(&behind), (true, Awaits::Frames));
    // The probe falls silent while it waits: after ten seconds that is all there is to say.
    let mut gone = Pair::with(LinkPlan::INFRARED, Some(mark));
    gone.run(1_900 * MS, |_| true);
    gone.run(11_000 * MS, |_| false);
    assert_eq!(awaits(&gone), (false, Awaits::Mark));
    gone.run(12_000 * MS, |_| false);
    assert_eq!(awaits(&gone), (false, Awaits::Frames));

    let mut unwritten = Pair::new();
    unwritten.stores = false;
    unwritten.run(700 * MS, |_| true);
    assert_eq!(awaits(&unwritten), (false, Awaits::Mark));

    let tight = LinkPlan {
        bound_ns: 600,
        ..LinkPlan::INFRARED
    };
    let mut unsure = Pair::with(tight, Some(Mark::default()));
    // Up to 2.5 us early: 0.9 us of scatter.
    unsure.scatter = 8;
    unsure.run(400 * MS, |_| true);
    assert_eq!(awaits(&unsure), (false, Awaits::Clock));
    unsure.scatter = 0;
    unsure.run(5_000 * MS, |_| true);
    assert_eq!(awaits(&unsure), (true, Awaits::Frames));
}

/// Wanted: a receiver in less than 1 kB of RAM, its configuration apart.
#[test]
fn both_sides_are_small() {
    let receiver = core::mem::size_of::<Receiver>();
    let head = core::mem::size_of::<Head>();
    let configs = core::mem::size_of::<LinkConfig>() + core::mem::size_of::<ClockConfig>();
    std::println!("receiver {receiver} B, head {head} B, configurations {configs} B");
    assert!(receiver < 1_024 && head < 512, "{receiver} {head}");
}
