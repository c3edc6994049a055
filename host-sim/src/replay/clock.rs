//! Log time and core time: whole nanoseconds on both sides, moved so that negative times fit.

use trueonset::time::{FineInstant, Instant};

/// Half of the range: log time 0 lies in the middle of core time.
const MIDDLE: u64 = 1 << 63;

/// The instant of a log time in ns. Keeps the order.
#[must_use]
pub fn instant(time_ns: i64) -> Instant {
    Instant::from_ticks((time_ns as u64) ^ MIDDLE)
}

/// The log time of an instant in ns.
#[must_use]
pub fn log_ns(at: Instant) -> i64 {
    (at.ticks() ^ MIDDLE) as i64
}

/// The log time nearest to a fine instant in ns, a half rounded up.
#[must_use]
pub fn nearest_log_ns(at: FineInstant) -> i64 {
    log_ns(at.nearest())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn order_is_kept_over_the_whole_range() {
        let times = [i64::MIN, -1, 0, 1, i64::MAX];
        for pair in times.windows(2) {
            assert!(instant(pair[0]) < instant(pair[1]));
        }
        for time in times {
            assert_eq!(log_ns(instant(time)), time);
        }
    }
}
