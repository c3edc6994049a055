//! A log drawn from a scenario: edges of many touches one after the other, with their truth.
//!
//! One touch: the blade starts a clearance away, meets the beam (anywhere within the length doubt), stops behind the
//! trip point, stands, goes back. Each touch has a random stream of its own, named by seed and number, so a longer
//! log begins like a shorter one.

use rand_distr::{Distribution, Uniform};

use super::setup::{Scenario, Sensing, SPIKES};
use crate::fault::{Fault, Place};
use crate::model::adc::Adc;
use crate::model::approach::Approach;
use crate::model::rng::{self, Rng};
use crate::model::sampling::Sampling;
use crate::model::touch::Simulator;

/// Name of the line.
pub const LINE: &str = "probe";
/// Light at rest before a sampled touch, for a barrier that must learn it, s.
const REST: f64 = 0.5;
/// The blade stands this many holds, and at least [`STAND`].
const STAND_HOLDS: f64 = 20.0;
/// Shortest time of standing, s.
const STAND: f64 = 0.1;
/// End of a touch without new spikes and droplets, so that none reaches into the next one, s.
const TAIL: f64 = 0.01;

/// One true touch, times in ns of the log.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Touch {
    /// True onset.
    pub onset_ns: i64,
    /// True release.
    pub release_ns: i64,
}

/// Touches of one scenario, drawn one by one; only one of them is in memory.
#[derive(Debug)]
pub struct Drawn {
    seed: u64,
    left: std::ops::Range<u64>,
    simulator: Simulator,
    /// From the begin of a touch to the expected time 0 of its path, s.
    lead: f64,
    /// Half range of the contact, s.
    late: f64,
    /// From one start to the next, ns.
    period_ns: u64,
    sensing: Sensing,
    edges: Vec<(i64, bool)>,
}

/// Samples of one touch and of the rest around it, evenly spaced.
#[derive(Debug, Clone, Copy)]
pub struct Light<'a> {
    /// Number of the first sample in the log.
    pub first: u64,
    /// Samples a second.
    pub rate_hz: u32,
    /// The light, counts.
    pub counts: &'a [u16],
}

impl Light<'_> {
    /// The instant of sample `k` of these, ns; rounded to the nearest one.
    #[must_use]
    pub fn time_ns(&self, k: usize) -> i64 {
        let rate = u128::from(self.rate_hz);
        let index = u128::from(self.first) + k as u128;
        ((index * 1_000_000_000 + rate / 2) / rate) as i64
    }
}

/// Draws `touches` touches of `scenario`.
///
/// # Errors
/// A log that would last longer than times can hold.
pub fn draw(scenario: &Scenario, touches: u64, seed: u64) -> Result<Drawn, Fault> {
    let cell = scenario.cell(0);
    let mut scene = cell.scene();
    let hold = scenario.hold_ns as f64 * 1e-9;
    scene.approach = Approach {
        feed: scenario.feed,
        depth: scene.trip_position() + scenario.depth,
        stand: STAND.max(STAND_HOLDS * hold),
        retract: scenario.retract,
        clearance: scenario.clearance - scene.trip_position(),
        limits: scenario.limits,
    };
    scene.disturbance.cutter = scenario.cutter;
    scene.disturbance.plate = scenario.cutter.and(scenario.plate);
    let path = &scene.approach;
    // A contact that comes early or late does so by shifting the whole path.
    let late = scenario.length_doubt / scenario.feed;
    let rest = match scenario.sensing {
        Sensing::Edges { .. } => 0.0,
        Sensing::Samples { .. } => REST,
    };
    let lead = late + rest - path.start();
    let back = path.outward(-scenario.clearance).unwrap_or(path.turn());
    let period_s = lead + late + back + 4.0 * hold + STAND;
    scenario
        .spikes(period_s)
        .map_err(|why| why.at(Place::Setting(SPIKES.to_owned())))?;
    // A whole number of us, and of samples.
    let period_ns = match scenario.sensing {
        Sensing::Edges { .. } => (period_s * 1e6).ceil() * 1e3,
        Sensing::Samples { rate_hz, .. } => {
            (period_s * f64::from(rate_hz)).ceil() * 1e9 / f64::from(rate_hz)
        }
    };
    if period_ns * touches as f64 > 9e18 {
        let most = (9e18 / period_ns).floor();
        return Err(Fault::new(
            format!("{touches} touches of {period_s:.3} s each"),
            "a log of at most 285 years",
            format!("ask for at most {most} touches"),
        )
        .at(Place::Setting("--touches".to_owned())));
    }
    Ok(Drawn {
        seed,
        left: 0..touches,
        simulator: Simulator::new(scene),
        lead,
        late,
        period_ns: period_ns as u64,
        sensing: scenario.sensing,
        edges: Vec::new(),
    })
}

impl Drawn {
    /// From one touch to the next, ns. The log ends this long after the start of the last one.
    #[must_use]
    pub fn period_ns(&self) -> u64 {
        self.period_ns
    }

    /// The next touch and its edges as (time ns, high after it), in order; none after the last.
    pub fn next_touch(&mut self) -> Option<(Touch, &[(i64, bool)])> {
        let number = self.left.next()?;
        let mut rng = rng::stream(&[self.seed, number]);
        let tick_hz = self.steps_hz();
        let (touch, shift) = self.place(number, &mut rng);
        let start_ns = number * self.period_ns;
        let watch = (-shift, self.period_ns as f64 * 1e-9 - shift - TAIL);
        let tick = u128::from(tick_hz);
        // Tick and rest of the start, so that a long log costs no digit.
        let start = u128::from(start_ns) * tick;
        let (base, part) = (start / 1_000_000_000, (start % 1_000_000_000) as f64 / 1e9);
        let edges = self.simulator.edges(&mut rng, watch);
        self.edges.clear();
        self.edges.extend(edges.iter().map(|&(t, blocked)| {
            let ticks = (t + shift) * f64::from(tick_hz) + part;
            let stamp = base + ticks.max(0.0).floor() as u128;
            ((stamp * 1_000_000_000 / tick) as i64, blocked)
        }));
        Some((touch, &self.edges))
    }

    /// The next touch of a sampled scenario with its light; none after the last, or of edges.
    pub fn next_light(&mut self) -> Option<(Touch, Light<'_>)> {
        let Sensing::Samples { rate_hz, bits } = self.sensing else {
            return None;
        };
        let number = self.left.next()?;
        let mut rng = rng::stream(&[self.seed, number]);
        let (touch, shift) = self.place(number, &mut rng);
        let period_s = self.period_ns as f64 * 1e-9;
        let sampling = Sampling {
            rate: f64::from(rate_hz),
            adc: Adc::new(bits),
        };
        let counts = self
            .simulator
            .samples(&mut rng, -shift, period_s - shift, &sampling);
        let first = u128::from(number * self.period_ns) * u128::from(rate_hz) + 500_000_000;
        Some((
            touch,
            Light {
                first: (first / 1_000_000_000) as u64,
                rate_hz,
                counts,
            },
        ))
    }

    /// Steps of time a second: of the capture clock or the samples.
    fn steps_hz(&self) -> u32 {
        match self.sensing {
            Sensing::Edges { tick_hz } => tick_hz,
            Sensing::Samples { rate_hz, .. } => rate_hz,
        }
    }

    /// Truth of a touch, and how far its path is shifted (s): anywhere within the length doubt and
    /// within a step of time.
    fn place(&self, number: u64, rng: &mut Rng) -> (Touch, f64) {
        let step_s = 1.0 / f64::from(self.steps_hz());
        let mut uniform =
            |low: f64, high: f64| Uniform::new_inclusive(low, high).map_or(low, |u| u.sample(rng));
        let shift = self.lead + uniform(-self.late, self.late) + uniform(0.0, step_s);
        let start_ns = (number * self.period_ns) as i64;
        let at =
            |t: Option<f64>| t.map_or(start_ns, |t| start_ns + ((t + shift) * 1e9).round() as i64);
        let truth = self.simulator.scene().truth();
        let touch = Touch {
            onset_ns: at(truth.contact),
            release_ns: at(truth.release),
        };
        (touch, shift)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scenario::Tables;

    type All = Vec<(Touch, Vec<(i64, bool)>)>;

    fn all(text: &str, touches: u64, seed: u64) -> All {
        let scenario = Scenario::of(&Tables::parse(text, "s.toml").unwrap()).unwrap();
        let mut drawn = draw(&scenario, touches, seed).unwrap();
        let mut out = Vec::new();
        while let Some((touch, edges)) = drawn.next_touch() {
            out.push((touch, edges.to_vec()));
        }
        out
    }

    const NOISY: &str =
        "[approach]\nfeed = \"60mm/min\"\nlength_doubt = \"1mm\"\n[barrier]\nsnr = \"40dB\"\n\
                         [disturbance]\nglitches_per_s = 20\n";

    #[test]
    fn times_never_go_back_and_levels_alternate() {
        for text in [
            "",
            NOISY,
            "[disturbance]\nflutter = 8\ndroplets_per_h = 36000\nvibration_amplitude = \"2um\"\n",
            "[approach]\nfeed = \"10mm/min\"\n[spindle]\nrun_out = \"5um\"\n[plate]\nmass = \"10g\"\n",
            "[approach]\nacceleration = \"2m/s2\"\njerk = \"50m/s3\"\n",
            "[barrier]\nprofile = \"circular\"\n",
            "[barrier]\nfilm = \"20%\"\n[approach]\ndepth = \"1um\"\n",
        ] {
            let drawn = all(text, 12, 1);
            let edges: Vec<_> = drawn.iter().flat_map(|(_, edges)| edges).collect();
            assert!(edges
                .windows(2)
                .all(|w| w[0].0 <= w[1].0 && w[0].1 != w[1].1));
            assert!(!edges.last().unwrap().1, "each touch ends in the light");
            for (touch, edges) in &drawn {
                assert!(edges.first().unwrap().0 < touch.release_ns);
                assert!(touch.onset_ns < touch.release_ns);
            }
        }
    }

    #[test]
    fn a_longer_log_begins_like_a_shorter_one_and_another_seed_differs() {
        assert_eq!(all(NOISY, 3, 5)[..], all(NOISY, 6, 5)[..3]);
        assert_ne!(all(NOISY, 3, 5), all(NOISY, 3, 6));
    }

    #[test]
    fn the_place_of_contact_is_spread_over_the_length_doubt() {
        let drawn = all(NOISY, 400, 1);
        let period = draw(
            &Scenario::of(&Tables::parse(NOISY, "s").unwrap()).unwrap(),
            1,
            1,
        )
        .unwrap()
        .period_ns() as i64;
        let at = |k: usize| drawn[k].0.onset_ns - k as i64 * period;
        let low = (0..400).map(at).min().unwrap();
        let high = (0..400).map(at).max().unwrap();
        // 2 mm at 60 mm/min are 2 s.
        assert!(
            (1_900_000_000..=2_000_000_100).contains(&(high - low)),
            "{}",
            high - low
        );
    }

    #[test]
    fn endless_logs_are_refused() {
        let of = |text: &str| Scenario::of(&Tables::parse(text, "s.toml").unwrap()).unwrap();
        let why = draw(&of(""), u64::MAX, 1).unwrap_err().to_string();
        assert!(why.contains("285 years"), "{why}");
        let many = "[approach]\nfeed = \"0.1mm/min\"\n[disturbance]\nglitches_per_s = 10000\n";
        let why = draw(&of(many), 1, 1).unwrap_err().to_string();
        assert!(why.starts_with("disturbance.glitches_per_s"), "{why}");
    }
}
