//! Where the edges of a log went; every one is accounted for.

use std::fmt;

use trueonset::onset;

/// Counts of edges. The first row of each line counts as initial.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Tally {
    /// Edges and first rows read.
    pub edges_in: u64,
    /// Edges of touches.
    pub touches: u64,
    /// Edges of releases.
    pub releases: u64,
    /// Edges of glitches.
    pub glitches: u64,
    /// Rows that told the initial level.
    pub initial: u64,
    /// Edges not used, those of an unfinished hold among them.
    pub refused: u64,
    /// Edges of holds unfinished at the end.
    pub unfinished: u64,
}

impl Tally {
    pub(super) fn add(&mut self, line: onset::Tally) {
        self.touches += u64::from(line.touches);
        self.releases += u64::from(line.releases);
        self.glitches += u64::from(line.glitches);
        self.initial += u64::from(line.initial);
        self.unfinished += u64::from(line.pending);
        self.refused += u64::from(line.refused) + u64::from(line.pending);
    }

    /// Whether the sum is right.
    #[must_use]
    pub fn adds_up(&self) -> bool {
        self.edges_in == self.touches + self.releases + self.glitches + self.initial + self.refused
    }
}

impl fmt::Display for Tally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "edges in {} = touches {} + releases {} + glitches {} + initial {} + refused {}",
            self.edges_in, self.touches, self.releases, self.glitches, self.initial, self.refused
        )?;
        if self.unfinished > 0 {
            write!(
                f,
                " (of these {} in a hold unfinished at the end)",
                self.unfinished
            )?;
        }
        Ok(())
    }
}
