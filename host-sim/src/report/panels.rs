//! Which parts of a touch its picture shows: the whole first, then ever closer looks where they show more.

/// A panel: its name and what it shows, in µs from the onset.
pub(super) struct Panel {
    pub(super) name: &'static str,
    pub(super) from: f64,
    pub(super) to: f64,
}

/// How far a touch reaches, in µs from its onset.
pub(super) struct Extent {
    /// First edge.
    pub(super) first: f64,
    /// Last edge.
    pub(super) last: f64,
    /// Confirmation.
    pub(super) confirmed: f64,
    /// Twice the doubt, 0 if unknown.
    pub(super) band: f64,
    /// True contact, 0 if unknown.
    pub(super) truth: f64,
}

/// With more edges than this a touch gets a panel about the onset alone.
const PLAIN_EDGES: usize = 120;
/// Edges that this panel shows on either side of the onset.
const NEAR_EDGES: usize = 24;
/// A look is closer only if it shows at most this share of the one before.
const CLOSER: f64 = 0.6;
/// The truth is shown if it lies no farther off than this many times what is shown anyway.
const FAR: f64 = 4.0;

impl Extent {
    /// The panels for a touch with these `edges`, in order of time and in µs from the onset.
    pub(super) fn panels(&self, edges: &[(f64, bool)]) -> Vec<Panel> {
        let (first, last, band) = (self.first, self.last, self.band);
        let mut panels = vec![padded(
            "the whole touch",
            first.min(-band),
            last.max(self.confirmed),
            0.05,
        )];
        let mut look = |panel: Panel| {
            let width = panels
                .last()
                .map_or(f64::INFINITY, |outer| outer.to - outer.from);
            if panel.to - panel.from < width * CLOSER {
                panels.push(panel);
            }
        };
        let before = |time: f64| edges.partition_point(|edge| edge.0 < time);
        let count = edges
            .partition_point(|edge| edge.0 <= last)
            .saturating_sub(before(first));
        if count > 1 {
            look(padded(
                "its chatter",
                first.min(-band),
                last.max(band),
                0.08,
            ));
        }
        if count > PLAIN_EDGES {
            let middle = before(0.0);
            let from = edges[middle.saturating_sub(NEAR_EDGES)].0;
            let to = edges[(middle + NEAR_EDGES).min(edges.len() - 1)].0;
            look(self.about_the_onset(to.abs().max(from.abs()).max(band * 1.5)));
        } else if count <= 1 {
            look(self.about_the_onset((band * 2.0).max(1.0)));
        }
        panels
    }

    fn about_the_onset(&self, reach: f64) -> Panel {
        let truth = self.truth.abs();
        let reach = if truth < FAR * reach {
            reach.max(truth * 1.15)
        } else {
            reach
        };
        Panel {
            name: "about the onset",
            from: -reach,
            to: reach,
        }
    }
}

fn padded(name: &'static str, from: f64, to: f64, share: f64) -> Panel {
    let pad = (to - from).max(0.1) * share;
    Panel {
        name,
        from: from - pad,
        to: to + pad,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn names(edges: usize, step: f64) -> Vec<&'static str> {
        let half = edges as f64 * step / 2.0;
        let touch = Extent {
            first: -half,
            last: half,
            confirmed: half + 1000.0,
            band: step,
            truth: 0.0,
        };
        let edges: Vec<_> = (0..=edges)
            .map(|k| (k as f64 * step - half, k % 2 == 0))
            .collect();
        touch
            .panels(&edges)
            .iter()
            .map(|panel| panel.name)
            .collect()
    }

    #[test]
    fn a_closer_look_is_taken_only_where_it_shows_more() {
        assert_eq!(names(0, 10.0), ["the whole touch", "about the onset"]);
        assert_eq!(names(20, 10.0), ["the whole touch", "its chatter"]);
        assert_eq!(names(4000, 10.0), ["the whole touch", "about the onset"]);
        assert_eq!(
            names(200, 3.0),
            ["the whole touch", "its chatter", "about the onset"]
        );
    }

    #[test]
    fn the_truth_widens_the_closest_look_unless_it_is_far_off() {
        let touch = |truth| Extent {
            first: 0.0,
            last: 0.0,
            confirmed: 1000.0,
            band: 5.0,
            truth,
        };
        let reach = |truth| touch(truth).panels(&[(0.0, true)])[1].to;
        assert!((reach(0.0) - 10.0).abs() < 1e-9 && (reach(20.0) - 23.0).abs() < 1e-9);
        assert!((reach(300.0) - 10.0).abs() < 1e-9);
    }
}
