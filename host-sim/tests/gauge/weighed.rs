//! `gauge` and breaks below what one touch tells: touches are weighed one by one.

use crate::common::{code, err, out};
use crate::gauging::{gauge, HEADER};
use rand_distr::{Distribution, StandardNormal};
use trueonset_sim::gauge::{judge, read_touches, Plan};
use trueonset_sim::model::rng;

const PLAN: &str = include_str!("../../../examples/gauge/small-break.toml");
const TOUCHES: &str = include_str!("../../../examples/gauge/small-break.csv");
/// Limit of wear, break, and what one touch has for itself, nm.
const WEAR: i64 = 500;
const BREAK: i64 = 1_200;
const OWN: f64 = 200.0;

/// A touch by a late edge of a tool of 30 mm less `short_nm`, at -5 mm/s: 10 um beyond.
fn row(touch: usize, short_nm: i64) -> String {
    format!(
        "1,{touch},probe,z,{},{}00000000,-5000000,{},6000,{},25000000,0,0,",
        if touch % 2 == 0 { "right" } else { "left" },
        2 * touch,
        -short_nm - 10_000,
        -short_nm
    )
}

fn rows(shorts: &[i64]) -> String {
    let rows = shorts
        .iter()
        .zip(1..)
        .map(|(short, k)| row(k, *short) + "\n");
    format!("{HEADER}\n{}", rows.collect::<String>())
}

/// Exit and result.
fn json(plan: &str, touches: &str) -> (i32, serde_json::Value) {
    let output = gauge(plan, touches, &["--json"]);
    let value = serde_json::from_str(&out(&output));
    (
        code(&output),
        value.unwrap_or_else(|_| panic!("{}", err(&output))),
    )
}

#[test]
fn the_example_is_whole_where_single_touches_could_not_say() {
    let (exit, found) = json(PLAN, TOUCHES);
    assert_eq!((exit, &found["verdict"]), (0, &"whole".into()), "{found}");
    assert_eq!(
        (&found["touches"], &found["dropped"]),
        (&4.into(), &0.into())
    );
    // 210, -150, 330 and 90 nm short.
    assert_eq!(found["value_nm"], 29_999_880.0);
    assert_eq!(
        found["evidence"],
        serde_json::json!({"released": 4, "held": 4, "ready": 4, "spots": 2})
    );
    assert!(found["false_whole_bound"].is_null(), "{found}");
    assert!(
        found["notes"]
            .to_string()
            .contains("noise of its touches alone"),
        "{found}"
    );
    let fixed = PLAN
        .replace("sequential", "fixed")
        .replace("touches = 20", "touches = 4");
    let output = gauge(&fixed, TOUCHES, &[]);
    assert!(
        err(&output).contains("a window too narrow by"),
        "{}",
        err(&output)
    );
    // Fixed is what a plan means that says nothing.
    let silent = gauge(&fixed.replace("decision", "# decision"), TOUCHES, &[]);
    let told = err(&silent);
    assert!(told.contains("a window too narrow by"), "{told}");
}

#[test]
fn each_end_has_its_reason_and_exit() {
    let one = |from: &str, to: &str| rows(&[0]).replacen(from, to, 1);
    let limit = |flags: &str| format!("{HEADER}\n1,1,probe,z,a,,-5000000,-200000,,,,0,0,{flags}\n");
    let same = rows(&[0; 3]).replace("right", "left");
    let (exit, found) = json(PLAN, &same);
    assert_eq!((exit, &found["verdict"]), (0, &"whole".into()));
    assert!(found["notes"].to_string().contains("same_spot"), "{found}");
    for (touches, exit, verdict, reason, used) in [
        (rows(&[1_300, 1_250, 1_190]), 1, "broken", "short", 2),
        (rows(&[0, 0]), 2, "unproven", "few", 2),
        // Midway between wear and break nothing is ever decided.
        (rows(&[650; 20]), 2, "unproven", "grey", 20),
        (rows(&[0, -2_600]), 2, "unproven", "early", 2),
        (one(",0,0,\n", ",0,0,clash\n"), 2, "unproven", "flag", 1),
        (one(",0,0,\n", ",0,1,\n"), 2, "unproven", "link", 1),
        (one(",6000,", ",,"), 2, "unproven", "doubt", 1),
        (one(",6000,0,", ",6000,,"), 2, "unproven", "stuck", 1),
        // Released 5 um from where it was made.
        (one(",6000,0,", ",6000,-5000,"), 2, "unproven", "stuck", 1),
        (one(",25000000,", ",15000000,"), 2, "unproven", "held", 1),
        (limit("alive"), 1, "broken", "absent", 0),
        (limit(""), 2, "unproven", "silent", 0),
        // 2 um beyond: no proof that the break is there.
        (
            limit("alive").replace("-200000", "-2000"),
            2,
            "unproven",
            "silent",
            0,
        ),
    ] {
        let (found_exit, found) = json(PLAN, &touches);
        assert_eq!(
            (&found["verdict"], &found["reason"]),
            (&verdict.into(), &reason.into()),
            "{touches} {found}"
        );
        assert_eq!(
            (found_exit, &found["touches"]),
            (exit, &used.into()),
            "{touches} {found}"
        );
        assert_eq!(found["value_nm"].is_null(), reason != "short", "{found}");
    }
}

#[test]
fn rows_after_the_decision_are_refused_where_it_is_whole() {
    let output = gauge(PLAN, &rows(&[0; 5]), &[]);
    assert_eq!(code(&output), 2);
    let told = "touches.csv:5: found a row after the 3 that decided, expected no touch after the one at which a \
                sequential test is whole; stop there, or give the row another cycle";
    assert!(err(&output).contains(told), "{}", err(&output));
    let (exit, found) = json(PLAN, &rows(&[1_300, 1_250, 0, 0]));
    assert_eq!((exit, &found["dropped"]), (1, &2.into()), "{found}");
}

#[test]
fn a_plan_that_cannot_be_weighed_says_where_and_why() {
    for (from, to, told) in [
        ("\"sequential\"", "\"wald\"", "plan.toml:9: check.decision: found `wald`, expected one of fixed, sequential"),
        ("touches = 20", "touches = 1", "plan.toml:10: found 1 touches, expected 2 to 255"),
        ("touches = 20", "touches = 256", "plan.toml:10: found 256 touches, expected 2 to 255"),
        ("\"breakage\"", "\"length\"", "plan.toml:9: found a sequential decision of a length, expected kind = \"breakage\""),
        ("\"1.2um\"", "\"0.7um\"", "found 0 nm between wear and break besides the"),
        ("\"0.2um\"", "\"1um\"", "nm that touches share, at a doubt of 1000 nm of one, expected half a doubt of one touch or more"),
        ("hold", "# hold", "no check.hold"),
    ] {
        let output = gauge(&PLAN.replacen(from, to, 1), TOUCHES, &[]);
        assert_eq!((code(&output), out(&output)), (2, String::new()), "{to}");
        assert!(err(&output).contains(told), "{to}: {told}: {}", err(&output));
    }
}

/// Cycles drawn about the limit of wear and about the break: 1e-3 and 1e-9 by the test's own errors, and fewer touches
/// than a fixed number would take.
#[test]
fn drawn_tools_are_told_apart() {
    let plan = Plan::parse(PLAN, "plan.toml").unwrap();
    let mut rng = rng::stream(&[11]);
    let mut ends = |short: i64| {
        let (mut whole, mut broken, mut touches) = (0, 0, 0);
        for _ in 0..1_000 {
            // As many as it wants: one by one, as a machine would.
            let mut shorts: Vec<i64> = Vec::new();
            loop {
                let noise: f64 = StandardNormal.sample(&mut rng);
                shorts.push(short + (OWN * noise).round() as i64);
                let rows = read_touches(rows(&shorts).as_bytes(), "touches.csv", false).unwrap();
                let found = judge(&plan, rows, None, None).unwrap();
                match (found.verdict, found.reason) {
                    (Some("unproven"), Some("few")) => continue,
                    (Some("whole"), _) => whole += 1,
                    (Some("broken"), _) => broken += 1,
                    _ => {}
                }
                touches += shorts.len();
                break;
            }
        }
        (whole, broken, touches as f64 / 1_000.0)
    };
    let (whole, broken, touches) = ends(WEAR);
    assert!(broken <= 6 && whole > 900, "{whole} {broken}");
    assert!((8.0..16.0).contains(&touches), "{touches}");
    let (whole, broken, touches) = ends(BREAK);
    assert!(whole == 0 && broken > 990, "{whole} {broken}");
    assert!(touches < 5.0, "{touches}");
}
