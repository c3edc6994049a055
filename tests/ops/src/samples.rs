//! Samples of the light: rest followed, onsets out of them; and the light's own test.

use core::fmt::Write;

use trueonset::barrier::{Barrier, BarrierConfig, BarrierError, LightTest, Method};
use trueonset::time::Instant;

use crate::{tell, Draw};

/// A barrier and its test.
pub(crate) struct Room {
    config: Option<BarrierConfig>,
    barrier: Barrier,
    /// Where the light stands, how fast it goes, and whether a tool is in it.
    light: (i64, i64, bool),
    test: LightTest,
    now: u64,
}

impl Room {
    pub(crate) fn new(draw: &mut Draw) -> Self {
        Self {
            config: checked(draw).ok(),
            barrier: Barrier::new(Instant::from_ticks(0)),
            light: (3_000, 0, false),
            test: LightTest::begin(Instant::from_ticks(0), false, 8_000),
            now: 0,
        }
    }

    pub(crate) fn step(&mut self, draw: &mut Draw, told: &mut impl Write) {
        match draw.below(256) {
            0 if draw.one_in(8) => {
                let made = checked(draw);
                tell!(told, made);
                self.config = made.ok();
                self.barrier = Barrier::new(draw.instant());
                if let (Some(config), true) = (&self.config, draw.yes()) {
                    let rest = draw.below(4_096) as u16;
                    self.barrier = Barrier::new(draw.instant()).with_rest(config, rest);
                }
            }
            1 if draw.one_in(8) => self.barrier.gap(draw.sized64()),
            2..=10 => self.test(draw, told),
            _ => self.sample(draw, told),
        }
    }

    /// A run of samples: one alone tells little.
    fn sample(&mut self, draw: &mut Draw, told: &mut impl Write) {
        let Some(config) = &self.config else {
            self.config = checked(draw).ok();
            return;
        };
        for _ in 0..8 {
            let (level, speed, dark) = &mut self.light;
            if draw.one_in(64) {
                *dark = !*dark;
                *speed = i64::from(draw.below(600)) + 1;
            }
            let goal = if *dark { 200 } else { 3_000 };
            *level += (goal - *level).clamp(-*speed, *speed);
            let noise = draw.about(12);
            let value = if draw.one_in(512) {
                draw.any32() as u16
            } else {
                (*level + noise).clamp(0, 4_095) as u16
            };
            if let Some(seen) = self.barrier.sample(config, value) {
                tell!(told, seen);
            }
        }
        if draw.one_in(64) {
            tell!(told, self.barrier.optics(config), self.barrier.in_contact());
            tell!(told, self.barrier.samples(), self.barrier.levels(config));
        }
    }

    fn test(&mut self, draw: &mut Draw, told: &mut impl Write) {
        self.now += u64::from(draw.below(9_000));
        let now = Instant::from_ticks(self.now);
        if self.test.deadline().is_none() {
            self.test = LightTest::begin(now, draw.one_in(8), draw.below(16_000));
        }
        let blocked = draw.yes();
        tell!(told, self.test.step(now, blocked), self.test.lamp());
        tell!(told, self.test.deadline(), self.test.result());
    }
}

fn checked(draw: &mut Draw) -> Result<BarrierConfig, BarrierError> {
    let hold_ns = draw.of([100_000_u64, 1_000_000, 5_000_000]);
    let sampling_hz = draw.of([900, 20_000, 50_000, 200_000, 1_000_000]);
    let config = BarrierConfig::new(draw.rate(), sampling_hz, hold_ns)?
        .bits(12)?
        .trip_permille(draw.of([300, 500, 700, 1_200]))?
        .rest_time_ms(draw.of([10, 100, 1_000]))?
        .longest_contact_ms(draw.below(5_000))
        .fastest_blade_ns(draw.sized32())
        .vouched_ms(draw.below(5_000));
    let config = if draw.yes() {
        config.clean(draw.of([2_800, 3_000, 4_096]), draw.of([0, 5, 12]))?
    } else {
        config
    };
    config.method(draw.of([Method::Area, Method::Matched]))
}
