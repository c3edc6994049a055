//! Hits of a turning cutter, end to end: simulated edges through the line and the merging of the
//! core, against passes over the same edges that share no code with it, and against the geometry
//! of a turning tool.
//!
//! Source of the geometry: a tooth tip on a circle of radius R dips below a plane at depth d for
//! w = √(8·d/R)/ω (circle by its parabola, textbook kinematics of milling); the first hit of at
//! least 20 µs is that of the tooth that first comes R·(ω·20 µs)²/8 deep.

use trueonset_sim::replay::{Settings, Spindle};
use trueonset_sim::scenario::{Scenario, Tables};
use trueonset_sim::study::replayed::replayed;
use trueonset_sim::study::statistics::Moments;

/// Shortest hit that counts, s.
const SHORTEST: f64 = 20e-6;
const RADIUS: f64 = 5e-3;

fn scenario(feed: f64, rpm: u32, teeth: u8, run_out_um: u32) -> (Scenario, Settings) {
    let text = format!(
        "[approach]\nfeed = \"{feed}mm/min\"\ndepth = \"20um\"\nclearance = \"0.3mm\"\n\
         [spindle]\nspeed = \"{rpm}/min\"\nteeth = {teeth}\nradius = \"5mm\"\nrun_out = \"{run_out_um}um\"\n"
    );
    let scenario = Scenario::of(&Tables::parse(&text, "hits").unwrap()).unwrap();
    let settings = Settings {
        spindle: Some(Spindle {
            turn_ns: 60_000_000_000 / u64::from(rpm),
            teeth,
        }),
        ..Settings::default()
    };
    (scenario, settings)
}

/// Blocked stretches of 20 µs or more, as (begin, end), ns.
fn stretches(edges: &[(i64, bool)]) -> Vec<(i64, i64)> {
    let pairs = edges.windows(2).filter(|pair| pair[0].1);
    pairs
        .map(|pair| (pair[0].0, pair[1].0))
        .filter(|(begin, end)| end - begin >= 20_000)
        .collect()
}

#[test]
fn every_touch_of_any_cutter_is_one_row_from_its_first_hit_to_its_last() {
    for teeth in [1, 2, 3, 4, 5, 6, 7, 8] {
        for rpm in [500, 1_000, 3_000, 6_000, 12_000, 24_000] {
            // A fifth of a micrometre a tooth at every speed.
            let feed = 0.2e-3 * f64::from(rpm) * f64::from(teeth);
            let (scenario, settings) = scenario(feed, rpm, teeth, 3);
            let touches = 4;
            let all = replayed(&scenario, touches, 1, &settings, true).unwrap();
            assert_eq!(all.rows.len() as u64, touches, "{teeth} {rpm}");
            for (row, edges) in all.rows.iter().zip(&all.edges) {
                let hits = stretches(edges);
                // Chatter at either edge of a hit is within the noise of a few cycles.
                let near = |a: i64, b: i64| (a - b).abs() < 30_000;
                assert!(near(row.onset_ns, hits[0].0), "{teeth} {rpm} {row:?}");
                let last = hits.last().unwrap();
                assert!(
                    near(row.release_ns.unwrap(), last.1),
                    "{teeth} {rpm} {row:?}"
                );
                let cutter = row.cutter.unwrap();
                assert!(
                    u64::from(cutter.hits).abs_diff(hits.len() as u64)
                        <= 1 + hits.len() as u64 / 50,
                    "{teeth} {rpm} {cutter:?} {}",
                    hits.len()
                );
                let tooth = 60e9 / f64::from(rpm) / f64::from(teeth);
                assert!((cutter.tooth_period_ns as f64 / tooth - 1.0).abs() < 0.02);
            }
        }
    }
}

/// How late the first hit is, in travel of the tool (µm), out of the geometry alone.
fn geometry(feed: f64, rpm: f64, run_out: f64, seed: u64) -> f64 {
    let mut state = seed;
    let mut even = || {
        // SplitMix64, from its publication.
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (z ^ (z >> 31)) as f64 / 2_f64.powi(64)
    };
    let omega = rpm / 60.0 * core::f64::consts::TAU;
    let needed = RADIUS * (omega * SHORTEST).powi(2) / 8.0;
    let advance = feed / rpm * 1e-3;
    let heights: Vec<f64> = (0..4).map(|_| -run_out * even()).collect();
    let highest = heights.iter().copied().fold(f64::MIN, f64::max);
    let turn = even();
    (0..4)
        .map(|k| {
            // Tooth k passes at (turn + k/4 + i) revolutions; it must be `needed` deep then.
            let phase = (turn + f64::from(k) / 4.0).fract();
            let behind = highest - heights[k as usize] + needed;
            let turns = (behind / advance - phase).ceil().max(0.0) + phase;
            turns * advance * 1e6
        })
        .fold(f64::INFINITY, f64::min)
}

#[test]
fn the_first_hit_is_as_late_as_the_geometry_says() {
    for (feed, rpm) in [(3.0, 3_000), (10.0, 3_000), (60.0, 3_000), (3.0, 12_000)] {
        let (scenario, settings) = scenario(feed, rpm, 4, 5);
        let all = replayed(&scenario, 600, 1, &settings, false).unwrap();
        assert_eq!(all.rows.len(), 600);
        let late = all.rows.iter().zip(&all.truth);
        let found: Moments = late
            .map(|(row, touch)| (row.onset_ns - touch.onset_ns) as f64 * feed / 60.0 * 1e-3 * 1e-3)
            .collect();
        let expected: Moments = (0..20_000)
            .map(|k| geometry(feed, f64::from(rpm), 5e-6, k))
            .collect();
        let apart = found.mean() - expected.mean();
        let error = found.mean_error().hypot(expected.mean_error());
        println!(
            "{feed} mm/min {rpm}/min: {:.3} ± {:.3} µm sd {:.3}; geometry {:.3} sd {:.3}",
            found.mean(),
            found.mean_error(),
            found.sd(),
            expected.mean(),
            expected.sd()
        );
        // The hit begins half its width before its peak, and noise moves the 20 µs a little.
        assert!(
            apart.abs() < 4.0 * error + 0.03,
            "{feed} {rpm}: {apart} {error}"
        );
        let ratio = found.sd() / expected.sd();
        assert!((ratio - 1.0).abs() < 0.15, "{feed} {rpm}: {ratio}");
    }
}
