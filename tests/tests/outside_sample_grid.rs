//! The sampled barrier against the full-span bound (closed form: Cramér-Rao for a known edge shape
//! in white noise, v·N0/2 / ∫P'² dx), a reduced grid with limits widened by 3 standard errors.
//!
//! The full grid is the bench `sample_grid`; its tables are in `tests/results/`.

use trueonset::barrier::Method;
use trueonset_sim::study::sampled::{run_sampled, SampledCell};
use trueonset_sim::study::statistics::{Moments, Share};

const TOUCHES: u64 = 400;

fn seen(cell: &SampledCell) -> (Moments, Share) {
    let trials = run_sampled(cell, 1..=TOUCHES).expect("within the core's range");
    let found = || trials.iter().filter_map(|t| t.trial.found);
    let error: Moments = found().map(|found| found.error_nm).collect();
    assert_eq!(error.count(), TOUCHES, "missed touches: {cell:?}");
    let hits = found()
        .filter_map(|found| Some((found.error_nm, found.doubt_nm?)))
        .filter(|(e, doubt)| (e - error.mean()).abs() <= 2.0 * doubt)
        .count() as u64;
    (
        error,
        Share {
            hits,
            trials: TOUCHES,
        },
    )
}

#[test]
fn both_methods_come_near_the_bound_and_state_it() {
    for (method, rate_hz, limit) in [
        (Method::Matched, 200_000, 1.05),
        (Method::Matched, 50_000, 1.08),
        (Method::Area, 200_000, 1.10),
        (Method::Area, 50_000, 1.15),
    ] {
        for (snr, feed) in [(40.0, 60.0), (50.0, 300.0), (60.0, 1000.0), (60.0, 5000.0)] {
            let cell = SampledCell {
                rate_hz,
                ..SampledCell::new(feed, snr, method)
            };
            let (error, inside) = seen(&cell);
            let (ratio, relative) = (error.sd() / cell.bound_nm(), error.sd_error() / error.sd());
            assert!(
                ratio <= limit * (1.0 + 3.0 * relative),
                "{method:?} {rate_hz} {snr} {feed}: {ratio}"
            );
            // No estimator beats the bound.
            assert!(
                ratio >= 1.0 - 3.0 * relative,
                "{method:?} {rate_hz} {snr} {feed}: {ratio}"
            );
            let share = inside.value();
            let spare = 3.0 * inside.error();
            assert!(
                (0.94 - spare..=0.965 + spare).contains(&share),
                "{method:?} {rate_hz} {snr} {feed}: {share}"
            );
        }
    }
}

#[test]
fn film_of_half_the_light_an_hour_moves_the_onset_by_less_than_its_limit() {
    for (method, limit_nm) in [(Method::Area, 60.0), (Method::Matched, 80.0)] {
        let clean = SampledCell {
            rate_hz: 50_000,
            ..SampledCell::new(300.0, 60.0, method)
        };
        let filmed = clean.filmed(0.5, 120.0);
        let moved = seen(&filmed).0.mean() - seen(&clean).0.mean();
        assert!(moved.abs() <= limit_nm, "{method:?}: {moved} nm");
        assert!(
            moved.abs() > 1.0,
            "{method:?}: film must be felt before it is learned"
        );
    }
}
