//! Two touches by hand, told from anything else.

/// How much of touch, release, touch, release was seen in a row, 0 to 4.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Touches(u8);

impl Touches {
    pub(super) const NONE: Self = Self(0);
    const ALL: u8 = 4;

    /// All of it.
    pub(super) const fn are_two(self) -> bool {
        self.0 >= Self::ALL
    }

    /// The next edge. One that is not next in the row begins it anew.
    pub(super) fn edge(&mut self, touched: bool) {
        if self.are_two() {
            return;
        }
        let touch_is_next = self.0 % 2 == 0;
        self.0 = if touched == touch_is_next {
            self.0 + 1
        } else {
            u8::from(touched)
        };
    }
}
