//! What a slim tool bears, as a solid round bar that the plate pushes on from its free end.
//!
//! A long one buckles at Euler's load `π²·E·I/(K·l)²`, `I = π·d⁴/64`, `K = 2` for a free tip; a
//! short one is crushed, 4 GPa for cemented carbide (from memory). A plate of mass `m` that it meets
//! with speed `v` is stopped by its length as by a spring `k = E·A/l`, with a force of at most
//! `F0 + v·√(k·m)` (energy), on top of the preload `F0` that held it. Textbook formulas; a quarter of the load is taken as what may be asked.
//!
//! Upper bounds of a force, not a safe force: a fluted core of 0.6 diameters bears 0.13 of the
//! load, and chips or a slanted load break tools far below. Damping of the contact and the give
//! of the tip, which both lower the force, are left out.

use core::f64::consts::PI;

/// Share of the load that may be asked.
pub const SHARE: f64 = 0.25;
/// Stress at which carbide is crushed, Pa; from memory.
const CRUSHES: f64 = 4e9;
/// Factor of the length for a tip that is free to move aside.
const FREE_TIP: f64 = 2.0;

/// A bar held at one end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bar {
    /// Diameter, m.
    pub diameter: f64,
    /// Free length, m.
    pub length: f64,
    /// Modulus of elasticity, Pa.
    pub modulus: f64,
}

impl Bar {
    fn area(&self) -> f64 {
        0.25 * PI * self.diameter * self.diameter
    }

    /// Load at which it buckles, N.
    #[must_use]
    pub fn buckles(&self) -> f64 {
        let inertia = PI * self.diameter.powi(4) / 64.0;
        PI * PI * self.modulus * inertia / (FREE_TIP * self.length).powi(2)
    }

    /// Force that may be asked of it, N.
    #[must_use]
    pub fn bears(&self) -> f64 {
        SHARE * self.buckles().min(CRUSHES * self.area())
    }

    /// Force (N) over speed (m/s) of the blow of a resting plate of a mass (kg), `√(k·m)`; the plate's
    /// preload comes on top of it.
    #[must_use]
    pub fn blow(&self, mass: f64) -> f64 {
        (self.stiffness() * mass).sqrt()
    }

    /// Force (N) over squeeze (m) along its length.
    #[must_use]
    pub fn stiffness(&self) -> f64 {
        self.modulus * self.area() / self.length
    }
}

#[cfg(test)]
mod tests {
    use super::Bar;

    /// Loads in N and feeds in mm/min for plates of 2, 10, 50 g. Computed by the project's own study
    /// with another program from the textbook formulas.
    #[test]
    fn the_table_of_the_study_comes_out() {
        for (diameter_mm, slender, buckles, feeds) in [
            (0.05, 10.0, 1.67, [380.0, 170.0, 76.0]),
            (0.05, 20.0, 0.42, [134.0, 60.0, 27.0]),
            (0.10, 10.0, 6.7, [1075.0, 481.0, 215.0]),
            (0.30, 20.0, 15.0, [1975.0, 883.0, 395.0]),
        ] {
            let diameter = diameter_mm * 1e-3;
            let bar = Bar {
                diameter,
                length: slender * diameter,
                modulus: 550e9,
            };
            assert!((bar.buckles() / buckles - 1.0).abs() < 0.02, "{bar:?}");
            for (mass, feed) in [0.002, 0.010, 0.050].into_iter().zip(feeds) {
                let got = bar.bears() / bar.blow(mass) * 60_000.0;
                assert!((got / feed - 1.0).abs() < 0.02, "{bar:?}: {got} {feed}");
            }
        }
    }

    #[test]
    fn a_short_bar_is_crushed_before_it_buckles() {
        let short = Bar {
            diameter: 0.05e-3,
            length: 0.1e-3,
            modulus: 550e9,
        };
        assert!(
            (short.bears() / (0.25 * 7.9) - 1.0).abs() < 0.01,
            "{}",
            short.bears()
        );
    }
}
