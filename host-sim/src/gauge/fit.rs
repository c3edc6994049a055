//! Lines and warm-ups through measured points: by least squares, by medians, with an exponential.

/// A line by least squares.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// At zero.
    pub offset: f64,
    /// Its standard uncertainty.
    pub offset_u: f64,
    /// Rise over one.
    pub slope: f64,
    /// Its standard uncertainty.
    pub slope_u: f64,
    /// Standard deviation of what is left.
    pub scatter: f64,
}

/// The line through `(x, y)` by least squares; none below three points or where all stand at one x.
#[must_use]
pub fn line(points: &[(f64, f64)]) -> Option<Line> {
    let n = points.len() as f64;
    if points.len() < 3 {
        return None;
    }
    // About the means, so that no digits cancel.
    let mean_x = points.iter().map(|(x, _)| x).sum::<f64>() / n;
    let mean_y = points.iter().map(|(_, y)| y).sum::<f64>() / n;
    let (mut xx, mut xy) = (0.0, 0.0);
    for (x, y) in points {
        xx += (x - mean_x) * (x - mean_x);
        xy += (x - mean_x) * (y - mean_y);
    }
    if xx <= 0.0 {
        return None;
    }
    let slope = xy / xx;
    let offset = mean_y - slope * mean_x;
    let left = |(x, y): &(f64, f64)| {
        let off = (y - mean_y) - slope * (x - mean_x);
        off * off
    };
    let variance = points.iter().map(left).sum::<f64>() / (n - 2.0);
    Some(Line {
        offset,
        offset_u: (variance * (1.0 / n + mean_x * mean_x / xx)).sqrt(),
        slope,
        slope_u: (variance / xx).sqrt(),
        scatter: variance.sqrt(),
    })
}

/// The median of the slopes of all pairs of values one apart each (Theil and Sen): a chip among them
/// hardly moves it. None below two values.
#[must_use]
pub fn median_slope(values: &[f64]) -> Option<f64> {
    let mut slopes: Vec<f64> = Vec::new();
    for (k, late) in values.iter().enumerate() {
        let earlier = values[..k].iter().enumerate();
        slopes.extend(earlier.map(|(j, early)| (late - early) / (k - j) as f64));
    }
    if slopes.is_empty() {
        return None;
    }
    slopes.sort_by(f64::total_cmp);
    let half = slopes.len() / 2;
    Some(f64::midpoint(slopes[half], slopes[slopes.len() - 1 - half]))
}

/// A machine that warms up: `y = end − rise·exp(−t/τ)`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WarmUp {
    /// Where it ends.
    pub end: f64,
    /// What was left at time zero.
    pub rise: f64,
    /// The time constant, in the unit of the times.
    pub tau: f64,
    /// Standard deviation of what is left.
    pub scatter: f64,
}

/// Steps of the search for the time constant: over the ratio of its bounds, then by thirds.
const TRIED: u32 = 40;
const THIRDS: u32 = 40;

/// The warm-up through `(t, y)` with a time constant within bounds, by least squares; none below
/// four points, without a course of time, or where the points end before one time constant has
/// passed: the end is then hardly more than guessed (at a third of it half of them are a fifth off
/// or more).
#[must_use]
pub fn warm_up(points: &[(f64, f64)], shortest: f64, longest: f64) -> Option<WarmUp> {
    let first = points.iter().map(|(t, _)| *t).fold(f64::INFINITY, f64::min);
    let last = points.iter().map(|(t, _)| *t).fold(first, f64::max);
    if points.len() < 4 || shortest <= 0.0 || longest < shortest {
        return None;
    }
    let at = |tau: f64| {
        let bent: Vec<(f64, f64)> = points
            .iter()
            .map(|(t, y)| (1.0 - (-(t - first) / tau).exp(), *y))
            .collect();
        line(&bent)
    };
    let left = |tau: f64| at(tau).map_or(f64::INFINITY, |line| line.scatter);
    let ratio = longest / shortest;
    let of = |k: f64| shortest * ratio.powf(k / f64::from(TRIED));
    let best = (0..=TRIED)
        .min_by(|a, b| left(of(f64::from(*a))).total_cmp(&left(of(f64::from(*b)))))
        .map_or(0.0, f64::from);
    let (mut low, mut high) = ((best - 1.0).max(0.0), (best + 1.0).min(f64::from(TRIED)));
    for _ in 0..THIRDS {
        let third = (high - low) / 3.0;
        if left(of(low + third)) < left(of(high - third)) {
            high -= third;
        } else {
            low += third;
        }
    }
    let tau = of(f64::midpoint(low, high));
    let found = at(tau).filter(|_| last - first >= tau)?;
    Some(WarmUp {
        end: found.offset + found.slope,
        rise: found.slope,
        tau,
        scatter: found.scatter,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_and_a_median_find_a_straight_course() {
        let points: Vec<(f64, f64)> = (0..9)
            .map(|k| (f64::from(k), 3.0 - 2.0 * f64::from(k)))
            .collect();
        let found = line(&points).unwrap();
        assert!((found.slope + 2.0).abs() < 1e-12 && (found.offset - 3.0).abs() < 1e-12);
        let mut values: Vec<f64> = points.iter().map(|point| point.1).collect();
        values[8] = 1e6;
        assert_eq!(median_slope(&values), Some(-2.0));
        assert_eq!(median_slope(&[1.0]), None);
        assert_eq!(line(&[(1.0, 1.0), (1.0, 2.0), (1.0, 3.0)]), None);
    }

    #[test]
    fn a_warm_up_is_told_after_a_time_constant() {
        let points = |minutes: u32| -> Vec<(f64, f64)> {
            (0..=minutes / 5)
                .map(|k| {
                    let t = f64::from(5 * k);
                    (t, 7.0 + 30.0 * (1.0 - (-t / 45.0).exp()))
                })
                .collect()
        };
        let found = warm_up(&points(60), 5.0, 300.0).unwrap();
        assert!((found.tau - 45.0).abs() < 1e-3, "{found:?}");
        assert!((found.end - 37.0).abs() < 1e-3 && (found.rise - 30.0).abs() < 1e-3);
        assert_eq!(warm_up(&points(40), 5.0, 300.0), None);
        assert_eq!(warm_up(&points(10), 5.0, 300.0), None);
    }
}
