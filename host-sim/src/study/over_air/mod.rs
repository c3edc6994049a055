//! Touches carried over the air: both sides of the link in the core, the channel, the probe's
//! oscillator, and a control that looks at the lines.
//!
//! ```text
//!  true edges ─▶ probe's clock ─▶ core Head ─▶ Air ─▶ core Receiver ─▶ lines
//!       └───────────────── compared by the true clock ─────────────────┘
//! ```
//!
//! The receiver's clock is the true one, 16 MHz. Frames begin exactly with their slots on the
//! probe's clock; the receiver is polled at every frame, at every deadline and every 50 µs besides.
//! Something arms the line again 1.1 s after a latch, as an operator would.
//!
//! [`Flight`] makes touches of its own, many over one channel; [`carry`] takes the touches of a barrier, each once
//! READY has stood for a second, and [`watch`] edges at given instants. A measuring signal, not a safety function; no
//! performance level is claimed; guards and emergency stop stay in charge.

mod carried;
mod seen;
mod world;

pub use carried::{carry, carry_each, watch, Carried, Edges, Reported};
pub use seen::{Course, Fate, Frame, Left, Outputs, Residual};

use rand_distr::{Distribution, StandardUniform};
use trueonset::clock::Oscillator as Kind;
use trueonset::link::LinkPlan;

use super::statistics::Moments;
use crate::fault::Fault;
use crate::model::channel::Setting;
use crate::model::oscillator::Oscillator;
use crate::model::rng::{self, Rng};
use world::World;

/// Number of the probe.
pub const ID: u16 = 5;
/// From one poll to the next at most, ticks of the receiver: 50 µs.
const POLL: u64 = 800;
/// Share of the time from an edge to the next within which it is told.
const MOST_HOLD: f64 = 0.8;
/// Names the streams among all others.
const NAME: u64 = 0x006f_7665_7261_6972;

/// One run over one channel.
#[derive(Debug, Clone)]
pub struct Flight {
    /// The plan of both sides.
    pub plan: LinkPlan,
    /// What the air does.
    pub air: Setting,
    /// The probe's oscillator, and what the receiver is told of it.
    pub oscillator: Oscillator,
    /// Limits told to the receiver.
    pub kind: Kind,
}

/// What a run came to.
#[derive(Debug, Clone, Copy, Default)]
pub struct Flown {
    /// Touches made.
    pub touches: u64,
    /// Touches made while the line said run.
    pub under_ready: u64,
    /// Touches that left late although READY was up.
    pub late: u64,
    /// Edges told twice.
    pub twice: u64,
    /// Onsets farther off than their stated bound, unflagged.
    pub outside: u64,
    /// Of these, onsets of touches.
    pub touches_outside: u64,
    /// Frames of others, damaged ones or replays that were accepted.
    pub foreign: u64,
    /// The longest time from a contact under READY to stop, ns.
    pub stop_max_ns: u64,
    /// Contacts under READY after which the line ran on beyond delay + bound + poll.
    pub ran_on: u64,
    /// The output edge of touches against contact + delay, ns.
    pub edge: Moments,
    /// The farthest of them, ns.
    pub edge_max_ns: f64,
    /// The greatest bound stated with an unflagged touch, ns.
    pub bound_max_ns: f64,
    /// Falls of READY.
    pub drops: u64,
    /// Times the line was latched.
    pub latches: u64,
    /// Length of the run, s.
    pub seconds: f64,
}

impl Flown {
    /// Both runs together.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        Self {
            touches: self.touches + other.touches,
            under_ready: self.under_ready + other.under_ready,
            late: self.late + other.late,
            twice: self.twice + other.twice,
            outside: self.outside + other.outside,
            touches_outside: self.touches_outside + other.touches_outside,
            foreign: self.foreign + other.foreign,
            stop_max_ns: self.stop_max_ns.max(other.stop_max_ns),
            ran_on: self.ran_on + other.ran_on,
            edge: self.edge.and(other.edge),
            edge_max_ns: self.edge_max_ns.max(other.edge_max_ns),
            bound_max_ns: self.bound_max_ns.max(other.bound_max_ns),
            drops: self.drops + other.drops,
            latches: self.latches + other.latches,
            seconds: self.seconds + other.seconds,
        }
    }
}

impl Flight {
    /// How far the probe's oscillator may be off, relative.
    fn tolerance(&self) -> f64 {
        f64::from(self.kind.tolerance_ppm) * 1e-6
    }

    /// Carries `touches` touches, a third of a second apart on average; half of them let go within
    /// 2 to 30 ms, the others within 60 to 120 ms. An edge is told some time after it happened, up
    /// to most of the way to the next: as long as its chatter and a hold last.
    ///
    /// # Errors
    /// A plan that breaks a rule, a channel out of range.
    pub fn fly(&self, touches: u64, seed: u64) -> Result<Flown, Fault> {
        let mut world = World::new(self, seed, POLL)?;
        let mut rng = rng::stream(&[NAME, seed, 1]);
        let mut next_edge_ns = 1_500_000_000;
        while world.flown.touches < touches || world.touched() {
            world.until(next_edge_ns);
            let touched = !world.touched();
            let shown = world.shown(0.0);
            let pause_ns = pause(&mut rng, touched);
            if touched {
                world.contact(next_edge_ns);
            }
            let share: f64 = StandardUniform.sample(&mut rng);
            let hold_ns = share.powi(4) * MOST_HOLD * pause_ns as f64;
            world.until(next_edge_ns + hold_ns as u64);
            world.tell(shown, next_edge_ns, touched);
            next_edge_ns += pause_ns;
        }
        world.end_slot();
        Ok(world.flown)
    }
}

#[cfg(test)]
mod tests;

/// From an edge to the next.
fn pause(rng: &mut Rng, touched: bool) -> u64 {
    let even: f64 = StandardUniform.sample(rng);
    let place: f64 = StandardUniform.sample(rng);
    let (from, to) = match (touched, even < 0.5) {
        (true, true) => (2.0, 30.0),
        (true, false) => (60.0, 120.0),
        (false, _) => (150.0, 450.0),
    };
    ((from + place * (to - from)) * 1e6) as u64
}
