//! The settings that `tune` advises: what they do on the very logs, and their source, compiled and run.

mod common;

use std::path::Path;
use std::process::Command;

use common::{code, err, out, scenario};
use serde_json::Value;
use trueonset::barrier::{BarrierConfig, Method};
use trueonset::onset::{Chatter, Config, Touched, Truncation};
use trueonset::time::TickRate;

const CAUTION: &str = "Measuring signal, not a safety function; prove each program at reduced feed with the tool clear; \
                       guards and emergency stop stay in charge";

fn run(args: &[&str]) -> std::process::Output {
    Command::new(env!("CARGO_BIN_EXE_trueonset"))
        .args(args)
        .output()
        .unwrap()
}

/// Runs `rustc`, which must be content.
fn rustc(args: &[&str]) {
    let compiler = std::env::var("RUSTC").unwrap_or_else(|_| "rustc".to_owned());
    let told = Command::new(compiler)
        .args(["--edition", "2021", "-D", "warnings"])
        .args(args)
        .output()
        .unwrap();
    assert!(told.status.success(), "{}", err(&told));
}

/// What the source says when it is compiled against the library as it stands and run.
fn said(folder: &Path, rust: &str, wanted: &str) -> String {
    let at = |name: &str| folder.join(name).display().to_string();
    let library = at("libtrueonset.rlib");
    if !Path::new(&library).exists() {
        let core = Path::new(env!("CARGO_MANIFEST_DIR")).join("../core/src/lib.rs");
        // What the manifest would say of features is not known to a bare compiler.
        rustc(&[
            "--crate-type",
            "rlib",
            "--crate-name",
            "trueonset",
            "--cap-lints",
            "allow",
            "-o",
            &library,
            &core.display().to_string(),
        ]);
    }
    std::fs::write(at("settings.rs"), rust).unwrap();
    // In the usual layout, where the formatter is there to ask.
    if let Ok(told) = Command::new("rustfmt")
        .args(["--edition", "2021", "--check", &at("settings.rs")])
        .output()
    {
        assert!(told.status.success(), "{}", out(&told));
    }
    let main = format!("mod settings;\nfn main() {{\n    {wanted}\n}}\n");
    std::fs::write(at("main.rs"), main).unwrap();
    rustc(&[
        "-A",
        "dead_code",
        "--extern",
        &format!("trueonset={library}"),
        "-o",
        &at("main"),
        &at("main.rs"),
    ]);
    out(&Command::new(at("main")).output().unwrap())
}

fn simulate(
    path: &dyn Fn(&str) -> String,
    name: &str,
    toml: &str,
    touches: &str,
) -> (String, String) {
    let (log, truth, config) = (
        path(&format!("{name}.csv")),
        path(&format!("{name}-truth.csv")),
        path(&format!("{name}.toml")),
    );
    std::fs::write(&config, toml).unwrap();
    let made = run(&[
        "simulate",
        &config,
        "--touches",
        touches,
        "--seed",
        "5",
        "--log",
        &log,
        "--truth",
        &truth,
    ]);
    assert_eq!(code(&made), 0, "{}", err(&made));
    (log, truth)
}

fn tuned(args: &[&str]) -> Value {
    let told = run(&[&["tune"], args, &["--json"]].concat());
    assert_eq!(code(&told), 0, "{}", err(&told));
    assert!(err(&told).contains(CAUTION), "{}", err(&told));
    serde_json::from_str(&out(&told)).unwrap()
}

/// Debug texts: equal ones are equal values, private parts included.
fn of_edges(hold_ns: u64, bandwidth_hz: u32, touched: Touched, edge_ns: u64) -> String {
    let rate = TickRate::from_hz(16_000_000).unwrap();
    let config = Config::new(rate, hold_ns)
        .and_then(|config| config.capture(Truncation::Before, 256))
        .and_then(|config| config.bandwidth_hz(bandwidth_hz))
        .unwrap()
        .touched(touched);
    // Ticks of 62.5 ns, squared, in 1/256.
    let ticks = edge_ns as f64 / 62.5;
    let chatter = Chatter::known((ticks * ticks).floor() as u64 * 256);
    format!("{config:?}\n{chatter:?}\n")
}

#[test]
fn the_source_of_edges_compiles_and_holds_the_values_advised() {
    let (folder, path) = scenario("");
    let toml = "[approach]\nfeed = \"60mm/min\"\n[barrier]\nsnr = \"50dB\"\n[disturbance]\nglitches_per_s = 5\n";
    let (log, _) = simulate(&path, "edges", toml, "20");
    for touched in [Touched::High, Touched::Low] {
        let word = if touched == Touched::High {
            "high"
        } else {
            "low"
        };
        let found = tuned(&[&log, "--touched", word]);
        let settings = &found["settings"];
        let number = |key: &str| settings[key].as_f64().unwrap_or(0.0);
        let rust = found["rust"].as_str().unwrap();
        let wanted = "println!(\"{:?}\\n{:?}\", settings::CONFIG, settings::CHATTER);";
        assert_eq!(
            said(folder.path(), rust, wanted),
            of_edges(
                number("hold_ns") as u64,
                number("bandwidth_hz") as u32,
                touched,
                number("edge_ns").round() as u64
            ),
            "{rust}"
        );
    }
}

#[test]
fn calibrated_constants_stand_in_the_source_to_the_last_digit() {
    let (folder, path) = scenario("");
    let feeds = ["60mm/min", "300mm/min", "3000mm/min"];
    let toml = |feed: &str| {
        format!("[approach]\nfeed = \"{feed}\"\ndepth = \"5um\"\nclearance = \"200um\"\n[barrier]\nhysteresis = 1\n")
    };
    let made: Vec<_> = feeds
        .iter()
        .map(|feed| simulate(&path, &feed.replace('/', "_"), &toml(feed), "60"))
        .collect();
    let mut args: Vec<&str> = made.iter().map(|(log, _)| log.as_str()).collect();
    for (_, truth) in &made {
        args.extend(["--truth", truth]);
    }
    let found = tuned(&args);
    let rust = found["rust"].as_str().unwrap();
    let wanted = "let [least, most] = settings::LATENESS.others();\n    for late in [settings::LATENESS, least, most] {\n        println!(\"{} {} {} {} {} {}\", late.delay_ps(), late.delay_doubt_ps(), late.offset_pm(), late.offset_doubt_pm(), late.turn_nm_s(), late.together_permille());\n    }";
    let printed = said(folder.path(), rust, wanted);
    let config = path("constants.toml");
    let written = run(&[&["tune", "--config", &config], args.as_slice()].concat());
    assert_eq!(code(&written), 0, "{}", err(&written));
    let toml: toml::Table = std::fs::read_to_string(&config).unwrap().parse().unwrap();
    let table = toml["calibration"].as_table().unwrap();
    let mut lines = printed.lines();
    for prefix in ["", "least_", "most_"] {
        let whole = |key: &str| -> f64 {
            let text = table[&format!("{prefix}{key}")].as_str().unwrap();
            text.trim_end_matches(|c: char| !c.is_ascii_digit())
                .parse()
                .unwrap()
        };
        let together = &table[&format!("{prefix}together")];
        let together = together
            .as_float()
            .or(together.as_integer().map(|whole| whole as f64))
            .unwrap();
        let keys = [
            whole("delay"),
            whole("delay_doubt"),
            whole("offset"),
            whole("offset_doubt"),
            whole("turn"),
            (together * 1e3).round(),
        ];
        let got: Vec<f64> = lines
            .next()
            .unwrap()
            .split(' ')
            .map(|word| word.parse().unwrap())
            .collect();
        assert_eq!(got, keys, "{prefix}");
    }
    // Some delay was there to be found: the filter's.
    assert!(found["delay_ns"].as_f64().unwrap() > 0.0);
}

#[test]
fn the_source_of_light_compiles_and_holds_the_values_advised() {
    let (folder, path) = scenario("");
    let (log, truth) = simulate(&path, "light", "[sampling]\nrate = \"50kHz\"\n", "4");
    let found = tuned(&[&log, "--truth", &truth]);
    let settings = &found["settings"];
    let method = match settings["method"].as_str().unwrap() {
        "area" => Method::Area,
        _ => Method::Matched,
    };
    let rate = TickRate::from_hz(16_000_000).unwrap();
    let config = BarrierConfig::new(rate, 50_000, settings["hold_ns"].as_u64().unwrap())
        .and_then(|config| config.bits(12))
        .and_then(|config| config.method(method))
        .unwrap();
    let rust = found["rust"].as_str().unwrap();
    let wanted = "println!(\"{:?}\", settings::CONFIG);";
    assert_eq!(
        said(folder.path(), rust, wanted),
        format!("{config:?}\n"),
        "{rust}"
    );
    assert!(settings["noise_counts"].as_f64().unwrap() > 0.0);
}

/// Misses and false touches are those that a replay at that hold makes; the advised hold has none.
#[test]
fn what_would_be_missed_or_falsely_seen_is_what_a_replay_sees() {
    let (_folder, path) = scenario("");
    let toml = "[approach]\nfeed = \"30mm/min\"\n[barrier]\nsnr = \"45dB\"\n[disturbance]\nglitches_per_s = 20\n";
    let (log, truth) = simulate(&path, "noisy", toml, "30");
    let (fast, fast_truth) = simulate(&path, "fast", &toml.replace("30mm", "900mm"), "30");
    let without = vec![log.as_str()];
    let with = vec![
        log.as_str(),
        fast.as_str(),
        "--truth",
        &truth,
        "--truth",
        &fast_truth,
    ];
    for args in [without, with] {
        let found = tuned(&args);
        let logs = args
            .iter()
            .position(|word| *word == "--truth")
            .unwrap_or(args.len());
        let due = 30 * logs as u64;
        for one in found["tried"].as_array().unwrap() {
            let hold = format!("{}ns", one["hold_ns"]);
            let told = |log: &&str| {
                out(&run(&["replay", log, "--hold", &hold, "--csv"]))
                    .lines()
                    .count() as u64
                    - 1
            };
            let touches: u64 = args[..logs].iter().map(told).sum();
            assert_eq!(one["touches"].as_u64().unwrap(), touches, "{hold}");
            let (missed, spurious) = (
                one["missed"].as_u64().unwrap(),
                one["false_touches"].as_u64().unwrap(),
            );
            assert_eq!(due - missed + spurious, touches, "{hold}");
        }
        let tried = found["tried"].as_array().unwrap();
        assert!(
            tried[0]["false_touches"].as_u64().unwrap() > 0,
            "{}",
            tried[0]
        );
        let own = &found["settings"]["holds"];
        assert_eq!(
            (own["missed"].as_u64(), own["false_touches"].as_u64()),
            (Some(0), Some(0))
        );
        // 100 kHz of noise, known to a tenth from thirty touches; spikes of up to 50 us.
        let bandwidth = found["settings"]["bandwidth_hz"].as_f64().unwrap();
        assert!((bandwidth / 1e5 - 1.0).abs() < 0.1, "{bandwidth}");
        let (least, hold) = (
            found["settings"]["hold_least_ns"].as_u64().unwrap(),
            own["hold_ns"].as_u64().unwrap(),
        );
        assert!(least >= 50_000 && hold >= least, "{least} {hold}");
    }
    let report = path("tune.html");
    let people = run(&[
        "tune",
        &log,
        "--report",
        &report,
        "--config",
        &path("own.toml"),
    ]);
    assert_eq!(code(&people), 0, "{}", err(&people));
    let (text, page) = (out(&people), std::fs::read_to_string(&report).unwrap());
    for wanted in [
        "missed",
        "noise",
        "chatter",
        "bandwidth",
        "glitches",
        "method",
        "Hold ",
        "pub const CONFIG",
        CAUTION,
    ] {
        assert!(text.contains(wanted) && page.contains(wanted), "{wanted}");
    }
    let replayed = run(&["replay", &log, "--config", &path("own.toml"), "--csv"]);
    assert_eq!(code(&replayed), 0, "{}", err(&replayed));
    assert_eq!(out(&replayed).lines().count(), 31);
}
