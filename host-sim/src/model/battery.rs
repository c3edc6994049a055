//! Packs of cells: charge, voltage and resistance over their life.
//!
//! A pack follows the table of its chemistry in the core, off by its lot (a
//! constant) and its shape (a slow wave over the charge), which together come
//! to the table's error at three standard deviations; a quarter of the
//! variance is the shape's. Capacity, resistance, what the electronics draw
//! and the gain of the charge counter scatter normally. Figures are typical,
//! from memory.
//!
//! Limits: cells of one pack are alike, so none is empty before its neighbour;
//! no recovery after a load, no self-discharge; a table of another shape than
//! the core's is not covered.

use rand_distr::{Distribution, StandardNormal, StandardUniform};
use trueonset::battery::{Chemistry, Load, Pack, FULL_SHARE};

use super::rng::Rng;

/// Standard deviation of a reading of the voltage, mV.
pub const NOISE_MV: f64 = 2.0;
/// Standard deviations, relative.
const CAPACITY: f64 = 0.05;
const RESISTANCE: f64 = 0.2;
const GAIN: f64 = 0.02;
/// Share of the table's error that is the lot's; the shape has the rest of the variance.
const LOT: f64 = 0.866;

/// What is left in a pack, and what is its own.
#[derive(Debug, Clone)]
pub struct Cells {
    pack: Pack,
    /// Charge of the full pack and charge left, µAh.
    capacity: f64,
    left: f64,
    /// Resistance of the full pack at 22 °C, mΩ.
    milliohms: f64,
    /// Of a cell, mV: constant, and height of the wave.
    lot_mv: f64,
    shape_mv: f64,
    phase: f64,
    /// What the electronics draw and what the counter shows, against what is stated.
    draws: f64,
    counts: f64,
}

impl Cells {
    /// A full pack out of the shop.
    #[must_use]
    pub fn drawn(pack: Pack, rng: &mut Rng) -> Self {
        let mut normal = || -> f64 { StandardNormal.sample(rng) };
        let sigma_mv = f64::from(pack.chemistry.error_mv()) / 3.0;
        let typical = f64::from(pack.chemistry.typical_milliohms()) * f64::from(pack.cells);
        let capacity = f64::from(pack.capacity_uah) * (1.0 + CAPACITY * normal());
        let mut cells = Self {
            pack,
            capacity,
            left: capacity,
            milliohms: typical * (1.0 + RESISTANCE * normal()).max(0.2),
            lot_mv: LOT * sigma_mv * normal(),
            // The wave has half the square of its height as its variance.
            shape_mv: (2.0 * (1.0 - LOT * LOT)).sqrt() * sigma_mv * normal(),
            phase: 0.0,
            draws: 1.0 + GAIN * normal(),
            counts: 1.0 + GAIN * normal(),
        };
        cells.phase = uniform(rng);
        cells
    }

    /// The same pack with capacity -15 %, voltage at the lower end of its error and resistance
    /// +20 % together.
    #[must_use]
    pub fn worst(mut self) -> Self {
        let pack = &self.pack;
        self.capacity = 0.85 * f64::from(pack.capacity_uah);
        self.left = self.capacity;
        self.milliohms =
            1.2 * f64::from(pack.chemistry.typical_milliohms()) * f64::from(pack.cells);
        self.lot_mv = -f64::from(pack.chemistry.error_mv());
        self.shape_mv = 0.0;
        self
    }

    /// What it is made of.
    #[must_use]
    pub fn chemistry(&self) -> Chemistry {
        self.pack.chemistry
    }

    /// Share of the charge that is left.
    #[must_use]
    pub fn share(&self) -> f64 {
        self.left / self.capacity
    }

    /// Takes a share of the full charge out, unseen.
    pub fn use_share(&mut self, share: f64) {
        self.left -= share * self.capacity;
    }

    /// Feeds `load` at a duty (0 to 1) for `hours`; what the charge counter shows of it, µAh.
    pub fn feed(&mut self, load: &Load, duty: f64, hours: f64) -> f64 {
        let (base, more) = (f64::from(load.base_ua), f64::from(load.measuring_ua));
        let used = (base + duty * (more - base)) * self.draws * hours;
        self.left -= used;
        used * self.counts
    }

    /// Resistance of the pack at a temperature (°C), mΩ.
    #[must_use]
    pub fn milliohms(&self, celsius: f64) -> f64 {
        let chemistry = self.chemistry();
        let share = (self.share().clamp(0.0, 1.0) * f64::from(FULL_SHARE)) as u32;
        let worn = f64::from(chemistry.worn_permille(share)) / 1e3;
        let cold = f64::from(chemistry.cold_permille((celsius * 10.0).floor() as i16)) / 1e3;
        self.milliohms * worn * cold
    }

    /// Voltage without load, mV.
    #[must_use]
    pub fn open_mv(&self) -> f64 {
        let at = self.share().clamp(0.0, 1.0) * f64::from(FULL_SHARE);
        let low = self.chemistry().open_mv(at as u32);
        let high = self.chemistry().open_mv(at as u32 + 1);
        let table = f64::from(low) + at.fract() * f64::from(high - low);
        let turn = std::f64::consts::TAU * (1.5 * self.share() + self.phase);
        (table + self.lot_mv + self.shape_mv * turn.sin()) * f64::from(self.pack.cells)
    }

    /// Voltage under a current (µA) at a temperature (°C), mV.
    #[must_use]
    pub fn loaded_mv(&self, microamps: f64, celsius: f64) -> f64 {
        self.open_mv() - self.milliohms(celsius) * microamps / 1e6
    }

    /// Whether a pulse stops the electronics, or nothing is left.
    #[must_use]
    pub fn ended(&self, load: &Load, celsius: f64) -> bool {
        let most = f64::from(load.pulse_ua) + f64::from(load.base_ua);
        self.left <= 0.0 || self.loaded_mv(most, celsius) < f64::from(load.stop_mv)
    }
}

/// Evenly from 0 to 1.
pub fn uniform(rng: &mut Rng) -> f64 {
    StandardUniform.sample(rng)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::rng;
    use crate::study::statistics::Moments;

    const PACK: Pack = Pack {
        chemistry: Chemistry::LithiumManganese,
        cells: 2,
        capacity_uah: 1_000_000,
    };

    #[test]
    fn packs_scatter_as_stated() {
        let mut rng = rng::stream(&[1]);
        let (mut volts, mut charges, mut ohms) = Default::default();
        for _ in 0..20_000 {
            let mut cells = Cells::drawn(PACK, &mut rng);
            cells.use_share(0.5);
            let put = |moments: &mut Moments, value| moments.add(value);
            put(&mut volts, cells.open_mv() - 5_900.0);
            put(&mut charges, cells.capacity / 1e6);
            put(&mut ohms, cells.milliohms(22.0));
        }
        // Two cells of 30 mV at three standard deviations each, alike.
        assert!((volts.sd() / 20.0 - 1.0).abs() < 0.03, "{}", volts.sd());
        assert!((charges.sd() / CAPACITY - 1.0).abs() < 0.03);
        // Half used, a resistance that doubles to empty has gained half.
        assert!((ohms.mean() / 1_500.0 - 1.0).abs() < 0.01);
    }

    #[test]
    fn charge_used_is_current_by_time() {
        let mut cells = Cells::drawn(PACK, &mut rng::stream(&[2])).worst();
        (cells.draws, cells.counts) = (1.0, 1.02);
        let load = Load {
            base_ua: 5,
            measuring_ua: 20_000,
            least_duty_permille: 0,
            most_duty_permille: 1_000,
            pulse_ua: 20_000,
            stop_mv: 2_000,
        };
        let shown = cells.feed(&load, 0.5, 10.0);
        assert!((cells.left - (850_000.0 - 100_025.0)).abs() < 1e-6);
        assert!((shown - 1.02 * 100_025.0).abs() < 1e-6);
        assert!(!cells.ended(&load, 22.0));
        cells.use_share(1.0);
        assert!(cells.ended(&load, 22.0));
    }
}
