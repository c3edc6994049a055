//! What a check is made of, verified once.

use super::Reasons;
use crate::budget::{guard_milli, Dof};
use crate::flags::Flags;
use crate::gauge::{Reference, Side};
use crate::latch::{root_of_sum, Latched, FURTHEST_NM};
use crate::onset::math;
use crate::time::TickRate;

/// How far the length of a touch may be off apart from the touch's own doubt.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Allowance {
    /// Sum of the half widths of all that is bounded: heat, plate, interpolation, nm. Here as in the
    /// doubts below, [`u32::MAX`] is one that nobody knows.
    pub bounds_nm: u32,
    /// Standard uncertainty of all else that touches of a cycle share, pm.
    pub shared_pm: u32,
    /// How well that is known.
    pub dof: Dof,
    /// What each touch has for itself beside its own doubt, pm.
    pub touch_pm: u32,
}

/// How long each step may take, ns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct CheckTimes {
    /// From arming to the start of the approach.
    pub arm_ns: u64,
    /// An approach, from its start to contact or limit.
    pub approach_ns: u64,
    /// From a contact until it is told at the latest, `D + U` of the probe: so long the end of a
    /// travel waits for a touch in flight before it says that there was none.
    pub told_ns: u64,
    /// How long contact must be held; 20 ms are four times the longest blocking by a droplet.
    pub hold_ns: u64,
    /// From the end of the hold to the release.
    pub release_ns: u64,
    /// From the release to a sign of life and the end of the retract.
    pub beat_ns: u64,
}

impl CheckTimes {
    /// The time of an approach over `way_nm` at a feed of nm/s by a probe of that delay:
    /// `1.1·way/v + D + 50 ms`; `u64::MAX` for a feed of 0.
    #[must_use]
    pub const fn for_approach(way_nm: u32, feed_nm_s: u32, delay_ns: u64) -> u64 {
        match (way_nm as u64 * 1_100_000_000).checked_div(feed_nm_s as u64) {
            Some(way) => way.saturating_add(delay_ns).saturating_add(50_000_000),
            None => u64::MAX,
        }
    }

    /// The time from the end of a hold to the release, `overtravel/v + D + 2 ticks`, with as much
    /// again for the reversal; `u64::MAX` for a feed of 0.
    #[must_use]
    pub const fn for_release(
        overtravel_nm: u32,
        feed_nm_s: u32,
        delay_ns: u64,
        tick_ns: u64,
    ) -> u64 {
        match (overtravel_nm as u64 * 1_000_000_000).checked_div(feed_nm_s as u64) {
            Some(way) => way
                .saturating_add(delay_ns)
                .saturating_add(tick_ns.saturating_mul(2))
                .saturating_mul(2),
            None => u64::MAX,
        }
    }
}

/// What a user says of tool, window and probe.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct CheckPlan {
    /// What lengths are counted from.
    pub reference: Reference,
    /// The way the coordinate goes in an approach; a touch on any other is `flag`.
    pub side: Side,
    /// The stored length, nm; its doubt belongs to [`allowance`](Self::allowance).
    pub expected_nm: i64,
    /// How much shorter by wear it may be, nm.
    pub wear_nm: u32,
    /// How much longer it may be, nm.
    pub long_nm: u32,
    /// The smallest break that must be found, nm.
    pub smallest_break_nm: u32,
    /// What the length may be off by.
    pub allowance: Allowance,
    /// How far the release may lie from the contact, nm: hysteresis and six doubts. Less than what
    /// the break is longer than the wear: the plate then never stands in for a false touch.
    pub release_nm: u32,
    /// Touches that must agree, 2 to 20.
    pub touches: u8,
    /// Attempts before the verdict is unproven for what may pass, 1 to 4: see
    /// [`Output::again`](super::Output::again).
    pub attempts: u8,
    /// The touches are on different spots, or the plate is cleaned between them. Without it
    /// `whole` carries the note `same_spot`: a chip that lies there agrees with itself.
    pub other_spot: bool,
    /// A turning cutter: `interrupted` contact is what it should be.
    pub turning: bool,
    /// How long each step may take.
    pub times: CheckTimes,
}

/// Why a check was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum CheckError {
    /// The break that must be found is smaller than wear and guard together.
    WindowTooNarrow {
        /// By so much, nm: enlarge the smallest break or allow less wear, or make the doubt
        /// smaller.
        by_nm: u64,
    },
    /// The doubt is not known, or so badly (fewer than 4 degrees of freedom) that nothing guards.
    UnknownDoubt,
    /// Fewer than two touches, or more than twenty.
    Touches,
    /// No attempt, or more than four.
    Attempts,
    /// A length or a position beyond ±10 m.
    Length,
    /// A release so far from the contact would be that of a broken tool on the plate.
    Release,
    /// A step without time, or of more than 2^40 ticks.
    Times,
}

impl core::fmt::Display for CheckError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::WindowTooNarrow { .. } => {
                "window too narrow by `by_nm`; allow less wear, look for a larger break, or make the doubt smaller"
            }
            Self::UnknownDoubt => {
                "the doubt is not known, or rests on fewer than 4 degrees of freedom; study it with more touches"
            }
            Self::Touches => "touches are not 2 to 20; one touch never proves a tool",
            Self::Attempts => "attempts are not 1 to 4",
            Self::Length => "a length or position is not within 10 m; check its unit (nm)",
            Self::Release => "a release may lie as far from its contact as a break; allow less",
            Self::Times => "a step has no time, or more than 2^40 ticks",
        })
    }
}

impl core::error::Error for CheckError {}

/// How far two touches may differ, squared, in 1/64 of the sum of their squared doubts: the quantile
/// 15.14 of chi square at 0.9999 with one degree of freedom, 5.5 doubts of one touch. One pair of
/// clean touches in ten thousand is refused; a chance neighbour of a false touch must still lie
/// nearer than the six doubts of the difference that the bound of a false `whole` is derived with.
const AGREE_64: u64 = 969;
/// Touches further apart never agree, nm: their doubt would be above what any guard leaves.
const FURTHEST_APART_NM: u64 = 1 << 20;
/// Doubts that a break must stand off, in tenths: one in a thousand beyond.
const SHORT_TENTHS: i64 = 31;

/// A check, verified.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CheckConfig {
    plan: CheckPlan,
    guard_milli: u32,
    pub(super) arm: u64,
    pub(super) approach: u64,
    pub(super) told: u64,
    pub(super) hold: u64,
    pub(super) release: u64,
    pub(super) beat: u64,
}

/// What one touch says of the length.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Judged {
    pub(super) length_nm: i64,
    /// Its own doubt, pm.
    pub(super) own_pm: u32,
    /// Nothing: in the window. Otherwise why not.
    pub(super) reasons: Reasons,
}

impl Judged {
    /// Whether two touches lie as near to each other as their own doubts let them.
    pub(super) fn agrees(&self, other: &Self) -> bool {
        let apart = self.length_nm.abs_diff(other.length_nm);
        if apart > FURTHEST_APART_NM {
            return false;
        }
        // d² ≤ 15.14·(u1² + u2²), in pm².
        let squares = math::square(self.own_pm).saturating_add(math::square(other.own_pm));
        apart * apart * 1_000_000 <= (squares >> 6).saturating_mul(AGREE_64)
    }
}

impl CheckConfig {
    /// A check at this rate of ticks.
    ///
    /// # Errors
    /// [`CheckError`].
    pub fn new(plan: CheckPlan, rate: TickRate) -> Result<Self, CheckError> {
        if plan.touches < 2 || plan.touches > 20 {
            return Err(CheckError::Touches);
        }
        if plan.attempts < 1 || plan.attempts > 4 {
            return Err(CheckError::Attempts);
        }
        let lengths = [
            plan.expected_nm,
            plan.reference.position_nm,
            plan.reference.size_nm,
        ];
        if lengths
            .iter()
            .any(|nm| nm.unsigned_abs() > FURTHEST_NM.unsigned_abs())
        {
            return Err(CheckError::Length);
        }
        let Allowance {
            bounds_nm,
            shared_pm,
            dof,
            touch_pm,
        } = plan.allowance;
        let unknown = bounds_nm == u32::MAX || root_of_sum(shared_pm, touch_pm) == u32::MAX;
        let Some(guard_milli) = guard_milli(dof).filter(|_| !unknown) else {
            return Err(CheckError::UnknownDoubt);
        };
        let CheckTimes {
            arm_ns,
            approach_ns,
            told_ns,
            hold_ns,
            release_ns,
            beat_ns,
        } = plan.times;
        let config = Self {
            plan,
            guard_milli,
            arm: rate.ticks_from_ns(arm_ns),
            approach: rate.ticks_from_ns(approach_ns),
            told: rate.ticks_from_ns(told_ns),
            hold: rate.ticks_from_ns(hold_ns),
            release: rate.ticks_from_ns(release_ns),
            beat: rate.ticks_from_ns(beat_ns),
        };
        let steps = [
            config.arm,
            config.approach,
            config.told,
            config.hold,
            config.release,
            config.beat,
        ];
        if steps.iter().any(|ticks| !(1..=1 << 40).contains(ticks)) {
            return Err(CheckError::Times);
        }
        let needed = u64::from(plan.wear_nm) + config.guard_nm();
        let smallest_nm = u64::from(plan.smallest_break_nm);
        if let Some(by_nm @ 1..) = needed.checked_sub(smallest_nm) {
            return Err(CheckError::WindowTooNarrow { by_nm });
        }
        if u64::from(plan.release_nm) + u64::from(plan.wear_nm) >= smallest_nm {
            return Err(CheckError::Release);
        }
        Ok(config)
    }

    /// As it was given.
    #[must_use]
    pub const fn plan(&self) -> &CheckPlan {
        &self.plan
    }

    /// The guard that the plan alone needs, nm, rounded up: bounds and so many doubts.
    #[must_use]
    pub fn guard_nm(&self) -> u64 {
        let allowance = &self.plan.allowance;
        let all_pm = root_of_sum(allowance.shared_pm, allowance.touch_pm);
        let milli_pm = u64::from(all_pm) * u64::from(self.guard_milli);
        u64::from(allowance.bounds_nm) + milli_pm.div_ceil(1_000_000)
    }

    /// What a touch says.
    pub(super) fn judge(&self, touch: &Latched) -> Judged {
        let plan = &self.plan;
        let length_nm = plan.reference.size_at(plan.side, touch.at_nm);
        let own_pm = root_of_sum(touch.doubt_pm, plan.allowance.touch_pm);
        let all_pm = root_of_sum(own_pm, plan.allowance.shared_pm);
        let mut reasons = Reasons::NONE;
        reasons.insert_if(Reasons::FLAG, !self.noted(touch.flags).1.is_empty());
        // Lengths are counted by the planned way alone: from the other one, or standing, the same
        // place says another length, or none.
        reasons.insert_if(
            Reasons::FLAG,
            Side::of_feed(touch.feed_nm_s) != Some(plan.side),
        );
        reasons.insert_if(
            Reasons::DOUBT,
            all_pm == u32::MAX || !self.guards(touch.bound_nm, all_pm),
        );
        let off_nm = length_nm.saturating_sub(plan.expected_nm);
        if off_nm > i64::from(plan.long_nm) {
            reasons.insert(Reasons::EARLY);
        } else if off_nm < -i64::from(plan.wear_nm) {
            // In tenths of a picometre.
            let off = off_nm.saturating_mul(10_000);
            let doubt = i64::from(all_pm) * SHORT_TENTHS;
            let short = off.saturating_add(doubt) < -i64::from(plan.smallest_break_nm) * 10_000;
            reasons.insert(if short { Reasons::SHORT } else { Reasons::GREY });
        }
        Judged {
            length_nm,
            own_pm,
            reasons,
        }
    }

    /// Whether the window leaves the guard that a touch of this bound and doubt needs.
    fn guards(&self, bound_nm: u32, all_pm: u32) -> bool {
        let plan = &self.plan;
        let left_nm = i64::from(plan.smallest_break_nm)
            - i64::from(plan.wear_nm)
            - i64::from(plan.allowance.bounds_nm)
            - i64::from(bound_nm);
        // In 1e-3 pm: at most 2^32 · 10^6, and 2^32 · 330970.
        let left = left_nm.saturating_mul(1_000_000);
        i64::try_from(u64::from(all_pm) * u64::from(self.guard_milli))
            .is_ok_and(|needed| needed <= left)
    }

    /// Whether a release lies where the touch was made.
    pub(super) fn is_at_make(&self, made_nm: i64, released: &Latched) -> bool {
        released.at_nm.abs_diff(made_nm) <= u64::from(self.plan.release_nm)
    }

    /// Whether a stop there without contact proves that the smallest break is missing.
    pub(super) fn is_beyond_break(&self, at_nm: i64) -> bool {
        let plan = &self.plan;
        let length_nm = plan.reference.size_at(plan.side, at_nm);
        let least = plan.expected_nm - i64::from(plan.smallest_break_nm);
        length_nm <= least.saturating_sub_unsigned(self.guard_nm())
    }

    /// Flags that are only noted, and those that forbid a verdict.
    pub(super) fn noted(&self, flags: Flags) -> (Flags, Flags) {
        let mut noted = Flags::UPPER
            .union(Flags::SHORT_HOLD)
            .union(Flags::HYBRID)
            .union(Flags::FILM);
        noted.insert_if(Flags::INTERRUPTED, self.plan.turning);
        (flags.only(noted), flags.without(noted))
    }

    /// The doubt of a mean of so many touches, pm; what is bounded counts as flat, over √3.
    pub(super) fn mean_doubt_pm(
        &self,
        largest_own_pm: u32,
        largest_bound_nm: u32,
        touches: u8,
    ) -> u32 {
        // Doubts of the touches of a cycle are alike: the largest, over the root of their number.
        let own = math::square(largest_own_pm);
        let own = math::quotient(own, u32::from(touches.max(1))).saturating_add(1);
        let bounds_nm = u64::from(self.plan.allowance.bounds_nm) + u64::from(largest_bound_nm);
        // 1/√3 as 0.577351; at most 2^33 nm.
        let flat_pm = math::quotient(bounds_nm * 577_351 + 999, 1_000);
        let flat_pm = u32::try_from(flat_pm).unwrap_or(u32::MAX);
        let common = math::square(self.plan.allowance.shared_pm);
        math::root_up(
            own.saturating_add(common)
                .saturating_add(math::square(flat_pm)),
        )
    }
}
