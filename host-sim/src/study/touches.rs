//! Touches of a scenario: its edges through the line, or its samples through the barrier, of the core.
//!
//! The randomness of a touch is named by seed, cell and number; neither the touches beside it nor the threads change it.

use trueonset::barrier::{self, BarrierError};

use super::closed_form::balance_sd;
use super::over_air::Reported;
use super::runner::{self, Found, Plan, Station, Trial};
use super::sampled::{run_sampled_while, SampledCell};
use crate::fault::{Fault, Place};
use crate::scenario::{Method, Scenario, Sensing};

/// Devices that share the touches of a cell, each with a memory of its own.
const DEVICES: u64 = 8;
/// Touches a device learns its noise from before those that count.
const SCHOOL: u64 = 4;
/// Touches at the cell's own feed before those that count, where single edges teach only slowly.
const WARM_UP: u64 = 24;
/// Noise cycles per noise width up to which that is so.
const FEW_CYCLES: f64 = 4.0;
/// Runs `trials` touches of `scenario`, asking `go_on` after every one; it is told how many of those that count were
/// added. None when it said no.
///
/// # Errors
/// A hold that the capture clock cannot count, or samples that the core does not take.
pub fn touches(
    scenario: &Scenario,
    seed: u64,
    trials: u64,
    go_on: &(dyn Fn(u64) -> bool + Sync),
) -> Result<Option<Vec<Trial>>, Fault> {
    let cell = scenario.cell(seed);
    if let Some(sampled) = sampled(scenario, seed) {
        let trials = run_sampled_while(&sampled, 1..=trials, go_on);
        let trials = trials.map_err(|why| not_sampled(scenario, &sampled, &why))?;
        return Ok(trials.map(|all| all.into_iter().map(|seen| seen.trial).collect()));
    }
    let plan = Plan {
        stations: vec![Station {
            hold_ns: scenario.hold_ns,
            class: true,
            bandwidth_hz: scenario.bandwidth_hz,
        }],
        seeds: 1..=trials,
        devices: DEVICES,
        school: SCHOOL,
        warm_up: if cell.k() < FEW_CYCLES { WARM_UP } else { 0 },
    };
    let stations = runner::run_while(&cell, &plan, go_on).map_err(|why| {
        Fault::new(
            format!(
                "a hold of {} ns at a tick of {} Hz",
                scenario.hold_ns, cell.tick_hz
            ),
            "1 to 2147483647 ticks",
            format!("change onset.hold or capture.tick ({why})"),
        )
        .at(Place::Setting("onset.hold".to_owned()))
    })?;
    Ok(stations.and_then(|all| all.into_iter().next()))
}

/// Least standard deviation that theory allows, nm: of edges the closed form of the 1-bit bound, the standard deviation
/// of the balance point of correlated noise; of samples the full-span bound.
#[must_use]
pub fn bound_nm(scenario: &Scenario, seed: u64) -> f64 {
    if let Some(sampled) = sampled(scenario, seed) {
        return sampled.bound_nm();
    }
    let cell = scenario.cell(seed);
    1e9 * cell.sigma_x() * balance_sd(cell.order, cell.k())
}

/// A touch found at a feed (mm/min) as a link is told of it.
#[must_use]
pub fn reported(found: &Found, feed: f64) -> Reported {
    Reported {
        onset_ns: found.error_nm * (60_000.0 / feed),
        told_ns: found.confirm_ns,
    }
}

/// The cell of a scenario that samples.
pub(super) fn sampled(scenario: &Scenario, seed: u64) -> Option<SampledCell> {
    let Sensing::Samples { rate_hz, bits } = scenario.sensing else {
        return None;
    };
    Some(SampledCell {
        cell: scenario.cell(seed),
        rate_hz,
        bits: bits.min(u32::from(u8::MAX)) as u8,
        method: match scenario.method {
            Method::Area => barrier::Method::Area,
            _ => barrier::Method::Matched,
        },
        hold_ns: scenario.hold_ns,
        armed_s: 0.0,
    })
}

fn not_sampled(scenario: &Scenario, cell: &SampledCell, why: &BarrierError) -> Fault {
    let (key, found, remedy) = match why {
        BarrierError::Trip | BarrierError::MatchedTrip => (
            "barrier.trip",
            format!("a trip point of {} %", scenario.trip * 1e2),
            "change barrier.trip, or use the method area",
        ),
        BarrierError::Bits => (
            "sampling.bits",
            format!("{} bits", cell.bits),
            "a converter of 8 to 16 bits",
        ),
        BarrierError::SamplingRate => (
            "sampling.rate",
            format!("{} samples a second", cell.rate_hz),
            "sample at 1kHz to 16MHz",
        ),
        _ => (
            "onset.hold",
            format!("a hold of {} ns", cell.hold_ns),
            "change onset.hold",
        ),
    };
    Fault::new(found, why.to_string(), remedy).at(Place::Setting(key.to_owned()))
}
