//! `gauge` as its users meet it: plan and touches in, tool data and verdict out.

mod common;
#[path = "common/gauging.rs"]
mod gauging;
#[path = "gauge/weighed.rs"]
mod weighed;

use common::{code, err, out, scenario};
use gauging::{gauge, gauge_hits, hit, HEADER};
use std::process::Command;

const PLAN: &str = r#"
[check]
kind = "breakage"
hold = "20ms"
reference_position = "-10mm"
reference_length = "40mm"
[tool]
expected = "30mm"
expected_doubt = "50nm"
wear = "20um"
long = "10um"
smallest_break = "30um"
[latch]
method = "edge"
delay = "2ms"
delay_doubt = "2us"
feed_error = "0.2%"
[budget.plate]
half_width = "0.2um"
class = "setup"
[budget.heat]
half_width = "0.1um"
[budget.axis]
sd = "80nm"
dof = 50
class = "cycle"
[budget.step]
sd = "10nm"
class = "touch"
"#;

/// A touch by a late edge of a tool of 30 mm less `short_nm`, at -5 mm/s: 10 µm beyond.
fn row(touch: u32, spot: &str, short_nm: i64, flags: &str) -> String {
    let contact = -short_nm;
    let latched = contact - 10_000;
    format!(
        "1,{touch},probe,z,{spot},{}000000,-5000000,{latched},6000,{contact},25000000,0,0,{flags}",
        100 * touch
    )
}

fn json(plan: &str, rows: &[String]) -> (i32, serde_json::Value) {
    let touches = format!("{HEADER}\n{}\n", rows.join("\n"));
    let output = gauge(plan, &touches, &["--json"]);
    let value = serde_json::from_str(&out(&output));
    (
        code(&output),
        value.unwrap_or_else(|_| panic!("{}", err(&output))),
    )
}

/// The plan with the reference where the rows have it.
fn plan() -> String {
    PLAN.replace("\"-10mm\"", "\"-10000000nm\"")
        .replace("reference_length = \"40mm\"", "reference_length = \"20mm\"")
        .replace("-10000000nm", "-10mm")
}

#[test]
fn two_spots_make_a_whole_tool_and_one_spot_a_noted_one() {
    let (exit, found) = json(&plan(), &[row(1, "a", 0, ""), row(2, "b", 30, "upper")]);
    assert_eq!(exit, 0, "{found}");
    assert_eq!(found["verdict"], "whole");
    assert_eq!(found["value_nm"], 29_999_985.0);
    assert_eq!(found["false_whole_bound"], 1e-9);
    assert_eq!(found["notes"], serde_json::json!(["upper"]));
    assert_eq!(found["evidence"]["released"], 2);
    let shares = found["budget"].as_array().unwrap();
    let sum: f64 = shares
        .iter()
        .map(|share| share["share"].as_f64().unwrap())
        .sum();
    assert!((sum - 1.0).abs() < 1e-9);
    let (exit, found) = json(&plan(), &[row(1, "a", 0, ""), row(2, "a", 0, "")]);
    assert_eq!((exit, &found["verdict"]), (0, &"whole".into()));
    assert_eq!(found["notes"], serde_json::json!(["same_spot"]));
    assert!(found["false_whole_bound"].as_f64().unwrap() > 1e-9);
}

#[test]
fn each_end_has_its_reason_and_exit() {
    let short = row(1, "a", 40_000, "");
    let limit = |flags: &str| format!("1,1,probe,z,a,,-5000000,-200000,,,,0,0,{flags}");
    let unheld = row(1, "a", 0, "").replace(",25000000,", ",15000000,");
    let open = row(1, "a", 0, "").replace(",6000,0,", ",6000,,");
    let doubtless = row(1, "a", 0, "").replace(",6000,", ",,");
    let gap = row(1, "a", 0, "").replace(",0,0,", ",0,1,");
    for (rows, exit, verdict, reason) in [
        (vec![short], 1, "broken", "short"),
        (vec![limit("alive")], 1, "broken", "absent"),
        (vec![limit("")], 2, "unproven", "silent"),
        (vec![row(1, "a", -20_000, "")], 2, "unproven", "early"),
        (vec![row(1, "a", 25_000, "")], 2, "unproven", "grey"),
        (vec![row(1, "a", 0, "clash")], 2, "unproven", "flag"),
        (vec![row(1, "a", 0, "dim|gap")], 2, "unproven", "flag"),
        (vec![gap], 2, "unproven", "link"),
        (vec![doubtless], 2, "unproven", "doubt"),
        (vec![open], 2, "unproven", "stuck"),
        (vec![unheld], 2, "unproven", "held"),
        (vec![row(1, "a", 0, "")], 2, "unproven", "few"),
        (
            vec![row(1, "a", 0, ""), row(2, "b", 900, "")],
            2,
            "unproven",
            "disagree",
        ),
    ] {
        let (found_exit, found) = json(&plan(), &rows);
        assert_eq!(found["verdict"], verdict, "{rows:?} {found}");
        assert_eq!(found["reason"], reason, "{rows:?}");
        assert_eq!(found_exit, exit, "{rows:?}");
    }
}

#[test]
fn faults_name_line_and_remedy() {
    let touches = format!("{HEADER}\n{}\n", row(1, "a", 0, ""));
    for (plan, touches, words) in [
        (plan().replace("wear", "waer"), touches.clone(), "plan.toml:10: found the unknown key tool.waer, expected a known key; did you mean wear?"),
        (plan().replace("\"20ms\"", "20"), touches.clone(), "plan.toml:4: check.hold: found 20"),
        (plan().replace("smallest_break = \"30um\"", "smallest_break = \"20.5um\""), touches.clone(), "found a window too narrow by"),
        (plan(), touches.replace(",-5000000,", ",-5000000000,"), "touches.csv:2: found feed_nm_s -5000000000"),
        (plan(), touches.replace("-10000,", "x,"), "touches.csv:2: found `x` as position_nm"),
        (plan(), format!("{touches}{}\n", row(2, "b", 0, "").replace(",-5000000,", ",5000000,")), "touches.csv:3: found feed_nm_s 5000000, expected one direction"),
        (plan(), touches.replace("position_nm", "position"), "touches.csv:1: found the header"),
        (plan(), format!("{HEADER}\n"), "touches.csv: found no touch"),
        (plan(), touches.replace(",0,0,", ",0,0,brokn"), "`brokn` among the flags"),
        (plan().replace("kind = \"breakage\"", ""), touches.clone(), "found no check.kind"),
    ] {
        let output = gauge(&plan, &touches, &[]);
        let told = err(&output);
        assert!(told.contains(words), "{words}: {told}");
        assert_eq!(code(&output), 2);
        assert!(told.contains("; "), "no remedy: {told}");
    }
}

/// Touches that contradict themselves, each other or the plan; each with its line and what to do.
#[test]
fn contradictions_are_refused_with_line_and_remedy() {
    let all = |rows: &[String]| format!("{HEADER}\n{}\n", rows.join("\n"));
    let (one, two) = (row(1, "a", 0, ""), row(2, "b", 0, ""));
    let both = |change: &dyn Fn(&str) -> String| all(&[one.clone(), change(&two)]);
    for (touches, words) in [
        (both(&|_| row(3, "b", 0, "")), "touches.csv:3: found touch 3 after touch 1, expected touch 2; add the touches that are missing"),
        (both(&|_| row(1, "b", 0, "")), "touches.csv:3: found touch 1 after touch 1"),
        (all(std::slice::from_ref(&two)), "touches.csv:2: found touch 2 as the first of cycle 1"),
        (both(&|two| two.replace("1,2,", "0,1,")), "touches.csv:3: found cycle 0 after cycle 1"),
        (both(&|two| two.replace(",200000000,", ",124000000,")), "touches.csv:3: found onset_ns 124000000, not after 125000000"),
        (both(&|two| two.replace(",6000,", ",0,")), "touches.csv:3: found 0 as doubt_ns"),
        // mm/min, mm/s and m/s for nm/s.
        (both(&|two| two.replace(",-5000000,", ",-300,")), "touches.csv:3: found feed_nm_s -300, expected 1000 nm/s (0.06 mm/min) or more; check its unit"),
        (both(&|two| two.replace(",-5000000,", ",-5,")), "touches.csv:3: found feed_nm_s -5,"),
        // pm for nm; a position of another axis.
        (both(&|two| two.replace(",-10000,", ",-10000000000,")), "touches.csv:3: found position_nm -10000000000, 9999 mm from the cycle's first"),
        (both(&|two| two.replace(",6000,0,", ",6000,80000000,")), "touches.csv:3: found release_nm 80000000, 80 mm from"),
        // mm for nm.
        (both(&|two| two.replace(",-10000,", ",-0.010,")), "touches.csv:3: found `-0.010` as position_nm"),
    ] {
        let output = gauge(&plan(), &touches, &[]);
        let told = err(&output);
        assert!(told.contains(words) && told.contains("; "), "{words}: {told}");
        assert_eq!(code(&output), 2, "{words}");
        assert!(out(&output).is_empty(), "{}", out(&output));
    }
    let length =
        "[check]\nkind = \"length\"\nreference_position = \"-10mm\"\nreference_length = \"20mm\"\n";
    let sane = all(&[one.clone(), two.clone()]);
    for (plan, touches, words) in [
        (length.replace("-10mm", "10m"), sane.clone(), "touches.csv:2: found a size of -9980.010000 mm, expected a tool longer than nothing; position_nm and [check] reference_position"),
        (format!("{length}line = \"prob\"\n"), sane.clone(), "plan.toml:5: found no touch of the line prob, expected one of probe"),
        // Revolutions a minute for thousandths of a revolution a second.
        (format!("{}[tool]\nspeed = \"3000/min\"\nteeth = 4\n", length.replace("length\"\n", "radius\"\n")), sane.replace(",25000000,0,0,", ",25000000,3000,0,"), "touches.csv:2: found spindle_mhz 3000 beside [tool] speed of 50000"),
    ] {
        let output = gauge(&plan, &touches, &[]);
        let told = err(&output);
        assert!(told.contains(words), "{words}: {told}");
        assert_eq!(code(&output), 2, "{words}");
    }
}

/// Positions of an axis that jump, run back or end too soon.
#[test]
fn an_axis_that_cannot_be_is_refused() {
    let (_folder, path) = scenario("");
    let plan = "[check]\nkind = \"length\"\nreference_position = \"0mm\"\nreference_length = \"20mm\"\n[latch]\nmethod = \"history\"\nperiod = \"1ms\"\n";
    std::fs::write(path("plan.toml"), plan).unwrap();
    let touch = |more: &str| {
        format!("line,onset_ns,doubt_ns,release_ns,flags\nprobe,5500000,6000,{more},\n")
    };
    let good: Vec<String> = (0..30)
        .map(|k| format!("{},z,{}", k * 1_000_000, -5_000 * k))
        .collect();
    let axis = |rows: &[String]| format!("time_ns,axis,position_nm\n{}\n", rows.join("\n"));
    let with = |at: usize, row: &str| {
        let mut rows = good.clone();
        row.clone_into(&mut rows[at]);
        axis(&rows)
    };
    for (touches, axis, words) in [
        (
            touch("20000000"),
            with(7, "7000000,z,900000000"),
            "axis.csv:9: ",
        ),
        (
            touch("20000000"),
            with(7, "6000000,z,-35000"),
            "axis.csv:9: ",
        ),
        (
            touch("20000000"),
            with(7, "7000000,z,-0.035"),
            "axis.csv:9: found `-0.035`, expected a whole number of nanoseconds or nanometres",
        ),
        (
            touch("5000000"),
            axis(&good),
            "touches.csv:2: found release_ns 5000000 before onset_ns 5500000",
        ),
        (touch("20000000"), axis(&good[..4]), "touches.csv:2: "),
        (
            touch("20000000"),
            "time_ns,axis,position_nm\n".to_owned(),
            "axis.csv: found no position",
        ),
    ] {
        std::fs::write(path("touches.csv"), touches).unwrap();
        std::fs::write(path("axis.csv"), axis).unwrap();
        let output = Command::new(env!("CARGO_BIN_EXE_trueonset"))
            .args([
                "gauge",
                &path("plan.toml"),
                &path("touches.csv"),
                "--axis",
                &path("axis.csv"),
            ])
            .output()
            .unwrap();
        let told = err(&output);
        assert!(
            told.contains(words) && told.contains("; "),
            "{words}: {told}"
        );
        assert_eq!(code(&output), 2, "{words}");
    }
}

#[test]
fn a_verdict_carries_its_caution() {
    let touches = format!("{HEADER}\n{}\n{}\n", row(1, "a", 0, ""), row(2, "b", 0, ""));
    let output = gauge(&plan(), &touches, &[]);
    assert!(
        out(&output).starts_with("breakage: whole, 30.0000 mm"),
        "{}",
        out(&output)
    );
    let caution = "measuring signal, not a safety function; prove each program at reduced feed with the tool clear; guards \
                   and emergency stop stay in charge";
    assert!(out(&output).contains(caution), "{}", out(&output));
    let csv = gauge(&plan(), &touches, &["--csv"]);
    assert!(err(&csv).contains(caution), "{}", err(&csv));
    let text = out(&csv);
    let mut lines = text.lines();
    assert_eq!(
        lines.next(),
        Some("kind,verdict,holds,reason,value_nm,u_nm,k,dof,expanded_nm,touches,dropped,cycle")
    );
    assert!(lines
        .next()
        .unwrap()
        .starts_with("breakage,whole,,,30000000,"));
}

const LENGTH: &str = "[check]\nkind = \"length\"\ntouches = 3\nreference_position = \"0mm\"\nreference_length = \"20mm\"\n[budget.plate]\nhalf_width = \"0.2um\"\nclass = \"setup\"\n";

#[test]
fn a_chip_is_dropped_out_of_five_only() {
    let rows = |shorts: &[i64]| -> Vec<String> {
        let numbered = shorts.iter().zip(1..);
        numbered.map(|(short, k)| row(k, "a", *short, "")).collect()
    };
    // Positions of the rows are 10 µm beyond the contact, as no delay is stated.
    let (exit, found) = json(LENGTH, &rows(&[0, 20, -20, 10, -3_000]));
    assert_eq!((exit, &found["dropped"]), (0, &1.into()), "{found}");
    assert_eq!(found["touches"], 4);
    assert_eq!(found["value_nm"], 19_989_998.0);
    let (exit, found) = json(LENGTH, &rows(&[0, 20, -3_000]));
    assert_eq!((exit, &found["reason"]), (2, &"disagree".into()));
    let (exit, found) = json(LENGTH, &rows(&[0, 20]));
    assert_eq!((exit, &found["reason"]), (2, &"few".into()));
}

#[test]
fn a_replay_with_positions_of_its_axis_is_a_length() {
    let plan = format!("{LENGTH}[latch]\nmethod = \"history\"\nperiod = \"1ms\"\n")
        .replace("touches = 3", "touches = 1");
    let touches = "line,onset_ns,doubt_ns,first_edge_ns,last_edge_ns,edges,confirmed_ns,release_ns,release_doubt_ns,flags\nprobe,50250000,300,50200000,50300000,11,51300000,90000000,300,\n";
    let sample = |k: i64| format!("{},z,{}\n", k * 1_000_000, 250_000 - k * 5_000);
    let positions = (0..100).map(sample).collect::<Vec<_>>().concat();
    let (_folder, path) = scenario("");
    std::fs::write(path("plan.toml"), &plan).unwrap();
    std::fs::write(path("touches.csv"), touches).unwrap();
    std::fs::write(
        path("axis.csv"),
        format!("time_ns,axis,position_nm\n{positions}"),
    )
    .unwrap();
    let run = |axis: &str| {
        Command::new(env!("CARGO_BIN_EXE_trueonset"))
            .args([
                "gauge",
                &path("plan.toml"),
                &path("touches.csv"),
                "--json",
                "--axis",
                axis,
            ])
            .output()
            .unwrap()
    };
    let output = run(&path("axis.csv"));
    let found: serde_json::Value =
        serde_json::from_str(&out(&output)).unwrap_or_else(|_| panic!("{}", err(&output)));
    // 250 000 - 50.25·5000 = -1250 nm, and longer tools touch earlier: the axis falls.
    assert_eq!(found["value_nm"], 19_998_750.0);
    let jump = positions.replace("\n60000000,z,-50000\n", "\n60000000,z,-50000000\n");
    std::fs::write(
        path("jump.csv"),
        format!("time_ns,axis,position_nm\n{jump}"),
    )
    .unwrap();
    let output = run(&path("jump.csv"));
    assert!(err(&output).contains("jump.csv:62: "), "{}", err(&output));
    assert_eq!(code(&output), 2);
}

#[test]
fn wear_drift_and_repeatability_have_their_numbers() {
    let wear = "[check]\nkind = \"wear\"\nreference_position = \"0mm\"\nreference_length = \"20mm\"\n[tool]\nexpected = \"20mm\"\nlimit = \"600um\"\n";
    let rows: Vec<String> = (0..20)
        .map(|k| row(1, "a", 20_000 * k, "").replacen('1', &(k + 1).to_string(), 1))
        .map(|row| row.replace(",6000,", ",100,"))
        .collect();
    let (exit, found) = json(wear, &rows);
    assert_eq!(exit, 0, "{found}");
    assert_eq!(found["trend"]["rate_nm_per_cycle"], 20_000.0);
    assert_eq!(found["trend"]["median_rate_nm_per_cycle"], 20_000.0);
    let left = found["trend"]["cycles_left"].as_f64().unwrap();
    assert!((left - 10.5).abs() < 0.1, "{found}");
    let drift = "[check]\nkind = \"drift\"\nreference_position = \"-20um\"\n[drift]\nrise = \"30um\"\ntime_constant = \"45min\"\n";
    let (exit, found) = json(drift, &[row(1, "a", 0, "")]);
    assert_eq!((exit, found["value_nm"].as_f64()), (0, Some(10_000.0)));
    // Every five minutes for an hour, towards 20 µm with 45 min; latched 10 µm beyond -20 µm at first.
    let course: Vec<String> = (0..13)
        .map(|k| {
            let moved = 20_000.0 * -(-f64::from(5 * k) / 45.0).exp_m1();
            let minutes = format!("{}000000000", 300 * k + 100);
            row(1, "a", -(moved as i64), "")
                .replacen('1', &(k + 1).to_string(), 1)
                .replace("100000000", &minutes)
        })
        .collect();
    let (exit, found) = json(drift, &course);
    let notes = found["notes"].to_string();
    assert_eq!(exit, 0, "{found}");
    assert!(
        notes.contains("warming up with 45 min towards 30"),
        "{notes}"
    );
    let repeat = |limit: &str| {
        format!("[check]\nkind = \"repeatability\"\n[repeatability]\nmeaning = \"2sd\"\nlimit = \"{limit}\"\n")
    };
    let rows: Vec<String> = (0..25)
        .map(|k| row(k + 1, "a", [0, 100, -100, 50, -50][k as usize % 5], ""))
        .collect();
    for (limit, exit, holds) in [
        ("0.4um", 0, Some(true)),
        ("0.05um", 1, Some(false)),
        ("0.16um", 2, None),
    ] {
        let (found_exit, found) = json(&repeat(limit), &rows);
        assert_eq!(
            (found_exit, found["holds"].as_bool()),
            (exit, holds),
            "{limit}: {found}"
        );
        assert!(found["interval"]["low_nm"].as_f64() < found["value_nm"].as_f64());
    }
}

#[test]
fn run_out_of_a_still_spindle_is_the_indicator_reading() {
    let plan = "[check]\nkind = \"runout\"\n";
    let rows: Vec<String> = (0..8)
        .map(|k| {
            let angle = std::f64::consts::TAU * f64::from(k) / 8.0 + 0.3;
            row(k + 1, &format!("s{k}"), (5_000.0 * angle.cos()) as i64, "")
        })
        .collect();
    let (exit, found) = json(plan, &rows);
    // An eccentricity of 5 µm reads 10 µm.
    assert_eq!(exit, 0, "{found}");
    assert!(
        (found["value_nm"].as_f64().unwrap() - 10_000.0).abs() <= 2.0,
        "{found}"
    );
}

#[test]
fn a_turning_cutter_s_radius_is_corrected_by_half_a_tooth_s_feed() {
    let plan = "[check]\nkind = \"radius\"\nreference_position = \"0mm\"\nreference_length = \"5mm\"\n[tool]\nteeth = 4\nspeed = \"3000/min\"\nrun_out = \"0nm\"\n";
    // -5 mm/s at 50 turns a second: 25 µm a tooth, half of it is 12.5 µm; latched 10 µm beyond.
    let (exit, found) = json(
        plan,
        &[row(1, "a", 0, "interrupted").replace(",25000000,0,", ",25000000,50000,")],
    );
    assert_eq!(exit, 0, "{found}");
    assert_eq!(found["value_nm"], 5_002_500.0);
}

#[test]
fn a_report_shows_the_touches_and_how_to_repeat_it() {
    let (folder, path) = scenario("");
    let touches = format!(
        "{HEADER}\n{}\n{}\n",
        row(1, "a", 0, ""),
        row(2, "b", 30, "")
    );
    std::fs::write(path("plan.toml"), plan()).unwrap();
    std::fs::write(path("touches.csv"), touches).unwrap();
    let run = |report: &str| {
        Command::new(env!("CARGO_BIN_EXE_trueonset"))
            .args([
                "gauge",
                &path("plan.toml"),
                &path("touches.csv"),
                "--report",
                report,
            ])
            .output()
            .unwrap()
    };
    assert_eq!(code(&run(&path("r.html"))), 0);
    let page = std::fs::read_to_string(folder.path().join("r.html")).unwrap();
    for word in [
        "Breakage: whole",
        "<svg",
        "window of a whole tool",
        "trueonset gauge",
        "not a safety function",
    ] {
        assert!(page.contains(word), "{word}");
    }
    assert!(page.len() < 100_000);
    // The touches are not overwritten.
    assert_eq!(code(&run(&path("touches.csv"))), 2);
}

/// Teeth 1.2, 0, 3.7 and 0.4 µm low at 500 turns a minute, seen by the widths of their hits alone.
#[test]
fn teeth_are_told_by_how_long_they_block() {
    let plan = "[check]\nkind = \"runout\"\n[tool]\nteeth = 4\nspeed = \"500/min\"\n";
    let below = [1.2e-6, 0.0, 3.7e-6, 0.4e-6];
    let (period, per_tooth) = (0.03, 1e-6_f64);
    let hits = |turn: f64| -> String {
        let hits = (2..60_u32).map(|number| {
            let depth = per_tooth * f64::from(number) - below[number as usize % 4];
            hit(
                number,
                (f64::from(number) * period * 1e9) as i64,
                depth,
                turn,
            )
        });
        hits.collect()
    };
    // 1 µm in 30 ms.
    let touch = row(1, "a", 0, "interrupted").replace(",-5000000,", ",-33333,");
    let run = |hits: String| gauge_hits(plan, &format!("{HEADER}\n{touch}\n"), &hits);
    let output = run(hits(0.12));
    let found: serde_json::Value =
        serde_json::from_str(&out(&output)).unwrap_or_else(|_| panic!("{}", err(&output)));
    assert_eq!(code(&output), 0, "{found}");
    assert!(
        (found["value_nm"].as_f64().unwrap() - 3_700.0).abs() < 10.0,
        "{found}"
    );
    // A plate that is batted away does not tell.
    let output = run(hits(1.2));
    assert_eq!(code(&output), 2);
    assert!(out(&output).contains("turn slower"));
}

/// Each of several cycles is an answer: the last is the result, the others stand beside it.
#[test]
fn several_cycles_are_each_judged() {
    let of = |cycle: u32, shorts: &[i64]| -> Vec<String> {
        let numbered = shorts.iter().zip(1..);
        numbered
            .map(|(short, k)| row(k, "a", *short, "").replacen('1', &cycle.to_string(), 1))
            .collect()
    };
    let rows = [
        of(1, &[0, 20, -20]),
        of(2, &[0, 20, -3_000]),
        of(3, &[500, 520, 480]),
    ]
    .concat();
    let (exit, found) = json(LENGTH, &rows);
    let value = found["value_nm"].as_f64();
    assert_eq!((exit, value), (0, Some(19_989_500.0)), "{found}");
    let cycles = found["cycles"].as_array().unwrap();
    assert_eq!(cycles.len(), 3);
    assert_eq!(cycles[0]["value_nm"], 19_990_000.0);
    assert_eq!(cycles[1]["verdict"], "unproven");
    assert_eq!(cycles[1]["reason"], "disagree");
    assert_eq!(cycles[2]["cycle"], 3);
    let (_, one) = json(LENGTH, &of(1, &[0, 20, -20]));
    assert!(one.get("cycles").is_none());
    let touches = format!("{HEADER}\n{}\n", rows.join("\n"));
    let text = out(&gauge(LENGTH, &touches, &[]));
    assert!(text.contains("unproven disagree"), "{text}");
    // A row each; the result is the last.
    let output = gauge(LENGTH, &touches, &["--csv"]);
    let text = out(&output);
    let rows: Vec<Vec<&str>> = text.lines().map(|line| line.split(',').collect()).collect();
    assert_eq!((code(&output), rows.len()), (0, 4), "{text}");
    let of = |row: usize, name: &str| {
        let column = rows[0].iter().position(|head| *head == name);
        rows[row][column.unwrap()]
    };
    for (row, verdict, value, dropped) in [
        (1, "", "19990000", "0"),
        (2, "unproven", "", "0"),
        (3, "", "19989500", "0"),
    ] {
        assert_eq!(of(row, "cycle"), row.to_string(), "{text}");
        assert_eq!(
            (of(row, "verdict"), of(row, "value_nm"), of(row, "dropped")),
            (verdict, value, dropped),
            "{text}"
        );
        assert_eq!(of(row, "touches"), "3");
        assert_eq!(of(row, "k").is_empty(), value.is_empty(), "{text}");
    }
    // The columns of before stand where they stood.
    assert!(text
        .starts_with("kind,verdict,holds,reason,value_nm,u_nm,k,dof,expanded_nm,touches,dropped,"));
    // One answer of all cycles is one row, of no cycle.
    let wear = "[check]\nkind = \"wear\"\nreference_position = \"0mm\"\nreference_length = \"20mm\"\n[tool]\nexpected = \"20mm\"\nlimit = \"50um\"\n";
    let text = out(&gauge(wear, &touches, &["--csv"]));
    assert_eq!(text.lines().count(), 2, "{text}");
    assert!(text.trim_end().ends_with(','), "{text}");
}

/// A cutter of teeth 1.2, 0, 3.7 and 0.4 µm low, first hit 1.9 µm after the circle of the longest: its
/// hits say so, also where the tool stands after them. Batted away, half a turn's feed is what is left.
#[test]
fn a_radius_is_corrected_by_its_hits() {
    let plan =
        "[check]\nkind = \"radius\"\nreference_position = \"0mm\"\nreference_length = \"5mm\"\n\
                [tool]\nteeth = 4\nspeed = \"500/min\"\n";
    let below = [1.2e-6, 0.0, 3.7e-6, 0.4e-6];
    let (period, per_tooth, fed) = (0.03, 0.25e-6_f64, 1.9e-6);
    let hits = |turn: f64| -> String {
        let hits = (0..80_u32).filter_map(|number| {
            let way = fed + per_tooth * f64::from(number.min(59));
            let depth = way - below[number as usize % 4];
            let start_ns = (f64::from(number) * period * 1e9) as i64;
            (depth > 0.0).then(|| hit(number, start_ns, depth, turn))
        });
        hits.collect()
    };
    let touch = row(1, "a", 0, "interrupted").replace(",-5000000,", ",-8333,");
    let touch = touch.replace(",25000000,0,", ",25000000,8333,");
    let run = |hits: String| {
        let output = gauge_hits(plan, &format!("{HEADER}\n{touch}\n"), &hits);
        assert_eq!(code(&output), 0, "{}", err(&output));
        serde_json::from_str::<serde_json::Value>(&out(&output)).unwrap()
    };
    let value = |found: &serde_json::Value| found["value_nm"].as_f64().unwrap();
    // The axis falls, the edge is latched 10 µm beyond: half a turn's feed, 0.5 µm, is taken off.
    let plain = run(hits(1.2));
    assert_eq!(plain["value_nm"], 4_990_500.0);
    assert!(
        plain["notes"].to_string().contains("turn slower"),
        "{plain}"
    );
    let told = run(hits(0.12));
    // 1.9 µm, less what is fed in a quarter of the first hit, about 5 nm.
    let off = value(&told) - (5_000_000.0 - 10_000.0 + 1_900.0);
    assert!(off.abs() < 15.0, "{told}");
    assert!(told["u_nm"].as_f64() < plain["u_nm"].as_f64());
    assert!(told["notes"].to_string().contains("deepest"), "{told}");
}
