//! Allan deviations of a clock's phase (NIST SP 1065, 2008, sections 5.2.1
//! and 5.2.4).

/// Overlapping Allan deviation at `m` steps of phases (s) every `dt` (s); not
/// a number for fewer than `2m + 1` phases or an `m` of 0.
#[must_use]
pub fn overlapping(phases: &[f64], dt: f64, m: usize) -> f64 {
    deviation(phases, dt, m, 1)
}

/// Allan deviation without overlap: of averages that follow each other.
#[must_use]
pub fn plain(phases: &[f64], dt: f64, m: usize) -> f64 {
    deviation(phases, dt, m, m)
}

fn deviation(phases: &[f64], dt: f64, m: usize, by: usize) -> f64 {
    if m == 0 || phases.len() < 2 * m + 1 {
        return f64::NAN;
    }
    let mut sum = 0.0;
    let mut n = 0.0;
    for i in (0..phases.len() - 2 * m).step_by(by) {
        let second = phases[i + 2 * m] - 2.0 * phases[i + m] + phases[i];
        sum += second * second;
        n += 1.0;
    }
    let tau = dt * m as f64;
    (sum / (2.0 * n)).sqrt() / tau
}
