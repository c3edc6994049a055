//! A comparator behind a capture unit, with the line that it drives.

use embedded_hal::digital::InputPin;

use super::{Captures, Input, Intake};
use crate::barrier::{Lamp, LightTest, TestResult};
use crate::edge::{Edge, Level};
use crate::flags::Flags;
use crate::frame::Contact;
use crate::onset::{Config, Event, Line};
use crate::time::{Counter, Instant};

/// How long a fault is told after it was seen last, holds.
const FAULT_HOLDS: u64 = 32;

/// The comparator of a light barrier: its captures come through a queue, its pin shows the level
/// where captures cannot tell.
///
/// In every pass of the main loop take the time with [`now`](Self::now), then
/// [`pass`](Self::pass), and come again by [`deadline`](Self::deadline).
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Comparator<P> {
    intake: Intake,
    pin: Input<P>,
    line: Line,
    /// Since when the pin and the line say different things.
    unlike: Option<Instant>,
    stuck_count: u32,
    /// When a fault was seen last.
    seen: Option<Instant>,
    /// That is not long ago.
    fault: bool,
    /// What captures say in a light-off test.
    tested: bool,
}

impl<P: InputPin> Comparator<P> {
    /// At what `pin` shows now, which is the newest time of `counter`. See [`Intake::new`] for the
    /// back step that the counter should allow.
    #[must_use]
    pub fn new(config: &Config, counter: Counter, pin: P) -> Self {
        let now = counter.newest();
        let mut pin = Input::new(pin);
        Self {
            intake: Intake::new(counter),
            line: Line::new(config, pin.read(), now),
            pin,
            unlike: None,
            stuck_count: 0,
            seen: None,
            fault: false,
            tested: false,
        }
    }

    /// The time of a reading of the counter. One that came more than half a turn late, so that its
    /// time is in doubt, is a fault.
    pub fn now(&mut self, raw: u32) -> Instant {
        let stamp = self.intake.now(raw);
        if !stamp.faults.is_empty() {
            self.seen = Some(stamp.at);
        }
        stamp.at
    }

    /// What waits in the queue at `now`, and what has become due: at most one event for each
    /// capture and one more, handed to `tell` in the order of time. Captures that come meanwhile
    /// are left for the next pass, so that no storm of edges keeps the loop here.
    ///
    /// Where captures were lost or could not tell the level, the pin could not be read for a while,
    /// or has shown for a hold what no capture told, it says where the line stands now.
    pub fn pass(
        &mut self,
        config: &Config,
        edges: &mut impl Captures,
        now: Instant,
        mut tell: impl FnMut(&Event),
    ) {
        for _ in 0..edges.waiting() {
            let Some(captured) = edges.take() else { break };
            let edge = self.intake.edge(captured);
            self.line.edge(config, edge).iter().for_each(&mut tell);
        }
        let before = self.pin.level();
        let level = self.pin.read();
        let lost = self.intake.overflowed(edges.lost(), now, level);
        let blind = !self.line.is_sure();
        self.line.poll(config, now).iter().for_each(&mut tell);
        let stuck = self.is_stuck(config, now, level);
        if stuck {
            self.stuck_count = self.stuck_count.wrapping_add(1);
        }
        if stuck || blind || lost.is_some() || level == Level::Unknown {
            self.seen = Some(now);
        }
        let dark = (blind || before == Level::Unknown) && level != Level::Unknown;
        let again = |level| Edge::new(now, level).with_faults(Flags::UNKNOWN_LEVEL);
        let both = || [again(Level::Unknown), again(level)];
        let seen = lost.or_else(|| (dark || stuck).then(both));
        for edge in seen.iter().flatten() {
            // None of them simply goes on with the chatter.
            let event = self
                .line
                .other_edge(config, edge.at, edge.level, edge.faults);
            event.iter().for_each(&mut tell);
        }
        let hold = u64::from(config.hold_ticks());
        self.fault = self
            .seen
            .is_some_and(|seen| now.ticks_since(seen) < hold * FAULT_HOLDS);
    }

    /// Whether the pin has shown for a hold what no capture told.
    fn is_stuck(&mut self, config: &Config, now: Instant, level: Level) -> bool {
        let touched = level == config.touched_level();
        let quiet = level != Level::Unknown && self.line.open_since().is_none();
        if !quiet || touched == self.line.in_contact() {
            self.unlike = None;
            return false;
        }
        let since = *self.unlike.get_or_insert(now);
        let long = now >= since.plus(config.hold_ticks());
        if long {
            self.unlike = None;
        }
        long
    }

    /// Begins a light-off test at `now`, each switching to be seen within `patience` ticks.
    /// Where the pin cannot be read, it shows nothing, as in contact.
    #[must_use]
    pub fn begin_test(&mut self, config: &Config, now: Instant, patience: u32) -> LightTest {
        let level = self.pin.read();
        let touched = level == Level::Unknown || level == config.touched_level();
        self.tested = touched;
        LightTest::begin(now, touched, patience)
    }

    /// A step of the test: its edges are the test's own, and the line begins anew at `now`. Only
    /// what pin and captures both show counts: a channel that stamps no edge, or those of one
    /// direction, does not pass.
    pub fn step_test(
        &mut self,
        config: &Config,
        edges: &mut impl Captures,
        now: Instant,
        test: &mut LightTest,
    ) -> TestResult {
        for _ in 0..edges.waiting() {
            let Some(captured) = edges.take() else { break };
            if captured.level != Level::Unknown {
                self.tested = captured.level == config.touched_level();
            }
        }
        let level = self.pin.read();
        // What found no room was the test's as well.
        let _ = self.intake.overflowed(edges.lost(), now, level);
        self.line = Line::new(config, level, now);
        let seen = level == config.touched_level();
        let touched = match test.lamp() {
            Lamp::Off => seen && self.tested,
            Lamp::On => seen || self.tested,
        };
        test.step(now, touched)
    }

    /// What the comparator shows, as frames and wired probes tell it. [`Contact::Fault`] where the
    /// pin cannot be read, has shown for a hold what no capture told, a capture could not tell the
    /// level or found no room, and for 32 holds after that, so that even one beat of a link after the other tells it.
    /// A pin that shows for less than a hold what no capture told is [`Contact::Between`].
    #[must_use]
    pub fn contact(&self) -> Contact {
        if self.fault || self.pin.level() == Level::Unknown {
            Contact::Fault
        } else if self.line.open_since().is_some() || self.unlike.is_some() {
            Contact::Between
        } else if self.line.in_contact() {
            Contact::Touched
        } else {
            Contact::Open
        }
    }

    /// When to come again at the latest for the line.
    #[must_use]
    pub fn deadline(&self, config: &Config) -> Option<Instant> {
        let over = self.unlike.map(|since| since.plus(config.hold_ticks()));
        self.line.deadline().into_iter().chain(over).min()
    }

    /// How often captures stayed away while the pin moved; wraps.
    #[must_use]
    pub const fn stuck_count(&self) -> u32 {
        self.stuck_count
    }

    /// How often the pin could not be read; wraps.
    #[must_use]
    pub const fn failures(&self) -> u32 {
        self.pin.failures()
    }

    /// The line, for what it has learned and counted.
    #[must_use]
    pub const fn line(&self) -> &Line {
        &self.line
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::pins::broken::Broken;
    use crate::pins::Captured;
    use crate::time::{Bits, TickRate};
    use core::cell::Cell;
    use embedded_hal::digital::ErrorType;

    /// A pin that shows what the test wants; an error for none.
    struct Wire<'a>(&'a Cell<Option<bool>>);

    impl ErrorType for Wire<'_> {
        type Error = Broken;
    }

    impl InputPin for Wire<'_> {
        fn is_high(&mut self) -> Result<bool, Broken> {
            self.0.get().ok_or(Broken)
        }

        fn is_low(&mut self) -> Result<bool, Broken> {
            self.is_high().map(|high| !high)
        }
    }

    /// A queue of two that counts what finds no room, and may never run dry.
    #[derive(Default)]
    struct Two {
        stored: [Option<Captured>; 2],
        lost: u32,
        storm: bool,
    }

    impl Two {
        fn put(&mut self, raw: u32, high: bool) {
            self.put_level(raw, Level::from(high));
        }

        fn put_level(&mut self, raw: u32, level: Level) {
            let captured = Captured {
                raw,
                level,
                over: false,
            };
            match self.stored.iter_mut().find(|place| place.is_none()) {
                Some(place) => *place = Some(captured),
                None => self.lost += 1,
            }
        }
    }

    impl Captures for Two {
        fn waiting(&self) -> usize {
            self.stored.iter().flatten().count()
        }

        fn take(&mut self) -> Option<Captured> {
            let [first, second] = self.stored;
            self.stored = [second, None];
            if let (true, Some(captured)) = (self.storm, first) {
                self.put(captured.raw + 1, captured.level == Level::Low);
            }
            first
        }

        fn lost(&self) -> u32 {
            self.lost
        }
    }

    const HOLD: u32 = 1_000;

    fn config() -> Config {
        Config::new(TickRate::NANOSECONDS, HOLD.into()).unwrap()
    }

    fn at(ticks: u64) -> Instant {
        Instant::from_ticks(ticks)
    }

    fn bench(wire: &Cell<Option<bool>>) -> Comparator<Wire<'_>> {
        let counter = Counter::behind_a_queue(Bits::B32, 0);
        Comparator::new(&config(), counter, Wire(wire))
    }

    fn pass(eye: &mut Comparator<Wire<'_>>, edges: &mut Two, now: u32) -> Option<Event> {
        let now = eye.now(now);
        let mut told = None;
        eye.pass(&config(), edges, now, |event| told = Some(*event));
        told
    }

    #[test]
    fn captures_become_touches_and_the_pin_says_where_the_line_stands_after_a_loss() {
        let wire = Cell::new(Some(false));
        let (mut eye, mut edges) = (bench(&wire), Two::default());
        edges.put(500, true);
        wire.set(Some(true));
        assert_eq!(pass(&mut eye, &mut edges, 600), None);
        assert_eq!(eye.contact(), Contact::Between);
        assert_eq!(eye.deadline(&config()), Some(at(1_500)));
        let touch = pass(&mut eye, &mut edges, 1_500);
        assert!(matches!(touch, Some(Event::Touch(contact)) if contact.first_edge == at(500)));
        assert_eq!(eye.contact(), Contact::Touched);
        // Three edges, room for two: the last one, to low, is missing.
        edges.put(5_000, false);
        edges.put(5_010, true);
        edges.put(5_020, false);
        wire.set(Some(false));
        assert_eq!(pass(&mut eye, &mut edges, 5_100), None);
        let release = pass(&mut eye, &mut edges, 6_100);
        assert!(matches!(release, Some(Event::Release(_))), "{release:?}");
        // What was lost may have been the touch: a fault for a while.
        assert_eq!((eye.contact(), eye.stuck_count()), (Contact::Fault, 0));
        let _ = pass(&mut eye, &mut edges, 37_100);
        assert_eq!((eye.contact(), eye.stuck_count()), (Contact::Open, 0));
    }

    #[test]
    fn a_stuck_capture_unit_is_a_fault_while_it_lasts_and_is_counted() {
        let wire = Cell::new(Some(false));
        let (mut eye, mut edges) = (bench(&wire), Two::default());
        assert_eq!(pass(&mut eye, &mut edges, 100), None);
        // The tool stands in the light, and no capture comes.
        wire.set(Some(true));
        for (now, contact) in [
            (200, Contact::Between),
            (1_199, Contact::Between),
            (1_200, Contact::Fault),
        ] {
            assert_eq!(pass(&mut eye, &mut edges, now), None);
            assert_eq!(eye.contact(), contact, "{now}");
        }
        // The line follows the pin, so that it comes back by itself.
        assert_eq!(eye.deadline(&config()), Some(at(2_200)));
        let touch = pass(&mut eye, &mut edges, 9_000);
        assert!(
            matches!(touch, Some(Event::Touch(touch)) if touch.flags.has(Flags::UNKNOWN_LEVEL))
        );
        assert_eq!((eye.contact(), eye.stuck_count()), (Contact::Fault, 1));
        wire.set(Some(false));
        for now in [9_100, 10_100] {
            assert_eq!(pass(&mut eye, &mut edges, now), None);
            assert_eq!(eye.contact(), Contact::Fault);
        }
        let release = pass(&mut eye, &mut edges, 11_100);
        assert!(matches!(release, Some(Event::Release(_))));
        for (now, contact) in [(42_000, Contact::Fault), (42_100, Contact::Open)] {
            assert_eq!(pass(&mut eye, &mut edges, now), None);
            assert_eq!((eye.contact(), eye.stuck_count()), (contact, 2));
        }
    }

    #[test]
    fn a_capture_without_its_level_is_a_fault_and_the_pin_says_where_the_line_stands() {
        for (level, contact) in [(false, Contact::Open), (true, Contact::Touched)] {
            let wire = Cell::new(Some(false));
            let (mut eye, mut edges) = (bench(&wire), Two::default());
            assert_eq!(pass(&mut eye, &mut edges, 100), None);
            edges.put_level(500, Level::Unknown);
            wire.set(Some(level));
            assert_eq!(pass(&mut eye, &mut edges, 600), None);
            assert!(eye.line().is_sure());
            assert_eq!(eye.contact(), Contact::Fault);
            assert_eq!(pass(&mut eye, &mut edges, 1_599), None);
            // No capture says so, and yet it was a touch, with a remark on its time.
            let told = pass(&mut eye, &mut edges, 1_600);
            match told {
                Some(Event::Touch(touch)) => assert!(touch.flags.has(Flags::UNKNOWN_LEVEL)),
                other => assert!(!level && other.is_none(), "{other:?}"),
            }
            assert_eq!(pass(&mut eye, &mut edges, 32_599), None);
            assert_eq!(eye.contact(), Contact::Fault);
            assert_eq!(pass(&mut eye, &mut edges, 32_600), None);
            assert_eq!((eye.contact(), eye.stuck_count()), (contact, 0));
        }
    }

    #[test]
    fn a_channel_of_one_direction_is_a_fault_at_the_other_and_fails_the_self_test() {
        let wire = Cell::new(Some(false));
        let (mut eye, mut edges) = (bench(&wire), Two::default());
        edges.put(500, true);
        wire.set(Some(true));
        let _ = pass(&mut eye, &mut edges, 600);
        let touch = pass(&mut eye, &mut edges, 1_500);
        assert!(matches!(touch, Some(Event::Touch(_))));
        wire.set(Some(false));
        for (now, contact) in [(5_000, Contact::Between), (6_000, Contact::Fault)] {
            assert_eq!(pass(&mut eye, &mut edges, now), None);
            assert_eq!(eye.contact(), contact, "{now}");
        }
        // Which direction is stamped, and what the test says.
        for (rise, fall, result) in [
            (true, true, TestResult::Passed),
            (true, false, TestResult::StuckDark),
            (false, true, TestResult::StuckLight),
            (false, false, TestResult::StuckLight),
        ] {
            let wire = Cell::new(Some(false));
            let (mut eye, mut edges) = (bench(&wire), Two::default());
            let mut test = eye.begin_test(&config(), at(0), 50);
            for now in (0..200).step_by(10) {
                let dark = test.lamp() == Lamp::Off;
                if wire.replace(Some(dark)) != Some(dark) && if dark { rise } else { fall } {
                    edges.put(now, dark);
                }
                let _ = eye.step_test(&config(), &mut edges, at(now.into()), &mut test);
            }
            assert_eq!(test.result(), result, "{rise} {fall}");
        }
    }

    #[test]
    fn a_pin_that_cannot_be_read_is_a_fault_and_the_line_finds_back() {
        let wire = Cell::new(None);
        let (mut eye, mut edges) = (bench(&wire), Two::default());
        assert_eq!(pass(&mut eye, &mut edges, 100), None);
        assert_eq!(eye.contact(), Contact::Fault);
        // It can be read again: contact all the while.
        wire.set(Some(true));
        assert_eq!(pass(&mut eye, &mut edges, 200), None);
        assert_eq!((eye.contact(), eye.failures()), (Contact::Fault, 2));
        assert_eq!(pass(&mut eye, &mut edges, 33_000), None);
        assert_eq!((eye.contact(), eye.failures()), (Contact::Touched, 2));
        // In the dark the tool leaves, and no capture tells.
        wire.set(None);
        assert_eq!(pass(&mut eye, &mut edges, 45_000), None);
        assert_eq!((eye.contact(), eye.failures()), (Contact::Fault, 3));
        wire.set(Some(false));
        let _ = pass(&mut eye, &mut edges, 46_000);
        let release = pass(&mut eye, &mut edges, 47_000);
        assert!(matches!(release, Some(Event::Release(_))), "{release:?}");
        assert_eq!(eye.contact(), Contact::Fault);
        let _ = pass(&mut eye, &mut edges, 90_000);
        assert_eq!(eye.contact(), Contact::Open);
    }

    #[test]
    fn a_storm_of_edges_does_not_keep_the_loop() {
        let wire = Cell::new(Some(false));
        let mut eye = bench(&wire);
        let mut edges = Two {
            storm: true,
            ..Two::default()
        };
        edges.put(10, true);
        for now in (20..2_000).step_by(10) {
            let _ = pass(&mut eye, &mut edges, now);
        }
        assert_eq!(edges.waiting(), 1);
    }

    #[test]
    fn a_self_test_keeps_its_edges_and_the_line_begins_after_it() {
        let wire = Cell::new(Some(false));
        let (mut eye, mut edges) = (bench(&wire), Two::default());
        let config = config();
        let mut test = eye.begin_test(&config, at(10), 50);
        wire.set(Some(true));
        edges.put(20, true);
        assert_eq!(
            eye.step_test(&config, &mut edges, at(20), &mut test),
            TestResult::Running
        );
        wire.set(Some(false));
        edges.put(30, false);
        assert_eq!(
            eye.step_test(&config, &mut edges, at(30), &mut test),
            TestResult::Passed
        );
        assert_eq!(edges.waiting(), 0);
        assert_eq!(pass(&mut eye, &mut edges, 5_000), None);
        assert_eq!(eye.contact(), Contact::Open);
        // A pin that cannot be read shows nothing.
        wire.set(None);
        assert_eq!(
            eye.begin_test(&config, at(6_000), 50).result(),
            TestResult::InContact
        );
    }
}
