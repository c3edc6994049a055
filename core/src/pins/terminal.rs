//! The wires between a board and its control, in one pass.

use embedded_hal::digital::{InputPin, OutputPin};

use super::{Input, ReadBack, Stage};
use crate::edge::Level;
use crate::health::Health;
use crate::lines::{Causes, Decision, Outputs, OutputsConfig, Rearmed, Set};
use crate::link::LinkConfig;
use crate::receiver::Receiver;
use crate::time::Instant;
use crate::wired::{Wired, WiredConfig};

/// What decides the lines: a [`Receiver`] or a [`Wired`] probe.
pub trait Decides {
    /// Its checked plan.
    type Config;

    /// What the outputs are to say from `now` on.
    fn lines(&mut self, config: &Self::Config, now: Instant) -> Decision;

    /// The level of the re-arm wire; what came of it, where it rose.
    fn rearm(&mut self, config: &Self::Config, now: Instant, wire: Level) -> Option<Rearmed>;

    /// Latches the line at stop.
    fn latch(&mut self, cause: Causes);
}

impl Decides for Receiver {
    type Config = LinkConfig;

    fn lines(&mut self, config: &LinkConfig, now: Instant) -> Decision {
        self.lines(config, now)
    }

    fn rearm(&mut self, config: &LinkConfig, now: Instant, wire: Level) -> Option<Rearmed> {
        self.rearm(config, now, wire)
    }

    fn latch(&mut self, cause: Causes) {
        self.latch(cause);
    }
}

impl Decides for Wired {
    type Config = WiredConfig;

    fn lines(&mut self, config: &WiredConfig, now: Instant) -> Decision {
        self.lines(config, now)
    }

    fn rearm(&mut self, config: &WiredConfig, now: Instant, wire: Level) -> Option<Rearmed> {
        self.rearm(config, now, wire)
    }

    fn latch(&mut self, cause: Causes) {
        self.latch(cause);
    }
}

/// What came in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use]
pub struct Looked {
    /// What came of the re-arm wire, where it rose. A refusal changes nothing; show it where there
    /// is a lamp for it.
    pub rearmed: Option<Rearmed>,
    /// The re-arm wire could not be read: for [`Health::of`], which then stops the lines.
    pub fault: bool,
}

/// Re-arm wire, output stage and its read-back, for one probe.
///
/// In every pass of the main loop, after the edges: [`look`](Self::look), then [`Health`], then
/// [`show`](Self::show).
///
/// A measuring signal, not a safety function; no performance level is claimed; guards and
/// emergency stop stay in charge.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Terminal<Rearm, Driven, Seen> {
    rearm: Input<Rearm>,
    stage: Driven,
    seen: Seen,
    outputs: Outputs,
}

impl<Rearm, A, B, C, D, E, F> Terminal<Rearm, Stage<A, B, C>, ReadBack<D, E, F>>
where
    Rearm: InputPin,
    A: OutputPin,
    B: OutputPin,
    C: OutputPin,
    D: InputPin,
    E: InputPin,
    F: InputPin,
{
    /// All at stop.
    pub const fn new(rearm: Rearm, stage: Stage<A, B, C>, seen: ReadBack<D, E, F>) -> Self {
        Self {
            rearm: Input::new(rearm),
            stage,
            seen,
            outputs: Outputs::new(),
        }
    }

    /// Reads back what was driven, and the re-arm wire. Outputs that do not follow, or cannot be
    /// read, latch, and so does a re-arm wire that cannot be read.
    pub fn look<S: Decides>(
        &mut self,
        config: &OutputsConfig,
        side: &mut S,
        plan: &S::Config,
        now: Instant,
    ) -> Looked {
        if let Some(cause) = self.seen.check(&mut self.outputs, config, now) {
            side.latch(cause);
        }
        let wire = self.rearm.read();
        Looked {
            rearmed: side.rearm(plan, now, wire),
            fault: wire == Level::Unknown,
        }
    }

    /// Drives what `side` decides at `now` and `health` lets through. A pin that cannot be driven
    /// latches.
    ///
    /// A pass takes time, in which an edge may become due. So `cut` sets the compare channel that
    /// drops READY and RUN after the tick it is given, whatever the firmware does, and tells the
    /// time after that: it is called before the pins rise and once more after that, and what is no
    /// longer valid by then falls at once, since a compare unit that is set to a past tick does not
    /// fire.
    pub fn show<S: Decides>(
        &mut self,
        config: &OutputsConfig,
        side: &mut S,
        plan: &S::Config,
        now: Instant,
        health: &Health,
        mut cut: impl FnMut(Option<Instant>) -> Instant,
    ) -> Set {
        let decision = health.gate(side.lines(plan, now));
        let at = cut(decision.valid_until);
        let mut set = self.outputs.set(config, decision, at);
        let mut driven = self.stage.write(set.pins);
        if set
            .valid_until
            .is_some_and(|until| cut(Some(until)) > until)
        {
            let stopped = self.outputs.set(config, Decision::STOP, at);
            driven = driven.and(self.stage.write(stopped.pins));
            set.pins = stopped.pins;
            set.again = stopped.again;
            set.valid_until = None;
        }
        if let Err(cause) = driven {
            side.latch(cause);
            set.valid_until = None;
        }
        set
    }

    /// How often the re-arm wire could not be read; wraps.
    #[must_use]
    pub const fn failures(&self) -> u32 {
        self.rearm.failures()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::Contact;
    use crate::lines::Form;
    use crate::pins::broken::Broken;
    use crate::pins::NoPin;
    use crate::time::TickRate;
    use crate::wired::WiredPlan;
    use core::cell::Cell;
    use embedded_hal::digital::ErrorType;

    /// A wire that an output may drive and an input may read; broken for `None`.
    struct Wire<'a>(&'a Cell<Option<bool>>);

    impl ErrorType for Wire<'_> {
        type Error = Broken;
    }

    impl OutputPin for Wire<'_> {
        fn set_low(&mut self) -> Result<(), Broken> {
            self.0.get().ok_or(Broken)?;
            self.0.set(Some(false));
            Ok(())
        }

        fn set_high(&mut self) -> Result<(), Broken> {
            self.0.get().ok_or(Broken)?;
            self.0.set(Some(true));
            Ok(())
        }
    }

    impl InputPin for Wire<'_> {
        fn is_high(&mut self) -> Result<bool, Broken> {
            self.0.get().ok_or(Broken)
        }

        fn is_low(&mut self) -> Result<bool, Broken> {
            self.is_high().map(|high| !high)
        }
    }

    type Driven<'a> = Stage<Wire<'a>, Wire<'a>, NoPin>;
    type Wires<'a> = Terminal<Wire<'a>, Driven<'a>, ReadBack<Wire<'a>, Wire<'a>, NoPin>>;

    /// A sound wired probe behind three wires, a pass every 500 µs.
    struct Bench {
        now: u64,
        wired: Wired,
        /// From one look at the clock to the next within a pass, ns.
        takes: u32,
    }

    const RATE: TickRate = TickRate::NANOSECONDS;

    impl Bench {
        /// A pass; READY, RUN and the compare channel after it.
        fn pass(&mut self, terminal: &mut Wires) -> (bool, bool, bool) {
            let plan = WiredConfig::new(RATE, WiredPlan::USUAL).unwrap();
            let outputs = OutputsConfig::new(RATE, Form::Levels, 1_000_000).unwrap();
            self.now += 500_000;
            let now = Instant::from_ticks(self.now);
            self.wired.observe(now, Contact::Open, true);
            let looked = terminal.look(&outputs, &mut self.wired, &plan, now);
            let health = Health::of(self.wired.causes(), looked.fault);
            let mut at = now;
            let set = terminal.show(&outputs, &mut self.wired, &plan, now, &health, |_| {
                at = at.plus(self.takes);
                at
            });
            (set.pins.ready, set.pins.run, set.valid_until.is_some())
        }
    }

    /// The terminal behind wires for re-arm, READY and RUN.
    fn terminal(wires: &[Cell<Option<bool>>; 3]) -> Wires<'_> {
        let [rearm, ready, run] = wires;
        Terminal::new(
            Wire(rearm),
            Stage::new(Wire(ready), Wire(run), NoPin),
            ReadBack::new(Wire(ready), Wire(run), NoPin),
        )
    }

    const STOP: (bool, bool, bool) = (false, false, false);
    const GO: (bool, bool, bool) = (true, true, true);

    #[test]
    fn whatever_wire_breaks_the_lines_stop_and_only_a_rise_of_rearm_ends_a_latch() {
        let wires = [const { Cell::new(Some(false)) }; 3];
        let [rearm, ready, run] = &wires;
        let mut terminal = terminal(&wires);
        let mut bench = Bench {
            now: 2_000_000_000,
            wired: Wired::new(),
            takes: 1_000,
        };
        for _ in 0..20 {
            let _ = bench.pass(&mut terminal);
        }
        assert_eq!(bench.pass(&mut terminal), GO);
        // Re-arm cannot be read: that it is high afterwards is no rise.
        rearm.set(None);
        assert_eq!(bench.pass(&mut terminal), STOP);
        assert_eq!(terminal.failures(), 1);
        assert_eq!(bench.wired.causes(), Causes::FAULT);
        for (level, lines) in [(true, STOP), (false, STOP), (true, GO), (false, GO)] {
            rearm.set(Some(level));
            for _ in 0..20 {
                assert_eq!(bench.pass(&mut terminal), lines);
            }
        }
        bench.now += 2_000_000_000;
        let _ = bench.pass(&mut terminal);
        for (broken, other) in [(ready, run), (run, ready)] {
            // An output that can be neither driven nor read.
            broken.set(None);
            assert_eq!(bench.pass(&mut terminal), STOP);
            assert_eq!(bench.wired.causes(), Causes::READ_BACK);
            assert_eq!(other.get(), Some(false));
            broken.set(Some(false));
            for _ in 0..20 {
                assert_eq!(bench.pass(&mut terminal), STOP);
            }
            rearm.set(Some(true));
            assert_eq!(bench.pass(&mut terminal), GO);
            rearm.set(Some(false));
            bench.now += 2_000_000_000;
            let _ = bench.pass(&mut terminal);
            assert_eq!(bench.pass(&mut terminal), GO);
        }
        // One that is held up from outside, READY while a fault stops the lines.
        rearm.set(None);
        assert_eq!(bench.pass(&mut terminal), STOP);
        for _ in 0..4 {
            ready.set(Some(true));
            let _ = bench.pass(&mut terminal);
        }
        assert!(bench.wired.causes().contains(Causes::READ_BACK));
    }

    /// The lines may stand until 2 ms after the sight. Whether the pass is over before that, while
    /// the pins rise or after it: they never stand beyond, though no compare unit fires.
    #[test]
    fn what_ends_within_the_pass_does_not_stand_after_it() {
        for (takes, lines) in [(999_999, GO), (1_000_001, STOP), (2_000_001, STOP)] {
            let wires = [const { Cell::new(Some(false)) }; 3];
            let [_, ready, run] = &wires;
            let mut terminal = terminal(&wires);
            let mut bench = Bench {
                now: 0,
                wired: Wired::new(),
                takes: 1,
            };
            for _ in 0..3 {
                let _ = bench.pass(&mut terminal);
            }
            bench.takes = takes;
            assert_eq!(bench.pass(&mut terminal), lines, "{takes}");
            assert_eq!((ready.get(), run.get()), (Some(lines.0), Some(lines.1)));
            assert!(bench.wired.causes().is_empty());
        }
    }
}
