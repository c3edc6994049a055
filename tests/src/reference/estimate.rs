//! The figures of one episode, each by its definition.

/// A moment at which the level was known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Mark {
    /// When, ticks.
    pub at: i128,
    /// Whether the line was touched from then on.
    pub touching: bool,
    /// Whether the level changed here; otherwise it was only seen again.
    pub edge: bool,
}

/// A stretch between two marks.
#[derive(Clone, Copy, Debug)]
struct Run {
    away: bool,
    length: i128,
    /// Edges before it, its own first one included.
    edges: usize,
}

/// The marks from the first edge away from the settled level to the last mark.
#[derive(Clone, Copy, Debug)]
pub struct Episode<'a> {
    marks: &'a [Mark],
    settled: bool,
}

impl<'a> Episode<'a> {
    /// The episode `marks` of a line that was settled at `settled`.
    #[must_use]
    pub fn new(marks: &'a [Mark], settled: bool) -> Self {
        Self { marks, settled }
    }

    /// Number of edges.
    #[must_use]
    pub fn edges(&self) -> usize {
        self.edge_marks().count()
    }

    /// First edge, ticks.
    #[must_use]
    pub fn first(&self) -> i128 {
        self.marks[0].at
    }

    fn edge_marks(&self) -> impl Iterator<Item = &'a Mark> {
        self.marks.iter().filter(|mark| mark.edge)
    }

    /// +1 for an edge away from the settled level, -1 for one back to it.
    fn weight(&self, mark: &Mark) -> i128 {
        if mark.touching == self.settled {
            -1
        } else {
            1
        }
    }

    /// Weighted mean of the edges of a contact. The weights sum to one.
    #[must_use]
    pub fn balance(&self) -> i128 {
        self.edge_marks()
            .map(|mark| self.weight(mark) * mark.at)
            .sum()
    }

    /// Weighted second moment of the edges about the balance point, tick².
    #[must_use]
    pub fn second_moment(&self) -> f64 {
        let centre = self.balance();
        let sum: i128 = self
            .edge_marks()
            .map(|mark| self.weight(mark) * (mark.at - centre) * (mark.at - centre))
            .sum();
        sum as f64
    }

    fn runs(&self) -> impl DoubleEndedIterator<Item = Run> + '_ {
        let mut edges = 0;
        let runs: Vec<Run> = self
            .marks
            .windows(2)
            .map(|pair| {
                edges += usize::from(pair[0].edge);
                Run {
                    away: pair[0].touching != self.settled,
                    length: pair[1].at - pair[0].at,
                    edges,
                }
            })
            .collect();
        runs.into_iter()
    }

    /// Time away from the settled level before the last mark, ticks.
    #[must_use]
    pub fn time_away(&self) -> i128 {
        self.runs()
            .filter(|run| run.away)
            .map(|run| run.length)
            .sum()
    }

    /// Time at the settled level since the first edge, ticks.
    #[must_use]
    pub fn time_home(&self) -> i128 {
        self.runs()
            .filter(|run| !run.away)
            .map(|run| run.length)
            .sum()
    }

    /// Where the sum of time away minus time home is least; the latest such mark.
    #[must_use]
    pub fn causal(&self) -> i128 {
        let sum_at = |upto: usize| -> i128 {
            self.marks[..=upto]
                .windows(2)
                .map(|pair| {
                    let away = pair[0].touching != self.settled;
                    (pair[1].at - pair[0].at) * if away { 1 } else { -1 }
                })
                .sum()
        };
        // Quadratic by intent for short episodes; a running sum gives the same for long ones.
        let sums: Vec<i128> = if self.marks.len() < 200 {
            (0..self.marks.len()).map(sum_at).collect()
        } else {
            let steps = self.runs().scan(0, |sum, run| {
                *sum += if run.away { run.length } else { -run.length };
                Some(*sum)
            });
            std::iter::once(0).chain(steps).collect()
        };
        let least = sums.iter().min().copied().unwrap_or(0);
        let at = sums.iter().rposition(|sum| *sum == least).unwrap_or(0);
        self.marks[at].at
    }

    /// The two end zones that a hold may have cut off: A in ticks, and their edges plus one.
    ///
    /// The early zone is the time away before the last run home of half a hold (rounded down to
    /// ticks) or more, the late zone the time home after the first such run away.
    #[must_use]
    pub fn end_zones(&self, hold: i128) -> (f64, f64) {
        let half = hold / 2;
        let runs: Vec<Run> = self.runs().collect();
        let (mut time, mut edges) = (0, 1);
        if let Some(last) = runs.iter().rposition(|run| !run.away && run.length >= half) {
            time += runs[..last]
                .iter()
                .filter(|run| run.away)
                .map(|run| run.length)
                .sum::<i128>();
            edges += runs[last].edges;
        }
        if let Some(first) = runs.iter().position(|run| run.away && run.length >= half) {
            time += runs[first..]
                .iter()
                .filter(|run| !run.away)
                .map(|run| run.length)
                .sum::<i128>();
            edges += self.edges() - runs[first].edges;
        }
        (time as f64, edges as f64)
    }
}
