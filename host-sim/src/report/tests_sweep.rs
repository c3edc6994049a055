//! Curves and maps: well formed and calm about whatever data they get.

use super::tests::{check, no_overlap, report, NASTY};
use super::*;
use proptest::prelude::*;

const ODD: [f64; 7] = [
    f64::NAN,
    f64::INFINITY,
    f64::NEG_INFINITY,
    -1.0,
    0.0,
    1e-300,
    f64::MAX,
];

fn curves(name: &str, places: &[(Option<f64>, Option<f64>)], values: &[Option<f64>]) -> Curves {
    let line = |kind| Line {
        name: name.into(),
        kind,
        points: values
            .iter()
            .map(|&value| Point {
                bias_nm: value.map(|v| -v),
                sd_nm: value,
                p999_nm: value,
            })
            .collect(),
    };
    Curves {
        title: name.into(),
        caption: name.into(),
        along: name.into(),
        places: places
            .iter()
            .map(|&(number, bound_nm)| Place {
                label: name.into(),
                number,
                bound_nm,
            })
            .collect(),
        lines: [Kind::FirstEdge, Kind::NInARow, Kind::BalancePoint]
            .map(line)
            .into(),
    }
}

fn map(name: &str, columns: usize, cells: Vec<Vec<Option<f64>>>) -> HeatMap {
    HeatMap {
        title: name.into(),
        caption: name.into(),
        across: name.into(),
        columns: vec![name.into(); columns],
        down: name.into(),
        rows: vec![name.into(); cells.len()],
        cells,
    }
}

#[test]
fn odd_numbers_and_text_from_outside_are_no_trouble() {
    let odd: Vec<Option<f64>> = ODD.iter().map(|v| Some(*v)).chain([None]).collect();
    let places: Vec<_> = odd.iter().map(|v| (*v, *v)).collect();
    let numbered: Vec<_> = (0..8).map(|k| (Some(f64::from(k)), Some(3.0))).collect();
    check(&report(vec![
        Section::Curves(curves(NASTY, &places, &odd)),
        Section::Curves(curves(NASTY, &numbered, &odd)),
        Section::Curves(curves("", &[], &[])),
        Section::HeatMap(map(NASTY, 8, vec![odd.clone(), odd, vec![]])),
        Section::HeatMap(map("", 0, vec![])),
        Section::HeatMap(map(NASTY, 300, vec![vec![Some(1.0); 300]])),
    ]));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn any_sweep_can_be_drawn(
        cells in prop::collection::vec((0.1..5000.0, prop::option::of(0.001..40_000.0)), 1..30),
        words in any::<bool>(),
    ) {
        let places: Vec<_> = cells.iter().map(|&(x, v)| ((!words).then_some(x), v)).collect();
        let values: Vec<_> = cells.iter().map(|cell| cell.1).collect();
        let mut picture = curves("300mm/min", &places, &values);
        picture.along = "approach.feed".into();
        for (line, name) in picture.lines.iter_mut().zip(["first edge", "N in a row", "onset"]) {
            line.name = name.into();
        }
        let grid = vec![values.clone(), values];
        let heat = map("barrier.hysteresis", cells.len(), grid);
        no_overlap(&check(&report(vec![Section::Curves(picture), Section::HeatMap(heat)])));
    }
}
