//! `gauge` and rows that must not make a tool whole, nor break it.

mod common;
#[path = "common/gauging.rs"]
mod gauging;

use common::{code, err, out, scenario};
use gauging::{gauge_hits, hit, HEADER};
use std::process::{Command, Output};

const PLAN: &str = "[check]\nkind = \"breakage\"\nhold = \"20ms\"\nreference_position = \"0mm\"\nreference_length = \"30mm\"\n\
                    [tool]\nexpected = \"30mm\"\nwear = \"20um\"\nlong = \"10um\"\nsmallest_break = \"30um\"\n";
const FIRST: &str = "1,1,probe,z,left,100000000,-5000000,0,6000,0,25000000,0,0,";
const SECOND: &str = "1,2,probe,z,right,300000000,-5000000,30,6000,30,25000000,0,0,";
const ABSENT: &str = "1,1,probe,z,,,-5000000,-500000,,,,0,0,alive";

fn gauge(plan: &str, rows: &[&str], args: &[&str]) -> Output {
    let touches = format!("{HEADER}\n{}\n", rows.join("\n"));
    gauging::gauge(plan, &touches, args)
}

fn json(plan: &str, rows: &[&str]) -> serde_json::Value {
    let output = gauge(plan, rows, &["--json"]);
    serde_json::from_str(&out(&output)).unwrap_or_else(|_| panic!("{rows:?}: {}", err(&output)))
}

/// It ends with 2 and says so.
fn refused(plan: &str, rows: &[&str], words: &str) {
    let output = gauge(plan, rows, &[]);
    let told = err(&output);
    assert!(told.contains(words), "{rows:?}: {words}: {told}");
    assert_eq!(
        (code(&output), out(&output)),
        (2, String::new()),
        "{rows:?}"
    );
}

#[test]
fn rows_after_whole_are_refused() {
    assert_eq!(json(PLAN, &[FIRST, SECOND])["false_whole_bound"], 1e-9);
    for third in [
        "1,3,probe,z,left,500000000,-5000000,-200000,6000,-200000,25000000,0,0,",
        "1,3,probe,z,left,500000000,-5000000,0,6000,,1000,0,4,lost_edge|cell_empty",
        "1,3,probe,z,,,-5000000,-500000,,,,0,,",
    ] {
        let words = "touches.csv:4: found a row after the 2 that were judged, expected the 2 touches the plan asks for";
        refused(PLAN, &[FIRST, SECOND, third], words);
        // Asked for, it counts, and the tool is not whole.
        let three = PLAN.replace("hold", "touches = 3\nhold");
        let found = json(&three, &[FIRST, SECOND, third]);
        assert_eq!(found["verdict"], "unproven", "{third}");
    }
}

/// What comes after a short touch is no part of the verdict.
#[test]
fn rows_after_a_break_are_dropped() {
    let short = FIRST.replace(",0,6000,0,", ",-200000,6000,-200000,");
    let found = json(PLAN, &[&short, SECOND]);
    assert_eq!(
        (&found["verdict"], &found["reason"]),
        (&"broken".into(), &"short".into())
    );
    assert_eq!(
        (&found["touches"], &found["dropped"]),
        (&1.into(), &1.into())
    );
    assert_eq!(found["evidence"]["spots"], 1);
}

#[test]
fn rows_are_the_touches_of_each_cycle_in_their_order() {
    let again = SECOND.replace("1,2,", "1,1,");
    refused(
        PLAN,
        &[FIRST, &again],
        "touches.csv:3: found touch 1 after touch 1, expected touch 2",
    );
    let missing = SECOND.replace("1,2,", "1,3,");
    refused(
        PLAN,
        &[FIRST, &missing],
        "found touch 3 after touch 1, expected touch 2",
    );
    // The same onset twice, and one before the end of the hold.
    for onset in [",100000000,", ",124999999,"] {
        let stale = SECOND.replace(",300000000,", onset);
        refused(
            PLAN,
            &[FIRST, &stale],
            "each after the one before it was held",
        );
    }
    let other = FIRST.replacen('1', "2", 1);
    refused(
        PLAN,
        &[FIRST, &other, SECOND],
        "touches.csv:4: found cycle 1 after cycle 2",
    );
    let line = SECOND.replace("probe", "other");
    refused(PLAN, &[FIRST, &line], "found line other beside probe");
    let stated = PLAN.replace("hold", "line = \"probe\"\nhold");
    assert_eq!(json(&stated, &[FIRST, &line])["reason"], "few");
    let axis = SECOND.replace(",z,", ",x,");
    refused(PLAN, &[FIRST, &axis], "found axis x beside z");
}

#[test]
fn the_end_of_a_travel_breaks_only_beside_a_sound_link_and_probe() {
    let end = |from: &str, to: &str| json(PLAN, &[&ABSENT.replace(from, to)]);
    assert_eq!(end("", "")["verdict"], "broken");
    for (from, to, reason) in [
        (",0,0,alive", ",0,3,alive", "link"),
        (",0,0,alive", ",0,,alive", "link"),
        ("alive", "alive|dark", "flag"),
        ("alive", "alive|lost_edge|stuck", "flag"),
        ("alive", "alive|dim", "flag"),
    ] {
        let found = end(from, to);
        assert_eq!(
            (&found["verdict"], &found["reason"]),
            (&"unproven".into(), &reason.into()),
            "{to}"
        );
    }
    // Half a touch is none.
    let half = ABSENT.replace("-500000,,,,", "-500000,,-500000,,");
    refused(
        PLAN,
        &[&half],
        "found doubt, release or hold without onset_ns",
    );
}

#[test]
fn an_onset_column_is_wanted() {
    let (_folder, path) = scenario("");
    std::fs::write(path("plan.toml"), PLAN).unwrap();
    std::fs::write(
        path("touches.csv"),
        "cycle,feed_nm_s,position_nm,flags\n1,-5000000,-110420,alive\n",
    )
    .unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_trueonset"))
        .args(["gauge", &path("plan.toml"), &path("touches.csv")])
        .output()
        .unwrap();
    assert_eq!(code(&output), 2);
    assert!(
        err(&output).contains("expected a column onset_ns"),
        "{}",
        err(&output)
    );
}

/// A false touch held by the plate is released where the broken tool leaves it.
#[test]
fn a_release_lies_near_its_contact() {
    let far = FIRST.replace(",0,6000,0,", ",0,6000,-5000,");
    let found = json(PLAN, &[&far, SECOND]);
    assert_eq!(
        (&found["verdict"], &found["reason"]),
        (&"unproven".into(), &"stuck".into())
    );
    let note = found["notes"][0].as_str().unwrap();
    assert!(
        note.contains("released 5000 nm from its contact, 255 nm are allowed"),
        "{note}"
    );
    // So much hysteresis may be stated, but not as much as a break.
    let stated = |um: &str| PLAN.replace("hold", &format!("release = \"{um}\"\nhold"));
    assert_eq!(json(&stated("6um"), &[&far, SECOND])["verdict"], "whole");
    refused(
        &stated("10um"),
        &[FIRST, SECOND],
        "a release allowed as far off as a break",
    );
}

#[test]
fn a_bound_is_told_only_where_it_holds() {
    let short = PLAN.replace("20ms", "1ns");
    let found = json(&short, &[FIRST, SECOND]);
    assert!(found["false_whole_bound"].is_null(), "{found}");
    assert!(
        found["notes"].to_string().contains("20 ms or more"),
        "{found}"
    );
    let known =
        |dof: u32| format!("{PLAN}[budget.axis]\nsd = \"80nm\"\ndof = {dof}\nclass = \"cycle\"\n");
    assert_eq!(
        json(&known(50), &[FIRST, SECOND])["false_whole_bound"],
        1e-9
    );
    let found = json(&known(19), &[FIRST, SECOND]);
    assert!(found["false_whole_bound"].is_null(), "{found}");
    assert!(
        found["notes"]
            .to_string()
            .contains("axis rests on 19 degrees of freedom"),
        "{found}"
    );
    // Touches of 10 µm doubt agree with many chips.
    let wide = PLAN
        .replace("\"30um\"", "\"500um\"")
        .replace("hold", "release = \"60um\"\nhold");
    let rows = [FIRST, SECOND].map(|row| row.replace(",6000,", ",2000000,"));
    let found = json(&wide, &[&rows[0], &rows[1]]);
    let bound = found["false_whole_bound"].as_f64().unwrap();
    assert!((3.5e-9..5e-9).contains(&bound), "{bound}");
}

/// What is cut to the largest number there is would be taken for less than it is.
#[test]
fn doubts_beyond_measure_are_refused() {
    let plan = PLAN.replace("\"30um\"", "\"20.1mm\"");
    for (key, words) in [
        ("delay_doubt = \"3s\"", "a doubt of delay of 2.1 mm or more"),
        ("delay_doubt = \"5s\"", "a doubt above 4 s"),
    ] {
        refused(
            &format!("{plan}[latch]\nmethod = \"edge\"\n{key}\n"),
            &[FIRST, SECOND],
            words,
        );
    }
    let wide = plan.replace("expected =", "expected_doubt = \"3mm\"\nexpected =");
    refused(
        &wide,
        &[FIRST, SECOND],
        "a doubt of expected length of 2.1 mm or more",
    );
    let slow = FIRST.replace(",6000,", ",500000000,");
    refused(
        &plan,
        &[&slow, SECOND],
        "a doubt of onset of 2.1 mm or more",
    );
}

/// What is wrong with a plan is told by its line, what was wanted and what to do.
#[test]
fn plans_are_refused_by_line_and_remedy() {
    let axis = "[budget.axis]\nsd = \"80nm\"\ndof = 1\nclass = \"cycle\"\n";
    for (plan, words) in [
        (
            PLAN.replace("[check]", "[[check]]"),
            "plan.toml:1: found check that is no table, or one of several, expected one table [check]",
        ),
        (PLAN.replace("[check]", "[check"), "expected TOML with tables such as [check]"),
        (
            PLAN.replace("\"30um\"", "\"20um\""),
            "a break no longer than the wear, expected a break longer than wear and guard together",
        ),
        (
            PLAN.replace("\"30mm\"\nwear", "\"30m\"\nwear"),
            "found a length or reference beyond 10 m, expected lengths within 10 m",
        ),
        (format!("{PLAN}{axis}"), "plan.toml:13: found a doubt that is hardly known"),
    ] {
        refused(&plan, &[FIRST, SECOND], words);
    }
}

#[test]
fn units_and_doubts_that_cannot_be_are_refused() {
    let unit = FIRST.replace(",-5000000,", ",-300,");
    refused(
        PLAN,
        &[&unit, SECOND],
        "expected 1000 nm/s (0.06 mm/min) or more; check its unit",
    );
    let exact = FIRST.replace(",6000,", ",0,");
    refused(PLAN, &[&exact, SECOND], "found 0 as doubt_ns");
}

/// Positions every millisecond; at 5 mm/s down, and up again after `turn` ms.
fn axis(turn: i64, gap: Option<i64>) -> String {
    let mut rows = String::from("time_ns,axis,position_nm\n");
    for k in 0..700_i64 {
        let within = k % 300;
        let way = if within < turn {
            -5_000 * within
        } else {
            -5_000 * (2 * turn - within)
        };
        if gap != Some(k) {
            rows += &format!("{},z,{}\n", k * 1_000_000, 500_000 + way);
        }
    }
    rows
}

#[test]
fn a_gap_of_the_axis_at_a_release_proves_nothing() {
    let plan = format!("{PLAN}[latch]\nmethod = \"history\"\nperiod = \"1ms\"\n");
    // Contact at 0 on the way down after 100 ms, released there on the way up.
    let header = "cycle,touch,line,axis,spot,onset_ns,feed_nm_s,doubt_ns,release_ns,spindle_mhz,ready_gaps,flags\n";
    let rows = |feed: &str| {
        format!("{header}1,1,probe,z,a,100000000,{feed},6000,140000000,0,0,\n1,2,probe,z,b,400000000,{feed},6000,440000000,0,0,\n")
    };
    let (_folder, path) = scenario("");
    std::fs::write(path("plan.toml"), &plan).unwrap();
    let run = |rows: &str, axis: &str| {
        std::fs::write(path("touches.csv"), rows).unwrap();
        std::fs::write(path("axis.csv"), axis).unwrap();
        let output = Command::new(env!("CARGO_BIN_EXE_trueonset"))
            .args([
                "gauge",
                &path("plan.toml"),
                &path("touches.csv"),
                "--json",
                "--axis",
                &path("axis.csv"),
            ])
            .output()
            .unwrap();
        (code(&output), out(&output), err(&output))
    };
    let (exit, found, told) = run(&rows(""), &axis(120, None));
    assert_eq!(exit, 0, "{found}{told}");
    assert!(found.contains("\"whole\""), "{found}");
    let (exit, found, _) = run(&rows(""), &axis(120, Some(140)));
    assert_eq!(exit, 2, "{found}");
    assert!(found.contains("\"reason\":\"flag\""), "{found}");
    // A stated feed is that of the axis, or a unit is wrong.
    assert_eq!(run(&rows("-5000000"), &axis(120, None)).0, 0);
    for feed in ["-300", "5000000", "-83333"] {
        let (exit, _, told) = run(&rows(feed), &axis(120, None));
        assert_eq!(exit, 2);
        assert!(
            told.contains(&format!(
                "found feed_nm_s {feed} where the axis went at -5000000"
            )),
            "{told}"
        );
    }
}

#[test]
fn studies_and_run_out_want_sound_touches() {
    let study =
        "[check]\nkind = \"repeatability\"\n[repeatability]\nmeaning = \"sd\"\nlimit = \"0.4um\"\n";
    let rows = |from: &str, to: &str| -> Vec<String> {
        (1..=25)
            .map(|k| {
                let row = format!(
                    "1,{k},probe,z,a,{k}00000000,-5000000,{},100,,25000000,0,0,",
                    k % 5 * 40
                );
                row.replace(from, to)
            })
            .collect()
    };
    let judged = |plan: &str, rows: &[String]| {
        let rows: Vec<&str> = rows.iter().map(String::as_str).collect();
        json(plan, &rows)
    };
    assert_eq!(judged(study, &rows("", ""))["holds"], true);
    for (from, to, reason) in [
        (",0,0,", ",0,0,gap", "flag"),
        (",0,0,", ",0,0,dim", "flag"),
        (",0,0,", ",0,7,", "link"),
        (",100,,", ",,,", "doubt"),
    ] {
        let found = judged(study, &rows(from, to));
        assert!(found["holds"].is_null());
        assert_eq!(
            (&found["verdict"], &found["reason"]),
            (&"unproven".into(), &reason.into())
        );
    }
    // Of few days the interval is said to cover less than it is named for.
    let days: Vec<String> = (1..=5)
        .flat_map(|day| {
            (1..=4).map(move |k| {
                format!(
                    "{day},{k},probe,z,a,{k}00000000,-5000000,{},100,,25000000,0,0,",
                    k * 20 + day * 7 % 5
                )
            })
        })
        .collect();
    let notes = judged(study, &days)["notes"].to_string();
    assert!(notes.contains("5 days covers less than 95 %"), "{notes}");
    let turning: Vec<String> = rows(",0,0,", ",500000,0,");
    let turning: Vec<&str> = turning.iter().map(String::as_str).collect();
    refused(
        "[check]\nkind = \"runout\"\n",
        &turning,
        "touches.csv:2: found a spindle that turns",
    );
}

/// A tool that wears evenly has no alarm from the cycles out of which the trend came, and touches of a
/// cycle that do not agree are no length.
#[test]
fn wear_is_watched_from_the_first_prediction_on() {
    let plan = "[check]\nkind = \"wear\"\nreference_position = \"0mm\"\nreference_length = \"20mm\"\n[tool]\nexpected = \"20mm\"\nlimit = \"600um\"\n";
    let row = |cycle: i64, touch: i64, place: i64| {
        format!("{cycle},{touch},probe,z,a,{touch}00000000,-5000000,{place},100,,25000000,0,0,")
    };
    let place = |k: i64| -20_000 * k - [0, 700, -400, 300, -600][k as usize % 5];
    let rows: Vec<String> = (1..=15).map(|k| row(k, 1, place(k))).collect();
    let told = |rows: &[String]| json(plan, &rows.iter().map(String::as_str).collect::<Vec<_>>());
    let found = told(&rows);
    assert!(!found["notes"].to_string().contains("changed"), "{found}");
    let pairs = |apart: i64| -> Vec<String> {
        (1..=15)
            .flat_map(|k| {
                let off = if k == 7 { apart } else { 1 };
                [row(k, 1, place(k)), row(k, 2, place(k) - off)]
            })
            .collect()
    };
    assert_eq!(told(&pairs(1))["touches"], 30);
    let found = told(&pairs(50));
    assert_eq!(found["touches"], 28, "{found}");
    assert!(
        found["notes"]
            .to_string()
            .contains("cycle 7 left out: disagree"),
        "{found}"
    );
}

/// Hits are of the touch that struck them, and one that cannot vouch tells no heights.
#[test]
fn hits_of_a_touch_with_a_flag_tell_nothing() {
    let plan = "[check]\nkind = \"runout\"\n[tool]\nteeth = 2\nspeed = \"500/min\"\n";
    let hits: String = (2..60_u32)
        .map(|number| {
            let depth = 1e-6 * f64::from(number) - [0.0, 1.5e-6][number as usize % 2];
            hit(number, i64::from(number) * 60_000_000, depth, 0.12)
        })
        .collect();
    let run = |flags: &str| {
        // A second touch at another feed has no hits; 1 µm in 60 ms.
        let touches = format!(
            "{HEADER}\n1,1,probe,x,a,100000000,-16667,0,6000,,25000000,8333,0,{flags}\n1,2,probe,x,a,900000000,-500000,0,6000,,25000000,8333,0,\n"
        );
        let output = gauge_hits(plan, &touches, &hits);
        serde_json::from_str::<serde_json::Value>(&out(&output))
            .unwrap_or_else(|_| panic!("{}", err(&output)))
    };
    let found = run("interrupted");
    assert!(
        (found["value_nm"].as_f64().unwrap() - 1_500.0).abs() < 20.0,
        "{found}"
    );
    let found = run("interrupted|lost_edge");
    assert_eq!(
        (&found["verdict"], &found["reason"]),
        (&"unproven".into(), &"flag".into())
    );
}
