//! Monte Carlo over a grid: every combination of the values of a few keys, each a cell of its own.
//!
//! The randomness of a touch is named by seed, cell and number, so a cell gives the same numbers alone, in another
//! grid, in another order, and on any number of threads. Where the scenario has a link, the touches found go through the
//! air, thirty-two over one link; the randomness of a link is named by seed and number, the same in all cells.

use std::str::FromStr;

use rand_distr::{Distribution, StandardUniform};
use rayon::prelude::*;

use super::over_air::{carry, Carried, Reported};
use super::packs::{Case, Together};
use super::runner::{Cell, Trial};
use super::statistics::{quantile, Moments, Share};
use super::touches::{bound_nm, reported, touches};
use crate::fault::{excerpt, Fault, Place};
use crate::model::rng;
use crate::scenario::{unfit, Link, Method, Scenario, Tables};

/// Touches that one link carries, one after the other: with its start some forty seconds.
const OVER_ONE_LINK: usize = 32;
/// Packs whose lives stand for those of a cell.
const PACKS: u64 = 64;
/// Names the links of a sweep among all random streams.
const LINKS: u64 = 0x006c_696e_6b73;
/// Cells that a grid may have.
const MOST_CELLS: usize = 100_000;

/// A key and the values it takes: `approach.feed=10mm/min,60mm/min`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Vary {
    /// The key.
    pub key: String,
    /// Its values as they were written.
    pub values: Vec<String>,
}

impl FromStr for Vary {
    type Err = Fault;

    fn from_str(text: &str) -> Result<Self, Fault> {
        let wrong = |expected: &str| {
            Fault::new(
                excerpt(text.as_bytes()),
                expected,
                "write it as approach.feed=10mm/min,60mm/min",
            )
        };
        let (key, values) = text.split_once('=').ok_or_else(|| wrong("KEY=V1,V2,.."))?;
        let values: Vec<String> = values.split(',').map(|v| v.trim().to_owned()).collect();
        if values.iter().any(String::is_empty) {
            return Err(wrong("a value on each side of a comma"));
        }
        Ok(Self {
            key: key.trim().to_owned(),
            values,
        })
    }
}

/// All combinations; the last key changes fastest.
#[derive(Debug, Clone)]
pub struct Grid {
    /// The keys varied.
    pub vary: Vec<Vary>,
    points: Vec<Point>,
}

/// One combination.
#[derive(Debug, Clone)]
struct Point {
    values: Vec<String>,
    scenario: Scenario,
}

impl Grid {
    /// Checks every combination before any is run.
    ///
    /// # Errors
    /// An unknown key, one named twice, a value that its key does not take, too many combinations, or a combination
    /// that makes no scenario.
    pub fn new(tables: &Tables, vary: &[Vary]) -> Result<Self, Fault> {
        let at = || Place::Setting("--vary".to_owned());
        for (k, one) in vary.iter().enumerate() {
            if vary[..k].iter().any(|other| other.key == one.key) {
                let found = format!("the key {} twice", one.key);
                return Err(Fault::new(found, "each key once", "join their values").at(at()));
            }
        }
        let sizes = vary.iter().map(|one| one.values.len());
        let cells = sizes.fold(1_usize, usize::saturating_mul);
        if cells > MOST_CELLS {
            let found = format!("{cells} combinations");
            let expected = format!("at most {MOST_CELLS}");
            return Err(Fault::new(found, expected, "vary fewer values").at(at()));
        }
        let points = (0..cells)
            .map(|number| Point::new(tables, vary, number))
            .collect::<Result<_, _>>()?;
        Ok(Self {
            vary: vary.to_vec(),
            points,
        })
    }

    /// Number of cells.
    #[must_use]
    pub fn len(&self) -> usize {
        self.points.len()
    }

    /// Whether touches go through the air in any cell.
    #[must_use]
    pub fn has_link(&self) -> bool {
        self.points
            .iter()
            .any(|point| point.scenario.link.is_some())
    }

    /// Whether any cell has a battery.
    #[must_use]
    pub fn has_battery(&self) -> bool {
        self.points
            .iter()
            .any(|point| point.scenario.battery.is_some())
    }

    /// Whether it has no cells; it always has one.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.points.is_empty()
    }

    /// Runs `trials` touches in each cell, asking `go_on` after every touch; it is told how many of those that count
    /// were added. The rows of the cells that were finished, in the order of the grid.
    ///
    /// # Errors
    /// A hold that the capture clock cannot count.
    pub fn run(
        &self,
        trials: u64,
        seed: u64,
        go_on: &(dyn Fn(u64) -> bool + Sync),
    ) -> Result<Vec<Row>, Fault> {
        let rows = self.points.par_iter().map(|point| {
            // What was not begun when it stopped is not begun at all.
            if go_on(0) {
                point.run(trials, seed, go_on)
            } else {
                Ok(None)
            }
        });
        let rows: Vec<Option<Row>> = rows.collect::<Result<_, _>>()?;
        Ok(rows.into_iter().flatten().collect())
    }
}

impl Point {
    fn new(tables: &Tables, vary: &[Vary], number: usize) -> Result<Self, Fault> {
        let mut tables = tables.clone();
        let mut values = vec![String::new(); vary.len()];
        let mut rest = number;
        for (one, value) in vary.iter().zip(&mut values).rev() {
            value.clone_from(&one.values[rest % one.values.len()]);
            rest /= one.values.len();
            tables.set(&one.key, value)?;
        }
        let scenario = Scenario::of(&tables).map_err(|why| {
            let pairs = vary.iter().zip(&values);
            let pairs: Vec<String> = pairs.map(|(one, v)| format!("{}={v}", one.key)).collect();
            let found = if pairs.is_empty() {
                why.found().to_owned()
            } else {
                format!("{} (with {})", why.found(), pairs.join(", "))
            };
            let told = Fault::new(found, why.expected(), why.remedy());
            match why.place() {
                Some(place) => told.at(place.clone()),
                None => told,
            }
        })?;
        Ok(Self { values, scenario })
    }

    /// The row of this cell; none when it was stopped.
    fn run(
        &self,
        trials: u64,
        seed: u64,
        go_on: &(dyn Fn(u64) -> bool + Sync),
    ) -> Result<Option<Row>, Fault> {
        let cell = self.scenario.cell(seed);
        let touches = touches(&self.scenario, seed, trials, go_on)?;
        let bound_nm = bound_nm(&self.scenario, seed);
        self.row(&cell, seed, bound_nm, touches, go_on)
    }

    /// The row of these trials; where there is a link, they go through the air first.
    fn row(
        &self,
        cell: &Cell,
        seed: u64,
        bound_nm: f64,
        trials: Option<Vec<Trial>>,
        go_on: &(dyn Fn(u64) -> bool + Sync),
    ) -> Result<Option<Row>, Fault> {
        let Some(trials) = trials else {
            return Ok(None);
        };
        let link = match &self.scenario.link {
            None => None,
            Some(link) => match over_links(link, cell, seed, &trials, go_on)? {
                None => return Ok(None),
                carried => carried,
            },
        };
        Ok(Some(Row {
            link,
            battery: self.battery(seed)?,
            ..Row::new(self, cell, bound_nm, &trials)
        }))
    }

    /// Lives of packs; the randomness of a pack is named by seed and number, the same in all cells.
    fn battery(&self, seed: u64) -> Result<Option<Together>, Fault> {
        let first = seed.wrapping_mul(PACKS) % (u64::MAX / 2);
        let lives = |case: Case| case.together(first..first + PACKS);
        self.scenario.battery.map(lives).transpose().map_err(unfit)
    }
}

/// Carries the touches found through the air, so many over one link, each link with random numbers of its own.
fn over_links(
    link: &Link,
    cell: &Cell,
    seed: u64,
    trials: &[Trial],
    go_on: &(dyn Fn(u64) -> bool + Sync),
) -> Result<Option<Carried>, Fault> {
    let found = trials.iter().filter_map(|trial| trial.found);
    let reported: Vec<Reported> = found.map(|found| reported(&found, cell.feed)).collect();
    let blocks: Vec<Option<Carried>> = reported
        .par_chunks(OVER_ONE_LINK)
        .enumerate()
        .map(|(number, block)| {
            let mut stream = rng::stream(&[LINKS, seed, number as u64]);
            carry(link, block, StandardUniform.sample(&mut stream), &|| {
                go_on(0)
            })
        })
        .collect::<Result<_, _>>()?;
    let all = |blocks: Vec<Carried>| blocks.into_iter().fold(Carried::default(), Carried::and);
    Ok(blocks.into_iter().collect::<Option<Vec<_>>>().map(all))
}

/// What a method's errors amount to, nm along the path, late positive; none where it found too little.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Errors {
    /// Mean.
    pub bias_nm: Option<f64>,
    /// Standard deviation.
    pub sd_nm: Option<f64>,
    /// 99.9 % of |error|.
    pub p999_nm: Option<f64>,
}

impl Errors {
    fn of(errors: &[f64]) -> Self {
        let moments: Moments = errors.iter().copied().collect();
        let mut sizes: Vec<f64> = errors.iter().map(|error| error.abs()).collect();
        Self {
            bias_nm: (!errors.is_empty()).then(|| moments.mean()),
            sd_nm: (errors.len() > 1).then(|| moments.sd()),
            p999_nm: quantile(&mut sizes, 0.999),
        }
    }
}

/// One cell, finished.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Values of the keys varied, as written.
    pub values: Vec<String>,
    /// Feed, mm/min.
    pub feed_mm_min: f64,
    /// Touches simulated.
    pub trials: u64,
    /// Touches not found.
    pub missed: u64,
    /// Touches reported beyond one a trial.
    pub false_touches: u64,
    /// Errors of the method asked for.
    pub errors: Errors,
    /// Errors of what the library reports.
    pub onset: Errors,
    /// Errors of the first edge.
    pub first: Errors,
    /// Errors of the begin of the first unbroken run of a hold.
    pub in_a_row: Errors,
    /// Of edges the closed form of the 1-bit bound, the standard deviation of the balance point of
    /// correlated noise; of samples the full-span bound.
    pub bound_nm: f64,
    /// Root of the mean squared doubt; none where the method states none.
    pub doubt_nm: Option<f64>,
    /// Share of touches with |error| within two doubts.
    pub inside_2u: Option<f64>,
    /// Mean time from true contact to confirmation, ns.
    pub confirm_mean_ns: Option<f64>,
    /// 99.9 % of it.
    pub confirm_p999_ns: Option<f64>,
    /// What became of the touches found on their way through the air.
    pub link: Option<Carried>,
    /// How its packs live.
    pub battery: Option<Together>,
}

impl Row {
    fn new(point: &Point, cell: &Cell, bound_nm: f64, trials: &[Trial]) -> Self {
        let found = || trials.iter().filter_map(|trial| trial.found);
        let hybrid: Vec<f64> = found().map(|found| found.error_nm).collect();
        let first: Vec<f64> = trials.iter().filter_map(|trial| trial.first_nm).collect();
        let in_a_row: Vec<f64> = trials.iter().filter_map(|trial| trial.run_nm).collect();
        let balance: Vec<f64>;
        // Doubts belong to what the library reports.
        let (errors, doubted) = match point.scenario.method {
            Method::FirstEdge => (&first, false),
            Method::InARow => (&in_a_row, false),
            Method::Balance => {
                balance = found().map(|found| found.balance_nm).collect();
                (&balance, true)
            }
            _ => (&hybrid, true),
        };
        let doubts: Vec<(f64, f64)> = found()
            .zip(errors)
            .filter_map(|(found, error)| Some((*error, found.doubt_nm?)))
            .filter(|_| doubted)
            .collect();
        let squares: Moments = doubts.iter().map(|(_, doubt)| doubt * doubt).collect();
        let inside = Share {
            hits: doubts.iter().filter(|(e, u)| e.abs() <= 2.0 * u).count() as u64,
            trials: if doubted { hybrid.len() as u64 } else { 0 },
        };
        let mut confirm: Vec<f64> = found().map(|found| found.confirm_ns).collect();
        let mean: Moments = confirm.iter().copied().collect();
        Self {
            values: point.values.clone(),
            feed_mm_min: cell.feed,
            trials: trials.len() as u64,
            missed: (trials.len() - errors.len()) as u64,
            false_touches: trials.iter().map(|trial| u64::from(trial.extra)).sum(),
            errors: Errors::of(errors),
            onset: Errors::of(&hybrid),
            first: Errors::of(&first),
            in_a_row: Errors::of(&in_a_row),
            bound_nm,
            doubt_nm: (!doubts.is_empty()).then(|| squares.mean().sqrt()),
            inside_2u: (inside.trials > 0).then(|| inside.value()),
            confirm_mean_ns: (!confirm.is_empty()).then(|| mean.mean()),
            confirm_p999_ns: quantile(&mut confirm, 0.999),
            link: None,
            battery: None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicU64, Ordering};

    fn grid(vary: &[&str]) -> Result<Grid, Fault> {
        let vary = vary
            .iter()
            .map(|text| text.parse())
            .collect::<Result<Vec<Vary>, _>>()?;
        Grid::new(&Tables::empty("s.toml"), &vary)
    }

    const ALWAYS: &(dyn Fn(u64) -> bool + Sync) = &|_| true;

    #[test]
    fn the_last_key_changes_fastest() {
        let grid = grid(&["approach.feed=60mm/min,300mm/min", "barrier.snr=50dB,60dB"]).unwrap();
        let rows = grid.run(20, 1, ALWAYS).unwrap();
        let values: Vec<_> = rows.iter().map(|row| row.values.join(" ")).collect();
        assert_eq!(
            values,
            [
                "60mm/min 50dB",
                "60mm/min 60dB",
                "300mm/min 50dB",
                "300mm/min 60dB"
            ]
        );
    }

    #[test]
    fn a_cell_does_not_hang_on_its_grid_and_hangs_on_the_seed() {
        let alone = grid(&["approach.feed=300mm/min"]).unwrap();
        let among = grid(&["approach.feed=1000mm/min,300mm/min"]).unwrap();
        let row = |grid: &Grid, seed| grid.run(50, seed, ALWAYS).unwrap().pop().unwrap();
        assert_eq!(row(&alone, 3), row(&among, 3));
        assert_ne!(row(&alone, 3).errors, row(&alone, 4).errors);
    }

    #[test]
    fn spread_meets_its_bound_and_a_film_moves_the_contact() {
        let rows = grid(&["barrier.film=0%,1%"])
            .unwrap()
            .run(2000, 1, ALWAYS)
            .unwrap();
        let bias = |row: &Row| row.errors.bias_nm.unwrap();
        let sd = rows[0].errors.sd_nm.unwrap();
        // Standard error of a standard deviation from 2000 touches: 1.6 %.
        assert!(
            (sd / rows[0].bound_nm - 1.0).abs() < 0.08,
            "{sd} {}",
            rows[0].bound_nm
        );
        assert!(bias(&rows[0]).abs() < 4.0 * sd / 2000_f64.sqrt());
        // 1 % film at half light: 0.5 % of the light at a slope of 0.01237 a um, early by 406 nm.
        assert!((bias(&rows[1]) + 406.0).abs() < 5.0, "{}", bias(&rows[1]));
    }

    #[test]
    fn a_trip_level_beside_the_middle_keeps_its_bound() {
        let rows = grid(&["barrier.trip=20%", "onset.method=balance"])
            .unwrap()
            .run(2000, 1, ALWAYS)
            .unwrap();
        let (sd, bound) = (rows[0].errors.sd_nm.unwrap(), rows[0].bound_nm);
        assert!((sd / bound - 1.0).abs() < 0.08, "{sd} {bound}");
    }

    #[test]
    fn samples_come_near_the_full_span_bound_and_film_moves_them_not() {
        let rows = grid(&[
            "sampling.rate=200kHz",
            "onset.method=matched,area",
            "barrier.film=0%,10%",
        ]);
        let rows = rows.unwrap().run(1000, 1, ALWAYS).unwrap();
        assert_eq!(rows.len(), 4);
        for (row, limit) in rows.iter().zip([1.05, 1.05, 1.10, 1.10]) {
            let (sd, bias) = (row.errors.sd_nm.unwrap(), row.errors.bias_nm.unwrap());
            // Standard error of a standard deviation from 1000 touches: 2.2 %.
            let ratio = sd / row.bound_nm;
            assert!(ratio < limit + 0.07 && ratio > 0.93, "{row:?}");
            assert!(bias.abs() < 4.0, "{row:?}");
            assert!(row.missed == 0 && row.false_touches == 0);
            assert!((row.inside_2u.unwrap() - 0.95).abs() < 0.03, "{row:?}");
        }
    }

    #[test]
    fn sampled_cells_hang_on_neither_grid_nor_threads() {
        let alone = grid(&["sampling.rate=50kHz", "approach.feed=300mm/min"]).unwrap();
        let among = grid(&["sampling.rate=50kHz", "approach.feed=1000mm/min,300mm/min"]).unwrap();
        let row = |grid: &Grid, threads| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads);
            let rows = pool.build().unwrap().install(|| grid.run(40, 3, ALWAYS));
            rows.unwrap().pop().unwrap()
        };
        assert_eq!(row(&alone, 1), row(&among, 2));
    }

    #[test]
    fn what_no_barrier_samples_is_refused_with_its_key() {
        let why = |vary: &[&str]| {
            let rows = grid(vary).unwrap().run(2, 1, ALWAYS);
            rows.unwrap_err().to_string()
        };
        for bits in ["sampling.bits=4", "sampling.bits=20"] {
            assert!(grid(&[bits])
                .err()
                .unwrap()
                .to_string()
                .contains("sampling.bits"));
        }
        assert!(why(&["sampling.bits=12", "barrier.trip=30%"]).contains("method area"));
    }

    #[test]
    fn methods_are_judged_on_the_same_touches() {
        let rows = grid(&["onset.method=hybrid,balance,first_edge,in_a_row"]).unwrap();
        let rows = rows.run(200, 1, ALWAYS).unwrap();
        assert_eq!(rows[2].errors, rows[0].first);
        assert_eq!(rows[3].errors, rows[0].in_a_row);
        assert!(
            rows[0].doubt_nm.is_some() && rows[2].doubt_nm.is_none() && rows[2].inside_2u.is_none()
        );
    }

    #[test]
    fn what_was_finished_is_kept_when_it_is_stopped() {
        let grid = grid(&["approach.feed=5000mm/min,1mm/min"]).unwrap();
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(1)
            .build()
            .unwrap();
        let counted = AtomicU64::new(0);
        let go_on = |n: u64| counted.fetch_add(n, Ordering::Relaxed) + n <= 100;
        let rows = pool.install(|| grid.run(100, 1, &go_on)).unwrap();
        assert_eq!(rows.len(), 1);
        assert_eq!(rows[0].values, ["5000mm/min"]);
    }

    #[test]
    fn impossible_grids_are_refused_before_anything_runs() {
        let why = |vary: &[&str]| grid(vary).unwrap_err().to_string();
        assert!(why(&["approach.fed=1mm/min"]).contains("did you mean approach.feed?"));
        assert!(why(&["approach.feed=1"]).contains("300mm/min"));
        assert!(why(&["approach.feed"]).contains("KEY=V1,V2"));
        assert!(why(&["approach.feed=1mm/min,"]).contains("each side"));
        assert!(why(&["barrier.snr=60dB", "barrier.snr=50dB"]).contains("twice"));
        assert!(why(&["barrier.film=0%,60%"]).contains("with barrier.film=60%"));
        let many = format!("barrier.hysteresis={}", vec!["1"; 400].join(","));
        let more = format!("disturbance.glitches_per_s={}", vec!["1"; 400].join(","));
        assert!(why(&[&many, &more]).contains("160000 combinations"));
    }
}
