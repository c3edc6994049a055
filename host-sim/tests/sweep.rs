//! `sweep` as its users meet it.

mod common;

use common::{code, err, out, scenario};
use std::process::{Command, Output, Stdio};

const COLUMNS: &str = "trials,missed,false_touches,bias_nm,sd_nm,p999_nm,bound_nm,doubt_nm,inside_2u,confirm_mean_ns,confirm_p999_ns";

fn program(args: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_trueonset"));
    command.args(args);
    command
}

fn run(args: &[&str]) -> Output {
    program(args).output().unwrap()
}

#[test]
fn bytes_do_not_depend_on_threads_and_columns_are_as_promised() {
    let (_folder, path) = scenario("[barrier]\nsnr = \"50dB\"\n");
    let table = |threads: &str, seed: &str| {
        let output = run(&[
            "--threads",
            threads,
            "sweep",
            &path("s.toml"),
            "--vary",
            "approach.feed=300mm/min,5000mm/min",
            "--vary",
            "barrier.hysteresis=0,0.5",
            "--trials",
            "200",
            "--seed",
            seed,
            "--csv",
        ]);
        assert_eq!(code(&output), 0, "{}", err(&output));
        out(&output)
    };
    let (one, two, three) = (table("1", "4"), table("2", "4"), table("3", "4"));
    assert!(one == two && two == three);
    assert_ne!(one, table("1", "5"));
    let mut lines = one.lines();
    assert_eq!(
        lines.next().unwrap(),
        format!("approach.feed,barrier.hysteresis,{COLUMNS}")
    );
    let rows: Vec<_> = lines.collect();
    assert_eq!(rows.len(), 4);
    assert!(rows[1].starts_with("300mm/min,0.5,200,0,0,"), "{}", rows[1]);
}

#[test]
fn json_is_one_document_with_the_same_numbers() {
    let (_folder, path) = scenario("");
    let args = [
        "sweep",
        &path("s.toml"),
        "--vary",
        "barrier.snr=50dB,60dB",
        "--trials",
        "50",
    ];
    let json: serde_json::Value =
        serde_json::from_str(&out(&run(&[&args[..], &["--json"]].concat()))).unwrap();
    let csv = out(&run(&[&args[..], &["--csv"]].concat()));
    let bias = |row: usize| -> f64 {
        csv.lines()
            .nth(row + 1)
            .unwrap()
            .split(',')
            .nth(4)
            .unwrap()
            .parse()
            .unwrap()
    };
    for row in 0..2 {
        let cell = &json["cells"][row];
        assert!((cell["bias_nm"].as_f64().unwrap() - bias(row)).abs() < 1e-9);
        for column in COLUMNS.split(',') {
            assert!(cell[column].is_number(), "{column}");
        }
    }
    assert_eq!(json["cells"][1]["barrier.snr"], "60dB");
}

#[test]
fn a_report_is_one_file_with_curves_and_a_map() {
    let (_folder, path) = scenario("");
    let output = run(&[
        "sweep",
        &path("s.toml"),
        "--vary",
        "approach.feed=60mm/min,1000mm/min",
        "--vary",
        "barrier.snr=50dB,60dB",
        "--trials",
        "60",
        "--report",
        &path("r.html"),
    ]);
    assert_eq!(code(&output), 0, "{}", err(&output));
    let page = std::fs::read_to_string(path("r.html")).unwrap();
    for wanted in [
        "first edge",
        "N in a row",
        "bound",
        "barrier.snr",
        "<svg",
        "Simulated data",
    ] {
        assert!(page.contains(wanted), "{wanted}");
    }
    assert!(!page.contains("<script") && !page.contains("http-equiv"));
}

#[test]
fn bad_requests_are_refused_before_anything_runs() {
    let (_folder, path) = scenario("[control]\nperiod = \"4ms\"\n");
    let refused = |vary: &str| {
        let output = run(&["sweep", &path("s.toml"), "--vary", vary]);
        assert_eq!((code(&output), out(&output)), (2, String::new()), "{vary}");
        err(&output)
    };
    assert!(refused("aproach.feed=1mm/min").contains("did you mean approach.feed?"));
    assert!(refused("approach.feed=1").contains("300mm/min"));
    assert!(refused("approach.feed").contains("KEY=V1,V2"));
    assert!(refused("barrier.hysteresis=0,NaN").contains("finite"));
    assert!(refused("barrier.film=0%,70%").contains("makes sense"));
    assert!(refused("approach.feed=0mm/min").contains("0.001mm/min"));
    assert_eq!(code(&run(&["sweep", &path("s.toml"), "--trials", "0"])), 2);
    let nowhere = run(&["sweep", &path("s.toml"), "--report", &path("none/r.html")]);
    assert_eq!((code(&nowhere), out(&nowhere)), (2, String::new()));
    let told = run(&["sweep", &path("s.toml"), "--trials", "20"]);
    assert!(code(&told) == 0 && err(&told).contains("control.period"));
}

#[test]
fn cells_have_their_columns_and_the_run_its_spare() {
    let (_folder, path) = scenario("[battery]\nchemistry = \"nimh\"\n");
    let s = path("s.toml");
    let vary = "battery.run=8h,72h";
    let table = out(&run(&[
        "sweep", &s, "--vary", vary, "--trials", "20", "--csv",
    ]));
    let mut lines = table
        .lines()
        .map(|line| line.split(',').collect::<Vec<_>>());
    let header = lines.next().unwrap();
    let own = "battery_packs,battery_life_h,battery_spare_h,battery_wrong_yes";
    assert!(header.join(",").ends_with(own));
    let cells: Vec<_> = lines.map(|line| line[line.len() - 4..].join(",")).collect();
    let (life, spare) = cells[0].split_once(',').unwrap().1.split_once(',').unwrap();
    // As the bench of packs at 22 °C, within the scatter of 64 packs: some 980 h, 19.9 h.
    assert!(
        (900.0..1_050.0).contains(&life.parse().unwrap()),
        "{cells:?}"
    );
    let spare: f64 = spare.split(',').next().unwrap().parse().unwrap();
    assert!((15.0..27.0).contains(&spare), "{cells:?}");
    assert!(cells
        .iter()
        .all(|cell| cell.starts_with("64,") && cell.ends_with(",0")));
    let refused = run(&["sweep", &s, "--vary", "battery.temperature=85C"]);
    assert_eq!(code(&refused), 2);
    assert!(
        err(&refused).contains("battery.temperature"),
        "{}",
        err(&refused)
    );
}

const LINK_COLUMNS: &str = "late,twice,outside_doubt,stop_max_ns,ready_drops_per_h";

#[test]
fn touches_go_through_the_air_the_same_on_any_threads() {
    let (_folder, path) = scenario("[link]\nburst = 3\n");
    let table = |threads: &str, seed: &str, more: &[&str]| {
        let args = [
            "--threads",
            threads,
            "sweep",
            &path("s.toml"),
            "--vary",
            "link.loss=1%,10%",
            "--vary",
            "link.medium=infrared,radio,wired",
            "--trials",
            "100",
            "--seed",
            seed,
        ];
        let output = run(&[&args[..], more].concat());
        assert_eq!(code(&output), 0, "{}", err(&output));
        out(&output)
    };
    let (one, two, three) = (
        table("1", "4", &["--csv"]),
        table("2", "4", &["--csv"]),
        table("5", "4", &["--csv"]),
    );
    assert!(one == two && two == three);
    assert_ne!(one, table("1", "5", &["--csv"]));
    let mut lines = one.lines();
    assert_eq!(
        lines.next().unwrap(),
        format!("link.loss,link.medium,{COLUMNS},{LINK_COLUMNS}")
    );
    let json: serde_json::Value = serde_json::from_str(&table("2", "4", &["--json"])).unwrap();
    for (row, line) in lines.enumerate() {
        let cells: Vec<_> = line.split(',').collect();
        let link = &cells[13..];
        let cell = &json["cells"][row];
        if cells[1] == "wired" {
            assert_eq!(link, [""; 5]);
            assert!(cell["late"].is_null());
            continue;
        }
        let delay_ns = if cells[1] == "radio" { 64e6 } else { 48e6 };
        assert_eq!(link[..3], ["0", "0", "0"], "{line}");
        // Behind it by the barrier's own error, and by microseconds.
        let stop_ns: f64 = link[3].parse().unwrap();
        assert!((stop_ns - delay_ns).abs() < 60e3, "{line}");
        for (name, value) in LINK_COLUMNS.split(',').zip(link) {
            let value: f64 = value.parse().unwrap();
            assert!(
                (cell[name].as_f64().unwrap() - value).abs() < 1e-9,
                "{name}"
            );
        }
    }
    let people = table("1", "4", &[]);
    assert!(people.contains("not a safety function") && people.contains("READY falls"));
}

#[test]
fn a_cell_over_the_air_has_its_columns_alone_as_well() {
    let (_folder, path) = scenario("[link]\nloss = \"2%\"\n");
    let cell = |vary: &str| {
        let output = run(&[
            "sweep",
            &path("s.toml"),
            "--vary",
            vary,
            "--trials",
            "70",
            "--csv",
        ]);
        out(&output).lines().last().unwrap().to_owned()
    };
    let alone = cell("link.loss=5%");
    assert_eq!(alone, cell("link.loss=20%,5%"));
    assert_eq!(alone.split(',').count(), 17);
    let (_folder, without) = scenario("");
    let output = run(&["sweep", &without("s.toml"), "--trials", "20", "--csv"]);
    assert!(out(&output).starts_with(&format!("{COLUMNS}\n")));
}

#[test]
fn links_that_break_a_promise_are_refused_with_the_nearest_that_keeps_it() {
    let (_folder, path) = scenario("[link]\n");
    for (vary, wanted) in [
        ("link.dead=48ms", "s.toml: link.dead: found 48ms"),
        ("link.dead=48ms", "at most 46.991ms makes sense"),
        ("link.slot=200us", "at least 320us makes sense"),
        ("link.beat=30ms", "at most 21ms makes sense"),
        ("link.loss=100%", "0% to 99%"),
        ("link.burst=0.5", "1 to 1000000"),
        ("link.medium=wire", "did you mean wired?"),
        ("onset.hold=40ms", "a touch is told that long after contact"),
        ("clock.drift=1ppm", "0.1ppm/s"),
    ] {
        let output = run(&["sweep", &path("s.toml"), "--vary", vary]);
        assert_eq!((code(&output), out(&output)), (2, String::new()), "{vary}");
        assert!(err(&output).contains(wanted), "{vary}: {}", err(&output));
    }
    let noisy = run(&[
        "sweep",
        &path("s.toml"),
        "--vary",
        "link.jitter=50us",
        "--trials",
        "5",
        "--csv",
    ]);
    assert_eq!(code(&noisy), 0);
    assert!(
        err(&noisy).contains("5 touches were not carried at link.jitter=50us"),
        "{}",
        err(&noisy)
    );
    assert!(out(&noisy).trim_end().ends_with(",,,,,"), "{}", out(&noisy));
}

/// Ctrl-C is a signal on Unix; elsewhere there is no portable way to send one.
#[cfg(unix)]
#[test]
fn an_interruption_keeps_the_finished_cells() {
    let (_folder, path) = scenario("[barrier]\nsnr = \"40dB\"\n");
    let mut child = program(&[
        "--threads",
        "1",
        "sweep",
        &path("s.toml"),
        "--vary",
        "approach.feed=5000mm/min,0.1mm/min",
        "--trials",
        "400",
        "--csv",
    ]);
    let child = child
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    std::thread::sleep(std::time::Duration::from_secs(3));
    // The first cell takes milliseconds, the second a minute or more.
    let sent = Command::new("kill")
        .args(["-INT", &child.id().to_string()])
        .status()
        .unwrap();
    assert!(sent.success());
    let output = child.wait_with_output().unwrap();
    assert_eq!(code(&output), 2, "{}", err(&output));
    assert_eq!(out(&output).lines().count(), 2, "{}", out(&output));
    assert!(
        err(&output).contains("1 of 2 cells finished"),
        "{}",
        err(&output)
    );
}
