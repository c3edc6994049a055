//! A sine at even steps of time, by turning a pointer.
//!
//! One complex product a step instead of a library call. The pointer is set
//! anew at each start, so the error of a run of n steps stays below n·1e−16.

/// A pointer that turns by the same angle at each step.
#[derive(Debug, Clone, Copy)]
pub(super) struct Sine {
    sin: f64,
    cos: f64,
    step_sin: f64,
    step_cos: f64,
}

impl Sine {
    /// Starts at `angle` and turns by `step` (both rad).
    pub(super) fn new(angle: f64, step: f64) -> Self {
        let ((sin, cos), (step_sin, step_cos)) = (angle.sin_cos(), step.sin_cos());
        Self {
            sin,
            cos,
            step_sin,
            step_cos,
        }
    }

    /// Sine now; the next call is a step later.
    #[inline]
    pub(super) fn next(&mut self) -> f64 {
        let now = self.sin;
        let cos = self.cos;
        self.sin = now * self.step_cos + cos * self.step_sin;
        self.cos = cos * self.step_cos - now * self.step_sin;
        now
    }
}

#[cfg(test)]
mod tests {
    use super::Sine;

    #[test]
    fn it_follows_the_sine() {
        let mut sine = Sine::new(0.4, 0.013);
        for k in 0..1024 {
            let exact = (0.4 + 0.013 * f64::from(k)).sin();
            assert!((sine.next() - exact).abs() < 1e-12);
        }
    }
}
