//! Health: what link, lens and battery have to say, in one list, most urgent first.
//!
//! It listens to all and only gates the lines: with anything in it that [`Ailments::SILENCING`]
//! holds, the absence of a touch means nothing, and READY must not stand. What is unknown is
//! never taken for sound.
//!
//! **Battery.** Cells that will not last the run take nothing away: when they end the probe falls
//! silent, and READY with it; that is told in good time. Cells too low *now* are another thing:
//! the processor may still send where light and comparator already fail. Without a reading
//! nothing is known of that, and the probe's brown-out reset has to end it: a start is silent for
//! longer than READY stands.
//!
//! A measuring signal, not a safety function; no performance level is claimed; guards and
//! emergency stop stay in charge.

use crate::barrier::Optics;
use crate::battery::{BatteryState, Verdict};
use crate::bits::bit_set;
use crate::flags::Flags;
use crate::lines::{Causes, Decision};
use crate::link::{Grade, State};

/// What ails a probe. The order of the bits is that of their urgency.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Ailments(u32);

impl Ailments {
    /// Nothing.
    pub const NONE: Self = Self(0);
    /// The line is latched at stop; its causes say why.
    pub const LATCHED: Self = Self(1);
    /// The light-off self-test failed, or the probe reports a fault.
    pub const FAULT: Self = Self(1 << 1);
    /// The cells are too low for the electronics now, or were at the first pulse after a rest.
    pub const BATTERY_LOW: Self = Self(1 << 2);
    /// No light where light should be.
    pub const DARK: Self = Self(1 << 3);
    /// The light does not follow what it should.
    pub const STUCK: Self = Self(1 << 4);
    /// More light than can be measured.
    pub const SATURATED: Self = Self(1 << 5);
    /// Both stored marks are bad: no frame counts until paired anew.
    pub const MARKS_TORN: Self = Self(1 << 6);
    /// The probe's clock runs beyond the tolerance that was stated for it: no times, no READY.
    pub const CLOCK: Self = Self(1 << 7);
    /// Frames come, and the clock is not sure enough of their times.
    pub const CLOCK_UNSURE: Self = Self(1 << 8);
    /// Frames come, and do not count before they are past the stored mark, or a new mark is stored.
    pub const MARK_AWAITED: Self = Self(1 << 9);
    /// The link does not live, for no other reason: nothing is heard, or not enough yet.
    pub const NO_LINK: Self = Self(1 << 10);
    /// The cells will not last the run.
    pub const BATTERY_ENDS: Self = Self(1 << 11);
    /// The rest level is not known yet.
    pub const NOT_SETTLED: Self = Self(1 << 12);
    /// READY will fall more than once an hour.
    pub const LINK_POOR: Self = Self(1 << 13);
    /// Whether the cells last the run cannot be told.
    pub const BATTERY_UNKNOWN: Self = Self(1 << 14);
    /// Film or flicker on the light: it works, and wants looking at.
    pub const LENS: Self = Self(1 << 15);
    /// READY will fall less than once an hour, more than once in a hundred.
    pub const LINK_FAIR: Self = Self(1 << 16);

    /// What silences READY: with any of these, no touch may be concluded from silence.
    pub const SILENCING: Self = Self::LATCHED
        .union(Self::FAULT)
        .union(Self::BATTERY_LOW)
        .union(Self::DARK)
        .union(Self::STUCK)
        .union(Self::SATURATED)
        .union(Self::MARKS_TORN)
        .union(Self::CLOCK)
        .union(Self::CLOCK_UNSURE)
        .union(Self::MARK_AWAITED)
        .union(Self::NO_LINK)
        .union(Self::NOT_SETTLED);

    const WORDS: [&'static str; 17] = [
        "line latched at stop",
        "fault of the probe",
        "battery too low now",
        "no light",
        "light is stuck",
        "light beyond the range",
        "stored marks are bad: pair anew",
        "clock of the probe beyond its tolerance",
        "clock of the probe not sure enough",
        "link waits for the stored mark",
        "link does not live",
        "battery ends within the run",
        "rest light not settled",
        "link poor",
        "battery cannot tell",
        "lens wants cleaning or shade",
        "link fair",
    ];

    /// Whether READY may stand.
    #[must_use]
    pub const fn vouches(self) -> bool {
        !self.has(Self::SILENCING)
    }

    /// The most urgent word, if any.
    #[must_use]
    pub fn first(self) -> Option<&'static str> {
        self.words().next()
    }
}

bit_set!(Ailments, words);

/// What a link that does not live waits for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Awaits {
    /// Frames: nothing is heard, or not enough yet.
    Frames,
    /// A mark: the probe's counter is not past the stored one, or the next one is not durable. At
    /// most a reserve of slots, about a minute.
    Mark,
    /// A surer clock: enough frames came, and their times are not within the plan's bound.
    Clock,
    /// Another pairing: both stored marks are bad.
    Pairing,
}

/// What the link says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct LinkVitals {
    /// How far it has come.
    pub state: State,
    /// What it waits for where it does not live.
    pub awaits: Awaits,
    /// How good the air is.
    pub grade: Grade,
    /// Whether the probe's clock is [`out of tolerance`](crate::clock::Clock::out_of_tolerance).
    pub out_of_tolerance: bool,
}

/// All that was heard; what a probe has none of is left out by a builder, what has not spoken yet
/// speaks against it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[must_use]
pub struct Health {
    ailments: Ailments,
}

impl Health {
    /// Begins with the latch and with a fault that the probe reports.
    pub fn of(causes: Causes, fault: bool) -> Self {
        let mut ailments = Ailments::NONE;
        ailments.insert_if(Ailments::LATCHED, !causes.is_empty());
        ailments.insert_if(Ailments::FAULT, fault);
        Self { ailments }
    }

    /// Of a wireless probe.
    pub fn link(self, link: &LinkVitals) -> Self {
        let grade = match link.grade {
            Grade::Poor => Ailments::LINK_POOR,
            Grade::Fair => Ailments::LINK_FAIR,
            Grade::Good => Ailments::NONE,
        };
        let mut ailing = self.with(match (link.state, link.awaits) {
            (State::Live, _) => grade,
            (_, Awaits::Frames) => Ailments::NO_LINK,
            (_, Awaits::Mark) => Ailments::MARK_AWAITED,
            (_, Awaits::Clock) => Ailments::CLOCK_UNSURE,
            (_, Awaits::Pairing) => Ailments::MARKS_TORN,
        });
        ailing
            .ailments
            .insert_if(Ailments::CLOCK, link.out_of_tolerance);
        ailing
    }

    /// Of a probe whose light is sampled here; `None` where nothing was sampled yet.
    pub fn optics(mut self, optics: Option<&Optics>) -> Self {
        let Some(optics) = optics else {
            return self.with(Ailments::NOT_SETTLED);
        };
        for (flags, ailment) in [
            (Flags::DARK, Ailments::DARK),
            (Flags::STUCK, Ailments::STUCK),
            (Flags::SATURATED, Ailments::SATURATED),
            (Flags::NOT_SETTLED, Ailments::NOT_SETTLED),
            (Flags::FILM, Ailments::LENS),
            (Flags::FLICKER, Ailments::LENS),
        ] {
            self.ailments
                .insert_if(ailment, optics.flags.contains(flags));
        }
        self
    }

    /// Of a probe that lives on cells, which are to last a run of `run_s` seconds.
    pub fn battery(self, state: &BatteryState, run_s: u32) -> Self {
        let mut ailing = self.with(match state.lasts(run_s) {
            Verdict::Yes => Ailments::NONE,
            Verdict::No => Ailments::BATTERY_ENDS,
            Verdict::CannotTell => Ailments::BATTERY_UNKNOWN,
        });
        ailing
            .ailments
            .insert_if(Ailments::BATTERY_LOW, state.is_low());
        ailing
    }

    fn with(mut self, ailment: Ailments) -> Self {
        self.ailments.insert(ailment);
        self
    }

    /// The list.
    #[must_use]
    pub const fn ailments(&self) -> Ailments {
        self.ailments
    }

    /// `decision`, or stop where nothing may be concluded from silence.
    #[must_use]
    pub const fn gate(&self, decision: Decision) -> Decision {
        if self.ailments.vouches() {
            decision
        } else {
            Decision::STOP
        }
    }
}

#[cfg(test)]
mod tests;
