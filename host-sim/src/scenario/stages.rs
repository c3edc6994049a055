//! The stages of the model that a scenario switches on; those whose key stays at nothing stay off.

use super::tables::Tables;
use crate::model::course::Disturbance;
use crate::model::cutter::Cutter;
use crate::model::droplets::Droplets;
use crate::model::film::Film;
use crate::model::flutter::Flutter;
use crate::model::plate::Plate;
use crate::model::ramp::Limits;
use crate::model::vibration::Vibration;

/// Film, droplets, vibration, flutter.
pub(super) fn disturbance(tables: &Tables) -> Disturbance {
    let above = |key: &str| Some(tables.si(key)).filter(|value| *value > 0.0);
    Disturbance {
        film: above("barrier.film").map(|loss| Film {
            loss,
            per_hour: 0.0,
        }),
        droplets: above("disturbance.droplets_per_h").map(Droplets::per_hour),
        vibration: above("disturbance.vibration_amplitude").map(|amplitude| Vibration {
            amplitude,
            frequency: tables.si("disturbance.vibration_frequency"),
        }),
        flutter: above("disturbance.flutter").map(|hits| Flutter {
            hits: hits as u32,
            ..Flutter::default()
        }),
        ..Disturbance::default()
    }
}

/// A turning cutter, where the scenario has a spindle.
pub(super) fn cutter(tables: &Tables) -> Option<Cutter> {
    tables.has("spindle").then(|| Cutter {
        speed: tables.si("spindle.speed"),
        teeth: tables.si("spindle.teeth") as u32,
        radius: tables.si("spindle.radius"),
        run_out: tables.si("spindle.run_out"),
    })
}

/// The plate that it throws, where the scenario has one.
pub(super) fn plate(tables: &Tables) -> Option<Plate> {
    tables.has("plate").then(|| Plate {
        mass: tables.si("plate.mass"),
        preload: tables.si("plate.preload"),
        rate: tables.si("plate.rate"),
        restitution: tables.si("plate.restitution"),
    })
}

/// What the drive can do; without a limit it does everything at once.
pub(super) fn limits(tables: &Tables) -> Limits {
    let or_none = |key: &str| Some(tables.si(key)).filter(|value| !value.is_nan());
    Limits {
        acceleration: or_none("approach.acceleration").unwrap_or(f64::INFINITY),
        jerk: or_none("approach.jerk").unwrap_or(f64::INFINITY),
    }
}
