//! The methods everybody would try first.
//!
//! *First edge* takes the first change to blocked. *N in a row* waits until the
//! level has been blocked for a hold without a break and takes the begin of
//! that run. Both move with the feed, which is why the balance point exists.

/// What the simple methods say about one touch, each in the unit of the times given.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Baseline {
    hold: u64,
    blocked_since: Option<u64>,
    first: Option<u64>,
    run: Option<u64>,
}

impl Baseline {
    /// Nothing seen yet; a run counts from `hold` ticks on.
    #[must_use]
    pub fn new(hold: u64) -> Self {
        Self {
            hold,
            blocked_since: None,
            first: None,
            run: None,
        }
    }

    /// An edge at tick `at`.
    pub fn edge(&mut self, at: u64, blocked: bool) {
        self.until(at);
        if blocked {
            self.first.get_or_insert(at);
            self.blocked_since.get_or_insert(at);
        } else {
            self.blocked_since = None;
        }
    }

    /// Time has come to tick `now` without a further edge.
    pub fn until(&mut self, now: u64) {
        if let (None, Some(since)) = (self.run, self.blocked_since) {
            if now.saturating_sub(since) >= self.hold {
                self.run = Some(since);
            }
        }
    }

    /// First edge to blocked, tick.
    #[must_use]
    pub fn first(&self) -> Option<u64> {
        self.first
    }

    /// Begin of the first run of a hold, tick.
    #[must_use]
    pub fn run(&self) -> Option<u64> {
        self.run
    }
}

#[cfg(test)]
mod tests {
    use super::Baseline;

    #[test]
    fn the_first_edge_and_the_first_long_run() {
        let mut both = Baseline::new(10);
        for (at, blocked) in [(5, true), (9, false), (20, true), (29, false), (40, true)] {
            both.edge(at, blocked);
        }
        assert_eq!((both.first(), both.run()), (Some(5), None));
        both.until(50);
        assert_eq!(both.run(), Some(40));
        both.edge(60, false);
        both.edge(70, true);
        both.until(100);
        assert_eq!((both.first(), both.run()), (Some(5), Some(40)));
    }
}
