//! What goes with a feed: hold, bandwidth of the comparator, delay and silence of a link.

use super::machine::Machine;
use crate::model::channel::Medium;
use crate::scenario::{Link, Scenario};
use crate::study::burst_loss::{dead_for_drops, slots_needed, Beat};

/// A touch is late, for all frames of its window are lost, less often than this.
const LATE: f64 = 1e-9;
/// READY falls less than once in so many hours.
const HOURS: f64 = 100.0;
/// Slots from the first to the last frame of a touch beyond those lost.
const EDGE_SLOTS: u64 = 2;
/// A bandwidth is advised that makes the onset surer by this factor.
const WORTH: f64 = 0.9;
/// Bandwidths looked at, Hz: 1, 2, 5 in each decade. Only narrower ones: wider ones make more edges than a board counts.
const DECADES: std::ops::Range<u32> = 3..8;

/// Holds, ns.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Holds {
    /// That of the scenario.
    pub stated_ns: u64,
    /// Shortest that noise and spikes do not pass.
    pub least_ns: u64,
    /// Longest with which a touch at the calm feed is told in time; 0 until that feed is known.
    pub most_ns: u64,
    /// The one advised, and used for all of the answer.
    pub advised_ns: u64,
}

impl Holds {
    pub(super) fn of(machine: &Machine) -> Self {
        let stated_ns = machine.scenario.hold_ns;
        let least_ns = (machine.least_hold() * 1e9).ceil() as u64;
        Self {
            stated_ns,
            least_ns,
            most_ns: 0,
            advised_ns: stated_ns.max(least_ns),
        }
    }

    pub(super) fn at(self, machine: &Machine, feed: f64) -> Self {
        let spare = machine.told_by() - machine.told(feed);
        Self {
            most_ns: ((machine.hold() + spare) * 1e9).max(0.0) as u64,
            ..self
        }
    }
}

/// Bandwidth of the comparator, Hz.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Band {
    /// That of the scenario.
    pub stated_hz: u32,
    /// The one advised, with noise of the same density.
    pub advised_hz: u32,
}

impl Band {
    pub(super) fn of(machine: &Machine, feed: f64) -> Option<Self> {
        if machine.is_sampled() {
            return None;
        }
        let stated_hz = machine.scenario.bandwidth_hz;
        let stated = machine.onset(feed);
        let mut best = (stated_hz, stated * WORTH);
        for decade in DECADES {
            for step in [1, 2, 5] {
                let hz = step * 10_u32.pow(decade);
                let other = with_bandwidth(machine, hz);
                let fits = hz < stated_hz
                    && other.scenario.fastest_seen() >= feed
                    && other.least_hold() <= other.hold();
                let onset = other.onset(feed);
                if fits && onset < best.1 {
                    best = (hz, onset);
                }
            }
        }
        Some(Self {
            stated_hz,
            advised_hz: best.0,
        })
    }
}

/// The machine with another bandwidth, the density of its noise unchanged.
pub(super) fn with_bandwidth(machine: &Machine, hz: u32) -> Machine {
    let scenario = &machine.scenario;
    let narrower = f64::from(scenario.bandwidth_hz) / f64::from(hz);
    Machine {
        scenario: Scenario {
            bandwidth_hz: hz,
            snr: scenario.snr + 10.0 * narrower.log10(),
            ..*scenario
        },
        ..*machine
    }
}

/// What the losses of a link ask for, ns.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Air {
    /// Delay and silence of the scenario.
    pub stated_ns: (u64, u64),
    /// Those that its losses ask for; none where no such link is long enough.
    pub needed_ns: Option<(u64, u64)>,
}

impl Air {
    /// None without a link, and where no losses are stated.
    pub(super) fn of(machine: &Machine) -> Option<Self> {
        let link = machine.scenario.link.as_ref()?;
        if link.loss.share() <= 0.0 {
            return None;
        }
        Some(Self {
            stated_ns: (link.plan.delay_ns.into(), link.plan.dead_ns.into()),
            needed_ns: needed(link, machine.scenario.hold_ns),
        })
    }
}

fn needed(link: &Link, hold_ns: u64) -> Option<(u64, u64)> {
    let medium = Medium::single(link.loss);
    let slot_ns = u64::from(link.plan.slot_ns);
    let beat = Beat {
        slot_ns,
        every: link.plan.beat_slots.into(),
        heard_ns: link.timing.air_ns,
    };
    let dead_ns = dead_for_drops(&medium, beat, 1.0, HOURS)?;
    let slots = slots_needed(&medium, LATE)? as u64;
    // All repeats of a touch, and the rule that silence must show before a touch could be late.
    let repeats_ns = (slots + EDGE_SLOTS) * slot_ns + hold_ns;
    let shown_ns = dead_ns + 2 * u64::from(link.plan.bound_ns) + hold_ns;
    let delay_ns = repeats_ns.max(shown_ns).div_ceil(slot_ns) * slot_ns;
    Some((delay_ns, dead_ns))
}
