//! What sizes are counted from.

/// A gauge whose size and place of contact are known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Reference {
    /// Its position at contact, touched with the same feed, nm.
    pub position_nm: i64,
    /// Its size, nm.
    pub size_nm: i64,
}

impl Reference {
    /// The size of what touches at `at_nm`: a longer tool touches earlier, from either side.
    #[must_use]
    pub const fn size_at(&self, side: Side, at_nm: i64) -> i64 {
        let further = at_nm.saturating_sub(self.position_nm);
        match side {
            Side::Growing => self.size_nm.saturating_sub(further),
            Side::Falling => self.size_nm.saturating_add(further),
        }
    }
}

/// The way the coordinate of the axis goes in an approach.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Side {
    /// It grows.
    Growing,
    /// It falls.
    Falling,
}

impl Side {
    /// That of a signed feed; `None` for 0.
    #[must_use]
    pub const fn of_feed(feed_nm_s: i64) -> Option<Self> {
        match feed_nm_s {
            0 => None,
            1.. => Some(Self::Growing),
            _ => Some(Self::Falling),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_longer_tool_touches_earlier_from_either_side() {
        let reference = Reference {
            position_nm: -1_000,
            size_nm: 50_000,
        };
        assert_eq!(reference.size_at(Side::Growing, -1_500), 50_500);
        assert_eq!(reference.size_at(Side::Falling, -1_500), 49_500);
        assert_eq!(Side::of_feed(-3), Some(Side::Falling));
        assert_eq!(Side::of_feed(3), Some(Side::Growing));
        assert_eq!(Side::of_feed(0), None);
    }
}
