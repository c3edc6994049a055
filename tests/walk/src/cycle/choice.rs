//! What may happen to a check.

use std::fmt::{self, Display};

use trueonset::flags::Flags;
use trueonset::gauge::check::Input;
use trueonset::latch::Latched;

use super::ghost::Ghost;

pub(super) const WEAR_NM: u32 = 20_000;
pub(super) const LONG_NM: u32 = 10_000;
pub(super) const BREAK_NM: u32 = 30_000;

/// What a length says by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) enum Place {
    Early,
    Whole,
    /// In the window as well, apart from the other by more than the doubt.
    Apart,
    Grey,
    Short,
}

impl Place {
    const fn off_nm(self) -> i64 {
        match self {
            Self::Early => LONG_NM as i64 + 1,
            Self::Whole => 0,
            Self::Apart => -5_000,
            Self::Grey => -(WEAR_NM as i64) - 1,
            Self::Short => -(BREAK_NM as i64) - 400,
        }
    }

    /// Whether it lies in the window.
    pub(super) const fn fits(self) -> bool {
        matches!(self, Self::Whole | Self::Apart)
    }
}

/// One of the things that may happen.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub(crate) enum Choice {
    Tick,
    Ready(bool),
    Blocked(bool),
    Start,
    Go,
    Touch(Place),
    TouchFlagged,
    TouchAstray,
    TouchWithoutDoubt,
    ReleasedAtMake,
    ReleasedElsewhere,
    ReleasedFlagged,
    Beat,
    LimitFar,
    LimitNear,
    Back,
    End,
    Flag,
    Note,
    Unfit,
}

pub(super) const ALL: &[Choice] = &[
    Choice::Tick,
    Choice::Ready(true),
    Choice::Ready(false),
    Choice::Blocked(true),
    Choice::Blocked(false),
    Choice::Start,
    Choice::Go,
    Choice::Touch(Place::Early),
    Choice::Touch(Place::Whole),
    Choice::Touch(Place::Apart),
    Choice::Touch(Place::Grey),
    Choice::Touch(Place::Short),
    Choice::TouchFlagged,
    Choice::TouchAstray,
    Choice::TouchWithoutDoubt,
    Choice::ReleasedAtMake,
    Choice::ReleasedElsewhere,
    Choice::ReleasedFlagged,
    Choice::Beat,
    Choice::LimitFar,
    Choice::LimitNear,
    Choice::Back,
    Choice::End,
    Choice::Flag,
    Choice::Note,
    Choice::Unfit,
];

impl Choice {
    /// As it is told; nothing for the passing of time.
    pub(super) fn input(self, ghost: &Ghost) -> Option<Input> {
        let made = ghost.place().unwrap_or(Place::Whole);
        Some(match self {
            Self::Tick => return None,
            Self::Ready(ready) => Input::Ready(ready),
            Self::Blocked(blocked) => Input::Blocked(blocked),
            Self::Start => Input::Start,
            Self::Go => Input::Go,
            Self::Touch(place) => Input::Touch(latched(place.off_nm())),
            Self::TouchFlagged => Input::Touch(Latched {
                flags: Flags::GAP,
                ..latched(0)
            }),
            // Plan and axis mean different ways.
            Self::TouchAstray => Input::Touch(Latched {
                feed_nm_s: 5_000_000,
                ..latched(0)
            }),
            Self::TouchWithoutDoubt => Input::Touch(Latched {
                doubt_pm: u32::MAX,
                ..latched(0)
            }),
            Self::ReleasedAtMake => Input::Released(latched(made.off_nm() + 1_500)),
            Self::ReleasedElsewhere => Input::Released(latched(made.off_nm() + 2_500)),
            Self::ReleasedFlagged => Input::Released(Latched {
                flags: Flags::GAP,
                ..latched(made.off_nm())
            }),
            Self::Beat => Input::Beat,
            Self::LimitFar => Input::Limit {
                at_nm: -i64::from(BREAK_NM) - 50_000,
            },
            Self::LimitNear => Input::Limit {
                at_nm: -i64::from(BREAK_NM),
            },
            Self::Back => Input::Back,
            Self::End => Input::End,
            Self::Flag => Input::Flag(Flags::LOST_EDGE),
            Self::Note => Input::Flag(Flags::UPPER),
            Self::Unfit => Input::Unfit,
        })
    }
}

impl Display for Choice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{self:?}")
    }
}

/// The axis falls towards the plate: a tool longer by so much touches that much higher.
fn latched(off_nm: i64) -> Latched {
    Latched {
        at_nm: off_nm,
        feed_nm_s: -5_000_000,
        doubt_pm: 30_000,
        bound_nm: 0,
        flags: Flags::NONE,
    }
}
