//! Axes: where a value lies in the picture and which values get a mark.

/// How values spread along an axis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Scale {
    /// Evenly.
    Linear,
    /// By ratio; values must be positive.
    Log,
    /// Evenly between -`linear` and `linear`, by ratio beyond: one decade is as long as 0 to `linear`.
    SymLog {
        /// Where the even part ends, in the unit of the axis.
        linear: f64,
    },
}

impl Scale {
    /// The value in the measure that is even on paper.
    fn warp(self, value: f64) -> f64 {
        match self {
            Self::Linear => value,
            Self::Log => value.max(f64::MIN_POSITIVE).log10(),
            Self::SymLog { linear } if value.abs() <= linear => value / linear,
            Self::SymLog { linear } => value.signum() * (1.0 + (value.abs() / linear).log10()),
        }
    }
}

/// A stretch of values laid along a stretch of the picture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Axis {
    scale: Scale,
    lo: f64,
    hi: f64,
    start: f64,
    end: f64,
}

/// Most ticks that an axis ever gets, whatever it is asked for.
const MOST_TICKS: usize = 40;

impl Axis {
    /// Values `lo` to `hi` from `start` to `end`, in units of the picture. A stretch that is empty, upside down or
    /// not finite becomes a short one about its begin.
    pub(super) fn new(scale: Scale, (lo, hi): (f64, f64), (start, end): (f64, f64)) -> Self {
        let lo = if lo.is_finite() { lo } else { 0.0 };
        let lo = if scale == Scale::Log && lo <= 0.0 {
            1.0
        } else {
            lo
        };
        let (lo, hi) = match (hi.is_finite() && hi > lo, scale) {
            (true, _) => (lo, hi),
            (false, Scale::Log) => (lo / 2.0, (lo * 2.0).min(f64::MAX)),
            (false, _) => (lo - 1.0, lo + 1.0),
        };
        Self {
            scale,
            lo,
            hi,
            start,
            end,
        }
    }

    /// Where `value` lies, kept within the axis.
    pub(super) fn at(&self, value: f64) -> f64 {
        let (lo, hi) = (self.scale.warp(self.lo), self.scale.warp(self.hi));
        let share = (self.scale.warp(value) - lo) / (hi - lo);
        self.start + share.clamp(0.0, 1.0) * (self.end - self.start)
    }

    /// First and last value on the axis.
    pub(super) fn range(&self) -> (f64, f64) {
        (self.lo, self.hi)
    }

    /// Whether `value` lies on the axis.
    pub(super) fn holds(&self, value: f64) -> bool {
        (self.lo..=self.hi).contains(&value)
    }

    /// Round values on the axis in rising order, about `wanted` of them at most: multiples of 1, 2 or 5 on an even
    /// axis; on the others decades, with 2 and 5 times those where decades alone would be too few.
    pub(super) fn ticks(&self, wanted: usize) -> Vec<f64> {
        let mut ticks = match self.scale {
            Scale::Linear => {
                let step = nice_step(self.hi - self.lo, wanted);
                let first = (self.lo / step - 1e-9).ceil();
                (0..MOST_TICKS).map(|k| (first + k as f64) * step).collect()
            }
            Scale::Log => decades(self.lo, self.hi, wanted),
            Scale::SymLog { linear } => {
                let beyond = decades(linear, self.hi.abs().max(self.lo.abs()), wanted / 2);
                let mirrored = beyond.iter().rev().map(|v| -v);
                mirrored
                    .chain([0.0])
                    .chain(beyond.iter().copied())
                    .collect::<Vec<_>>()
            }
        };
        let slack = (self.hi - self.lo) * 1e-9;
        ticks.retain(|&tick| (self.lo - slack..=self.hi + slack).contains(&tick));
        ticks
    }
}

/// The smallest of 1, 2, 5 times a power of ten that cuts `span` into at most `wanted` pieces.
pub(super) fn nice_step(span: f64, wanted: usize) -> f64 {
    let rough = span / wanted.max(1) as f64;
    if !rough.is_normal() || rough < 0.0 {
        return 1.0;
    }
    let decade = 10_f64.powf(rough.log10().floor());
    let steps = [1.0, 2.0, 5.0, 10.0].map(|factor| factor * decade);
    *steps
        .iter()
        .find(|&&step| step >= rough * (1.0 - 1e-9))
        .unwrap_or(&steps[3])
}

/// Powers of ten from `lo` to `hi`, with 2 and 5 times those if there are fewer than three, and only every second
/// or third if there are more than `wanted`.
fn decades(lo: f64, hi: f64, wanted: usize) -> Vec<f64> {
    let exponents = lo.log10().floor() as i32..=hi.log10().ceil() as i32;
    let inside = |value: &f64| (lo * (1.0 - 1e-9)..=hi * (1.0 + 1e-9)).contains(value);
    let of = |factors: &'static [f64]| {
        let all = exponents
            .clone()
            .flat_map(move |e| factors.iter().map(move |f| f * 10_f64.powi(e)));
        all.filter(inside).collect::<Vec<_>>()
    };
    let plain = of(&[1.0]);
    if plain.len() < 3 {
        return of(&[1.0, 2.0, 5.0]);
    }
    let every = plain.len().div_ceil(wanted.max(1));
    plain.into_iter().step_by(every).collect()
}

/// Digits behind the point that tell neighbours `step` apart.
pub(super) fn decimals(step: f64) -> usize {
    if step.is_normal() {
        (-step.abs().log10() - 1e-9).ceil().clamp(0.0, 9.0) as usize
    } else {
        0
    }
}

/// `value` with `decimals` digits behind the point, thousands set apart, and a true minus sign.
pub(super) fn number(value: f64, decimals: usize) -> String {
    let plain = format!("{:.*}", decimals, value.abs());
    let (whole, rest) = plain.split_at(plain.find('.').unwrap_or(plain.len()));
    let minus = value < 0.0 && plain.bytes().any(|b| (b'1'..=b'9').contains(&b));
    let mut text = String::from(if minus { "\u{2212}" } else { "" });
    let grouped = whole.len() > 4;
    for (k, digit) in whole.chars().enumerate() {
        if grouped && k > 0 && (whole.len() - k) % 3 == 0 {
            text.push('\u{202f}');
        }
        text.push(digit);
    }
    text + rest
}

/// `value`, given in billionths of `unit`, with the prefix that leaves the shortest number: 2500 of s is `2.5 µs`.
pub(super) fn prefixed(value: f64, unit: &str) -> String {
    let size = value.abs();
    let (factor, prefix) = match size {
        _ if size >= 1e9 => (1e-9, ""),
        _ if size >= 1e6 => (1e-6, "m"),
        _ if size >= 1e3 => (1e-3, "µ"),
        _ => (1.0, "n"),
    };
    let scaled = value * factor;
    // Round values stay short; others keep three digits.
    let digits =
        (0..3).find(|&d| (scaled - format!("{scaled:.d$}").parse().unwrap_or(scaled)).abs() < 1e-9);
    format!(
        "{} {prefix}{unit}",
        number(
            scaled,
            digits.unwrap_or(if scaled.abs() < 10.0 { 2 } else { 1 })
        )
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    fn linear(lo: f64, hi: f64, wanted: usize) -> Vec<f64> {
        Axis::new(Scale::Linear, (lo, hi), (0.0, 1.0)).ticks(wanted)
    }

    #[test]
    fn steps_are_one_two_or_five() {
        for (span, wanted, step) in [
            (10.0, 5, 2.0),
            (10.0, 10, 1.0),
            (7.0, 3, 5.0),
            (0.9, 6, 0.2),
            (1200.0, 7, 200.0),
        ] {
            assert!(
                (nice_step(span, wanted) - step).abs() < 1e-12 * step,
                "{span} {wanted}"
            );
        }
    }

    #[test]
    fn even_ticks_are_round_and_inside() {
        assert_eq!(linear(-3.2, 7.1, 6), [-2.0, 0.0, 2.0, 4.0, 6.0]);
        assert_eq!(
            linear(0.0, 1000.0, 5),
            [0.0, 200.0, 400.0, 600.0, 800.0, 1000.0]
        );
        for wanted in 1..12 {
            let ticks = linear(-1.234e6, 9.876e6, wanted);
            assert!(ticks.len() <= wanted + 1 && !ticks.is_empty());
        }
    }

    #[test]
    fn log_ticks_are_decades_and_finer_where_few() {
        let log = |lo, hi| Axis::new(Scale::Log, (lo, hi), (0.0, 1.0)).ticks(9);
        assert_eq!(log(0.1, 5000.0).len(), 5);
        assert_eq!(log(1.0, 60.0), [1.0, 2.0, 5.0, 10.0, 20.0, 50.0]);
    }

    #[test]
    fn a_symmetric_axis_meets_itself_at_zero_and_at_the_bend() {
        let axis = Axis::new(
            Scale::SymLog { linear: 10.0 },
            (-1000.0, 1000.0),
            (600.0, 0.0),
        );
        let near = |value, place: f64| (axis.at(value) - place).abs() < 1e-9;
        assert!(
            near(0.0, 300.0) && near(10.0, 200.0) && near(100.0, 100.0) && near(-1000.0, 600.0)
        );
        assert!(near(5.0, 250.0) && near(1e9, 0.0));
        assert_eq!(
            axis.ticks(9),
            [-1000.0, -100.0, -10.0, 0.0, 10.0, 100.0, 1000.0]
        );
    }

    #[test]
    fn hopeless_stretches_still_give_finite_places() {
        let values = [
            f64::NAN,
            f64::INFINITY,
            f64::NEG_INFINITY,
            0.0,
            -1.0,
            1e308,
            f64::MAX,
        ];
        for scale in [Scale::Linear, Scale::Log, Scale::SymLog { linear: 10.0 }] {
            for lo in values {
                for hi in values {
                    let axis = Axis::new(scale, (lo, hi), (0.0, 100.0));
                    assert!(axis.ticks(5).len() <= 2 * MOST_TICKS + 1);
                    assert!(axis.at(1.0).is_finite() || axis.at(1.0).is_nan());
                }
            }
        }
    }

    #[test]
    fn numbers_read_well() {
        assert_eq!(number(-1234.5, 1), "\u{2212}1234.5");
        assert_eq!(number(1_234_567.0, 0), "1\u{202f}234\u{202f}567");
        assert_eq!(number(-0.004, 2), "0.00");
        assert_eq!(
            (decimals(0.2), decimals(1.0), decimals(50.0), decimals(0.05)),
            (1, 0, 0, 2)
        );
        assert_eq!(prefixed(2500.0, "s"), "2.5 µs");
        assert_eq!(prefixed(-3e9, "s"), "\u{2212}3 s");
        assert_eq!(prefixed(1_048_576.0, "s"), "1.05 ms");
    }
}
