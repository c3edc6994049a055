//! How long an approach takes: one touch, or a coarse one and a fine one after it.
//!
//! The length is known to ± a half range; an approach starts a clearance before the earliest contact and meets it, on
//! average, a half range later. Each touch: way to contact from standstill, delay until braking begins, braking; then
//! back to where it started. Rest to rest on the way back, at the feed stated for it or as fast as the drive can.
//! Between two touches: back to a little before the contact found, a pause, and the fine approach.

use super::machine::Machine;
use crate::model::braking::{feed_within, overtravel};
use crate::model::ramp::{Limits, Ramp};

/// How two touches are made, as a user would state it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Two {
    /// Feed of the first, m/s.
    pub coarse: f64,
    /// Feed of the second, m/s.
    pub fine: f64,
    /// From the contact found to where the second starts, m; more where its feed is not reached on it.
    pub back: f64,
}

/// Way back before the second touch, m.
pub const BACK: f64 = 0.2e-3;
/// Pause before it, s.
pub const PAUSE: f64 = 0.05;
/// A cycle may take so much longer than the shortest.
pub const LONGER: f64 = 1.1;
/// Feeds tried along the way to the best, by ratio; steps of the search about it.
const TRIED: u32 = 60;
const STEPS: u32 = 50;
/// The slowest feed over the fastest that is looked at.
const RANGE: f64 = 1e-3;

impl Machine {
    /// Time of one approach with one touch at a feed (m/s), s.
    #[must_use]
    pub fn single(&self, feed: f64) -> f64 {
        let way = self.expected();
        self.touch(feed, way) + self.home(way + self.over(feed), feed)
    }

    /// Time of one approach with two touches, s.
    #[must_use]
    pub fn both(&self, two: &Two) -> f64 {
        let back = two.back.max(self.needed(two.fine));
        let way = self.expected();
        self.touch(two.coarse, way)
            + self.home(back + self.over(two.coarse), two.coarse)
            + PAUSE
            + self.touch(two.fine, back)
            + self.home(way + self.over(two.fine), two.fine)
    }

    /// The feed (m/s) up to `most` at which one touch takes the shortest time.
    #[must_use]
    pub fn quickest(&self, most: f64) -> f64 {
        least(most, |feed| self.single(feed))
    }

    /// The slowest feed (m/s) from `least` on whose single touch takes no more than a tenth longer than at `best`.
    #[must_use]
    pub fn calmest(&self, least: f64, best: f64) -> f64 {
        let limit = LONGER * self.single(best);
        let (mut low, mut high) = (least.min(best), best);
        if self.single(low) <= limit {
            return low;
        }
        for _ in 0..STEPS {
            let middle = (low * high).sqrt();
            if self.single(middle) <= limit {
                high = middle;
            } else {
                low = middle;
            }
        }
        high
    }

    /// The two touches that take the shortest time, for feeds (m/s) up to `coarse` and `fine`.
    #[must_use]
    pub fn two(&self, coarse: f64, fine: f64) -> Two {
        let two = |coarse| Two {
            coarse,
            fine,
            back: BACK,
        };
        two(least(coarse, |feed| self.both(&two(feed))))
    }

    /// Way to contact on average, m.
    fn expected(&self) -> f64 {
        self.scenario.clearance + self.scenario.length_doubt
    }

    /// Way from standstill on which a feed is reached before the light, m.
    fn needed(&self, feed: f64) -> f64 {
        0.5 * self.scenario.span + Ramp::new(feed, &self.scenario.limits).travel()
    }

    fn over(&self, feed: f64) -> f64 {
        overtravel(feed, self.late(), &self.scenario.limits)
    }

    /// From standstill over a way to contact and to standstill again, s.
    fn touch(&self, feed: f64, way: f64) -> f64 {
        let ramp = Ramp::new(feed, &self.scenario.limits);
        let there = ramp.duration() + (way - ramp.travel()).max(0.0) / feed;
        there + self.late() + ramp.duration()
    }

    /// From rest to rest over a way, s.
    fn home(&self, way: f64, feed: f64) -> f64 {
        let limits = &self.scenario.limits;
        let most = self.retract.unwrap_or(if *limits == Limits::NONE {
            feed
        } else {
            f64::INFINITY
        });
        let top = most.min(feed_within(0.5 * way, 0.0, limits));
        let ramp = Ramp::new(top, limits);
        2.0 * ramp.duration() + (way - 2.0 * ramp.travel()).max(0.0) / top
    }
}

/// Where a time with one minimum is least, up to `most`.
fn least(most: f64, time: impl Fn(f64) -> f64) -> f64 {
    let at = |k: f64| most * RANGE.powf(1.0 - k / f64::from(TRIED));
    let best =
        (0..=TRIED).min_by(|a, b| time(at(f64::from(*a))).total_cmp(&time(at(f64::from(*b)))));
    let best = f64::from(best.unwrap_or(TRIED));
    let (mut low, mut high) = ((best - 1.0).max(0.0), (best + 1.0).min(f64::from(TRIED)));
    for _ in 0..STEPS {
        let third = (high - low) / 3.0;
        if time(at(low + third)) < time(at(high - third)) {
            high -= third;
        } else {
            low += third;
        }
    }
    at(0.5 * (low + high)).min(most)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::approach::mm_per_min;
    use crate::scenario::Tables;

    fn machine(delay_us: u32, about_mm: f64) -> Machine {
        let text = format!(
            "[approach]\nacceleration = \"2m/s2\"\njerk = \"50m/s3\"\nclearance = \"1mm\"\nreaction = \"2ms\"\n\
             length_doubt = \"{about_mm}mm\"\n[link]\nmedium = \"wired\"\ndelay = \"{delay_us}us\"\n"
        );
        Machine::of(&Tables::parse(&text, "s.toml").unwrap()).unwrap()
    }

    #[test]
    fn the_fastest_feed_is_not_the_fastest_cycle() {
        for about in [0.1, 1.0, 5.0] {
            let machine = machine(2_000, about);
            let best = machine.quickest(mm_per_min(60_000.0));
            let time = machine.single(best);
            for other in [0.5, 0.9, 1.1, 2.0] {
                assert!(machine.single(other * best) >= time, "{about} {other}");
            }
            // A tenth longer allows about half the feed, and saves about half the overtravel.
            let calm = machine.calmest(1e-6, best);
            assert!((machine.single(calm) / time - LONGER).abs() < 1e-6);
            assert!((0.3..0.7).contains(&(calm / best)), "{}", calm / best);
            let saved = 1.0 - machine.over(calm) / machine.over(best);
            assert!((0.4..0.8).contains(&saved), "{saved}");
        }
    }

    /// The project's own study, by another program: its ramps know no jerk, its overtravel does.
    struct Study {
        ramps: Machine,
        braking: Machine,
    }

    impl Study {
        fn of(delay_us: u32) -> Self {
            let braking = machine(delay_us, 1.0);
            let mut ramps = braking;
            ramps.scenario.limits.jerk = 1e9;
            Self { ramps, braking }
        }

        /// One touch after a way, and a retract by so much more than the overtravel.
        fn once(&self, feed: f64, way: f64, retract: f64) -> f64 {
            let back = retract + self.braking.over(feed);
            self.ramps.touch(feed, way) + self.ramps.home(back, feed)
        }
    }

    /// Best feed of one touch and a retract to 1 mm, a 2 m/s², 4 ms from contact to braking, with 40 ms
    /// that no feed changes; the slowest within a tenth, and the overtravel of both.
    #[test]
    fn the_best_feed_is_the_study_s() {
        for (way_mm, best, time, calm, over_best, over_calm) in [
            (0.3, 900.0, 0.127, 419.0, 0.32, 0.11),
            (0.7, 1347.0, 0.148, 692.0, 0.57, 0.22),
            (1.2, 1745.0, 0.167, 940.0, 0.82, 0.34),
            (5.2, 3610.0, 0.257, 2106.0, 2.33, 1.07),
        ] {
            let study = Study::of(2_000);
            let of = |feed: f64| study.once(feed, way_mm * 1e-3, 1e-3) + 0.04;
            let found = least(mm_per_min(20_000.0), of);
            assert!((found / mm_per_min(best) - 1.0).abs() < 0.01, "{found}");
            assert!((of(found) - time).abs() < 0.001, "{}", of(found));
            // The slowest within a tenth: at the study's feed the time is a tenth longer.
            let longer = of(mm_per_min(calm)) / of(found);
            assert!((longer / LONGER - 1.0).abs() < 0.003, "{way_mm}: {longer}");
            for (feed, over) in [(best, over_best), (calm, over_calm)] {
                let off = study.braking.over(mm_per_min(feed)) * 1e3 - over;
                assert!(off.abs() < 0.006, "{feed}: {off}");
            }
        }
    }

    /// Times of one touch and of two, s: half range of the length 0.1, 1 and 5 mm and 0.2 mm more, both
    /// retracts 0.2 mm, a pause of 50 ms; feeds of the second, or only, and of the first touch.
    #[test]
    fn one_touch_and_two_take_the_study_s_times() {
        // A scan of unknown phase, a wire, infrared by its late edge, infrared by stored positions.
        for (delay_us, fine, coarse, rows) in [
            (
                2_000,
                41.0,
                2046.0,
                [(0.46, 0.45), (1.78, 0.48), (7.6, 0.60)],
            ),
            (
                2_000,
                2008.0,
                2008.0,
                [(0.09, 0.21), (0.11, 0.24), (0.23, 0.36)],
            ),
            (
                48_000,
                212.0,
                892.0,
                [(0.17, 0.32), (0.42, 0.38), (1.55, 0.65)],
            ),
            (
                48_000,
                892.0,
                892.0,
                [(0.13, 0.30), (0.19, 0.36), (0.46, 0.63)],
            ),
        ] {
            let study = Study::of(delay_us);
            let (fine, coarse) = (mm_per_min(fine), mm_per_min(coarse));
            for (half_mm, (once, twice)) in [0.1, 1.0, 5.0].into_iter().zip(rows) {
                let way = (half_mm + 0.2) * 1e-3;
                // The study's second approach begins at speed: its ramp is not counted.
                let second = study.once(fine, BACK, BACK) - 0.5 * fine / 2.0;
                let both = study.once(coarse, way, BACK) + PAUSE + second;
                for (found, told) in [(study.once(fine, way, BACK), once), (both, twice)] {
                    let digit = if told > 2.0 { 0.05 } else { 0.005 };
                    assert!(
                        (found - told).abs() <= digit + 0.001,
                        "{half_mm}: {found} {told}"
                    );
                }
            }
        }
    }

    #[test]
    fn a_second_touch_at_the_same_feed_never_pays() {
        let machine = machine(2_000, 1.0);
        let feed = mm_per_min(1_000.0);
        let two = machine.two(feed, feed);
        assert!(machine.both(&two) > machine.single(feed));
        // A fine feed that is slow enough does make it pay.
        let slow = mm_per_min(40.0);
        assert!(machine.both(&machine.two(feed, slow)) < machine.single(slow));
    }

    #[test]
    fn without_a_limit_only_ways_and_delay_count() {
        let tables = Tables::parse("[approach]\nclearance = \"1mm\"\n", "s.toml").unwrap();
        let machine = Machine::of(&tables).unwrap();
        let feed = 0.01;
        // 1 mm there, 7 ms, 70 um more; all of it back.
        let wanted = 0.1 + 0.007 + 0.107;
        assert!(
            (machine.single(feed) - wanted).abs() < 1e-9,
            "{}",
            machine.single(feed)
        );
    }
}
