//! Two touches by hand, told from anything else.
//!
//! Contact that bounces and a probe that is knocked make edges within milliseconds, some tens of
//! them at most; a finger rests for more than that, and comes back later still (all of it from
//! memory). So a touch counts that was held for a least time, and a second one that began a least
//! time after the end of the first.

use super::config::PairingConfig;
use crate::time::Instant;

/// How much of touch, release, touch, release was seen in a row, 0 to 4.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Touches {
    row: u8,
    /// When the newest edge of it was.
    newest: Instant,
}

impl Touches {
    pub(super) const NONE: Self = Self {
        row: 0,
        newest: Instant::from_ticks(0),
    };
    const ALL: u8 = 4;

    /// All of it.
    pub(super) const fn are_two(self) -> bool {
        self.row >= Self::ALL
    }

    /// The next edge, and when it happened. One that is not next in the row, comes too soon after
    /// the one before or has no time begins it anew.
    pub(super) fn edge(&mut self, config: &PairingConfig, at: Option<Instant>, touched: bool) {
        if self.are_two() {
            return;
        }
        let Some(at) = at else {
            *self = Self::NONE;
            return;
        };
        let least = match self.row {
            0 => 0,
            2 => config.apart,
            _ => config.touch,
        };
        let lasted = at.ticks_since(self.newest);
        let touch_is_next = self.row % 2 == 0;
        self.row = if touched == touch_is_next && lasted >= least {
            self.row + 1
        } else {
            u8::from(touched)
        };
        self.newest = at;
    }

    /// On a zero `ticks` later, where it is `now`; what is long enough ago is one value.
    #[cfg(feature = "walk")]
    pub(super) fn moved(self, config: &PairingConfig, ticks: u64, now: Instant) -> Self {
        let long = config.apart.max(config.touch);
        let long_ago = now.earlier(long);
        let matters = self.row > 0 && !self.are_two();
        let newest = matters.then(|| self.newest.max(long_ago).earlier(ticks));
        Self {
            newest: newest.unwrap_or_default(),
            ..self
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::time::TickRate;

    /// After edges so many ms after each other, the first a touch.
    fn after(ms: &[u64]) -> Touches {
        let config = PairingConfig::new(TickRate::from_hz(1_000).unwrap()).unwrap();
        let (mut touches, mut now, mut touched) = (Touches::NONE, 1_000, false);
        for step in ms {
            now += step;
            touched = !touched;
            touches.edge(&config, Some(Instant::from_ticks(now)), touched);
        }
        touches
    }

    #[test]
    fn four_edges_of_a_jolt_are_no_touches_by_hand() {
        assert!(after(&[0, 40, 150, 40]).are_two());
        for jolt in [
            [0, 0, 0, 0],
            [0, 3, 2, 5],
            [0, 39, 150, 40],
            [0, 40, 149, 40],
            [0, 40, 150, 39],
            [0, 400, 20, 400],
        ] {
            assert!(!after(&jolt).are_two(), "{jolt:?}");
        }
        // What follows a jolt counts for itself.
        assert!(after(&[0, 3, 5, 60, 200, 60]).are_two());
        assert!(after(&[0, 60, 20, 60, 200, 60]).are_two());
        assert!(!after(&[0, 60, 20, 60]).are_two());
    }

    #[test]
    fn an_edge_without_a_time_or_out_of_its_turn_begins_anew() {
        let config = PairingConfig::new(TickRate::from_hz(1_000).unwrap()).unwrap();
        for (untimed, again) in [(true, false), (false, true)] {
            for k in 0..4 {
                let mut touches = Touches::NONE;
                for (n, touched) in [true, false, true, false].into_iter().enumerate() {
                    let at = Some(Instant::from_ticks(300 * n as u64));
                    touches.edge(&config, at.filter(|_| !untimed || n != k), touched);
                    if again && n == k {
                        let at = at.map(|at| Instant::from_ticks(at.ticks() + 290));
                        touches.edge(&config, at, touched);
                    }
                }
                // Once all four were seen nothing is taken back.
                assert_eq!(touches.are_two(), again && k == 3, "{k} {untimed}");
            }
        }
    }

    /// Time that runs back is no time at all.
    #[test]
    fn a_time_that_runs_back_is_too_soon() {
        let config = PairingConfig::new(TickRate::from_hz(1_000).unwrap()).unwrap();
        let mut touches = Touches::NONE;
        for (at, touched) in [(900, true), (600, false), (300, true), (0, false)] {
            touches.edge(&config, Some(Instant::from_ticks(at)), touched);
        }
        assert!(!touches.are_two());
    }
}
