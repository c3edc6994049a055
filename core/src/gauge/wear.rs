//! Wear: how fast a tool becomes shorter, and how many cycles it has left.

use crate::budget::{k_milli, Dof};

/// Lengths may lie this far from the first, either way, nm: 100 mm.
const FURTHEST_NM: u64 = 100_000_000;
/// The most cycles.
const MOST: u32 = 1 << 20;
/// Cycles from which on there is a trend.
const FEWEST: u32 = 6;

/// What wear comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Trend {
    /// Wear a cycle, pm; above 0 where the tool becomes shorter.
    pub rate_pm: i64,
    /// Standard deviation of the wear of one cycle about it, pm.
    pub wear_pm: u32,
    /// Standard deviation of one measurement, pm.
    pub measure_pm: u32,
}

/// Cycles left, in thousandths; the bounds hold in 95 % of cases.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct CyclesLeft {
    /// On average.
    pub mean_milli: u64,
    /// At least.
    pub low_milli: u64,
    /// At most.
    pub high_milli: u64,
}

/// Lengths after each cycle of use, in O(1) memory.
///
/// Wear adds up, and so do its deviations: a straight line through the lengths would be too sure
/// of itself. The rate is (first − last)/(n − 1); the increments about it have the variance
/// `γ₀ = s_w² + 2·s_m²` and the covariance with their neighbours `γ₁ = −s_m²` (random walk with
/// noise, textbook). The limit is reached after `d/r` cycles on average with the variance
/// `d·s_w²/r³` (first passage of a Wiener process, textbook), beside the doubt of the rate.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Wear {
    count: u32,
    first_nm: i64,
    newest_nm: i64,
    /// The increment that came first, and the newest.
    step_first: i64,
    step_newest: i64,
    squares: u128,
    products: i128,
    /// The level, without the noise of the newest measurement, pm from the first.
    level_pm: i64,
}

impl Wear {
    /// A new tool.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            count: 0,
            first_nm: 0,
            newest_nm: 0,
            step_first: 0,
            step_newest: 0,
            squares: 0,
            products: 0,
            level_pm: 0,
        }
    }

    /// Takes the length after a cycle, nm, and tells how far it lies from the prediction, pm: what
    /// a [`Cusum`](super::Cusum) watches. `None` for the first of a tool and for one that is not
    /// taken, beyond 100 mm from the first or after 2^20 cycles.
    #[must_use]
    pub fn push(&mut self, length_nm: i64) -> Option<i64> {
        if self.count == 0 {
            self.count = 1;
            self.first_nm = length_nm;
            self.newest_nm = length_nm;
            return None;
        }
        if length_nm.abs_diff(self.first_nm) > FURTHEST_NM || self.count >= MOST {
            return None;
        }
        let trend = self.trend();
        let rate_pm = trend.map_or(0, |trend| trend.rate_pm);
        let predicted_pm = self.level_pm.saturating_sub(rate_pm);
        // Steps up to 2^28, their products up to 2^56, 2^20 of them.
        let step = length_nm.saturating_sub(self.newest_nm);
        self.squares = self
            .squares
            .saturating_add(u128::from(step.unsigned_abs()).pow(2));
        if self.count == 1 {
            self.step_first = step;
        } else {
            let product = i128::from(step).saturating_mul(i128::from(self.step_newest));
            self.products = self.products.saturating_add(product);
        }
        self.step_newest = step;
        self.newest_nm = length_nm;
        self.count += 1;
        let from_first_pm = length_nm
            .saturating_sub(self.first_nm)
            .saturating_mul(1_000);
        let innovation_pm = from_first_pm.saturating_sub(predicted_pm);
        // What was predicted without a trend is no prediction: the measurement counts alone.
        let gain_16 = trend.map_or(1 << 16, |_| self.gain_16());
        let gained = i128::from(innovation_pm) * i128::from(gain_16);
        self.level_pm = predicted_pm.saturating_add((gained >> 16) as i64);
        Some(innovation_pm)
    }

    /// Cycles so far.
    #[must_use]
    pub const fn count(&self) -> u32 {
        self.count
    }

    /// The length without the noise of the newest measurement, nm; `None` before the first.
    #[must_use]
    pub fn level_nm(&self) -> Option<i64> {
        let from_first = crate::rounded::quotient(self.level_pm, THOUSAND);
        (self.count > 0).then(|| self.first_nm.saturating_add(from_first))
    }

    /// The trend; `None` below six cycles.
    #[must_use]
    pub fn trend(&self) -> Option<Trend> {
        if self.count < FEWEST {
            return None;
        }
        let steps = i128::from(self.count - 1);
        let way = i128::from(self.newest_nm.saturating_sub(self.first_nm));
        // Times the number of steps, squared: Σ(x + r)² and Σ(x + r)(x′ + r) with r = −way/steps.
        let squares = i128::try_from(self.squares).ok()? * steps * steps - steps * way * way;
        let ends = i128::from(self.step_first) + i128::from(self.step_newest);
        let products = self.products * steps * steps - way * (2 * way - ends) * steps
            + way * way * (steps - 1);
        let variance = squares
            .checked_mul(1_000_000)?
            .checked_div(steps * steps * (steps - 1))?;
        let covariance = products
            .checked_mul(1_000_000)?
            .checked_div(steps * steps * (steps - 1))?;
        let measure = (-covariance).min(variance / 2).max(0);
        let wear = variance - 2 * measure;
        Some(Trend {
            rate_pm: i64::try_from((-way * 1_000).checked_div(steps)?).ok()?,
            wear_pm: root(wear),
            measure_pm: root(measure),
        })
    }

    /// How many cycles are left before the wear from `new_nm` (the length of the new tool) reaches
    /// `limit_nm`; `None` where there is no trend yet, the tool does not become shorter, or the
    /// bounds have no end.
    #[must_use]
    pub fn cycles_left(&self, new_nm: i64, limit_nm: u32) -> Option<CyclesLeft> {
        let trend = self.trend()?;
        let rate = u128::try_from(trend.rate_pm)
            .ok()
            .filter(|rate| *rate > 0)?;
        let worn_nm = new_nm.saturating_sub(self.level_nm()?);
        let left_nm = i64::from(limit_nm).saturating_sub(worn_nm).max(0);
        let left_pm = u128::from(left_nm.unsigned_abs()) * 1_000;
        let mean = (left_pm * 1_000).checked_div(rate)?;
        let steps = u128::from(self.count - 1);
        let measure = u128::from(trend.measure_pm).pow(2);
        let wear = self.cautious(u128::from(trend.wear_pm).pow(2), measure);
        // In thousandths of a cycle, squared: of the way to the limit, and of the rate over it.
        let rate_2 = rate.checked_mul(rate)?;
        let passage = mean.checked_mul(1_000)?.checked_mul(wear)?;
        let passage = passage.checked_div(rate_2)?;
        let rate_doubt = (wear * steps + 2 * measure).checked_div(steps * steps)?;
        let of_rate = mean.checked_mul(mean)?.checked_div(rate)?;
        let of_rate = of_rate.checked_mul(rate_doubt)?.checked_div(rate)?;
        // The level itself, about as doubtful as a measurement.
        let level = (measure * 1_000_000).checked_div(rate_2)?;
        let deviation = passage.checked_add(of_rate)?.checked_add(level)?.isqrt() + 1;
        let dof = u16::try_from(self.count - 2).unwrap_or(u16::MAX);
        let wide = deviation.checked_mul(u128::from(k_milli(Dof::N(dof))))? / 1_000 + 1;
        Some(CyclesLeft {
            mean_milli: u64::try_from(mean).ok()?,
            low_milli: u64::try_from(mean.saturating_sub(wide)).ok()?,
            high_milli: u64::try_from(mean.checked_add(wide)?).ok()?,
        })
    }

    /// `s_w²` with a fifth of its own standard deviation, `γ₀·√(6/n)`: what few cycles show of it is
    /// too little as often as too much, and too little makes an interval that does not hold. A
    /// fifth, as simulations at 15 and 30 cycles want it.
    fn cautious(&self, wear: u128, measure: u128) -> u128 {
        let all = wear + 2 * measure;
        let root_16 = ((6_u64 << 32).checked_div(u64::from(self.count))).map_or(0, u64::isqrt);
        let more = (all >> 16) * u128::from(root_16) / 5;
        all.min(wear + more)
    }

    /// Gain of the level, in 2^-16: `(√(q² + 4q) − q)/2` with `q = s_w²/s_m²` (steady state of the
    /// local level model), at least that of a line through all, `(4n − 2)/(n·(n + 1))` (both
    /// textbook): few cycles may show no scatter of the wear by chance. All of it while nothing is
    /// known.
    fn gain_16(&self) -> u32 {
        let Some(trend) = self.trend() else {
            return 1 << 16;
        };
        let n = u64::from(self.count);
        let line = ((4 * n - 2) << 16).checked_div(n * (n + 1)).unwrap_or(0);
        gain_16(trend.wear_pm, trend.measure_pm).max(line as u32)
    }
}

const THOUSAND: core::num::NonZeroU64 = match core::num::NonZeroU64::new(1_000) {
    Some(thousand) => thousand,
    None => core::num::NonZeroU64::MIN,
};

/// With both sides over s_m²: `(√(w²·(w² + 4m²)) − w²)/(2m²)`.
fn gain_16(wear_pm: u32, measure_pm: u32) -> u32 {
    let (w, m) = (u128::from(wear_pm).pow(2), u128::from(measure_pm).pow(2));
    // Only their ratio counts: below 2^60 each, so that the product is below 2^123. The root loses
    // less than 1 of 2^32 even for small ones.
    let wide = 128 - (w | m).leading_zeros();
    let spare = wide.saturating_sub(60);
    let (w, m) = (w >> spare, m >> spare);
    let root = (w * (w + 4 * m)).isqrt();
    match ((root - w) << 16).checked_div(2 * m) {
        Some(gain) => gain.min(1 << 16) as u32,
        None => 1 << 16,
    }
}

fn root(square: i128) -> u32 {
    let root = u128::try_from(square).unwrap_or(0).isqrt();
    u32::try_from(root).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Steady-state gains of the local level model, computed apart from this code.
    #[test]
    fn gains_are_those_of_the_closed_form() {
        for (wear_pm, gain) in [
            (100_000, 0.095_125),
            (316_228, 0.270_156),
            (1_000_000, 0.618_034),
            (3_162_278, 0.916_080),
        ] {
            let found = f64::from(gain_16(wear_pm, 1_000_000)) / 65_536.0;
            assert!((found - gain).abs() < 3e-5, "{found} {gain}");
        }
        assert_eq!((gain_16(5, 0), gain_16(0, 5)), (1 << 16, 0));
        // The widest scatter there is has the gain of its ratio.
        let widest = f64::from(gain_16(u32::MAX, u32::MAX)) / 65_536.0;
        assert!((widest - 0.618_034).abs() < 3e-5, "{widest}");
    }

    /// The first cycle with a prediction lies as near to it as its scatter, not a cycle's wear off.
    #[test]
    fn predictions_begin_where_the_trend_does() {
        let mut wear = Wear::new();
        let scatter = [0, 700, -400, 300, -600, 200];
        for k in 0..18_i64 {
            let off = scatter.get(k as usize % 6).copied().unwrap_or(0);
            let predicted = wear.trend().is_some();
            let innovation = wear.push(-20_000 * k - off);
            if predicted {
                let innovation = innovation.unwrap();
                assert!(innovation.abs() < 2_500_000, "{k}: {innovation}");
            }
        }
    }

    #[test]
    fn even_wear_is_told_exactly() {
        let mut wear = Wear::new();
        assert_eq!(wear.level_nm(), None);
        for k in 0..20 {
            let innovation = wear.push(30_000_000 - 20_000 * k);
            assert_eq!(innovation.is_some(), k > 0);
            if k >= 6 {
                assert_eq!(innovation, Some(0), "{k}");
            }
        }
        let trend = wear.trend().unwrap();
        assert_eq!(trend.rate_pm, 20_000_000);
        assert_eq!((trend.wear_pm, trend.measure_pm), (0, 0));
        assert_eq!(wear.level_nm(), Some(29_620_000));
        let left = wear.cycles_left(30_000_000, 600_000).unwrap();
        assert_eq!(left.mean_milli, 11_000);
        assert!(left.low_milli >= 10_995 && left.high_milli <= 11_005);
        let over = wear.cycles_left(30_000_000, 380_000).unwrap();
        assert_eq!(over.mean_milli, 0);
    }

    #[test]
    fn a_tool_that_does_not_wear_has_no_end() {
        let mut wear = Wear::new();
        for k in 0..10 {
            let _first = wear.push(1_000 + k % 2);
        }
        assert!(wear.cycles_left(1_000, 600_000).is_none());
        assert_eq!(wear.push(i64::MAX), None);
        assert_eq!(wear.count(), 10);
    }
}
