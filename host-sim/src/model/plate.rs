//! The plate that a turning tooth throws: how long a hit blocks the light.
//!
//! A plate of some mass is pressed against its rest by a spring. A tooth meets
//! it with the speed that it has at that depth; the tool is taken as heavy, so
//! the plate leaves with `(1 + e)` times that speed beyond its own (`e` the
//! restitution), flies against preload and spring, and is met again or lands.
//! For a plate at rest, a short hit of geometric width `w` and a constant
//! preload `F0` follows `w·max(1, (1 + e)·R·ω²·m/F0)` (derived by two parabolas;
//! tested below). Limits: rigid bodies, no damping, no bounce on the rest, the
//! plate at rest before each hit.

/// A sprung plate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Plate {
    /// Moving mass, kg.
    pub mass: f64,
    /// Force against the rest, N.
    pub preload: f64,
    /// Spring rate, N/m; 0 for a constant force.
    pub rate: f64,
    /// Restitution of the impact of tooth on plate, 0 to 1.
    pub restitution: f64,
}

/// Steps in which a tooth's passage is searched for the next contact.
const STEPS: u32 = 512;
/// Rebounds below this share of the first speed count as lying on the tooth.
const SLOW: f64 = 1e-4;

/// Rebounds on one tooth after which the plate counts as lying on it: so many
/// come only with a preload that keeps it there anyway.
const MOST: u32 = 1000;

/// Free flight from a place and a speed.
#[derive(Clone, Copy)]
struct Flight {
    begin: f64,
    x: f64,
    u: f64,
}

impl Plate {
    /// How long a short hit blocks, in geometric widths, for a tooth whose
    /// path bends with `bend` (m/s², radius times angular speed squared).
    /// Constant preload only.
    #[must_use]
    pub fn kappa(&self, bend: f64) -> f64 {
        ((1.0 + self.restitution) * bend * self.mass / self.preload).max(1.0)
    }

    /// Time (s) at which the plate is back on its rest after a tooth that
    /// reaches `tooth(t)` (m) beyond the rest, positive between `enter` and
    /// `exit` (s) only and with one peak.
    pub fn back(&self, tooth: impl Fn(f64) -> f64, enter: f64, exit: f64) -> f64 {
        let step = (exit - enter) / f64::from(STEPS);
        if step <= 0.0 || step.is_nan() {
            return exit;
        }
        let small = 0.01 * step;
        let speed = |t: f64| (tooth(t + small) - tooth(t - small)) / (2.0 * small);
        let bend = -(tooth(exit) - 2.0 * tooth(0.5 * (enter + exit)) + tooth(enter))
            / (0.5 * (exit - enter)).powi(2);
        let first = speed(enter);
        let mut flight = Flight {
            begin: enter,
            x: 0.0,
            u: (1.0 + self.restitution) * first,
        };
        let mut t = enter;
        for _ in 0..MOST {
            // Up to the exit the tooth may catch the plate again.
            let mut next = t + step;
            while next < exit && self.at(&flight, next).0 > tooth(next) {
                t = next;
                next += step;
            }
            if next >= exit {
                return self.landing(&flight).max(exit);
            }
            let (mut apart, mut met) = (t, next);
            for _ in 0..60 {
                let middle = 0.5 * (apart + met);
                if self.at(&flight, middle).0 > tooth(middle) {
                    apart = middle;
                } else {
                    met = middle;
                }
            }
            let own = speed(met);
            let rebound = self.restitution * (own - self.at(&flight, met).1);
            let falls = (self.preload + self.rate * tooth(met)) / self.mass;
            if rebound < SLOW * first && falls >= bend {
                // It lies on the tooth and goes down with it.
                return exit;
            }
            flight = Flight {
                begin: met,
                x: tooth(met),
                u: own + rebound,
            };
            t = met;
        }
        exit
    }

    /// Place and speed of the plate at time `t`.
    fn at(&self, flight: &Flight, t: f64) -> (f64, f64) {
        let dt = t - flight.begin;
        if self.rate > 0.0 {
            let (omega, sag) = self.spring();
            let (sin, cos) = (omega * dt).sin_cos();
            let from = flight.x + sag;
            (
                from * cos + flight.u / omega * sin - sag,
                flight.u * cos - from * omega * sin,
            )
        } else {
            let a = self.preload / self.mass;
            (
                flight.x + flight.u * dt - 0.5 * a * dt * dt,
                flight.u - a * dt,
            )
        }
    }

    /// When the flight meets the rest.
    fn landing(&self, flight: &Flight) -> f64 {
        flight.begin
            + if self.rate > 0.0 {
                let (omega, sag) = self.spring();
                let (from, swing) = (flight.x + sag, flight.u / omega);
                let most = from.hypot(swing);
                (swing.atan2(from) + (sag / most).min(1.0).acos()) / omega
            } else {
                let a = self.preload / self.mass;
                (flight.u + (flight.u * flight.u + 2.0 * a * flight.x).sqrt()) / a
            }
    }

    /// Angular frequency of the sprung plate, and how far the preload has
    /// compressed the spring.
    fn spring(&self) -> (f64, f64) {
        ((self.rate / self.mass).sqrt(), self.preload / self.rate)
    }
}

#[cfg(test)]
mod tests {
    use super::Plate;

    /// Blocked time over geometric width for a parabolic tooth.
    fn widths(plate: &Plate, bend: f64, depth: f64) -> f64 {
        let half = (2.0 * depth / bend).sqrt();
        plate.back(|t| depth - 0.5 * bend * t * t, -half, half) / (2.0 * half) + 0.5
    }

    #[test]
    fn a_short_hit_blocks_as_long_as_the_closed_form_says() {
        // R 5 mm, F0/m 15 m/s²: 500 to 12 000 turns a minute.
        for (turns, known) in [
            (500.0, None),
            (1000.0, Some(3.7)),
            (3000.0, Some(33.0)),
            (12e3, None),
        ] {
            let omega = turns / 60.0 * core::f64::consts::TAU;
            let bend = 5e-3 * omega * omega;
            for restitution in [0.0, 0.3, 0.8] {
                let plate = Plate {
                    mass: 0.1,
                    preload: 1.5,
                    rate: 0.0,
                    restitution,
                };
                let kappa = plate.kappa(bend);
                for depth in [0.5e-6, 5e-6] {
                    let ratio = widths(&plate, bend, depth) / kappa;
                    assert!((ratio - 1.0).abs() < 1e-3, "{turns} {restitution} {ratio}");
                }
                if let (Some(known), true) = (known, restitution == 0.0) {
                    assert!((kappa / known - 1.0).abs() < 0.02, "{kappa}");
                }
            }
        }
    }

    #[test]
    fn a_heavy_preload_and_no_loss_end_too() {
        let pressed = Plate {
            mass: 1e-3,
            preload: 1e4,
            rate: 0.0,
            restitution: 1.0,
        };
        assert!((widths(&pressed, 500.0, 5e-6) - 1.0).abs() < 0.01);
        let loose = Plate {
            preload: 0.0,
            ..pressed
        };
        assert!(widths(&loose, 500.0, 5e-6).is_infinite());
    }

    #[test]
    fn a_spring_brings_the_plate_back_sooner_and_a_weak_one_changes_nothing() {
        let soft = Plate {
            mass: 0.1,
            preload: 1.5,
            rate: 1e-3,
            restitution: 0.3,
        };
        let bend = 500.0;
        let free = Plate { rate: 0.0, ..soft };
        let ratio = widths(&soft, bend, 5e-6) / widths(&free, bend, 5e-6);
        assert!((ratio - 1.0).abs() < 1e-5, "{ratio}");
        let stiff = Plate { rate: 1e5, ..soft };
        assert!(widths(&stiff, bend, 5e-6) < 0.5 * widths(&free, bend, 5e-6));
    }
}
