//! The known word nearest to an unknown one.

/// The known word with the fewest edits.
pub(crate) fn nearest<'a>(word: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    // Beyond this no word is near, and the work stays small for whatever is read.
    let word: String = word.chars().take(64).collect();
    known.min_by_key(|known| edits(&word, known))
}

/// Edit distance (Levenshtein), one row at a time.
fn edits(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.chars().enumerate() {
        let mut corner = i;
        row[0] = i + 1;
        for (j, y) in b.iter().enumerate() {
            let changed = corner + usize::from(x != *y);
            corner = row[j + 1];
            row[j + 1] = changed.min(corner + 1).min(row[j] + 1);
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_key_is_suggested() {
        assert_eq!(edits("holt", "hold"), 1);
        assert_eq!(edits("", "hold"), 4);
        let keys = ["method", "hold"].into_iter();
        assert_eq!(nearest("hodl", keys), Some("hold"));
    }
}
