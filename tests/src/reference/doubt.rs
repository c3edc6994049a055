//! How sure an onset is, by the formulas of the study in double precision.
//!
//! ε² is the squared noise width one chatter edge stands for, c how the balance point scatters
//! per ε², n the edges and V the second moment of an episode:
//!
//! var = c·ε²·(n+1) + 0.2265·A²·m^(−2/7) + n·q²/12, the first held to at least half of c·V/(n−1).

use super::estimate::Episode;
use super::{Setup, Words};

/// The variance of an onset by its sources, tick².
#[derive(Clone, Copy, Debug, Default)]
pub struct Parts {
    /// Chatter.
    pub chatter: f64,
    /// Ends cut off by the hold.
    pub ends: f64,
    /// Capture steps.
    pub steps: f64,
}

impl Parts {
    /// One standard uncertainty, ticks.
    #[must_use]
    pub fn doubt(&self) -> f64 {
        (self.chatter + self.ends + self.steps).sqrt()
    }
}

/// What is said about one episode.
#[derive(Clone, Debug)]
pub struct Stated {
    /// The variance.
    pub parts: Parts,
    /// Word of its kind.
    pub kind: &'static str,
    /// Words it adds to the flags.
    pub flags: Words,
    /// ε² in force, tick².
    pub edge_variance: f64,
    /// Whether a decision was within 1 % of its limit.
    pub close_call: bool,
}

/// Whether `value` is within 1 % of `limit`.
pub(super) fn close(value: f64, limit: f64) -> bool {
    (value - limit).abs() <= 0.01 * limit.abs()
}

/// Hold in units of ε below which a hold is short: ten mean dwells.
const HOLD_IN_EDGES: f64 = 25.0;

/// What the chatter of a line has taught.
#[derive(Clone, Debug, Default)]
pub struct Hardware {
    moments: f64,
    weights: f64,
    known: bool,
    rough_in_a_row: u32,
}

impl Hardware {
    fn learned(&self) -> Option<f64> {
        self.known.then(|| self.moments / self.weights)
    }

    fn edge_variance(&self, setup: &Setup, hold: i128) -> f64 {
        let stated = setup.bandwidth_ticks.map(|cycle| (0.32 * cycle).powi(2));
        let by_hold = (hold as f64 / HOLD_IN_EDGES).powi(2);
        self.learned().or(stated).unwrap_or(by_hold)
    }

    fn learn(&mut self, n: f64, moment: f64, rough: bool) {
        if rough {
            self.rough_in_a_row += 1;
            if self.rough_in_a_row < 8 {
                return;
            }
        }
        self.rough_in_a_row = 0;
        let bits = n.log2().floor() as i32 + 1;
        let scale = 4_f64.powi((bits - 6).max(0));
        self.moments += moment / scale;
        self.weights += (n - 1.0) * (n - 0.57) / scale;
        while self.weights > 65_536.0 {
            self.moments /= 2.0;
            self.weights /= 2.0;
        }
        self.known |= n >= 9.0;
    }

    /// States the doubt of `episode`; a touch teaches first.
    pub(super) fn state(
        &mut self,
        setup: &Setup,
        hold: i128,
        episode: &Episode<'_>,
        class: Option<&mut Class>,
        release: bool,
    ) -> Stated {
        let n = episode.edges() as f64;
        let moment = episode.second_moment();
        let spread = if n > 1.0 { moment / (n - 1.0) } else { 0.0 };
        // Before anything was learned, eight times what the stated bandwidth says.
        let stated = setup
            .bandwidth_ticks
            .map(|cycle| 8.0 * (0.32 * cycle).powi(2));
        let limit = self
            .learned()
            .or(stated)
            .map_or(f64::INFINITY, |edge| 6.0 * edge * (n + 1.0));
        let rough = n > 1.0 && spread > limit;
        let mut close_call = limit.is_finite() && n > 1.0 && close(spread, limit);
        if !release {
            self.learn(n, moment, rough);
        }
        let edge = self.edge_variance(setup, hold);
        let c = factor(setup, edge);

        let mut kind = match self.learned() {
            None => "assumed",
            Some(_) if n < 7.0 => "limit",
            Some(_) => "measured",
        };
        let mut chatter = c * edge * (n + 1.0);
        if let Some(class) = class {
            if n < 17.0 && !release {
                class.count(n, rough);
            }
            if n < 9.0 {
                chatter = class.relative_variance() * edge * c / 0.684;
                if kind == "limit" && class.speaks() {
                    kind = "pooled";
                }
            }
        }
        let mut flags = Words::new();
        if rough {
            kind = "rough";
            flags.insert("rough");
            if n >= 33.0 {
                flags.insert("vibration");
            }
            chatter = chatter.max(c * spread);
            if n >= 5.0 {
                let wider = episode.time_away().max(episode.time_home()) as f64;
                chatter = chatter.max(1.1 * (wider / 2.0).powi(2));
            }
        } else {
            chatter = chatter.max(c * spread / 2.0);
        }

        let (time, edges) = episode.end_zones(hold);
        let mut ends = 0.2265 * time * time * edges.powf(-2.0 / 7.0);
        let needed = HOLD_IN_EDGES * edge.sqrt();
        // Where nothing is known the hold is by definition just long enough.
        let judged = self.known || setup.bandwidth_ticks.is_some();
        if judged && needed > hold as f64 {
            flags.insert("short_hold");
            ends *= needed / hold as f64;
        }
        close_call |= judged && close(needed, hold as f64);
        if (5.0..33.0).contains(&n) && (flags.contains("rough") || flags.contains("short_hold")) {
            let run = (episode.time_away() + episode.time_home()) as f64 / (n - 1.0);
            let expected = 16.0 * stated.map_or(edge, |stated| edge.min(stated)).sqrt();
            close_call |= close(run, expected);
            if run > expected {
                flags.insert("flutter");
            }
        }
        if kind == "assumed" || kind == "limit" {
            flags.insert("upper");
        }
        let parts = Parts {
            chatter,
            ends,
            steps: n * setup.step * setup.step / 12.0,
        };
        Stated {
            parts,
            kind,
            flags,
            edge_variance: edge,
            close_call,
        }
    }
}

/// c: by ε·fc where a bandwidth is stated, else that of a fourth-order low-pass.
fn factor(setup: &Setup, edge_variance: f64) -> f64 {
    const POINTS: [(f64, f64); 4] = [(0.21, 0.83), (0.32, 0.70), (0.50, 0.76), (0.84, 1.06)];
    let Some(cycle) = setup.bandwidth_ticks else {
        return 0.703;
    };
    let square = edge_variance / (cycle * cycle);
    for pair in POINTS.windows(2) {
        let (low, high) = (pair[0].0 * pair[0].0, pair[1].0 * pair[1].0);
        if square < high {
            let part = ((square - low) / (high - low)).max(0.0);
            return pair[0].1 + part * (pair[1].1 - pair[0].1);
        }
    }
    POINTS[3].1
}

/// Touches that are promised to be made at one feed.
#[derive(Clone, Debug, Default)]
pub struct Class {
    pairs: f64,
    touches: f64,
    busy_in_a_row: u32,
}

/// Var(t*)/ε² where each touch has on average 2^-k pairs of chatter edges.
const BY_OCTAVE: [f64; 13] = [
    1.93, 1.20, 0.80, 0.56, 0.41, 0.31, 0.24, 0.19, 0.15, 0.126, 0.106, 0.091, 0.079,
];

impl Class {
    fn count(&mut self, n: f64, rough: bool) {
        let pairs = ((n - 1.0) / 2.0).floor();
        if self.touches > 0.0 {
            let mean = self.pairs / self.touches;
            self.busy_in_a_row = if pairs > 4.0 * mean + 4.0 {
                self.busy_in_a_row + 1
            } else {
                0
            };
            if self.busy_in_a_row >= 2 || 3.0 * (pairs + 1.0) < mean {
                *self = Self::default();
            }
        }
        if !rough {
            self.pairs += pairs;
        }
        self.touches += 1.0;
        if self.touches >= 1024.0 {
            self.touches = (self.touches / 2.0).floor();
            self.pairs = (self.pairs / 2.0).floor();
        }
    }

    fn speaks(&self) -> bool {
        self.touches >= 16.0 && self.pairs >= 2.0
    }

    fn relative_variance(&self) -> f64 {
        let rate = (self.pairs + 0.5) / self.touches.max(1.0);
        if rate >= 1.0 {
            return 0.68 * (2.0 * rate + 1.0);
        }
        // Between two entries the table is read linearly in 1/rate.
        let inverse = 1.0 / rate;
        let octave = inverse.log2().floor();
        let part = inverse / octave.exp2() - 1.0;
        let at = |k: f64| BY_OCTAVE[(k as usize).min(BY_OCTAVE.len() - 1)];
        at(octave) * (1.0 - part) + at(octave + 1.0) * part
    }
}
