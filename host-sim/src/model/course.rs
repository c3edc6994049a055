//! What befalls one touch: the disturbances of a scene, drawn and joined.
//!
//! ```text
//! position = path + vibration
//! light    = profile(position) · film · droplets + flicker + carrier
//! ```
//!
//! A flutter or a turning cutter takes the place of the path: the light is
//! then free or blocked without flanks. Noise is not in it: white noise is
//! added by whoever steps through the time, as is 1/f noise.

use core::f64::consts::TAU;

use rand_distr::{Distribution, StandardUniform};

use super::carrier::{Burst, Carrier};
use super::cutter::{self, Cutter};
use super::droplets::{Droplets, Shade};
use super::film::Film;
use super::flicker::Flicker;
use super::flutter::Flutter;
use super::pink::Pink;
use super::plate::Plate;
use super::rng::Rng;
use super::sine::Sine;
use super::table::Table;
use super::touch::Scene;
use super::vibration::Vibration;

/// Disturbances of a scene; none by default.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Disturbance {
    /// Loss of light.
    pub film: Option<Film>,
    /// Stray light of lamps.
    pub flicker: Option<Flicker>,
    /// 1/f noise beside the white noise.
    pub pink: Option<Pink>,
    /// Bursts of a carrier.
    pub carrier: Option<Carrier>,
    /// Droplets and chips.
    pub droplets: Option<Droplets>,
    /// Swing of the blade.
    pub vibration: Option<Vibration>,
    /// Flutter of the contact.
    pub flutter: Option<Flutter>,
    /// A turning cutter instead of a standing tool; it comes before a flutter.
    pub cutter: Option<Cutter>,
    /// Plate that the cutter throws; without it a hit lasts its geometric width.
    pub plate: Option<Plate>,
}

/// Blocked times that take the place of the path until a time.
#[derive(Debug, Clone)]
pub(super) struct Hits {
    /// Begins and ends, s, in order.
    pub(super) blocked: Vec<(f64, f64)>,
    /// From then on the path counts again, s.
    pub(super) until: f64,
}

/// The drawn disturbances of one touch.
#[derive(Debug, Clone)]
pub(super) struct Course {
    vibration_phase: f64,
    flicker_phase: f64,
    pub(super) shades: Vec<Shade>,
    pub(super) bursts: Vec<Burst>,
    pub(super) hits: Option<Hits>,
}

impl Course {
    /// Draws what happens between `watch.0` and `watch.1` (s). A scene without
    /// disturbance draws nothing.
    pub(super) fn draw(scene: &Scene, rng: &mut Rng, watch: (f64, f64)) -> Self {
        let d = &scene.disturbance;
        let phase = |wanted: bool, rng: &mut Rng| {
            if wanted {
                StandardUniform.sample(rng)
            } else {
                0.0
            }
        };
        Self {
            vibration_phase: phase(d.vibration.is_some(), rng),
            flicker_phase: phase(d.flicker.is_some(), rng),
            shades: d
                .droplets
                .map_or_else(Vec::new, |droplets| droplets.draw(rng, watch.0, watch.1)),
            bursts: d
                .carrier
                .map_or_else(Vec::new, |carrier| carrier.draw(rng, watch.0, watch.1)),
            hits: hits(scene, rng, watch.1),
        }
    }

    /// Light without noise at time `t` (s), share of full light.
    pub(super) fn light(&self, scene: &Scene, t: f64) -> f64 {
        let d = &scene.disturbance;
        let passed = match &self.hits {
            Some(hits) if t < hits.until => hits.passes(t),
            _ => {
                let mut position = scene.approach.position(t);
                if let Some(vibration) = &d.vibration {
                    position += vibration.offset(t, self.vibration_phase);
                }
                1.0 - scene.blade.covered(position, &scene.light.profile)
            }
        };
        let film = d.film.map_or(1.0, |film| film.left(t));
        let shade: f64 = self.shades.iter().map(|shade| shade.passes(t)).product();
        passed * film * shade + self.added(scene, t)
    }

    fn added(&self, scene: &Scene, t: f64) -> f64 {
        let d = &scene.disturbance;
        let flicker = d.flicker.map_or(0.0, |f| f.light(t, self.flicker_phase));
        let carrier = d.carrier.map_or(0.0, |carrier| {
            self.bursts.iter().map(|b| carrier.light(b, t)).sum()
        });
        flicker + carrier
    }

    /// Light without noise at `from` (s) and every `step` (s) after it, as
    /// [`Self::light`] tells it, but for a whole block at once.
    pub(super) fn fill(&self, scene: &Scene, table: &Table, from: f64, step: f64, out: &mut [f64]) {
        let d = &scene.disturbance;
        let to = from + step * out.len() as f64;
        let time = |k: usize| from + step * k as f64;
        match scene.approach.straight(from, to) {
            Some((x, feed)) => {
                let (x, rise) = (x - scene.blade.offset, feed * step);
                for (k, light) in out.iter_mut().enumerate() {
                    *light = x + rise * k as f64;
                }
            }
            None => {
                for (k, light) in out.iter_mut().enumerate() {
                    *light = scene.approach.position(time(k)) - scene.blade.offset;
                }
            }
        }
        if let Some(vibration) = &d.vibration {
            let mut sine = sine(vibration.frequency, self.vibration_phase, from, step);
            for light in out.iter_mut() {
                *light += vibration.amplitude * sine.next();
            }
        }
        for light in out.iter_mut() {
            *light = table.transmitted(*light);
        }
        if let Some(hits) = self.hits.as_ref().filter(|hits| from < hits.until) {
            for (k, light) in out.iter_mut().enumerate() {
                if time(k) < hits.until {
                    *light = hits.passes(time(k));
                }
            }
        }
        if let Some(film) = &d.film {
            for (k, light) in out.iter_mut().enumerate() {
                *light *= film.left(time(k));
            }
        }
        for shade in &self.shades {
            if shade.span().0 < to && shade.span().1 > from {
                for (k, light) in out.iter_mut().enumerate() {
                    *light *= shade.passes(time(k));
                }
            }
        }
        if let Some(flicker) = &d.flicker {
            let mut sine = sine(flicker.frequency, self.flicker_phase, from, step);
            for light in out.iter_mut() {
                *light += flicker.depth * sine.next();
            }
        }
        if let Some(carrier) = &d.carrier {
            for burst in &self.bursts {
                if burst.begin < to && burst.end > from {
                    for (k, light) in out.iter_mut().enumerate() {
                        *light += carrier.light(burst, time(k));
                    }
                }
            }
        }
    }
}

fn sine(frequency: f64, phase: f64, from: f64, step: f64) -> Sine {
    Sine::new(TAU * (frequency * from + phase), TAU * frequency * step)
}

impl Hits {
    /// Light at time `t` (s).
    fn passes(&self, t: f64) -> f64 {
        let after = self.blocked.partition_point(|hit| hit.0 <= t);
        match after.checked_sub(1).and_then(|k| self.blocked.get(k)) {
            Some(hit) if t < hit.1 => 0.0,
            _ => 1.0,
        }
    }
}

/// Blocked times of a cutter or a flutter.
fn hits(scene: &Scene, rng: &mut Rng, until: f64) -> Option<Hits> {
    let d = &scene.disturbance;
    if d.cutter.is_none() && d.flutter.is_none() {
        return None;
    }
    let trip = scene.trip_position();
    if let Some(tool) = &d.cutter {
        let mounted = tool.mount(rng);
        let hits = tool.hits(&mounted, &scene.approach, trip, d.plate.as_ref(), until);
        return Some(Hits {
            blocked: cutter::blocked(&hits),
            until: f64::INFINITY,
        });
    }
    let flutter = d.flutter?;
    let turn = scene.approach.turn();
    let blocked = scene
        .approach
        .inward(trip)
        .map_or_else(Vec::new, |make| flutter.draw(rng, make, turn));
    Some(Hits {
        blocked,
        until: turn,
    })
}
