//! Touches beside their truth.

use super::scenario::Touch;
use crate::cli::table::{seconds, table};
use crate::replay::Row;

/// Farther from the truth than this, a row is another touch; a quarter of the demo's period, ns.
const NEAR_NS: u64 = 250_000_000;

/// All true touches, each with the row found for it.
pub(crate) struct Compared {
    pairs: Vec<(Touch, Option<Row>)>,
    extra: usize,
}

impl Compared {
    /// Gives each true touch the nearest row.
    pub(crate) fn new(truth: &[Touch], rows: &[Row]) -> Self {
        let pairs: Vec<(Touch, Option<Row>)> = truth
            .iter()
            .map(|touch| {
                let far = |row: &&Row| row.onset_ns.abs_diff(touch.onset_ns);
                let nearest = rows.iter().min_by_key(far).filter(|row| far(row) < NEAR_NS);
                (*touch, nearest.cloned())
            })
            .collect();
        let found = pairs.iter().filter(|(_, row)| row.is_some()).count();
        Self {
            extra: rows.len().saturating_sub(found),
            pairs,
        }
    }

    /// The touch with the most edges, its row and its number from 1.
    pub(crate) fn busiest(&self) -> Option<(usize, Touch, &Row)> {
        self.found()
            .max_by_key(|(k, _, row)| (row.edges, std::cmp::Reverse(*k)))
    }

    /// The touches found: number from 1, truth, row.
    pub(crate) fn found(&self) -> impl Iterator<Item = (usize, Touch, &Row)> {
        let found = self.pairs.iter().enumerate();
        found.filter_map(|(k, (touch, row))| row.as_ref().map(|row| (k + 1, *touch, row)))
    }

    /// Header and rows as words.
    pub(crate) fn cells(&self) -> Vec<Vec<String>> {
        let header = [
            "touch",
            "feed mm/min",
            "true onset s",
            "error ns",
            "error nm",
            "doubt ns",
            "first edge nm",
            "N in a row nm",
            "edges",
            "flags",
        ];
        let mut cells = vec![header.map(str::to_owned).to_vec()];
        for (k, (touch, row)) in self.pairs.iter().enumerate() {
            let mut line = vec![
                (k + 1).to_string(),
                touch.feed_mm_min.to_string(),
                seconds(touch.onset_ns),
            ];
            if let Some(row) = row {
                let nm = |at: i64| format!("{:.1}", touch.travel_nm(at - touch.onset_ns));
                line.extend([
                    (row.onset_ns - touch.onset_ns).to_string(),
                    nm(row.onset_ns),
                    row.doubt_ns
                        .map_or("unknown".to_owned(), |ns| ns.to_string()),
                    nm(row.first_edge_ns),
                    nm(row.last_edge_ns),
                    row.edges.to_string(),
                    row.flags.to_string().replace('|', " "),
                ]);
            } else {
                line.extend(["", "", "", "", "", "", "missed"].map(str::to_owned));
            }
            cells.push(line);
        }
        cells
    }

    /// The table for people.
    pub(crate) fn table(&self) -> String {
        table(&self.cells())
    }

    /// The rms error of a method over all touches found, nm.
    pub(crate) fn rms_nm(&self, of: impl Fn(&Row) -> i64) -> f64 {
        let found = self
            .pairs
            .iter()
            .filter_map(|(touch, row)| row.as_ref().map(|row| (touch, row)));
        let errors: Vec<f64> = found
            .map(|(touch, row)| touch.travel_nm(of(row) - touch.onset_ns))
            .collect();
        (errors.iter().map(|error| error * error).sum::<f64>() / errors.len() as f64).sqrt()
    }

    /// Share of touches within two doubts, as `23 of 24`.
    pub(crate) fn inside(&self) -> String {
        let known = self.pairs.iter().filter_map(|(touch, row)| {
            let row = row.as_ref()?;
            Some(row.onset_ns.abs_diff(touch.onset_ns) <= 2 * row.doubt_ns?)
        });
        let known: Vec<bool> = known.collect();
        format!(
            "{} of {}",
            known.iter().filter(|inside| **inside).count(),
            known.len()
        )
    }

    /// A line a method.
    pub(crate) fn summary(&self) -> String {
        let found = self.pairs.iter().filter(|(_, row)| row.is_some()).count();
        let mut text = format!(
            "Touches {} of {}, beyond these {}\n",
            found,
            self.pairs.len(),
            self.extra
        );
        let methods: [(&str, f64); 3] = [
            ("onset", self.rms_nm(|row| row.onset_ns)),
            ("first edge", self.rms_nm(|row| row.first_edge_ns)),
            ("N in a row", self.rms_nm(|row| row.last_edge_ns)),
        ];
        for (name, rms) in methods {
            text += &format!("{name:<10}  rms error {rms:>9.1} nm\n");
        }
        text + &format!("Truth within two doubts: {}", self.inside())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_touch_without_a_row_is_missed_and_a_row_without_a_touch_counts() {
        let touch = Touch {
            feed_mm_min: 60,
            onset_ns: 0,
            release_ns: 1,
        };
        let alone = Compared::new(&[touch], &[]);
        assert!(alone.table().ends_with("missed"));
        assert!(alone
            .summary()
            .starts_with("Touches 0 of 1, beyond these 0"));
    }

    #[test]
    fn travel_is_feed_times_time() {
        let touch = Touch {
            feed_mm_min: 60,
            onset_ns: 0,
            release_ns: 1,
        };
        assert!((touch.travel_nm(1_000_000) - 1000.0).abs() < 1e-9);
    }
}
