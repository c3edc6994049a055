//! Batteries over their whole life through the very gauge of the core: is a yes ever wrong, and
//! how much is thrown away by caution?

use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;
use std::ops::Range;
use trueonset::battery::{
    Battery, BatteryConfig, BatteryConfigError, BatteryPlan, Cells as Known, Chemistry, Load,
    Observation, Pack, Verdict,
};

use super::statistics::Moments;
use crate::model::battery::{uniform, Cells, NOISE_MV};
use crate::model::rng::{self, Rng};

/// Runs that are asked about where nothing else is, h.
pub const RUNS_H: [u32; 2] = [8, 72];
/// Steps in an hour; readings and verdicts come once an hour.
const STEPS: u32 = 10;
/// How long a duty stays, h.
const STAYS_H: u32 = 2;
/// Greatest duty, ‰; each is as likely.
const DUTY_PERMILLE: u16 = 400;
/// Part-used packs have lost this share of their charge, evenly between.
const USED: (f64, f64) = (0.2, 0.8);
/// How much warmer than the coldest the cells are, up and down over a day, K.
const WARMER: (f64, f64) = (1.5, 1.5);
/// One reading in so many comes after a rest, of so many seconds.
const RESTED: (u32, u32) = (8, 7_200);
/// What a layer grown in it takes from the first pulse, mV.
const LAYER_MV: f64 = 300.0;

/// Which packs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Case {
    /// What they are made of.
    pub chemistry: Chemistry,
    /// How many in series.
    pub cells: u8,
    /// Coldest, °C.
    pub celsius: i16,
    /// Runs that are asked about, s.
    pub runs_s: [u32; 2],
    /// New, and known to be; else part-used, and nobody knows.
    pub new: bool,
    /// Capacity -15 %, voltage at its lower end, resistance +20 % together.
    pub worst: bool,
}

/// What was so at a reading, one an hour, and what was told some time after it.
#[derive(Debug, Clone, Copy)]
pub struct Hour {
    /// When it was asked, h.
    pub at_h: f64,
    /// Voltage under the base current and at the end of a pulse, mV, as they are.
    pub volts_mv: (f64, f64),
    /// How long the cells last at least and at most, s, as told.
    pub lasts_s: (u32, u32),
    /// What was told of each run.
    pub verdicts: [Verdict; 2],
}

/// How one pack lived.
#[derive(Debug, Clone, Copy, Default)]
pub struct Life {
    /// From the first reading to the end, h.
    pub hours: f64,
    /// Verdicts given.
    pub verdicts: u64,
    /// For each run: times it was told yes and did not last.
    pub wrong_yes: [u64; 2],
    /// For each run: times it was told no and did last.
    pub wrong_no: [u64; 2],
    /// For each run: how much earlier than needed the yes ended for the first time, h.
    pub spare_h: [f64; 2],
    /// Times the end lay outside the bounds told.
    pub outside: [u64; 2],
    /// Resistance learned against the true one, half-way, relative.
    pub resistance_error: f64,
}

/// Many packs and one run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Together {
    /// Packs.
    pub packs: u64,
    /// Mean life, h.
    pub life_h: f64,
    /// How much earlier than needed the yes ended, mean, h.
    pub spare_h: f64,
    /// Times a pack was said to last the run and did not.
    pub wrong_yes: u64,
}

impl Case {
    /// New cells as probes have them, asked about 8 and 72 hours: from memory.
    #[must_use]
    pub fn of(chemistry: Chemistry, celsius: i16) -> Self {
        Self {
            chemistry,
            cells: match chemistry {
                Chemistry::LithiumManganese | Chemistry::LithiumThionyl => 1,
                Chemistry::LithiumIron | Chemistry::Nimh | Chemistry::Alkaline => 2,
            },
            celsius,
            runs_s: RUNS_H.map(|hours| hours * 3_600),
            new: true,
            worst: false,
        }
    }

    /// What feeds an infrared head, and what that needs: from memory.
    ///
    /// # Errors
    /// A temperature or a number of cells that the core refuses; none for [`of`](Self::of) at 5 to 22 °C.
    pub fn config(&self) -> Result<BatteryConfig, BatteryConfigError> {
        let (capacity_uah, pulse_ua, stop_mv) = match self.chemistry {
            Chemistry::LithiumManganese => (1_450_000, 60_000, 2_000),
            Chemistry::LithiumIron => (2_900_000, 60_000, 1_800),
            Chemistry::Nimh => (1_950_000, 60_000, 1_900),
            Chemistry::Alkaline => (2_300_000, 60_000, 1_800),
            Chemistry::LithiumThionyl => (1_100_000, 20_000, 2_200),
        };
        BatteryConfig::new(BatteryPlan {
            pack: Pack {
                chemistry: self.chemistry,
                cells: self.cells,
                capacity_uah,
            },
            load: Load {
                base_ua: 250,
                measuring_ua: 9_000,
                least_duty_permille: 0,
                most_duty_permille: DUTY_PERMILLE,
                pulse_ua,
                stop_mv,
            },
            reading_mv: (3.0 * NOISE_MV) as u16,
            coldest_decicelsius: self.celsius * 10,
            stale_s: 7_200,
        })
    }

    /// The lives of the packs of these numbers; each has a random stream of its own.
    ///
    /// # Errors
    /// As [`config`](Self::config).
    pub fn lives(&self, packs: Range<u64>) -> Result<Vec<Life>, BatteryConfigError> {
        let config = self.config()?;
        let one = |pack| self.life(&config, &mut self.stream(pack)).0;
        Ok(packs.into_par_iter().map(one).collect())
    }

    /// The life of one of them, hour by hour.
    ///
    /// # Errors
    /// As [`config`](Self::config).
    pub fn course(&self, pack: u64) -> Result<(Life, Vec<Hour>), BatteryConfigError> {
        Ok(self.life(&self.config()?, &mut self.stream(pack)))
    }

    /// What packs of these numbers come to for the first run, taken together.
    ///
    /// # Errors
    /// As [`config`](Self::config).
    pub fn together(&self, packs: Range<u64>) -> Result<Together, BatteryConfigError> {
        let lives = self.lives(packs)?;
        let mean = |of: fn(&Life) -> f64| lives.iter().map(of).collect::<Moments>().mean();
        Ok(Together {
            packs: lives.len() as u64,
            life_h: mean(|life| life.hours),
            spare_h: mean(|life| life.spare_h[0]),
            wrong_yes: lives.iter().map(|life| life.wrong_yes[0]).sum(),
        })
    }

    fn stream(&self, pack: u64) -> Rng {
        let words = [pack, self.chemistry as u64, self.celsius as u64];
        let more = [u64::from(self.new), u64::from(self.worst)];
        rng::stream(&[&words[..], &more].concat())
    }

    fn life(&self, config: &BatteryConfig, rng: &mut Rng) -> (Life, Vec<Hour>) {
        let load = config.plan().load;
        let mut cells = Cells::drawn(config.plan().pack, rng);
        if self.worst {
            cells = cells.worst();
        }
        if !self.new {
            let (from, to) = USED;
            cells.use_share(from + (to - from) * uniform(rng));
        }
        let begin = cells.share();
        let phase = (uniform(rng) * f64::from(STAYS_H * STEPS)) as u32;
        let mut battery = Battery::new(config, None);
        let (mut counter_uah, mut duty) = (0.0, 0.0);
        let mut told = Vec::new();
        let mut life = Life::default();
        let mut step = 0;
        loop {
            let hour = f64::from(step) / f64::from(STEPS);
            let (mean, swing) = WARMER;
            let day = std::f64::consts::TAU * hour / 24.0;
            let celsius = f64::from(self.celsius) + mean + swing * day.sin();
            if cells.ended(&load, celsius) {
                life.hours = hour;
                break;
            }
            if step == 0 || (step + phase) % (STAYS_H * STEPS) == 0 {
                duty = uniform(rng) * f64::from(DUTY_PERMILLE) / 1e3;
            }
            if step % STEPS == 0 {
                let mut seen = reading(&cells, &load, celsius, rng);
                seen.at_s = step * (3_600 / STEPS);
                seen.counter_uah = counter_uah as u32;
                seen.cells = match (step, self.new) {
                    (0, true) => Known::New,
                    (0, false) => Known::Unknown,
                    _ => Known::Same,
                };
                battery.observe(config, &seen);
                // Asked at any time before the next reading.
                let age_s = (uniform(rng) * f64::from(STEPS * (3_600 / STEPS))) as u32;
                let state = battery.state(config, seen.at_s + age_s);
                let base = f64::from(load.base_ua);
                let pulse = base + f64::from(load.pulse_ua);
                told.push(Hour {
                    at_h: hour + f64::from(age_s) / 3_600.0,
                    volts_mv: (
                        cells.loaded_mv(base, celsius),
                        cells.loaded_mv(pulse, celsius),
                    ),
                    lasts_s: state.lasts_s,
                    verdicts: self.runs_s.map(|run_s| state.lasts(run_s)),
                });
                if let Some(found) = state.milliohms.filter(|_| cells.share() > begin / 2.0) {
                    life.resistance_error = f64::from(found) / cells.milliohms(22.0) - 1.0;
                }
            }
            counter_uah += cells.feed(&load, duty, 1.0 / f64::from(STEPS));
            step += 1;
        }
        life.judge(self.runs_s, &told);
        (life, told)
    }
}

/// A pair of readings, with noise and what a layer takes.
fn reading(cells: &Cells, load: &Load, celsius: f64, rng: &mut Rng) -> Observation {
    let mut noisy = |mv: f64| -> u32 {
        let noise: f64 = StandardNormal.sample(rng);
        (mv + NOISE_MV * noise).round().max(0.0) as u32
    };
    let (base, pulse) = (f64::from(load.base_ua), f64::from(load.pulse_ua));
    let rest_mv = noisy(cells.loaded_mv(base, celsius));
    let loaded = noisy(cells.loaded_mv(base + pulse, celsius));
    let rested = uniform(rng) < 1.0 / f64::from(RESTED.0);
    let layer = cells.chemistry().passivates() && rested;
    Observation {
        at_s: 0,
        rest_mv,
        loaded_mv: loaded.saturating_sub(if layer { LAYER_MV as u32 } else { 0 }),
        pulse_ua: load.pulse_ua,
        decicelsius: (celsius * 10.0) as i16,
        counter_uah: 0,
        rested_s: if rested { RESTED.1 } else { 0 },
        cells: Known::Same,
    }
}

impl Life {
    /// Compares what was told each hour with the end.
    fn judge(&mut self, runs_s: [u32; 2], told: &[Hour]) {
        self.verdicts = told.len() as u64;
        let left = |hour: &Hour| self.hours - hour.at_h;
        // A pack that has ended since the reading is asked no more.
        for told in told.iter().filter(|told| left(told) >= 0.0) {
            let (least, most) = told.lasts_s;
            let left_s = left(told) * 3_600.0;
            // The end is known to a step.
            let step_s = 3_600.0 / f64::from(STEPS);
            self.outside[0] += u64::from(f64::from(least) > left_s);
            self.outside[1] += u64::from(f64::from(most) < left_s - step_s);
        }
        for (k, run_s) in runs_s.into_iter().enumerate() {
            let run_h = f64::from(run_s) / 3_600.0;
            let mut yes = false;
            let mut ended = None;
            for hour in told {
                let verdicts = hour.verdicts;
                let lasts = left(hour) >= run_h;
                match verdicts[k] {
                    Verdict::Yes => yes = true,
                    _ if yes && ended.is_none() => ended = Some(hour.at_h),
                    _ => {}
                }
                self.wrong_yes[k] += u64::from(verdicts[k] == Verdict::Yes && !lasts);
                self.wrong_no[k] += u64::from(verdicts[k] == Verdict::No && lasts);
            }
            // Without any yes, all of it was thrown away.
            let from_h = match (yes, ended) {
                (false, _) => 0.0,
                (true, Some(hour)) => hour,
                (true, None) => self.hours,
            };
            self.spare_h[k] = self.hours - from_h - run_h;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_yes_is_wrong_and_most_of_a_pack_is_used() {
        for worst in [false, true] {
            let case = Case {
                worst,
                ..Case::of(Chemistry::LithiumManganese, 5)
            };
            for life in case.lives(0..20).unwrap() {
                assert!(life.hours > 400.0, "{life:?}");
                assert_eq!(life.wrong_yes, [0, 0], "{life:?}");
                assert_eq!(life.wrong_no, [0, 0], "{life:?}");
                assert!(life.spare_h[0] < 60.0, "{life:?}");
            }
        }
    }

    #[test]
    fn a_verdict_is_judged_by_the_end() {
        use Verdict::{CannotTell, No, Yes};
        let mut life = Life {
            hours: 12.0,
            ..Life::default()
        };
        let told = [
            [Yes, No],
            [CannotTell, No],
            [No, No],
            [Yes, No],
            [No, No],
            [Yes, No],
        ];
        let runs_s = RUNS_H.map(|hours| hours * 3_600);
        life.judge(
            runs_s,
            &std::array::from_fn::<_, 6, _>(|hour| (hour, told[hour])).map(|(hour, verdicts)| {
                Hour {
                    at_h: hour as f64,
                    volts_mv: (0.0, 0.0),
                    lasts_s: (0, u32::MAX),
                    verdicts,
                }
            }),
        );
        assert_eq!(life.wrong_yes, [1, 0]);
        assert_eq!(life.wrong_no, [2, 0]);
        assert!((life.spare_h[0] - 3.0).abs() < 1e-9);
        assert_eq!(life.outside, [0, 0]);
    }
}
