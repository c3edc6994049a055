//! How often READY falls between touches, counted on the simulated air.
//!
//! A probe at rest sends its beats through [`Air`]; a receiver notes the newest
//! slot it heard and lets READY fall when that lies longer ago than `T_dead`.
//! The closed forms beside it are in [`burst_loss`](super::burst_loss), with
//! the same limits. Times are those of one true clock.

use rayon::prelude::*;
use std::ops::Range;

use super::burst_loss::Beat;
use super::statistics::Moments;
use crate::fault::Fault;
use crate::model::channel::{Air, Bytes, Medium, Setting, Timing};

/// An hour, ns.
pub const HOUR_NS: u64 = 3_600_000_000_000;

/// A probe at rest and the rule of its receiver.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Watch {
    /// What loses the frames.
    pub medium: Medium,
    /// When they are heard.
    pub timing: Timing,
    /// Length of a slot, ns.
    pub slot_ns: u64,
    /// A frame every so many slots.
    pub every: u64,
    /// Silence after which READY falls, ns.
    pub dead_ns: u64,
}

impl Watch {
    /// The beat for the closed forms.
    #[must_use]
    pub fn beat(&self) -> Beat {
        Beat {
            slot_ns: self.slot_ns,
            every: self.every,
            heard_ns: self.timing.delay_ns.saturating_add(self.timing.air_ns),
        }
    }

    /// Falls of READY an hour over runs with these numbers, `run_ns` long each.
    /// Every run has air of its own, so any split of them adds up.
    ///
    /// # Errors
    /// A medium or timing out of range.
    pub fn drops_per_hour(&self, runs: Range<u64>, run_ns: u64) -> Result<Moments, Fault> {
        let counts: Vec<u64> = runs
            .into_par_iter()
            .map(|run| self.drops(run, run_ns))
            .collect::<Result<_, _>>()?;
        let hours = run_ns as f64 / HOUR_NS as f64;
        let rates = counts.into_iter().map(|count| count as f64 / hours);
        Ok(rates.collect())
    }

    fn drops(&self, run: u64, run_ns: u64) -> Result<u64, Fault> {
        let mut air = Air::new(&Setting::new(self.medium, self.timing), run)?;
        let mut silence = Silence::default();
        let period_ns = self.beat().period_ns();
        for k in 0..run_ns / period_ns {
            let sent_ns = k * period_ns;
            air.send(k * self.every, sent_ns, frame(sent_ns));
            while let Some(heard) = air.next(sent_ns) {
                silence.hear(heard.arrival_ns, sent_at(&heard.bytes), self.dead_ns);
            }
        }
        while let Some(heard) = air.next(u64::MAX) {
            silence.hear(heard.arrival_ns, sent_at(&heard.bytes), self.dead_ns);
        }
        silence.look(run_ns, self.dead_ns);
        Ok(silence.drops)
    }
}

/// A frame that says when its slot began.
fn frame(sent_ns: u64) -> Bytes {
    (u128::from(sent_ns)).to_be_bytes()
}

fn sent_at(bytes: &Bytes) -> u64 {
    u128::from_be_bytes(*bytes) as u64
}

/// READY by the age of the newest slot heard.
#[derive(Debug, Clone, Copy, Default)]
struct Silence {
    newest_ns: u64,
    ready: bool,
    drops: u64,
}

impl Silence {
    fn look(&mut self, now_ns: u64, dead_ns: u64) {
        if self.ready && now_ns - self.newest_ns > dead_ns {
            self.ready = false;
            self.drops += 1;
        }
    }

    fn hear(&mut self, now_ns: u64, slot_ns: u64, dead_ns: u64) {
        self.look(now_ns, dead_ns);
        self.newest_ns = self.newest_ns.max(slot_ns);
        self.ready = now_ns - self.newest_ns <= dead_ns;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::channel::Loss;
    use crate::study::burst_loss::drops_per_hour;

    fn watch(share: f64, burst: f64, every: u64, dead_ms: u64) -> Watch {
        Watch {
            medium: Medium::single(Loss::new(share, burst).unwrap()),
            timing: Timing {
                jitter_ns: 0.0,
                ..Timing::INFRARED
            },
            slot_ns: 1_000_000,
            every,
            dead_ns: dead_ms * 1_000_000,
        }
    }

    /// Over `runs` runs of six minutes.
    fn assert_as_computed(watch: &Watch, runs: u64) {
        let seen = watch.drops_per_hour(0..runs, HOUR_NS / 10).unwrap();
        let expected = drops_per_hour(&watch.medium, watch.beat(), watch.dead_ns);
        let (mean, error) = (seen.mean(), seen.mean_error());
        assert!(error < 0.1 * expected, "{error} {expected}");
        // What begins before a run or ends after it is cut: some beats of it.
        let margin = 4.0 * error + 5e-4 * expected;
        assert!(
            (mean - expected).abs() < margin,
            "{mean} {error} {expected}"
        );
    }

    #[test]
    fn drops_an_hour_are_those_of_the_closed_form() {
        for (share, burst, every, dead_ms, runs) in [
            (0.01, 3.0, 5, 12, 30),
            (0.01, 3.0, 2, 12, 30),
            (0.01, 10.0, 5, 42, 200),
            (0.3, 20.0, 5, 42, 30),
            (0.3, 1.0, 1, 2, 30),
            (0.2, 1.25, 10, 25, 30),
            (0.1, 5.0, 20, 20, 30),
            (0.1, 5.0, 5, 5, 30),
        ] {
            assert_as_computed(&watch(share, burst, every, dead_ms), runs);
        }
    }

    #[test]
    fn so_are_those_with_channels_in_turn_and_two_receivers() {
        let one = watch(0.2, 20.0, 5, 22);
        for (channels, receivers) in [(1, 2), (4, 1), (2, 2), (5, 1)] {
            let medium = Medium {
                channels,
                receivers,
                ..one.medium
            };
            assert_as_computed(&Watch { medium, ..one }, 80);
        }
    }

    #[test]
    fn a_beat_exactly_at_the_end_of_the_silence_comes_too_late() {
        // A heard beat, then K lost: 20 ms hold three beats of 5 ms, not four,
        // as the fourth is heard 0.32 ms after it began.
        let twenty = watch(0.1, 5.0, 5, 20);
        assert_eq!(twenty.beat().in_time(twenty.dead_ns), 3);
        assert_eq!(twenty.beat().in_time(20_320_000), 4);
        assert_eq!(twenty.beat().in_time(20_319_999), 3);
        assert_as_computed(&twenty, 30);
        let on_time = Watch {
            dead_ns: 20_320_000,
            ..twenty
        };
        assert_as_computed(&on_time, 30);
    }

    #[test]
    fn without_loss_ready_stays_and_with_no_time_it_never_does() {
        let calm = watch(0.0, 1.0, 5, 6);
        assert_eq!(calm.drops(0, HOUR_NS).unwrap(), 0);
        let hasty = watch(0.0, 1.0, 5, 5);
        // The last silence is cut by the end of the hour.
        assert_eq!(hasty.drops(0, HOUR_NS).unwrap(), 720_000 - 1);
        let expected = drops_per_hour(&hasty.medium, hasty.beat(), hasty.dead_ns);
        assert!((expected - 720_000.0).abs() < 1e-6);
    }
}
