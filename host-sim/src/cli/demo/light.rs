//! The same barrier read by a converter: samples of a few touches, their onsets beside the truth.

use std::fs::File;
use std::path::Path;

use super::scenario::{Touch, LINE, SNR_DB};
use crate::cli::table::{seconds, table};
use crate::fault::Fault;
use crate::light::LightWriter;
use crate::model::adc::Adc;
use crate::model::approach::{mm_per_min, Approach};
use crate::model::rng;
use crate::model::sampling::Sampling;
use crate::model::touch::{Scene, Simulator};
use crate::replay::{Row, Settings};
use crate::study::runner::Cell;

/// Feeds, mm/min; a touch at each.
const FEEDS: [u32; 4] = [100, 300, 1000, 3000];
/// Samples a second.
const RATE_HZ: u32 = 50_000;
/// Bits of the converter.
const BITS: u32 = 12;
/// Where the blade stops behind the middle of the beam, beyond all light, m.
const DEPTH: f64 = 130e-6;
/// From the begin of a touch's samples to the middle of the beam, and from there to their end, s.
const LEAD: f64 = 0.6;
const AFTER: f64 = 0.3;
/// How long the blade stands, s, and the feed of its way back, mm/min.
const STAND: f64 = 0.05;
const RETRACT: f64 = 300.0;

/// What the replay of the samples is told.
pub(crate) const CONFIG: &str = "\
# Settings of the demo's light recording, an invented scenario.
[onset]
hold = \"100us\"
method = \"matched\"
[sampling]
bits = 12
";

/// The settings of [`CONFIG`].
pub(crate) fn settings() -> Settings {
    Settings {
        hold_ns: 100_000,
        ..Settings::default()
    }
}

fn scene(feed: u32) -> Scene {
    let cell = Cell::new(f64::from(feed), SNR_DB);
    Scene {
        approach: Approach {
            depth: DEPTH,
            stand: STAND,
            retract: mm_per_min(RETRACT),
            ..Approach::endless(mm_per_min(f64::from(feed)))
        },
        ..cell.scene()
    }
}

/// Draws the samples, writes them as a recording and returns the true touches.
pub(crate) fn make(path: &Path, seed: u64) -> Result<Vec<Touch>, Fault> {
    let name = path.display().to_string();
    let file = File::create(path).map_err(|why| Fault::io(&name, "write", &why))?;
    let mut writer = LightWriter::new(file, &name, &[LINE])?;
    let sampling = Sampling {
        rate: f64::from(RATE_HZ),
        adc: Adc::new(BITS),
    };
    let period_ns = 1_000_000_000 / i64::from(RATE_HZ);
    let mut touches = Vec::new();
    let mut taken = 0_i64;
    for (number, feed) in FEEDS.into_iter().enumerate() {
        let scene = scene(feed);
        let begin_ns = taken * period_ns;
        let ns = |t: f64| begin_ns + ((t + LEAD) * 1e9).round() as i64;
        if let (Some(contact), Some(release)) = (scene.truth().contact, scene.truth().release) {
            touches.push(Touch {
                feed_mm_min: feed,
                onset_ns: ns(contact),
                release_ns: ns(release),
            });
        }
        let mut rng = rng::stream(&[seed, 0x11, number as u64]);
        let mut simulator = Simulator::new(scene);
        for &counts in simulator.samples(&mut rng, -LEAD, AFTER, &sampling) {
            writer.write(0, taken * period_ns, u32::from(counts))?;
            taken += 1;
        }
    }
    writer.finish()?;
    Ok(touches)
}

/// Touches found in the light beside their truth.
pub(crate) struct Lit {
    pairs: Vec<(Touch, Option<Row>)>,
}

impl Lit {
    /// Each row goes to the touch that was going on.
    pub(crate) fn new(touches: &[Touch], rows: &[Row]) -> Self {
        let own = |touch: &Touch| {
            let half = i64::from(RATE_HZ) * 1_000;
            let near = |row: &&Row| (row.onset_ns - touch.onset_ns).abs() < half;
            rows.iter().find(near).cloned()
        };
        Self {
            pairs: touches.iter().map(|touch| (*touch, own(touch))).collect(),
        }
    }

    /// The touch for a picture: the slowest that was found.
    pub(crate) fn shown(&self) -> Option<(&Touch, &Row)> {
        let mut found = self.pairs.iter();
        found.find_map(|(touch, row)| row.as_ref().map(|row| (touch, row)))
    }

    /// The table for people.
    pub(crate) fn table(&self) -> String {
        table(&self.cells())
    }

    /// Its cells, the header first.
    pub(crate) fn cells(&self) -> Vec<Vec<String>> {
        let header = [
            "light",
            "feed mm/min",
            "truth s",
            "error nm",
            "doubt nm",
            "flags",
        ];
        let mut cells = vec![header.map(str::to_owned).to_vec()];
        for (number, (touch, row)) in self.pairs.iter().enumerate() {
            let mut line = vec![
                (number + 1).to_string(),
                touch.feed_mm_min.to_string(),
                seconds(touch.onset_ns),
            ];
            match row {
                Some(row) => {
                    let error = touch.travel_nm(row.onset_ns - touch.onset_ns);
                    let doubt = row.doubt_ns.map_or("unknown".to_owned(), |ns| {
                        format!("{:.1}", touch.travel_nm(ns as i64))
                    });
                    line.extend([
                        format!("{error:+.1}"),
                        doubt,
                        row.flags.to_string().replace('|', " "),
                    ]);
                }
                None => line.extend(["", "", "missed"].map(str::to_owned)),
            }
            cells.push(line);
        }
        cells
    }

    /// The true touches.
    pub(crate) fn touches(&self) -> impl Iterator<Item = &Touch> {
        self.pairs.iter().map(|(touch, _)| touch)
    }
}
