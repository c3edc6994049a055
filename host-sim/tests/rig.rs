//! The verb `rig` against devices in this process, honest and otherwise.

mod common;

use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::thread;
use std::time::{Duration, Instant};

use common::{code, err, out, scenario, text};
use trueonset_rig::{Answer, Collector, Device, Frame, Refusal, Request};

/// Two touches of one line with chatter, and another line that starts in between.
const LOG: &str = "time_ns,line,level\n0,beam,0\n1000000,beam,1\n1000500,beam,0\n1002000,beam,1\n\
    5000000,cover,1\n9000000,beam,0\n20000000,beam,1\n25000000,cover,0\n30000000,beam,0\n40000000,beam,0\n";

fn run(args: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_trueonset"))
        .args(args)
        .output()
        .unwrap()
}

fn recording(name: &str) -> String {
    text(
        &Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../tests/data/recordings/{name}.vcd")),
    )
}

/// A folder with the log in it.
fn log(content: &str) -> (tempfile::TempDir, PathBuf) {
    let (folder, at) = scenario("");
    let path = PathBuf::from(at("edges.csv"));
    std::fs::write(&path, content).unwrap();
    (folder, path)
}

/// Somebody at the far end of a TCP line; the port to name.
fn listening(behave: impl FnOnce(TcpStream) + Send + 'static) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = format!("tcp:{}", listener.local_addr().unwrap());
    thread::spawn(move || behave(listener.accept().unwrap().0));
    port
}

/// A device between whose bodies and ours stands `alter`, which is given each answer with its
/// number and hands on what is to be sent, and `None` to fall silent for ever.
fn device(mut alter: impl FnMut(usize, Vec<u8>) -> Option<Vec<u8>> + Send + 'static) -> String {
    listening(move |mut stream| {
        stream.set_nodelay(true).unwrap();
        let (mut device, mut count) = (Device::new(), 0);
        each_answer(&mut stream.try_clone().unwrap(), &mut device, |answer| {
            let altered = alter(count, answer);
            count += 1;
            if let Some(body) = &altered {
                stream.write_all(Frame::of(body).bytes()).unwrap();
            }
            altered.is_some()
        });
        // Silent, but still there.
        while stream.read(&mut [0; 64]).is_ok_and(|read| read > 0) {}
    })
}

/// The bodies of what `device` answers to what `line` brings, as long as `each` wants more.
fn each_answer(line: &mut dyn Read, device: &mut Device, mut each: impl FnMut(Vec<u8>) -> bool) {
    let mut room = [0; 256];
    let mut collector = Collector::new();
    while let Ok(read) = line.read(&mut room) {
        if read == 0 {
            return;
        }
        for byte in &room[..read] {
            for byte in device.byte(*byte).unwrap_or_default() {
                if let Some(Ok(body)) = collector.byte(*byte) {
                    if !each(body.to_vec()) {
                        return;
                    }
                }
            }
        }
    }
}

/// A device over a line on which what either side sends may come back to it.
fn converse(mut stream: TcpStream, echoes: bool, looped: bool) {
    let mut device = Device::new();
    let mut room = [0; 256];
    while let Ok(read @ 1..) = stream.read(&mut room) {
        let mut sent = Vec::new();
        for byte in &room[..read] {
            sent.extend_from_slice(device.byte(*byte).unwrap_or_default());
        }
        if looped {
            for byte in sent.clone() {
                sent.extend_from_slice(device.byte(byte).unwrap_or_default());
            }
        }
        if echoes {
            sent.splice(0..0, room[..read].iter().copied());
        }
        if stream.write_all(&sent).is_err() {
            return;
        }
    }
}

fn honest() -> String {
    device(|_, answer| Some(answer))
}

#[test]
fn the_device_s_rows_are_those_of_a_replay() {
    for name in ["ir-receiver-2s", "ook-433mhz-receiver-12s", "rc-433mhz-8s"] {
        for how in [
            ["--touched", "high", "--hold", "1ms"],
            ["--touched", "low", "--hold", "200us"],
        ] {
            let log = recording(name);
            let replayed = run(&[&["replay", &log, "--csv"], &how[..]].concat());
            let port = honest();
            let tested = run(&[&["rig", &log, "--csv", "--port", &port], &how[..]].concat());
            assert_eq!(code(&tested), 0, "{}", err(&tested));
            assert_eq!(out(&tested), out(&replayed), "{name}");
            assert!(err(&tested).contains("0 differences"));
            let last = |output: &Output| err(output).lines().last().unwrap().to_owned();
            assert_eq!(last(&tested), last(&replayed));
        }
    }
}

#[test]
fn lines_keep_their_own_level_in_contact() {
    let (_folder, path) = log(LOG);
    for lines in [
        &[][..],
        &["--line", "cover=low"],
        &["--line", "cover=low", "--line", "beam"],
    ] {
        let replayed = run(&[&["replay", &text(&path), "--csv"], lines].concat());
        let tested = run(&[&["rig", &text(&path), "--csv", "--port", &honest()], lines].concat());
        assert_eq!(code(&tested), 0, "{}", err(&tested));
        assert_eq!(out(&tested), out(&replayed));
    }
}

#[test]
fn json_has_its_keys_and_the_caution_is_told() {
    let (_folder, path) = log(LOG);
    let tested = run(&["rig", &text(&path), "--json", "--port", &honest()]);
    let document: serde_json::Value = serde_json::from_str(&out(&tested)).unwrap();
    assert_eq!(document["holds"], true);
    assert_eq!(document["touches"], 2);
    assert_eq!(document["rows"][0]["line"], "beam");
    assert_eq!(document["differences"], serde_json::json!([]));
    assert!(err(&tested).contains("not a safety function"));
}

/// One bit of one report, and a whole report, are noticed.
#[test]
fn what_differs_is_told_and_does_not_hold() {
    let (_folder, path) = log(LOG);
    // The onset of the first report of the first answer to edges, one tick later.
    let later = |count: usize, mut answer: Vec<u8>| {
        if count == 2 {
            answer[8] ^= 1;
        }
        Some(answer)
    };
    let tested = run(&["rig", &text(&path), "--port", &device(later)]);
    assert_eq!(code(&tested), 1, "{}", err(&tested));
    assert!(
        out(&tested).contains("differs beam: touch told at"),
        "{}",
        out(&tested)
    );
    assert!(
        out(&tested).contains(": device onset 1001501 ns, here onset 1001500 ns"),
        "{}",
        out(&tested)
    );
    assert!(out(&tested).contains("1 differences"));
    let none = |count: usize, mut answer: Vec<u8>| {
        if count == 2 {
            answer.truncate(6);
        }
        Some(answer)
    };
    let tested = run(&["rig", &text(&path), "--json", "--port", &device(none)]);
    assert_eq!(code(&tested), 1, "{}", err(&tested));
    let document: serde_json::Value = serde_json::from_str(&out(&tested)).unwrap();
    assert_eq!(document["holds"], false);
    assert!(document["differences"].as_array().unwrap().len() >= 2);
    assert_eq!(
        document["differences"][0]["device"],
        serde_json::Value::Null
    );
    // The sums at the end.
    let sums = |_: usize, mut answer: Vec<u8>| {
        if answer[0] == 0x84 {
            answer[6] ^= 1;
        }
        Some(answer)
    };
    let tested = run(&["rig", &text(&path), "--port", &device(sums)]);
    assert_eq!(code(&tested), 1);
    assert!(
        out(&tested).contains("differs beam: edges: device touches 5 "),
        "{}",
        out(&tested)
    );
}

#[test]
fn expectations_are_judged_as_check_does() {
    let (folder, path) = log(LOG);
    let at = |name: &str| text(&folder.path().join(name));
    let expect =
        |rows: &str| std::fs::write(at("e.csv"), format!("line,onset_ns\n{rows}")).unwrap();
    expect("beam,1001500\nbeam,20000000\n");
    let port = honest();
    let args = [
        "rig",
        &text(&path),
        "--expect",
        &at("e.csv"),
        "--junit",
        &at("j.xml"),
        "--port",
    ];
    let tested = run(&[&args[..], &[&port]].concat());
    assert_eq!(code(&tested), 0, "{}", err(&tested));
    assert!(out(&tested).contains("2 of 2 expected touches found, 0 wrong"));
    assert!(std::fs::read_to_string(at("j.xml"))
        .unwrap()
        .contains("failures=\"0\""));
    expect("beam,1001500\nbeam,20100000\nbeam,35000000\n");
    let tested = run(&[&args[..], &[&honest()]].concat());
    assert_eq!(code(&tested), 1);
    assert!(out(&tested).contains("displaced beam") && out(&tested).contains("missing beam"));
    let checked = run(&["check", &text(&path), "--expect", &at("e.csv")]);
    assert!(out(&tested).ends_with(&out(&checked)));
    // A device that cannot be reached still leaves a verdict for the build server.
    let tested = run(&[&args[..], &["tcp:127.0.0.1:1"]].concat());
    assert_eq!(code(&tested), 2);
    assert!(std::fs::read_to_string(at("j.xml"))
        .unwrap()
        .contains("errors=\"1\""));
}

/// Runs against `port` with little patience: it must end with 2 in time, and say `words`.
fn cannot(log: &Path, port: &str, words: &str) -> Output {
    let start = Instant::now();
    let tested = run(&[
        "rig",
        &text(log),
        "--csv",
        "--patience",
        "600ms",
        "--port",
        port,
    ]);
    assert!(start.elapsed() < Duration::from_secs(20), "{words}");
    assert_eq!(code(&tested), 2, "{words}: {}", err(&tested));
    assert!(err(&tested).contains(words), "{words}: {}", err(&tested));
    tested
}

#[test]
fn without_a_device_it_says_what_is_missing() {
    let (_folder, path) = log(LOG);
    cannot(&path, "tcp:127.0.0.1:1", "a listener at this address");
    cannot(&path, "tcp:nonsense", "tcp:HOST:PORT");
    cannot(
        &path,
        "/dev/no-such-device",
        "a serial device that can be opened",
    );
    let silent =
        listening(|mut stream| while stream.read(&mut [0; 64]).is_ok_and(|read| read > 0) {});
    cannot(
        &path,
        &silent,
        "found silence for 600ms, expected an answer to HELLO",
    );
    // It reads nothing at all.
    let deaf = listening(|stream| {
        thread::sleep(Duration::from_secs(10));
        drop(stream);
    });
    cannot(&path, &deaf, "found silence for 600ms");
    let closing = listening(drop);
    cannot(&path, &closing, "--port tcp:127.0.0.1");
}

#[test]
fn what_is_no_device_is_told_apart() {
    let (_folder, path) = log(LOG);
    let garbage = listening(|mut stream| {
        let mut state = 1_u32;
        loop {
            let noise: Vec<u8> = (0..997)
                .map(|_| {
                    state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                    (state >> 24) as u8
                })
                .collect();
            if stream.write_all(&noise).is_err() {
                return;
            }
        }
    });
    cannot(&path, &garbage, "that are no answer");
    let echo = listening(|mut stream| {
        let mut room = [0; 64];
        while let Ok(read @ 1..) = stream.read(&mut room) {
            stream.write_all(&room[..read]).unwrap();
        }
    });
    cannot(&path, &echo, "nothing but our own bytes");
    // The device hears what it sends.
    let looped = listening(|stream| converse(stream, false, true));
    cannot(
        &path,
        &looped,
        "found that the device hears answers, its own or those of another one",
    );
    let newer = device(|_, mut answer| {
        answer[1] = 3;
        // A later version may say more.
        answer.push(9);
        Some(answer)
    });
    cannot(
        &path,
        &newer,
        "found version 3 of the protocol on the device, expected version 2",
    );
}

/// Two hundred touches take many answers; those before the end are printed in each case.
#[test]
fn a_device_that_fails_in_the_middle_is_named_with_the_place() {
    let mut content = String::from("time_ns,line,level\n0,beam,0\n");
    for touch in 1..=200 {
        content += &format!("{touch}0000000,beam,1\n{touch}5000000,beam,0\n");
    }
    let (_folder, path) = log(&content);
    let whole = out(&run(&["rig", &text(&path), "--csv", "--port", &honest()]));
    let kept = |tested: Output| {
        let rows = out(&tested);
        assert!(rows.lines().count() > 1 && rows.len() < whole.len());
        assert!(whole.starts_with(
            rows.rsplit_once(',')
                .unwrap()
                .0
                .rsplit_once('\n')
                .unwrap()
                .0
        ));
    };
    let stops = device(|count, answer| (count < 12).then_some(answer));
    kept(cannot(&path, &stops, "expected an answer to row "));
    let leaves = listening(|mut stream| {
        let mut device = Device::new();
        let mut count = 0;
        let mut answers = stream.try_clone().unwrap();
        each_answer(&mut stream, &mut device, |answer| {
            answers.write_all(Frame::of(&answer).bytes()).unwrap();
            count += 1;
            count < 12
        });
    });
    cannot(&path, &leaves, "--port tcp:127.0.0.1");
    let restarts = listening(|mut stream| {
        let mut answers = stream.try_clone().unwrap();
        let mut send = |answer: Vec<u8>| answers.write_all(Frame::of(&answer).bytes()).is_ok();
        let mut count = 0;
        each_answer(&mut stream, &mut Device::new(), |answer| {
            count += 1;
            send(answer) && count < 12
        });
        each_answer(&mut stream, &mut Device::new(), send);
    });
    kept(cannot(
        &path,
        &restarts,
        "found that the device has started anew before row ",
    ));
    let refuses = device(|count, answer| {
        Some(if count == 12 {
            let why = Refusal::Item;
            let (item, detail) = (0, 0);
            Answer::Refused { why, item, detail }.body().all().to_vec()
        } else {
            answer
        })
    });
    kept(cannot(
        &path,
        &refuses,
        "found that the device cannot take row ",
    ));
    let nonsense = device(|count, mut answer| {
        if count == 12 {
            answer[5] = 0;
        }
        Some(answer)
    });
    kept(cannot(
        &path,
        &nonsense,
        "an answer that contradicts itself at row ",
    ));
}

#[test]
fn bad_logs_are_told_as_a_replay_does() {
    let damaged = format!("{LOG}soon,beam,1\n");
    let (_folder, path) = log(&damaged);
    let tested = cannot(&path, &honest(), "edges.csv:12: found");
    let replayed = run(&["replay", &text(&path), "--csv"]);
    assert_eq!(out(&tested), out(&replayed));
    let mut nine = String::from("time_ns,line,level\n");
    for line in 0..9 {
        nine += &format!("{line},l{line},0\n");
    }
    let (_folder, path) = log(&nine);
    cannot(
        &path,
        &honest(),
        "found one more line, l8, expected at most 8 lines",
    );
    let tested = run(&["rig", &text(&path), "--line", "l8", "--port", &honest()]);
    assert_eq!(code(&tested), 0, "{}", err(&tested));
    let tested = run(&["rig", &text(&path), "--line", "l9", "--port", &honest()]);
    assert_eq!(code(&tested), 2);
}

/// The line of one pair brings all that the program sends back to it: no harm, but it is told.
#[test]
fn requests_that_come_back_are_dropped_and_told() {
    let (_folder, path) = log(LOG);
    let port = listening(|stream| converse(stream, true, false));
    let tested = run(&["rig", &text(&path), "--csv", "--port", &port]);
    assert_eq!(code(&tested), 0, "{}", err(&tested));
    assert!(
        err(&tested).contains("requests of this program came back"),
        "{}",
        err(&tested)
    );
}

/// Requests and answers of which every third is lost or has a byte changed.
#[test]
fn what_is_lost_is_sent_again() {
    let path = recording("rc-433mhz-8s");
    let port = listening(|mut stream| {
        let mut answers = stream.try_clone().unwrap();
        let (mut device, mut count) = (Device::new(), 0);
        each_answer(&mut stream, &mut device, |answer| {
            count += 1;
            let mut frame = Frame::of(&answer).bytes().to_vec();
            match count % 6 {
                0 => frame.clear(),
                3 => frame[2] ^= 0x10,
                _ => {}
            }
            answers.write_all(&frame).is_ok()
        });
    });
    let tested = run(&["rig", &path, "--csv", "--port", &port]);
    assert_eq!(code(&tested), 0, "{}", err(&tested));
    assert_eq!(out(&tested), out(&run(&["replay", &path, "--csv"])));
    assert!(err(&tested).contains("requests sent again"));
    assert!(Request::parse(&[]).is_none());
}

#[cfg(unix)]
#[test]
fn a_serial_device_does_as_well() {
    use serialport::{SerialPort, TTYPort};
    let (mut far, near) = TTYPort::pair().unwrap();
    let name = near.name().unwrap();
    let path = recording("ir-receiver-2s");
    thread::spawn(move || {
        far.set_timeout(Duration::from_secs(30)).unwrap();
        let mut answers = far.try_clone_native().unwrap();
        each_answer(&mut far, &mut Device::new(), |answer| {
            answers.write_all(Frame::of(&answer).bytes()).is_ok()
        });
    });
    let tested = run(&["rig", &path, "--csv", "--port", &name, "--baud", "921600"]);
    assert_eq!(code(&tested), 0, "{}", err(&tested));
    assert_eq!(out(&tested), out(&run(&["replay", &path, "--csv"])));
    // One that nobody reads from.
    let (_deaf, near) = TTYPort::pair().unwrap();
    let name = near.name().unwrap();
    cannot(Path::new(&path), &name, "found silence for 600ms");
}
