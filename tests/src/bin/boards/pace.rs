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
    /// A pass as most are, and the longest.
    usual: u64,
    longest: u64,
    /// With a look at the cells in it.
    look: u64,
    /// What a pass must fit into, µs.
    within_us: u64,
    /// The watchdog bites after so many ms.
    pub(crate) watchdog_ms: u64,
}

/// The probe: a frame is made 500 µs before its slot, and a look at the cells is allowed 3 ms.
pub(crate) const HEAD: Pace = Pace {
    timer_hz: 8_000_000,
    cpu_hz: 24_000_000,
    usual: 5_000,
    longest: 12_000,
    look: 60_000,
    within_us: 500,
    watchdog_ms: 0,
};

/// A receiver: polls may lie a slot apart.
pub(crate) const BOARD: Pace = Pace {
    timer_hz: 16_000_000,
    cpu_hz: 48_000_000,
    usual: 8_000,
    longest: 36_000,
    look: 0,
    within_us: 1_000,
    watchdog_ms: 40,
};

/// A wired probe: polls may lie half a millisecond apart.
pub(crate) const WIRED: Pace = Pace {
    timer_hz: 16_000_000,
    cpu_hz: 48_000_000,
    usual: 4_000,
    longest: 20_000,
    look: 0,
    within_us: 500,
    watchdog_ms: 4,
};

impl Pace {
    fn ticks(&self, instructions: u64) -> u64 {
        (instructions * self.timer_hz).div_ceil(self.cpu_hz)
    }

    /// Ticks of pass `number`: every eighth is the longest, and the first after a start is not
    /// timed.
    pub(crate) fn pass(&self, number: u64) -> u32 {
        let instructions = match number {
            0 => 0,
            number if number % 8 == 7 => self.longest,
            _ => self.usual,
        };
        self.ticks(instructions) as u32
    }

    /// Ticks by which a look at the cells makes a pass longer.
    pub(crate) fn look(&self) -> u64 {
        self.ticks(self.look)
    }

    /// The instructions truly counted, without and with a look at the cells, must be as stated.
    pub(crate) fn hold(&self, name: &str, (pass, looking): (u64, u64)) -> Result<(), Trouble> {
        let mhz = |instructions: u64, us: u64| instructions.div_ceil(us.max(1));
        println!(
            "pass {name} {pass} {} {} {looking}",
            self.within_us,
            mhz(pass, self.within_us)
        );
        let fits = mhz(self.longest, self.within_us) * 1_000_000 <= self.cpu_hz;
        if pass > self.longest || looking > self.look || !fits {
            return Err(format!(
                "{name}: the longest pass has {pass} instructions, with a look at the cells {looking}; \
                 stated are {} and {}",
                self.longest, self.look
            )
            .into());
        }
        Ok(())
    }
}
