//! The textbook minimum: balance point and one-bit cumulative sum on raw 32-bit stamps, nothing else.
//!
//! No widening, no doubt, no flags, no tally, no faults; right only where the counter does not turn within a run.

/// State of one line.
pub struct Bare {
    hold: u32,
    last: u32,
    balance: u32,
    causal: u32,
    sum: u32,
    settled: bool,
    high: bool,
    open: bool,
}

impl Bare {
    /// At the low level since `now`, in ticks.
    pub const fn new(now: u32, hold: u32) -> Self {
        Self {
            hold,
            last: now,
            balance: now,
            causal: now,
            sum: 0,
            settled: false,
            high: false,
            open: false,
        }
    }

    /// Balance point and causal estimate, once the level lasted a hold.
    pub fn confirm(&mut self, now: u32) -> Option<(u32, u32)> {
        let due =
            self.open && self.high != self.settled && now.wrapping_sub(self.last) >= self.hold;
        due.then(|| {
            self.settled = self.high;
            self.open = false;
            (self.balance, self.causal)
        })
    }
}

/// An edge to high or low.
#[inline(never)]
pub extern "C" fn edge(bare: &mut Bare, at: u32, high: bool) -> u32 {
    let run = at.wrapping_sub(bare.last);
    bare.last = at;
    bare.high = high;
    if high == bare.settled {
        bare.sum = bare.sum.saturating_add(run);
    } else if !bare.open || run >= bare.hold {
        bare.open = true;
        bare.balance = at;
        bare.causal = at;
        bare.sum = 0;
    } else {
        bare.balance = bare.balance.wrapping_add(run);
        bare.sum = bare.sum.saturating_sub(run);
        if bare.sum == 0 {
            bare.causal = at;
        }
    }
    0
}
