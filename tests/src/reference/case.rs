//! One line set up alike for core and for the reference, with logs to try it on.

use trueonset::onset::{self, Config, FeedClass, Line, Touched, Truncation};
use trueonset::time::TickRate;

use super::logs::{Log, Recipe};
use super::{bridge, line, Event, Setup};

/// One way to set up a line and to draw its logs.
#[derive(Clone, Debug)]
pub struct Case {
    /// Ticks in a second.
    pub rate_hz: u32,
    /// Hold of a touch.
    pub hold_ns: u64,
    /// Hold of a release.
    pub release_hold_ns: u64,
    /// Stated bandwidth, if any.
    pub bandwidth_hz: Option<u32>,
    /// To which side stamps are rounded.
    pub truncation: Truncation,
    /// To steps of how many 1/256 ticks.
    pub step_256: u32,
    /// Whether a feed class is promised.
    pub class: bool,
    /// What logs to draw.
    pub recipe: Recipe,
}

impl Case {
    /// Core's configuration.
    ///
    /// # Panics
    /// If core refuses it.
    #[must_use]
    pub fn config(&self) -> Config {
        let rate = TickRate::from_hz(self.rate_hz).unwrap();
        let config = Config::new(rate, self.hold_ns)
            .and_then(|config| config.release_hold(self.release_hold_ns))
            .and_then(|config| config.capture(self.truncation, self.step_256))
            .unwrap()
            .touched(if self.recipe.touched_high {
                Touched::High
            } else {
                Touched::Low
            });
        match self.bandwidth_hz {
            Some(hz) => config.bandwidth_hz(hz).unwrap(),
            None => config,
        }
    }

    fn ticks(&self, ns: u64) -> i128 {
        let product = i128::from(ns) * i128::from(self.rate_hz);
        (product + 500_000_000) / 1_000_000_000
    }

    /// The same for the reference.
    #[must_use]
    pub fn setup(&self) -> Setup {
        Setup {
            hold: self.ticks(self.hold_ns),
            release_hold: self.ticks(self.release_hold_ns),
            touched_high: self.recipe.touched_high,
            bandwidth_ticks: self
                .bandwidth_hz
                .map(|hz| f64::from(self.rate_hz) / f64::from(hz)),
            step: f64::from(self.step_256) / 256.0,
        }
    }

    /// What core adds to a stamp, 1/256 tick.
    #[must_use]
    pub fn lag_256(&self) -> i128 {
        match self.truncation {
            Truncation::Before => i128::from(self.step_256 / 2),
            Truncation::Nearest => 0,
            Truncation::After => -i128::from(self.step_256 / 2),
        }
    }

    /// What the reference says about `log`, and its line at the end.
    #[must_use]
    pub fn reference(&self, log: &Log) -> (Vec<Event>, line::Line) {
        let mut line = line::Line::new(&self.setup(), log.initial, log.start);
        if self.class {
            line = line.with_class();
        }
        let events = bridge::judge(&mut line, log);
        (events, line)
    }

    /// What core says about `log`, and its line at the end.
    #[must_use]
    pub fn core(&self, log: &Log) -> (Vec<onset::Event>, Line) {
        let config = self.config();
        let mut line = Line::new(
            &config,
            bridge::level(log.initial),
            bridge::instant(log.start),
        );
        if self.class {
            line.exchange_class(Some(FeedClass::new()));
        }
        let events = bridge::replay(&config, &mut line, log);
        (events, line)
    }
}

/// A case drawn from `seed`: every setting at hand in some of them.
///
/// # Panics
/// Never: each choice has something to choose from.
#[must_use]
pub fn drawn(seed: u64) -> Case {
    let mut rng = fastrand::Rng::with_seed(seed ^ 0x5eed);
    let rate_hz = *rng
        .choice(&[16_000_000, 1_000_000_000, 72_000_000])
        .unwrap();
    let hold_ns = *rng
        .choice(&[200_000, 333_337, 1_000_000, 3_000_000])
        .unwrap();
    let release_hold_ns = if rng.bool() { hold_ns } else { 500_000 };
    let hold = hold_ns as f64 * 1e-9 * f64::from(rate_hz);
    // From ten to three hundred mean dwells a hold, now and then fewer than should be.
    let mean_dwell = hold / *rng.choice(&[7.0, 12.0, 30.0, 80.0, 300.0]).unwrap();
    let dwells = *rng.choice(&[0, 2, 6, 20, 60, 200, 1500, 8000]).unwrap();
    let bandwidth_hz = rng.choice([None, Some(100_000), Some(3_000)]).unwrap();
    Case {
        rate_hz,
        hold_ns,
        release_hold_ns,
        bandwidth_hz,
        truncation: rng
            .choice([Truncation::Before, Truncation::Nearest, Truncation::After])
            .unwrap(),
        step_256: *rng.choice(&[256, 256, 32, 256 * 16]).unwrap(),
        class: rng.bool(),
        recipe: Recipe {
            touches: if dwells > 200 { 15 } else { 60 },
            dwells,
            mean_dwell,
            rest: (1.2 * hold, 40.0 * hold),
            glitches: *rng.choice(&[0.0, 0.2, 0.6]).unwrap(),
            longest_glitch: 0.5 * hold,
            bounces: *rng.choice(&[0.0, 0.0, 0.2]).unwrap(),
            overcaptures: *rng.choice(&[0.0, 0.01]).unwrap(),
            start: *rng
                .choice(&[1_000, (1 << 32) - 12_345_678, (1 << 63) - 12_345_678])
                .unwrap(),
            touched_high: rng.bool(),
        },
    }
}
