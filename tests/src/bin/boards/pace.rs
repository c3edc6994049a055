//! How long a pass of each image takes.

use crate::side::Trouble;

/// Instructions of a pass, and the clock that runs them, one a cycle; a core that takes more cycles
/// for an instruction needs so much more of a clock.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Pace {
    /// Ticks of the timer, Hz.
    timer_hz: u64,
    /// Instructions a second.
    cpu_hz: u64,
    /// A pass as most are, and a long one.
    usual: u64,
    long: u64,
    /// So many passes in a thousand may be longer still.
    longer_permille: usize,
    /// With a look at the cells in it.
    look: u64,
    /// What a long pass must fit into, µs.
    within_us: u64,
    /// The watchdog bites after so many ms.
    pub(crate) watchdog_ms: u64,
}

/// The probe: a frame is made 500 µs before its slot, and a look at the cells is allowed 3 ms. Where a
/// queue full of edges makes a pass longer, a frame is left out.
pub(crate) const HEAD: Pace = Pace {
    timer_hz: 8_000_000,
    cpu_hz: 24_000_000,
    usual: 5_000,
    long: 12_000,
    longer_permille: 2,
    look: 60_000,
    within_us: 500,
    watchdog_ms: 0,
};

/// A receiver: polls may lie a slot apart.
pub(crate) const BOARD: Pace = Pace {
    timer_hz: 16_000_000,
    cpu_hz: 48_000_000,
    usual: 8_000,
    long: 36_000,
    longer_permille: 0,
    look: 0,
    within_us: 1_000,
    watchdog_ms: 40,
};

/// A wired probe: polls may lie half a millisecond apart.
pub(crate) const WIRED: Pace = Pace {
    timer_hz: 16_000_000,
    cpu_hz: 48_000_000,
    usual: 4_000,
    long: 20_000,
    longer_permille: 0,
    look: 0,
    within_us: 500,
    watchdog_ms: 4,
};

impl Pace {
    fn ticks(&self, instructions: u64) -> u64 {
        (instructions * self.timer_hz).div_ceil(self.cpu_hz)
    }

    /// Ticks of pass `number`: every eighth is a long one, and the first after a start is not
    /// timed.
    pub(crate) fn pass(&self, number: u64) -> u32 {
        let instructions = match number {
            0 => 0,
            number if number % 8 == 7 => self.long,
            _ => self.usual,
        };
        self.ticks(instructions) as u32
    }

    /// Ticks by which a look at the cells makes a pass longer.
    pub(crate) fn look(&self) -> u64 {
        self.ticks(self.look)
    }

    /// The instructions truly counted must be as stated.
    pub(crate) fn hold(&self, name: &str, counts: &[Vec<u64>; 2]) -> Result<(), Trouble> {
        let [passes, looks] = counts;
        let rare = passes.len() * self.longer_permille / 1_000;
        let at = |back: usize| passes.iter().rev().nth(back).copied().unwrap_or(0);
        let (long, longest) = (at(rare), at(0));
        let look = looks.last().copied().unwrap_or(0);
        let mhz = long.div_ceil(self.within_us);
        println!(
            "pass {name} {longest} {long} {} {mhz} {look}",
            self.within_us
        );
        let fits = self.long <= self.cpu_hz / 1_000_000 * self.within_us;
        if long > self.long || look > self.look || !fits {
            return Err(format!(
                "{name}: a long pass has {long} instructions, a look at the cells {look}; stated are {} and {}",
                self.long, self.look
            )
            .into());
        }
        Ok(())
    }
}
