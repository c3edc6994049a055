use super::Flight;
use crate::model::channel::{Copies, Loss, Medium, Setting, Timing};
use crate::model::oscillator::{Oscillator, Parts};
use trueonset::clock::Oscillator as Kind;
use trueonset::link::LinkPlan;

/// A crystal told to lie within 60 ppm, which does not.
#[test]
fn a_probe_beyond_its_tolerance_misleads_nobody() {
    for offset_ppm in [65.0, 75.0, 85.0, 90.0, 93.0, 95.0, 100.0, 120.0, 300.0] {
        for loss in [0.01, 0.1] {
            let loss = Loss::new(loss, 3.0).unwrap();
            let mut air = Setting::new(Medium::single(loss), Timing::INFRARED);
            air.copies = Some(Copies {
                share: 0.05,
                after_ns: (0, 2_000),
            });
            let flight = Flight {
                plan: LinkPlan::INFRARED,
                air,
                oscillator: Oscillator::new(Parts {
                    offset_ppm,
                    ..Parts::default()
                }),
                kind: Kind::CRYSTAL,
            };
            let flown = flight.fly(400, 7).unwrap();
            let never = [
                flown.late,
                flown.twice,
                flown.outside,
                flown.foreign,
                flown.ran_on,
            ];
            assert_eq!(never, [0; 5], "{offset_ppm} ppm: {flown:?}");
            // Where the rate is held no touch has a time, and READY hardly ever comes up.
            if offset_ppm >= 95.0 {
                assert!(flown.under_ready < 20, "{offset_ppm} ppm: {flown:?}");
            }
        }
    }
}
