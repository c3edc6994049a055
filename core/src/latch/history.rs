//! Positions every so often, and the onset looked up among them.

use core::num::NonZeroU64;

use super::{doubt_pm, LatchConfig, LatchError, Latched, Method, FASTEST_NM_S, FURTHEST_NM};
use crate::flags::Flags;
use crate::rounded::quotient;

/// A position of the axis at its time.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Sample {
    time_ns: i64,
    position_nm: i64,
}

impl Sample {
    /// Nanoseconds since an earlier one.
    fn since(self, earlier: Self) -> i64 {
        self.time_ns.saturating_sub(earlier.time_ns)
    }
}

/// The last `N` positions of an axis, at least five of which are wanted.
///
/// Times are nanoseconds of the clock that the onsets are told in, from any zero
/// ([`TickRate::ns`](crate::time::TickRate::ns) turns ticks into them). [`push`](Self::push) every
/// sample; once the sample behind the onset is there, ask for the [`contact`](Self::contact).
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct History<const N: usize> {
    samples: [Sample; N],
    /// Where the next one goes, and how many there are.
    next: usize,
    known: usize,
}

impl<const N: usize> Default for History<N> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const N: usize> History<N> {
    /// Without a sample.
    #[must_use]
    pub fn new() -> Self {
        Self {
            samples: [Sample::default(); N],
            next: 0,
            known: 0,
        }
    }

    /// The position at a time.
    ///
    /// # Errors
    /// [`LatchError::Position`], [`LatchError::Order`] and [`LatchError::Feed`] for one that lies
    /// further from the one before it than the fastest feed goes. It is then not taken, and shows
    /// as missing.
    pub fn push(&mut self, time_ns: i64, position_nm: i64) -> Result<(), LatchError> {
        if position_nm.unsigned_abs() > FURTHEST_NM.unsigned_abs() {
            return Err(LatchError::Position);
        }
        let sample = Sample {
            time_ns,
            position_nm,
        };
        if let Some(newest) = self.back(0) {
            let span = sample.since(newest);
            if span <= 0 {
                return Err(LatchError::Order);
            }
            let way = position_nm.abs_diff(newest.position_nm);
            // Within 20 m, so a span of a minute may be any way.
            let seconds = span.unsigned_abs().min(60_000_000_000);
            let most = seconds * (FASTEST_NM_S.unsigned_abs() / 1_000) / 1_000_000;
            if way > most.saturating_add(1_000) {
                return Err(LatchError::Feed);
            }
        }
        if let Some(slot) = self.samples.get_mut(self.next) {
            *slot = sample;
            self.next = if self.next + 1 < N { self.next + 1 } else { 0 };
            self.known = (self.known + 1).min(N);
        }
        Ok(())
    }

    /// The position at an onset of that standard uncertainty: the delay of the configuration is
    /// taken off its time first.
    ///
    /// A chord between the two samples about it where its error, an eighth of the second
    /// difference, is below a quarter of the doubt; else a parabola through three. What the third
    /// difference adds to either, over `9·√3`, is in the bound. It bounds what the samples show: where the
    /// axis begins to brake between the onset and the sample behind it, no difference shows it yet, and
    /// the error is up to `a·T²/8` (2 m/s², 1 ms: 250 nm). Onset and sample behind it are to lie
    /// within the constant feed, which is so as long as nothing stops the axis within `D` of a touch. `gap` is flagged where one of the four samples is
    /// missing; the bound is then the whole way from one sample to the next.
    ///
    /// # Errors
    /// [`LatchError::Method`], [`LatchError::Outside`].
    pub fn contact(
        &self,
        config: &LatchConfig,
        onset_ns: i64,
        doubt_ns: Option<u32>,
    ) -> Result<Latched, LatchError> {
        let Method::History { period_ns } = config.method else {
            return Err(LatchError::Method);
        };
        let at_ns = onset_ns.saturating_sub(config.delay_ns);
        let (mut k, mut after) = (0, self.back(0).ok_or(LatchError::Outside)?);
        if at_ns > after.time_ns {
            return Err(LatchError::Outside);
        }
        let before = loop {
            k += 1;
            let before = self.back(k).ok_or(LatchError::Outside)?;
            if before.time_ns <= at_ns {
                break before;
            }
            after = before;
        };
        let near = Near {
            at_ns,
            after,
            before,
            older: self.back(k + 1),
            oldest: self.back(k + 2),
        };
        Ok(near.latched(i64::from(period_ns), doubt_ns))
    }

    /// The sample `k` before the newest.
    fn back(&self, k: usize) -> Option<Sample> {
        if k >= self.known {
            return None;
        }
        let step = k + 1;
        let at = if step <= self.next {
            self.next - step
        } else {
            (self.next + N).checked_sub(step)?
        };
        self.samples.get(at).copied()
    }
}

/// The samples about an instant.
struct Near {
    at_ns: i64,
    after: Sample,
    before: Sample,
    older: Option<Sample>,
    oldest: Option<Sample>,
}

impl Near {
    fn latched(&self, period_ns: i64, doubt_ns: Option<u32>) -> Latched {
        let (Some(older), Some(oldest)) = (self.older, self.oldest) else {
            return self.torn(doubt_ns);
        };
        let spans = [
            self.after.since(self.before),
            self.before.since(older),
            older.since(oldest),
        ];
        // A clock that polls late by an eighth is none that misses a sample.
        if spans
            .iter()
            .any(|span| span.abs_diff(period_ns) > period_ns.unsigned_abs() / 8)
        {
            return self.torn(doubt_ns);
        }
        let way = self.after.position_nm - oldest.position_nm;
        let feed_nm_s = feed(way, self.after.since(oldest));
        let doubt_pm = doubt_pm(feed_nm_s, doubt_ns);
        let second = self.after.position_nm - 2 * self.before.position_nm + older.position_nm;
        let third = second - (self.before.position_nm - 2 * older.position_nm + oldest.position_nm);
        let chord = second.unsigned_abs() * 1_000 / 2 <= u64::from(doubt_pm);
        // The third difference adds to either curve; 1/(9·√3) is 4204.13 / 2^16.
        let jerk = (third.unsigned_abs() * 4_205).div_ceil(1 << 16);
        let (at_nm, bound) = if chord {
            (self.chord(), second.unsigned_abs().div_ceil(8) + jerk)
        } else {
            (self.parabola(older), jerk)
        };
        Latched {
            at_nm,
            feed_nm_s,
            doubt_pm,
            bound_nm: u32::try_from(bound).unwrap_or(u32::MAX),
            flags: Flags::NONE,
        }
    }

    /// A sample is missing: somewhere between both.
    fn torn(&self, doubt_ns: Option<u32>) -> Latched {
        let way = self.after.position_nm - self.before.position_nm;
        let feed_nm_s = feed(way, self.after.since(self.before));
        Latched {
            at_nm: self.chord(),
            feed_nm_s,
            doubt_pm: doubt_pm(feed_nm_s, doubt_ns),
            bound_nm: u32::try_from(way.unsigned_abs()).unwrap_or(u32::MAX),
            flags: Flags::GAP,
        }
    }

    /// On the straight line between both samples.
    fn chord(&self) -> i64 {
        let way = i128::from(self.after.position_nm - self.before.position_nm);
        let product = way * i128::from(self.at_ns.saturating_sub(self.before.time_ns));
        self.before.position_nm + rounded(product, i128::from(self.after.since(self.before)))
    }

    /// On the parabola through both and the one before them (Newton's divided differences).
    fn parabola(&self, older: Sample) -> i64 {
        let (new, old) = (self.after.since(self.before), self.before.since(older));
        let (new, old) = (i128::from(new), i128::from(old));
        let done = i128::from(self.at_ns.saturating_sub(self.before.time_ns));
        let [way, way_before] = [
            self.after.position_nm - self.before.position_nm,
            self.before.position_nm - older.position_nm,
        ]
        .map(i128::from);
        // Spans up to 1.125·10^9 and ways up to 1.9·10^9: all below 2^125.
        let bend = way * old - way_before * new;
        let above = done * way * old * (new + old) - done * (new - done) * bend;
        self.before.position_nm + rounded(above, new * old * (new + old))
    }
}

/// Over a time; positions are checked to be no faster than the fastest feed.
fn feed(way_nm: i64, span_ns: i64) -> i64 {
    // Up to three spans of 1.125 s at full feed: 5.7·10^9 nm.
    let above = way_nm.saturating_mul(1_000_000_000);
    NonZeroU64::new(span_ns.unsigned_abs()).map_or(0, |span| quotient(above, span))
}

/// `above / below` to the nearest, for a quotient within 64 bits.
fn rounded(above: i128, below: i128) -> i64 {
    let half = if above < 0 { -below / 2 } else { below / 2 };
    (above + half).checked_div(below).unwrap_or(0) as i64
}
