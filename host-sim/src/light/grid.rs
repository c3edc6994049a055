//! From times to sample numbers: the even grid of each line, found ([`fit`]) and followed ([`Running`]).

use super::{LightRecord, Rate};
use crate::fault::{Fault, Place};

/// Rows of a line held back until its spacing is told.
pub const HEAD: usize = 256;

/// Missing samples in a row beyond which the grid begins anew: over so many the spacing is not known well enough
/// to say where between two samples a time lies.
pub const FAR: u64 = 1000;

/// Longest spacing, ns: 1000 s. A longer one is a wrong unit.
const LONGEST_NS: f64 = 1e12;

/// Share of a deviation by which the grid moves.
const FOLLOW: f64 = 1.0 / 16.0;

/// Share of a deviation by which the spacing changes: with [`FOLLOW`]² / 4 the grid follows without swinging.
const FOLLOW_SPACING: f64 = FOLLOW * FOLLOW / 4.0;

/// One sample as its row states it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sample {
    pub(super) time_ns: i64,
    pub(super) counts: u32,
    /// Number of its row in the file, from 1.
    pub(super) row: u64,
}

/// The grids of all lines of a file.
pub(super) struct Grids {
    file: String,
    lines: Vec<Line>,
}

struct Line {
    rate: Option<Rate>,
    stage: Stage,
}

enum Stage {
    Head(Vec<Sample>),
    Running(Running),
}

impl Grids {
    pub(super) fn new(file: &str) -> Self {
        Self {
            file: file.to_owned(),
            lines: Vec::new(),
        }
    }

    /// The rate of a line, `None` until it is known.
    pub(super) fn rate(&self, line: usize) -> Option<Rate> {
        self.lines.get(line).and_then(|line| line.rate)
    }

    /// Takes a sample and appends what is known by it. With a fault, what was appended before it holds.
    #[inline]
    pub(super) fn take(
        &mut self,
        line: u32,
        sample: Sample,
        out: &mut Vec<LightRecord>,
    ) -> Result<(), Fault> {
        if let Some(Line {
            stage: Stage::Running(running),
            ..
        }) = self.lines.get_mut(line as usize)
        {
            return match running.index(sample.time_ns) {
                Ok(index) => {
                    out.push(record(line, index, sample));
                    Ok(())
                }
                Err(why) => Err(why.fault(sample, running).at(self.place(sample))),
            };
        }
        self.begin(line, sample, out)
    }

    #[cold]
    fn begin(
        &mut self,
        line: u32,
        sample: Sample,
        out: &mut Vec<LightRecord>,
    ) -> Result<(), Fault> {
        while self.lines.len() <= line as usize {
            self.lines.push(Line {
                rate: None,
                stage: Stage::Head(Vec::new()),
            });
        }
        if let Stage::Head(head) = &mut self.lines[line as usize].stage {
            head.push(sample);
            if head.len() == HEAD {
                return self.settle(line, out);
            }
        }
        Ok(())
    }

    /// Hands on what is still held back; the file has ended. With a fault, that of the earliest row.
    pub(super) fn finish(&mut self, out: &mut Vec<LightRecord>) -> Result<(), Fault> {
        let mut first: Option<(u64, Fault)> = None;
        for line in 0..self.lines.len() as u32 {
            if let Err(fault) = self.settle(line, out) {
                let row = match fault.place() {
                    Some(&Place::Line { line, .. }) => line,
                    _ => 0,
                };
                if first.as_ref().is_none_or(|&(other, _)| row < other) {
                    first = Some((row, fault));
                }
            }
        }
        first.map_or(Ok(()), |(_, fault)| Err(fault))
    }

    /// Tells the spacing of a line from its head, and hands that on.
    fn settle(&mut self, line: u32, out: &mut Vec<LightRecord>) -> Result<(), Fault> {
        let state = &mut self.lines[line as usize];
        let Stage::Head(head) = &mut state.stage else {
            return Ok(());
        };
        let head = std::mem::take(head);
        let Some((&first, rest)) = head.split_first() else {
            return Ok(());
        };
        out.push(record(line, 0, first));
        let Some(&second) = rest.first() else {
            return Ok(());
        };
        let steps = rising_steps(&head);
        let Some(fit) = fit(&steps) else {
            let why = if steps.is_empty() {
                OffGrid::NotLater
            } else {
                OffGrid::TooFar
            };
            let fault = why.fault(second, &Running::new(first.time_ns, 1.0, 0.0));
            return Err(fault.at(self.place(second)));
        };
        state.rate = Some(fit.rate);
        let mut running = Running::new(first.time_ns, fit.rate.period_ns(), fit.ahead);
        let mut fault = None;
        for &sample in rest {
            match running.index(sample.time_ns) {
                Ok(index) => out.push(record(line, index, sample)),
                Err(why) => {
                    fault = Some(why.fault(sample, &running).at(self.place(sample)));
                    break;
                }
            }
        }
        self.lines[line as usize].stage = Stage::Running(running);
        fault.map_or(Ok(()), Err)
    }

    fn place(&self, sample: Sample) -> Place {
        Place::line(&self.file, sample.row)
    }
}

fn record(line: u32, index: u64, sample: Sample) -> LightRecord {
    LightRecord {
        line,
        index,
        time_ns: sample.time_ns,
        counts: sample.counts,
    }
}

/// The steps up to the first time that is not later than the one before it.
fn rising_steps(head: &[Sample]) -> Vec<u64> {
    head.windows(2)
        .map_while(|pair| {
            let (before, after) = (pair[0].time_ns, pair[1].time_ns);
            (after > before).then(|| after.abs_diff(before))
        })
        .collect()
}

/// A grid as the head of a line tells it.
struct Fit {
    rate: Rate,
    /// How far it stands behind the first sample, ns.
    ahead: f64,
}

/// `None` without steps, or beyond [`LONGEST_NS`].
///
/// Medians, so that one time in the wrong place spoils nothing but itself.
fn fit(steps: &[u64]) -> Option<Fit> {
    let mut rough = Running::new(0, one_sample(steps)?, 0.0);
    let mut points = vec![(0_u64, 0_u64)];
    let mut ns = 0;
    for &step in steps {
        ns += step;
        let (samples, miss) = rough.due(step);
        rough.follow(samples, miss);
        points.push((rough.index, ns));
    }
    let rate = spacing(&points)?;
    Some(Fit {
        rate,
        ahead: phase(&points, rate.period_ns()),
    })
}

/// The median of what the points stand behind the grid of the first one, ns, as long as they make one grid.
fn phase(points: &[(u64, u64)], period: f64) -> f64 {
    let (mut least, mut most, mut residuals) = (0.0_f64, 0.0_f64, Vec::new());
    for &(index, ns) in points {
        let residual = ns as f64 - index as f64 * period;
        if residual.max(most) - residual.min(least) >= period / 2.0 {
            break;
        }
        least = least.min(residual);
        most = most.max(residual);
        residuals.push(residual);
    }
    let middle = residuals.len() / 2;
    let (_, &mut median, _) = residuals.select_nth_unstable_by(middle, f64::total_cmp);
    // All of them lie within a quarter of a sample of it.
    median.max(most - period / 4.0).min(least + period / 4.0)
}

/// The mean of the steps that are of one sample, ns.
fn one_sample(steps: &[u64]) -> Option<f64> {
    let mut sorted = steps.to_vec();
    sorted.sort_unstable();
    let mut mean = *sorted.get(sorted.len().checked_sub(1)? / 2)? as f64;
    // Jitter moves the median, the mean of what lies around it hardly.
    for _ in 0..3 {
        let singles: Vec<f64> = steps
            .iter()
            .map(|&step| step as f64)
            .filter(|step| (0.5 * mean..=1.5 * mean).contains(step))
            .collect();
        if !singles.is_empty() {
            mean = singles.iter().sum::<f64>() / singles.len() as f64;
        }
    }
    (mean <= LONGEST_NS).then_some(mean)
}

/// The median of the spacings between all pairs of points, which is exact where the times are.
fn spacing(points: &[(u64, u64)]) -> Option<Rate> {
    let mut slopes = Vec::with_capacity(points.len() * points.len() / 2);
    for (at, from) in points.iter().enumerate() {
        for to in &points[at + 1..] {
            let (samples, ns) = (to.0 - from.0, to.1 - from.1);
            if samples > 0 {
                slopes.push((ns as f64 / samples as f64, samples, ns));
            }
        }
    }
    let middle = slopes.len().checked_sub(1)? / 2;
    let (_, &mut (_, samples, ns), _) =
        slopes.select_nth_unstable_by(middle, |a, b| a.0.total_cmp(&b.0));
    Rate::new(samples, ns)
}

/// A grid being followed.
struct Running {
    period: f64,
    last_ns: i64,
    /// How far the grid stands behind the last time, ns.
    ahead: f64,
    index: u64,
}

/// Why a time is no sample.
enum OffGrid {
    NotLater,
    TooFar,
    Between { samples: f64 },
}

impl Running {
    fn new(first_ns: i64, period: f64, ahead: f64) -> Self {
        Self {
            period,
            last_ns: first_ns,
            ahead,
            index: 0,
        }
    }

    /// The number of the sample at `time_ns`.
    #[inline]
    fn index(&mut self, time_ns: i64) -> Result<u64, OffGrid> {
        if time_ns <= self.last_ns {
            return Err(OffGrid::NotLater);
        }
        let (steps, miss) = self.due(time_ns.abs_diff(self.last_ns));
        if steps < 1.0 || (steps <= FAR as f64 && miss.abs() > self.period / 4.0) {
            return Err(OffGrid::Between {
                samples: steps + miss / self.period,
            });
        }
        self.follow(steps, miss);
        self.last_ns = time_ns;
        Ok(self.index)
    }

    /// How many samples of the grid lie in the next `step` ns, and the rest in ns.
    #[inline]
    fn due(&self, step: u64) -> (f64, f64) {
        let due = step as f64 - self.ahead;
        let samples = (due / self.period).round();
        (samples, due - samples * self.period)
    }

    /// Goes on to the sample there.
    #[inline]
    fn follow(&mut self, samples: f64, miss: f64) {
        if samples > FAR as f64 {
            self.ahead = 0.0;
        } else {
            self.ahead = miss * (FOLLOW - 1.0);
            self.period += miss * FOLLOW_SPACING / samples.max(1.0);
        }
        // A step of the longest time there is, in periods of 1 ns, still fits; their sum need not.
        self.index = self.index.saturating_add(samples as u64);
    }
}

impl OffGrid {
    #[cold]
    fn fault(&self, sample: Sample, grid: &Running) -> Fault {
        let (time_ns, last_ns) = (sample.time_ns, grid.last_ns);
        match self {
            Self::NotLater => Fault::new(
                format!("the time {time_ns} ns behind {last_ns} ns"),
                "times of a line that grow by a nanosecond or more",
                "sort the rows; samples closer than a nanosecond have to be resampled",
            ),
            Self::TooFar => Fault::new(
                format!("the time {time_ns} ns behind {last_ns} ns"),
                "a sample at least every 1000 s",
                "check the time unit",
            ),
            Self::Between { samples } => Fault::new(
                format!(
                    "the time {time_ns} ns, {samples:.2} samples of {:.1} ns behind the last one",
                    grid.period
                ),
                "a whole number of samples, to a quarter of one",
                "resample the recording to one even rate, or cut it here",
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn run(times: &[i64]) -> (Vec<u64>, Option<Rate>, Option<Fault>) {
        let mut grids = Grids::new("t");
        let mut out = Vec::new();
        let mut fault = None;
        for (k, &time_ns) in times.iter().enumerate() {
            let sample = Sample {
                time_ns,
                counts: 0,
                row: k as u64 + 1,
            };
            if let Err(why) = grids.take(0, sample, &mut out) {
                fault = Some(why);
                break;
            }
        }
        if fault.is_none() {
            fault = grids.finish(&mut out).err();
        }
        (
            out.iter().map(|record| record.index).collect(),
            grids.rate(0),
            fault,
        )
    }

    #[test]
    fn an_exact_spacing_is_found_exactly() {
        let times: Vec<i64> = (0..1000).map(|k| -7 + 5000 * k).collect();
        let (indices, rate, fault) = run(&times);
        assert_eq!(fault, None);
        assert_eq!(rate, Rate::new(1, 5000));
        assert!(indices.iter().copied().eq(0..1000));
    }

    #[test]
    fn rounded_times_keep_their_rate_over_hours() {
        for (hz, unit) in [
            (44_100_u64, 1),
            (192_000, 1),
            (44_100, 1000),
            (400_000, 1000),
        ] {
            let true_rate = Rate::new(hz, 1_000_000_000 / unit).unwrap();
            let count = 3_000_000_u64;
            let times: Vec<i64> = (0..count)
                .map(|k| true_rate.time_ns(k).unwrap() * unit as i64)
                .collect();
            let (indices, rate, fault) = run(&times);
            assert_eq!(fault, None, "{hz} {unit}");
            assert!(indices.iter().copied().eq(0..count), "{hz} {unit}");
            // To a thousandth of what rounding moves a single step.
            let error = rate.unwrap().period_ns() * hz as f64 / 1e9 - 1.0;
            let bound = unit as f64 * hz as f64 / 1e9 / 1000.0;
            assert!(error.abs() < bound, "{hz} {unit} {error:e} {bound:e}");
            if unit == 1 {
                assert_eq!(rate.unwrap().hz(), hz);
            }
        }
    }

    #[test]
    fn a_clock_that_drifts_is_followed() {
        // 200 ppm at the end against the beginning, as a ceramic resonator that warms up.
        let times: Vec<i64> = (0..2_000_000_i64)
            .map(|k| 5000 * k + (5000 * k) / 1_000_000 * k / 10_000)
            .collect();
        let (indices, _, fault) = run(&times);
        assert_eq!(fault, None);
        assert!(indices.iter().copied().eq(0..2_000_000));
    }

    #[test]
    fn gaps_are_jumps() {
        let kept = |k: &i64| !matches!(k, 3..=10 | 400..=1200 | 2000..=90_000);
        let all: Vec<i64> = (0..100_000).filter(kept).collect();
        let times: Vec<i64> = all.iter().map(|k| k * 22_676).collect();
        let (indices, _, fault) = run(&times);
        assert_eq!(fault, None);
        assert!(indices.iter().map(|&index| index as i64).eq(all));
    }

    #[test]
    fn other_times_are_refused_where_they_stand() {
        for at in [5, 250, 254, 255, 256, 300] {
            for (moved, word) in [
                (2000, "a quarter of one"),
                (-5000, "sort the rows"),
                (-2000, "resample"),
            ] {
                let times: Vec<i64> = (0..600)
                    .map(|k| 5000 * k + if k == at { moved } else { 0 })
                    .collect();
                let (indices, _, fault) = run(&times);
                let message = fault.expect("a fault").to_string();
                assert!(message.starts_with(&format!("t:{}: ", at + 1)), "{message}");
                assert!(message.contains(word), "{message}");
                assert_eq!(indices.len(), at as usize);
            }
        }
    }

    #[test]
    fn few_rows_tell_what_they_can() {
        assert_eq!(run(&[]), (vec![], None, None));
        assert_eq!(run(&[9]), (vec![0], None, None));
        assert_eq!(run(&[9, 14]), (vec![0, 1], Rate::new(1, 5), None));
        let (indices, rate, fault) = run(&[9, 9]);
        assert_eq!((indices, rate), (vec![0], None));
        assert!(fault.unwrap().to_string().contains("9 ns behind 9 ns"));
        let (indices, _, fault) = run(&[i64::MIN, i64::MAX]);
        assert_eq!(indices, [0]);
        assert!(fault.unwrap().to_string().contains("check the time unit"));
    }

    proptest! {
        #[test]
        fn jitter_below_a_quarter_changes_no_index(
            period in 64.0..1e7_f64,
            jitters in proptest::collection::vec(-1.0..1.0_f64, 300..900),
            gaps in proptest::collection::vec((0..900_usize, 1..40_u64), 0..4),
        ) {
            let (mut index, mut indices, mut times) = (0_u64, Vec::new(), Vec::new());
            for (k, jitter) in jitters.iter().enumerate() {
                times.push(((index as f64 + jitter / 7.0) * period).round() as i64);
                indices.push(index);
                index += 1 + gaps.iter().filter(|gap| gap.0 == k).map(|gap| gap.1).sum::<u64>();
            }
            let (found, rate, fault) = run(&times);
            prop_assert_eq!(fault, None);
            prop_assert_eq!(found, indices);
            let error = rate.unwrap().period_ns() / period - 1.0;
            prop_assert!(error.abs() < 0.02, "{}", error);
        }

        #[test]
        fn any_times_get_an_answer(times in proptest::collection::vec(any::<i64>(), 0..600)) {
            run(&times);
            let mut sorted = times;
            sorted.sort_unstable();
            let (indices, ..) = run(&sorted);
            prop_assert!(indices.windows(2).all(|pair| pair[0] < pair[1]));
        }
    }
}
