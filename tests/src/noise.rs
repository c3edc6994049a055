//! A line that loses bytes, changes them and brings some that nobody sent.

use fastrand::Rng;

/// How often, in bytes of a million.
#[derive(Clone, Copy, Debug, Default)]
pub struct Rates {
    /// Bytes lost.
    pub lost: u32,
    /// Bytes changed.
    pub changed: u32,
    /// Bytes that come on top.
    pub added: u32,
}

/// One direction of a line. The same seed and bytes, the same damage, however the bytes are cut.
#[derive(Clone, Debug)]
pub struct Noise {
    rates: Rates,
    drawn: Rng,
}

impl Noise {
    /// Noise of these rates.
    #[must_use]
    pub fn new(rates: Rates, seed: u64) -> Self {
        Self {
            rates,
            drawn: Rng::with_seed(seed),
        }
    }

    /// Appends to `out` what comes of `bytes`.
    pub fn pass(&mut self, bytes: &[u8], out: &mut Vec<u8>) {
        for byte in bytes {
            if !self.once(self.rates.lost) {
                let change = self.once(self.rates.changed);
                let bits = if change { self.drawn.u8(1..) } else { 0 };
                out.push(byte ^ bits);
            }
            if self.once(self.rates.added) {
                out.push(self.drawn.u8(..));
            }
        }
    }

    fn once(&mut self, rate: u32) -> bool {
        self.drawn.u32(..1_000_000) < rate
    }
}
