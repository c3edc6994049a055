//! How late the first tooth of a cutter is behind the circle of the longest one, where teeth differ.
//!
//! A tooth that is lower by `h` reaches once the tool has gone on by `h`; one passes every feed per tooth. Heights are
//! even over a range, the first pass comes at any phase. The first of `n` passes to reach is the next one unless all
//! of them were too low: for the longest among the other teeth `m` higher than the lowest there can be,
//! `Π (m − t_i)/R`, `t_i` the way at each pass, averaged over `m`, the largest of `z − n` even numbers. No later than
//! after a turn, for there the longest has passed. Geometry alone, as the model of the cutter has it: no plate, no flanks.

/// Phases of the first pass, and places of the longest tooth.
const PHASES: u32 = 128;
const PLACES: u32 = 256;
/// Ways are told in so many steps.
const STEPS: usize = 128;

/// A cutter that is fed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Teeth {
    /// How many.
    pub number: u32,
    /// Feed from tooth to tooth, m.
    pub apart: f64,
    /// Range of their heights, m, above 0.
    pub run_out: f64,
}

impl Teeth {
    /// The latest that the first one may be, m: by then every tooth, or the longest, has passed.
    #[must_use]
    pub fn latest(&self) -> f64 {
        let turn = self.apart * f64::from(self.number);
        turn.min(self.apart + self.run_out)
    }

    /// How late it is about its mean, m, with how likely that is: few places that stand for all.
    #[must_use]
    pub fn about_mean(&self) -> Vec<(f64, f64)> {
        let step = self.latest() / STEPS as f64;
        // Sums of likelihoods, and of ways by likelihood.
        let mut cells = vec![(0.0, 0.0); STEPS + 1];
        self.each(|way, likely| {
            let (sum, ways) = &mut cells[((way / step) as usize).min(STEPS)];
            *sum += likely;
            *ways += likely * way;
        });
        let mean: f64 = cells.iter().map(|(_, ways)| ways).sum();
        let told = cells.iter().filter(|(sum, _)| *sum > 0.0);
        told.map(|(sum, ways)| (ways / sum - mean, *sum)).collect()
    }

    /// Its standard deviation, m.
    #[must_use]
    pub fn sd(&self) -> f64 {
        let squares = self.about_mean().into_iter();
        squares
            .map(|(off, likely)| off * off * likely)
            .sum::<f64>()
            .sqrt()
    }

    /// Ways, m, and how likely the first tooth comes there.
    fn each(&self, mut tell: impl FnMut(f64, f64)) {
        let place = |k: u32| (f64::from(k) + 0.5) / f64::from(PLACES);
        let mut low = vec![0.0; PLACES as usize];
        for phase in 0..PHASES {
            let first = (f64::from(phase) + 0.5) / f64::from(PHASES) * self.apart;
            // For each place of the longest tooth: that all so far were too low.
            low.fill(1.0);
            let mut none_yet = 1.0;
            for passed in 1..=self.number {
                let way = first + self.apart * f64::from(passed - 1);
                let left = self.number - passed;
                let mut sum = 0.0;
                for (k, low) in (0..).zip(&mut low) {
                    *low *= (place(k) - way / self.run_out).max(0.0);
                    // The density of the largest of so many even numbers.
                    let density = f64::from(left) * place(k).powi(left as i32 - 1);
                    sum += *low * density;
                }
                let none = if left == 0 {
                    0.0
                } else {
                    sum / f64::from(PLACES)
                };
                tell(way, (none_yet - none) / f64::from(PHASES));
                none_yet = none;
                if none_yet <= 0.0 {
                    break;
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::spread::{Shape, Term};
    use super::*;
    use crate::model::approach::Approach;
    use crate::model::cutter::Cutter;
    use crate::model::rng;
    use crate::study::statistics::{quantile, Moments};

    /// The model of the cutter, tooth by tooth, mounted anew for each touch.
    #[test]
    fn the_first_tooth_is_as_late_as_that_of_the_model() {
        let feed = 0.4e-3;
        for (number, run_out) in [
            (1, 5e-6),
            (2, 1e-6),
            (3, 4e-6),
            (4, 2e-6),
            (6, 9e-6),
            (12, 3e-6),
        ] {
            let cutter = Cutter {
                speed: 100.0,
                teeth: number,
                radius: 5e-3,
                run_out,
            };
            let path = Approach::endless(feed);
            let seen = |touch: u64| {
                let mounted = cutter.mount(&mut rng::stream(&[touch, u64::from(number)]));
                let hits = cutter.hits(&mounted, &path, 0.0, None, 2.0 / cutter.speed);
                feed * hits.first().unwrap().begin.max(0.0)
            };
            let all: Vec<f64> = (0..40_000).map(seen).collect();
            let moments: Moments = all.iter().copied().collect();
            let mut off: Vec<f64> = all.iter().map(|way| (way - moments.mean()).abs()).collect();
            let teeth = Teeth {
                number,
                apart: feed * cutter.tooth_period(),
                run_out,
            };
            assert!(
                (teeth.sd() / moments.sd() - 1.0).abs() < 0.02,
                "{teeth:?} {} {}",
                teeth.sd(),
                moments.sd()
            );
            let term = Term {
                source: "",
                size: teeth.latest(),
                shape: Shape::Teeth(teeth),
                reach: 1.0,
            };
            let told = crate::study::advice::spread::quantile(&[term], 0.999);
            let seen = quantile(&mut off, 0.999).unwrap();
            // Few are that late: 40 of 40 000 stand behind it.
            assert!((told / seen - 1.0).abs() < 0.03, "{teeth:?} {told} {seen}");
            let latest = all.iter().copied().fold(0.0, f64::max);
            assert!(latest <= teeth.latest() * 1.001, "{latest} {teeth:?}");
        }
    }

    #[test]
    fn all_likelihoods_add_up_and_alike_teeth_are_even() {
        for (number, run_out) in [(1, 1e-6), (4, 1e-12), (4, 1e-3), (64, 1e-6)] {
            let teeth = Teeth {
                number,
                apart: 1e-6,
                run_out,
            };
            let sum: f64 = teeth.about_mean().iter().map(|(_, likely)| likely).sum();
            assert!((sum - 1.0).abs() < 1e-9, "{sum}");
        }
        let alike = Teeth {
            number: 4,
            apart: 1e-6,
            run_out: 1e-12,
        };
        assert!((alike.sd() / (1e-6 / 12.0_f64.sqrt()) - 1.0).abs() < 1e-3);
    }
}
