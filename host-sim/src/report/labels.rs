//! Labels above a plot that never overlap and whose poles never run through another label.
//!
//! A label is a flag on a pole at its mark. Flags fly to the right or to the left, in rows above the plot. For each
//! choice of sides the marks say which flag must lie above which; the choice with the fewest rows wins.

/// One label to place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Flag {
    /// Where its pole stands.
    pub(super) pole: f64,
    /// How wide the text is, padding included.
    pub(super) width: f64,
}

/// Where a label ended up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Placed {
    /// Left end of the text's box.
    pub(super) left: f64,
    /// Right end of the text's box.
    pub(super) right: f64,
    /// Row, 0 is the highest.
    pub(super) row: usize,
    /// Whether the flag flies to the left of its pole.
    pub(super) leftward: bool,
}

/// Most labels for which every choice of sides is tried.
const TRIED: usize = 8;

/// Places `flags` between `lo` and `hi`; the answer has their order.
///
/// If no choice of sides keeps all poles clear, which takes labels too wide for the plot, every label gets a row
/// of its own.
pub(super) fn place(flags: &[Flag], lo: f64, hi: f64) -> Vec<Placed> {
    let choices = 0..1_u32 << flags.len().min(TRIED);
    let tried = choices.filter_map(|sides| {
        let boxes: Vec<_> = flags
            .iter()
            .enumerate()
            .map(|(k, flag)| fly(*flag, sides >> k & 1 == 1))
            .collect();
        let fits = flags.len() <= TRIED && boxes.iter().all(|b| b.left >= lo && b.right <= hi);
        fits.then(|| in_rows(flags, boxes))
            .flatten()
            .map(|boxes| (rows(&boxes), sides.count_ones(), boxes))
    });
    tried
        .min_by_key(|&(rows, leftward, _)| (rows, leftward))
        .map_or_else(
            || {
                flags
                    .iter()
                    .enumerate()
                    .map(|(row, flag)| squeezed(*flag, row, lo, hi))
                    .collect()
            },
            |(_, _, boxes)| boxes,
        )
}

/// How many rows `placed` takes.
pub(super) fn rows(placed: &[Placed]) -> usize {
    placed.iter().map(|b| b.row + 1).max().unwrap_or(0)
}

fn fly(flag: Flag, leftward: bool) -> Placed {
    let left = if leftward {
        flag.pole - flag.width
    } else {
        flag.pole
    };
    Placed {
        left,
        right: left + flag.width,
        row: 0,
        leftward,
    }
}

fn squeezed(flag: Flag, row: usize, lo: f64, hi: f64) -> Placed {
    let left = flag.pole.min(hi - flag.width).max(lo);
    Placed {
        left,
        right: left + flag.width,
        row,
        leftward: false,
    }
}

/// Gives rows to boxes on chosen sides; `None` if two would each have to lie above the other.
fn in_rows(flags: &[Flag], mut boxes: Vec<Placed>) -> Option<Vec<Placed>> {
    let n = boxes.len();
    let overlap = |a: &Placed, b: &Placed| a.left < b.right && b.left < a.right;
    // The pole of a label runs down through all rows below it.
    let pierces = |k: usize, b: &Placed| b.left < flags[k].pole && flags[k].pole < b.right;
    for _ in 0..=n {
        let mut settled = true;
        for upper in 0..n {
            for lower in (0..n).filter(|&lower| lower != upper) {
                let (a, b) = (boxes[upper], boxes[lower]);
                let tied = overlap(&a, &b) && !pierces(upper, &b) && !pierces(lower, &a);
                let must = pierces(lower, &a) || tied && upper < lower;
                if must && b.row <= a.row {
                    boxes[lower].row = a.row + 1;
                    settled = false;
                }
            }
        }
        if settled {
            return Some(boxes);
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn clash(placed: &[Placed]) -> bool {
        (0..placed.len()).any(|i| {
            (0..i).any(|j| {
                let (a, b) = (placed[i], placed[j]);
                a.row == b.row && a.left < b.right && b.left < a.right
            })
        })
    }

    fn pierced(flags: &[Flag], placed: &[Placed]) -> bool {
        flags.iter().zip(placed).any(|(flag, own)| {
            let below = placed.iter().filter(|other| other.row > own.row);
            below
                .into_iter()
                .any(|other| other.left < flag.pole && flag.pole < other.right)
        })
    }

    proptest! {
        #[test]
        fn labels_never_overlap(flags in prop::collection::vec((0.0..620.0, 20.0..170.0), 0..10)) {
            let flags: Vec<_> = flags.into_iter().map(|(pole, width)| Flag { pole, width }).collect();
            let placed = place(&flags, 0.0, 620.0);
            prop_assert_eq!(placed.len(), flags.len());
            prop_assert!(!clash(&placed));
            prop_assert!(placed.iter().all(|b| b.left >= 0.0 && b.right <= 620.0));
        }

        #[test]
        fn poles_stay_clear_of_labels(flags in prop::collection::vec((0.0..620.0, 20.0..170.0), 0..6)) {
            let flags: Vec<_> = flags.into_iter().map(|(pole, width)| Flag { pole, width }).collect();
            let placed = place(&flags, 0.0, 620.0);
            // Only where every label had to be squeezed into its own row may a pole cross one.
            let squeezed = rows(&placed) == flags.len() && placed.iter().all(|b| !b.leftward);
            prop_assert!(squeezed || !pierced(&flags, &placed));
        }
    }

    #[test]
    fn marks_far_apart_share_one_row() {
        let flags = [100.0, 300.0, 610.0].map(|pole| Flag { pole, width: 90.0 });
        let placed = place(&flags, 0.0, 620.0);
        assert_eq!(rows(&placed), 1);
        assert!(placed[2].leftward && !placed[0].leftward);
    }

    #[test]
    fn marks_at_one_place_take_two_sides_first() {
        let flags = [Flag {
            pole: 300.0,
            width: 90.0,
        }; 3];
        let placed = place(&flags, 0.0, 620.0);
        assert!(rows(&placed) == 2 && !clash(&placed) && !pierced(&flags, &placed));
    }
}
