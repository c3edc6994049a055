//! An axis that runs on after contact and a plate that it strikes, in small steps: only forces, masses
//! and what a drive can do are known here, no formula for the way or for the force.
//!
//! What [`super::braking`], [`super::ramp`] and [`super::buckling`] say in closed form is held against
//! this. Limits: those of the models there; steps of about a thousandth of the motion, which leave the
//! way right within two thousandths and the force within a hundredth. A plate that leaves the bar and
//! meets it again is not followed.

use super::buckling::Bar;
use super::plate::Plate;
use super::ramp::Limits;

/// Steps in which a braking is taken apart, about.
const STEPS: f64 = 2_000.0;
/// Steps in one swing of the plate on the bar.
const SWING_STEPS: f64 = 400.0;

/// An axis that brakes.
struct Braking {
    way: f64,
    speed: f64,
    /// Deceleration, m/s².
    pull: f64,
}

impl Braking {
    /// A step of `dt` seconds: the drive pulls harder as long as it may, and lets go so early that
    /// nothing of the pull is left at standstill.
    fn step(&mut self, limits: &Limits, dt: f64) {
        let before = self.pull;
        self.pull = if limits.jerk.is_infinite() {
            limits.acceleration
        } else {
            let lost_letting_go = 0.5 * self.pull * self.pull / limits.jerk;
            let change = limits.jerk * dt;
            if self.speed <= lost_letting_go {
                (self.pull - change).max(0.0)
            } else {
                (self.pull + change).min(limits.acceleration)
            }
        };
        let slower = 0.5 * (before + self.pull) * dt;
        self.way += (self.speed - 0.5 * slower) * dt;
        self.speed -= slower;
    }
}

/// Way from contact to standstill, m, at a feed (m/s) kept for `late` (s). Backwards, with `late` 0, it
/// is the way on which an axis reaches that feed.
#[must_use]
pub fn runs_on(feed: f64, late: f64, limits: &Limits) -> f64 {
    let mut axis = Braking {
        way: feed * late,
        speed: feed,
        pull: 0.0,
    };
    // About as long as it lasts; none at all where the drive stops at once.
    let dt = (feed / limits.acceleration + 2.0 * (feed / limits.jerk).sqrt()) / STEPS;
    while dt > 0.0 && axis.speed > 0.0 {
        axis.step(limits, dt);
    }
    axis.way
}

/// Greatest force, N, on a bar that runs with a feed (m/s) into a plate that lies on its rest: squeezed,
/// it pushes the plate off its rest, which then swings on it.
#[must_use]
pub fn struck(feed: f64, bar: &Bar, plate: &Plate) -> f64 {
    let stiffness = bar.stiffness();
    let dt = core::f64::consts::TAU * (plate.mass / stiffness).sqrt() / SWING_STEPS;
    // Up to its preload the plate does not move.
    let mut squeezed = plate.preload / stiffness;
    let (mut moved, mut speed, mut most) = (0.0, 0.0, plate.preload);
    while speed <= feed {
        let force = stiffness * squeezed;
        most = force.max(most);
        speed += (force - plate.preload - plate.rate * moved) / plate.mass * dt;
        // The first step, as nothing pushes yet, takes the plate nowhere.
        squeezed += (feed - speed) * dt;
        moved += speed * dt;
    }
    most
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::approach::mm_per_min;
    use crate::model::braking::overtravel;
    use crate::model::ramp::Ramp;

    fn limits(acceleration: f64, jerk: f64) -> Limits {
        Limits { acceleration, jerk }
    }

    #[test]
    fn steps_lead_where_the_closed_form_has_it() {
        let none = f64::INFINITY;
        for (a, j) in [
            (0.5, 20.0),
            (2.0, 50.0),
            (10.0, 200.0),
            (2.0, none),
            (none, 50.0),
            (none, none),
        ] {
            for feed in [0.01, 1.0, 60.0, 1_000.0, 4_800.0, 60_000.0].map(mm_per_min) {
                for late in [0.0, 0.002, 0.05] {
                    let (way, told) = (
                        runs_on(feed, late, &limits(a, j)),
                        overtravel(feed, late, &limits(a, j)),
                    );
                    assert!(
                        (way - told).abs() <= 2e-3 * told,
                        "{a} {j} {feed} {late}: {way} {told}"
                    );
                }
                let up = runs_on(feed, 0.0, &limits(a, j));
                let told = Ramp::new(feed, &limits(a, j)).travel();
                assert!((up - told).abs() <= 2e-3 * told, "{up} {told}");
            }
        }
    }

    /// The textbook's `v²/2a`, and the way of a pull that only rises and falls: half the feed times its time.
    #[test]
    fn ways_are_those_of_the_textbook() {
        let sudden = runs_on(0.1, 0.0, &limits(2.0, f64::INFINITY));
        assert!((sudden / 2.5e-3 - 1.0).abs() < 2e-3, "{sudden}");
        // 0.02 m/s at 50 m/s³: 20 ms up, 20 ms down.
        let smooth = runs_on(0.02, 0.0, &limits(2.0, 50.0));
        assert!((smooth / 0.4e-3 - 1.0).abs() < 2e-3, "{smooth}");
    }

    fn bar(diameter: f64, length: f64) -> Bar {
        Bar {
            diameter,
            length,
            modulus: 550e9,
        }
    }

    /// Energy: `F0 + v·√(k·m)`.
    #[test]
    fn a_blow_has_the_energy_of_the_plate() {
        for (mass, preload, feed) in [(0.002, 0.05, 1e-3), (0.05, 0.0, 0.02), (0.01, 0.5, 1e-4)] {
            let (bar, plate) = (
                bar(0.05e-3, 1e-3),
                Plate {
                    mass,
                    preload,
                    rate: 0.0,
                    restitution: 0.5,
                },
            );
            let told = preload + feed * bar.blow(mass);
            let seen = struck(feed, &bar, &plate);
            assert!((seen / told - 1.0).abs() < 0.01, "{seen} {told}");
        }
    }

    /// Axis, bar and sprung plate all the way to standstill, the blow below the preload, so that the plate
    /// stays on the bar: no force beyond preload, blow and spring together, and, as nothing damps the
    /// swing, hardly one below.
    #[test]
    fn blow_and_spring_add_up() {
        let (bar, limits, late) = (bar(0.1e-3, 2e-3), limits(2.0, 50.0), 5e-3);
        let plate = Plate {
            mass: 0.01,
            preload: 0.3,
            rate: 500.0,
            restitution: 0.5,
        };
        for feed in [30.0, 100.0].map(mm_per_min) {
            let stiffness = bar.stiffness();
            let mut axis = Braking {
                way: 0.0,
                speed: feed,
                pull: 0.0,
            };
            let (mut at, mut speed, mut most, mut t) = (0.0, 0.0, 0.0_f64, 0.0);
            let dt = 1e-6;
            while axis.speed > 0.0 {
                if t < late {
                    axis.way += feed * dt;
                } else {
                    axis.step(&limits, dt);
                }
                t += dt;
                let force = (stiffness * (axis.way - at)).max(0.0);
                most = most.max(force);
                let pushed = force - plate.preload - plate.rate * at;
                if at > 0.0 || pushed > 0.0 {
                    speed += pushed / plate.mass * dt;
                    at += speed * dt;
                }
            }
            let sum = struck(feed, &bar, &plate) + plate.rate * runs_on(feed, late, &limits);
            assert!(
                most <= 1.01 * sum && most > 0.9 * sum,
                "{feed}: {most} {sum}"
            );
        }
    }
}
