//! The output stage: what each pin is driven to, and whether it follows.
//!
//! ```text
//!             +supply ──────┬───────────             reset, no supply, cut wire: switch open,
//!                         switch                     the pull-down at the control wins: stop
//!   pin ──┬───────────────  │
//!         │ pull-down       ├─── output ──┬── control
//!        gnd               (open)         │ pull-down (input of the control)
//!                                        gnd
//! ```
//!
//! A pull-down on the pin holds the switch open while the processor is in reset or browned out,
//! before any firmware runs. A compare channel that runs to `valid_until` opens it as well.

use super::{Causes, Decision};
use crate::time::{Instant, TickRate};

/// How the outputs speak.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Form {
    /// READY and RUN are levels.
    Levels,
    /// Beside RUN its opposite, STOP, is driven. Both low is a cut cable, both high a short one:
    /// the control takes either for stop.
    Complementary,
    /// RUN is a train of pulses, each half of which lasts so many ns; a level that stands is stop.
    /// The pulses are made by [`Outputs::set`], so that they end with the firmware.
    Pulsed {
        /// Half a period, ns.
        half_ns: u32,
    },
}

/// Why an output stage was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum OutputsError {
    /// Half a pulse that is below a microsecond or above a second, or shorter than a tick.
    Half,
    /// No time for the output to follow, or more than a second, or as long as half a pulse: one
    /// that is stuck would agree again before it is found.
    Follow,
}

impl core::fmt::Display for OutputsError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Half => "half a pulse is not within 1 us to 1 s of whole ticks",
            Self::Follow => {
                "the time to follow is not within a tick and 1 s, or not below half a pulse"
            }
        })
    }
}

impl core::error::Error for OutputsError {}

/// An output stage, checked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct OutputsConfig {
    form: Form,
    half: u64,
    follow: u64,
}

impl OutputsConfig {
    /// A stage of that form on a board that counts ticks of `rate`. A pin that is read back has
    /// `follow_ns` to show what it was told.
    ///
    /// # Errors
    /// [`OutputsError`].
    pub const fn new(rate: TickRate, form: Form, follow_ns: u32) -> Result<Self, OutputsError> {
        let half_ns = match form {
            Form::Pulsed { half_ns } => half_ns,
            _ => 1_000_000,
        };
        let half = rate.ticks_from_ns(half_ns as u64);
        if half_ns < 1_000 || half_ns > 1_000_000_000 || half == 0 {
            return Err(OutputsError::Half);
        }
        let follow = rate.ticks_from_ns(follow_ns as u64);
        let pulsed = matches!(form, Form::Pulsed { .. });
        if follow == 0 || follow_ns > 1_000_000_000 || pulsed && follow >= half {
            return Err(OutputsError::Follow);
        }
        Ok(Self { form, half, follow })
    }
}

/// Levels of the pins; all low is stop.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Pins {
    /// READY.
    pub ready: bool,
    /// RUN, or the present half of its pulse.
    pub run: bool,
    /// STOP, where the form has it.
    pub stop: bool,
}

/// What a pass of the main loop sets.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[must_use]
pub struct Set {
    /// The pins.
    pub pins: Pins,
    /// The watchdog may be fed: time went on since the pass before. A clock that stands starves
    /// it, whatever the loop does.
    pub feed_watchdog: bool,
    /// When to come again at the latest for the next half of a pulse.
    pub again: Option<Instant>,
    /// For a compare channel: the last tick at which READY and RUN may stand. `None` where they do
    /// not stand, so that it never keeps up what the pins do not show.
    pub valid_until: Option<Instant>,
}

/// The outputs of one probe.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Outputs {
    /// Time of the pass before.
    before: Option<Instant>,
    pins: Pins,
    /// When the next half of a pulse begins.
    next: Option<Instant>,
    /// Since when the pins do not show what they were told.
    unlike: Option<Instant>,
}

impl Outputs {
    /// At power-up, all at stop.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            before: None,
            pins: Pins {
                ready: false,
                run: false,
                stop: false,
            },
            next: None,
            unlike: None,
        }
    }

    /// Sets the pins after `decision` at `now`. The first pass is stop, and so is one whose time
    /// has not gone on: a tick must be shorter than a turn of the loop, or the loop must skip what
    /// comes within one.
    pub fn set(&mut self, config: &OutputsConfig, decision: Decision, now: Instant) -> Set {
        let before = self.before;
        let advanced = before.is_none_or(|before| before < now);
        self.before = Some(before.map_or(now, |before| before.max(now)));
        let shown = if before.is_some() && advanced {
            decision.at(now)
        } else {
            Decision::STOP
        };
        let run = match config.form {
            Form::Pulsed { .. } => self.pulse(config.half, shown.run, now),
            _ => shown.run,
        };
        self.pins = Pins {
            ready: shown.ready,
            run,
            stop: config.form == Form::Complementary && !shown.run,
        };
        Set {
            pins: self.pins,
            feed_watchdog: advanced,
            again: self.next,
            valid_until: shown.valid_until.filter(|_| shown.ready),
        }
    }

    /// One change at most in a pass: pulses that a late pass has missed are not made up for.
    fn pulse(&mut self, half: u64, run: bool, now: Instant) -> bool {
        if !run {
            self.next = None;
            return false;
        }
        if self.next.is_some_and(|next| now < next) {
            return self.pins.run;
        }
        self.next = Some(Instant::from_ticks(now.ticks().saturating_add(half)));
        !self.pins.run
    }

    /// What the pins are seen to be, read at `now` before the next [`set`](Self::set). A cause to
    /// latch, once they have differed from what they were told for longer than they may.
    #[must_use]
    pub fn read_back(
        &mut self,
        config: &OutputsConfig,
        seen: Pins,
        now: Instant,
    ) -> Option<Causes> {
        if seen == self.pins {
            self.unlike = None;
            return None;
        }
        let since = *self.unlike.get_or_insert(now);
        let unlike = now.ticks().saturating_sub(since.ticks());
        (unlike > config.follow).then_some(Causes::READ_BACK)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn at(ticks: u64) -> Instant {
        Instant::from_ticks(ticks)
    }

    fn config(form: Form) -> OutputsConfig {
        OutputsConfig::new(TickRate::from_hz(1_000_000).unwrap(), form, 50_000).unwrap()
    }

    const RUN: Decision = Decision {
        ready: true,
        run: true,
        valid_until: Some(at(10_000)),
    };

    #[test]
    fn the_first_pass_a_standing_clock_and_an_old_decision_are_stop() {
        let config = config(Form::Levels);
        let mut outputs = Outputs::new();
        let first = outputs.set(&config, RUN, at(5));
        assert_eq!((first.pins, first.feed_watchdog), (Pins::default(), true));
        let second = outputs.set(&config, RUN, at(6));
        assert!(second.pins.ready && second.pins.run && second.feed_watchdog);
        let until = (first.valid_until, second.valid_until);
        assert_eq!(until, (None, RUN.valid_until));
        for now in [6, 5, 0] {
            let stood = outputs.set(&config, RUN, at(now));
            assert_eq!((stood.pins, stood.feed_watchdog), (Pins::default(), false));
            assert_eq!(stood.valid_until, None);
        }
        assert!(outputs.set(&config, RUN, at(10_000)).pins.run);
        assert_eq!(outputs.set(&config, RUN, at(10_001)).pins, Pins::default());
    }

    #[test]
    fn the_opposite_is_driven_and_both_low_is_no_firmware() {
        let config = config(Form::Complementary);
        let mut outputs = Outputs::new();
        let first = outputs.set(&config, RUN, at(1)).pins;
        assert!(first.stop && !first.run);
        let run = outputs.set(&config, RUN, at(2)).pins;
        assert!(run.run && !run.stop);
        let touched = Decision { run: false, ..RUN };
        let touched = outputs.set(&config, touched, at(3)).pins;
        assert!(touched.ready && touched.stop && !touched.run);
    }

    #[test]
    fn pulses_come_of_passes_and_end_with_them() {
        let config = config(Form::Pulsed { half_ns: 100_000 });
        let mut outputs = Outputs::new();
        let _ = outputs.set(&config, RUN, at(0));
        let mut changes = 0;
        let mut level = false;
        for now in 1..=1_000 {
            let set = outputs.set(&config, RUN, at(now));
            assert!(set.again.is_some_and(|again| again > at(now)));
            changes += u32::from(set.pins.run != level);
            level = set.pins.run;
        }
        assert_eq!(changes, 10);
        // A pass that comes ten halves late changes the level once.
        let late = outputs.set(&config, RUN, at(2_000)).pins.run;
        assert_ne!(late, level);
        assert_eq!(outputs.set(&config, RUN, at(2_001)).pins.run, late);
        let stopped = outputs.set(&config, Decision::STOP, at(2_002));
        assert!(!stopped.pins.run && stopped.again.is_none());
    }

    #[test]
    fn an_output_that_does_not_follow_is_a_cause_after_its_time() {
        let config = config(Form::Levels);
        let mut outputs = Outputs::new();
        let _ = outputs.set(&config, RUN, at(0));
        let shown = outputs.set(&config, RUN, at(1)).pins;
        assert_eq!(outputs.read_back(&config, shown, at(2)), None);
        let stuck = Pins::default();
        assert_eq!(outputs.read_back(&config, stuck, at(10)), None);
        assert_eq!(outputs.read_back(&config, stuck, at(60)), None);
        assert_eq!(
            outputs.read_back(&config, stuck, at(61)),
            Some(Causes::READ_BACK)
        );
        assert_eq!(outputs.read_back(&config, shown, at(62)), None);
        assert_eq!(outputs.read_back(&config, stuck, at(63)), None);
    }

    #[test]
    fn a_stuck_output_is_found_in_every_form() {
        let forms = [
            Form::Levels,
            Form::Complementary,
            Form::Pulsed { half_ns: 100_000 },
        ];
        for (form, high) in forms
            .into_iter()
            .flat_map(|form| [(form, false), (form, true)])
        {
            let config = config(form);
            let mut outputs = Outputs::new();
            let mut found = false;
            for now in 0..1_000 {
                // Run and stop by turns, as a machine does.
                let decision = if now / 300 % 2 == 0 {
                    RUN
                } else {
                    Decision::STOP
                };
                let pins = outputs.set(&config, decision, at(now)).pins;
                let seen = Pins { run: high, ..pins };
                found |= outputs.read_back(&config, seen, at(now)).is_some();
            }
            assert!(found, "{form:?} {high}");
        }
    }

    #[test]
    fn what_no_output_can_do_is_refused() {
        let rate = TickRate::from_hz(1_000_000).unwrap();
        let half = |half_ns| OutputsConfig::new(rate, Form::Pulsed { half_ns }, 1_000).err();
        // A level that is stuck agrees again in the next half.
        assert_eq!(half(1_000), Some(OutputsError::Follow));
        assert_eq!(half(999), Some(OutputsError::Half));
        assert_eq!(half(1_000_000_001), Some(OutputsError::Half));
        assert_eq!(half(2_000), None);
        for follow in [0, 400, 1_000_000_001] {
            let refused = OutputsConfig::new(rate, Form::Levels, follow).err();
            assert_eq!(refused, Some(OutputsError::Follow), "{follow}");
        }
    }
}
