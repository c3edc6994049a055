use super::*;
use crate::scenario::{Scenario, Tables};
use crate::study::burst_loss::{drops_per_hour, Beat};

fn link(text: &str) -> Link {
    let tables = Tables::parse(text, "s.toml").unwrap();
    Scenario::of(&tables).unwrap().link.unwrap()
}

fn carried(text: &str, reported: &[Reported], seed: u64) -> Carried {
    carry(&link(text), reported, seed, &|| true)
        .unwrap()
        .unwrap()
}

const PROMPT: Reported = Reported {
    onset_ns: 0.0,
    told_ns: 1_050_000.0,
};

#[test]
fn touches_stop_the_line_a_constant_delay_after_contact() {
    for (text, delay_ns) in [
        ("[link]\nloss = \"1%\"\nburst = 2\n", 48_000_000),
        ("[link]\nmedium = \"radio\"\nloss = \"1%\"\n", 64_000_000),
        (
            "[link]\nloss = \"3%\"\n[clock]\ntolerance = \"2%\"\ndrift = \"30ppm/s\"\n",
            48_000_000,
        ),
    ] {
        let all = carried(text, &[PROMPT; 40], 1);
        assert_eq!(
            (
                all.touches,
                all.without,
                all.late,
                all.twice,
                all.outside_doubt
            ),
            (40, 0, 0, 0, 0),
            "{text}"
        );
        assert!(all.stop_max_ns.abs_diff(delay_ns) < 2_000, "{text} {all:?}");
        assert!(all.rest_ns >= 40 * REST_NS);
    }
}

#[test]
fn an_onset_found_late_stops_the_line_as_much_later() {
    let late = Reported {
        onset_ns: 250_000.0,
        ..PROMPT
    };
    // So it does where the probe's clock is off, with which it has measured that.
    for clock in ["", "[clock]\ntolerance = \"4.1%\"\n"] {
        let all = carried(&format!("[link]\n{clock}"), &[late; 4], 2);
        assert_eq!((all.late, all.outside_doubt), (0, 0));
        assert!(all.stop_max_ns.abs_diff(48_250_000) < 1_000, "{all:?}");
    }
}

#[test]
fn what_is_told_after_the_delay_has_taken_ready_down_before() {
    let slow = Reported {
        onset_ns: 0.0,
        told_ns: 60_000_000.0,
    };
    let all = carried("[link]\n", &[slow; 3], 3);
    assert_eq!((all.touches, all.late), (3, 0), "{all:?}");
    // While it is confirmed nothing vouches for the time since contact: dead, 42 ms.
    assert!(all.stop_max_ns <= 42_100_000, "{all:?}");
}

#[test]
fn a_link_that_is_never_ready_carries_nothing() {
    let all = carried("[link]\nloss = \"97%\"\n", &[PROMPT; 3], 4);
    assert_eq!((all.touches, all.without), (0, 3));
}

#[test]
fn ready_falls_between_touches_as_often_as_the_closed_form_says() {
    let text = "[link]\nloss = \"10%\"\nburst = 5\ndelay = \"30ms\"\n";
    let link = link(text);
    let beat = Beat {
        slot_ns: link.plan.slot_ns.into(),
        every: link.plan.beat_slots.into(),
        heard_ns: link.timing.delay_ns + link.timing.air_ns,
    };
    let expected = drops_per_hour(&Medium::single(link.loss), beat, link.plan.dead_ns.into());
    let all = (0..16)
        .map(|seed| carried(text, &[PROMPT; 60], seed))
        .fold(Carried::default(), Carried::and);
    let seen = all.drops_per_h().unwrap();
    // Poisson, and the eight frames of a join in which a link cannot fall.
    let error = seen / (all.drops as f64).sqrt();
    let joining = 9.0 * 5e-3 * expected / 3_600.0 * expected;
    assert!(
        (seen + joining - expected).abs() < 4.0 * error,
        "{seen} {joining} {error} {expected}"
    );
    assert!(all.drops > 400, "{all:?}");
}

#[test]
fn what_is_watched_agrees_with_what_was_counted() {
    let link = link("[link]\nloss = \"5%\"\nburst = 2\n");
    let edges: Vec<Edges> = (0..20)
        .map(|k| {
            let true_ns = 50_000_000 * k + 7_919 * k * k;
            Edges {
                true_ns,
                onset_ns: true_ns + 100,
                told_ns: true_ns + 1_000_000,
                touched: k % 2 == 0,
            }
        })
        .collect();
    let (flown, course) = watch(&link, &edges, 1_200_000_000, 1, true).unwrap();
    let (_, outputs) = watch(&link, &edges, 1_200_000_000, 1, false).unwrap();
    assert!(outputs.frames.is_empty() && outputs.clock.is_empty());
    assert_eq!(outputs.outputs, course.outputs);
    assert_eq!(
        (flown.touches, flown.under_ready, flown.outside, flown.twice),
        (10, 10, 0, 0)
    );
    assert_eq!(course.left.len(), 20);
    for (left, edge) in course.left.iter().zip(&edges) {
        assert_eq!((left.onset_ns, left.touched), (edge.onset_ns, edge.touched));
        let (onset_ns, bound_ns) = left.told.unwrap();
        assert!((onset_ns - edge.onset_ns as f64).abs() <= bound_ns);
        assert!(left.at_ns.abs_diff(edge.onset_ns + 48_000_000) < 1_000);
    }
    let lost = course
        .frames
        .iter()
        .filter(|frame| frame.fate == super::super::Fate::Lost)
        .count();
    let share = lost as f64 / course.frames.len() as f64;
    assert!((0.01..0.1).contains(&share), "{share}");
    let inside = |clock: &super::super::Residual| {
        clock
            .bound_ns
            .is_none_or(|bound| clock.off_ns.abs() <= bound)
    };
    assert!(course.clock.iter().all(inside) && course.clock.len() > 500);
    // Up once, then down and up with each contact.
    assert_eq!(
        course.outputs.iter().filter(|outputs| outputs.run).count(),
        11
    );
}

#[test]
fn a_link_joins_wherever_in_its_tolerance_the_oscillator_lies() {
    for (tolerance, ppm) in [("60ppm", 60.0), ("2%", 20_000.0), ("4.1%", 41_000.0)] {
        let link = link(&format!("[link]\n[clock]\ntolerance = \"{tolerance}\"\n"));
        for share in [-1.0, -0.85, -0.5, 0.0, 0.5, 0.85, 1.0] {
            let mut flight = Flight::of(&link, 1);
            flight.oscillator = Oscillator::new(Parts {
                offset_ppm: share * ppm,
                ..Parts::default()
            });
            let mut world = World::new(&flight, 1, u64::MAX).unwrap();
            world.until(400_000_000);
            // The quiet time, a hello and seven beats more.
            let ready = world.ready_since();
            assert!(
                ready.is_some_and(|at| at < 330_000_000),
                "{share} of {tolerance}: {ready:?}"
            );
        }
    }
}
