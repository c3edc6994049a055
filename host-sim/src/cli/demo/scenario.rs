//! The invented scenario: a length probe, one line, six feeds, four touches at each.

use std::fmt::Write as _;
use std::fs::File;
use std::path::Path;

use rand_distr::{Distribution, Uniform};

use crate::fault::Fault;
use crate::log::{Level, Record, Target, What, Writer, ALL_LINES};
use crate::model::approach::{mm_per_min, Approach};
use crate::model::rng;
use crate::model::touch::{Scene, Simulator};
use crate::replay::Settings;
use crate::study::runner::Cell;

/// Name of the line.
pub(crate) const LINE: &str = "length";
/// Feeds in mm/min, from slow to fast.
pub(crate) const FEEDS: [u32; 6] = [10, 30, 100, 300, 1000, 3000];
/// Touches at each feed.
const EACH: u32 = 4;
/// Light over noise, dB.
pub(crate) const SNR_DB: f64 = 50.0;
/// Spikes on the line per second.
const GLITCHES: f64 = 5.0;
/// Where the blade stops behind the middle of the beam, m.
const DEPTH: f64 = 40e-6;
/// How long it stands there, s.
const STAND: f64 = 0.1;
/// Feed of the way back, mm/min.
const RETRACT: f64 = 300.0;
/// Time from one touch to the next, s; also when the first is due.
const PERIOD: f64 = 1.0;
/// The part of a period before the middle of the beam is reached, s.
const LEAD: f64 = 0.4;
/// Tail of a period without new spikes, so that none reaches into the next one, s.
const TAIL: f64 = 0.001;
/// Capture clock, Hz.
const TICK_HZ: u64 = 16_000_000;

/// What the replay is told; `capture.tick` and [`TICK_HZ`] are the same clock.
pub(crate) const CONFIG: &str = "\
# Settings of the demo, an invented scenario.
[onset]
hold = \"1ms\"
[barrier]
bandwidth = \"100kHz\"
[capture]
tick = \"16MHz\"
";

/// One true touch.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Touch {
    /// Feed, mm/min.
    pub feed_mm_min: u32,
    /// True onset, ns.
    pub onset_ns: i64,
    /// True release, ns.
    pub release_ns: i64,
}

impl Touch {
    /// Feed, nm/s: 1 mm/min is 1e6 nm in 60 s.
    pub(crate) fn feed_nm_s(&self) -> u64 {
        (u64::from(self.feed_mm_min) * 1_000_000 + 30) / 60
    }

    /// Travel in `ns`, nm.
    pub(crate) fn travel_nm(&self, ns: i64) -> f64 {
        ns as f64 * f64::from(self.feed_mm_min) / 60_000.0
    }
}

/// The log with its truth.
pub(crate) struct Made {
    /// True touches in order.
    pub touches: Vec<Touch>,
    /// Edges in order: time ns, high after it.
    edges: Vec<(i64, bool)>,
    end_ns: i64,
}

impl Made {
    /// When the log ends.
    pub(crate) fn end_ns(&self) -> i64 {
        self.end_ns
    }
}

/// The settings of [`CONFIG`].
pub(crate) fn settings() -> Settings {
    Settings {
        capture_step_256: Some((256_000_000_000 / TICK_HZ) as u32),
        ..Settings::default()
    }
}

fn scene(feed: u32) -> Scene {
    let cell = Cell {
        glitches: GLITCHES,
        ..Cell::new(f64::from(feed), SNR_DB)
    };
    Scene {
        approach: Approach {
            feed: mm_per_min(f64::from(feed)),
            depth: DEPTH,
            stand: STAND,
            retract: mm_per_min(RETRACT),
            ..Approach::endless(mm_per_min(f64::from(feed)))
        },
        ..cell.scene()
    }
}

/// How far the blade is past the middle of the beam in this touch, nm.
pub(crate) fn past_the_middle_nm(touch: &Touch, at_ns: i64) -> f64 {
    let scene = scene(touch.feed_mm_min);
    let contact = scene.truth().contact.unwrap_or(0.0);
    scene
        .approach
        .position(contact + (at_ns - touch.onset_ns) as f64 * 1e-9)
        * 1e9
}

/// Makes the log; every touch has a random stream of its own.
pub(crate) fn make(seed: u64) -> Made {
    let feeds = FEEDS.iter().flat_map(|feed| (0..EACH).map(move |_| *feed));
    let mut made = Made {
        touches: Vec::new(),
        edges: Vec::new(),
        end_ns: 0,
    };
    for (number, feed) in feeds.enumerate() {
        let scene = scene(feed);
        let mut rng = rng::stream(&[seed, number as u64]);
        // The touch comes a little off its period, anywhere within a tick.
        let late = Uniform::new(0.0, 0.05).map_or(0.0, |span| span.sample(&mut rng));
        let base_s = number as u64 + 1;
        let ns = |t: f64| base_s as i64 * 1_000_000_000 + ((t + late) * 1e9).round() as i64;
        let truth = scene.truth();
        if let (Some(contact), Some(release)) = (truth.contact, truth.release) {
            made.touches.push(Touch {
                feed_mm_min: feed,
                onset_ns: ns(contact),
                release_ns: ns(release),
            });
        }
        let watch = (-LEAD - late, PERIOD - LEAD - TAIL - late);
        for &(t, blocked) in Simulator::new(scene).edges(&mut rng, watch) {
            let tick = scene.capture.stamp(base_s * TICK_HZ, t + late);
            made.edges.push((
                (u128::from(tick) * 1_000_000_000 / u128::from(TICK_HZ)) as i64,
                blocked,
            ));
        }
        made.end_ns = ns(PERIOD - LEAD - late);
    }
    made
}

/// Writes the edges as a log in the own CSV.
pub(crate) fn write_edges(path: &Path, made: &Made) -> Result<(), Fault> {
    let name = path.display().to_string();
    let file = File::create(path).map_err(|why| Fault::io(&name, "write", &why))?;
    let mut writer = Writer::new(Target::Csv, file, &name, &[LINE], false)?;
    writer.write(&Record {
        time_ns: 0,
        line: 0,
        what: What::Start(Level::Low),
    })?;
    for &(time_ns, high) in &made.edges {
        let level = if high { Level::High } else { Level::Low };
        writer.write(&Record {
            time_ns,
            line: 0,
            what: What::Edge(level),
        })?;
    }
    writer.write(&Record {
        time_ns: made.end_ns,
        line: ALL_LINES,
        what: What::Mark,
    })?;
    writer.finish().map(|_| ())
}

/// The truth as CSV.
pub(crate) fn truth_csv<'a>(touches: impl Iterator<Item = &'a Touch>) -> String {
    let mut text = String::from("touch,onset_ns,release_ns,feed_nm_s\n");
    for (k, touch) in touches.enumerate() {
        let _ = writeln!(
            text,
            "{},{},{},{}",
            k + 1,
            touch.onset_ns,
            touch.release_ns,
            touch.feed_nm_s()
        );
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn same_seed_same_log_and_times_never_go_back() {
        let (a, b, c) = (make(1), make(1), make(2));
        assert_eq!((&a.touches, &a.edges), (&b.touches, &b.edges));
        assert_ne!(a.edges, c.edges);
        assert!(a
            .edges
            .windows(2)
            .all(|pair| pair[0].0 <= pair[1].0 && pair[0].1 != pair[1].1));
        assert_eq!(a.touches.len(), 24);
        for touch in &a.touches {
            assert!(touch.release_ns - touch.onset_ns >= 50_000_000);
        }
    }

    #[test]
    fn the_file_of_settings_says_what_the_demo_uses() {
        let tables: toml::Table = CONFIG.parse().unwrap();
        let tick = tables["capture"]["tick"].as_str().unwrap();
        assert_eq!(
            u64::from(crate::quantity::frequency_hz(tick).unwrap()),
            TICK_HZ
        );
    }
}
