//! A device and the program over a line that loses, changes and adds bytes: never a difference.
//!
//! Both sides are the shipping ones; the line is in memory and takes no time but the waiting.

use std::collections::VecDeque;
use std::io;
use std::time::Duration;

use trueonset_rig::Device;
use trueonset_sim::fault::Fault;
use trueonset_sim::log::{LogReader, Options};
use trueonset_sim::replay::Settings;
use trueonset_sim::rig::{run, Counts, Port, Session, Tested};
use trueonset_tests::noise::{Noise, Rates};

struct Line {
    device: Device,
    there: Noise,
    back: Noise,
    come: VecDeque<u8>,
    now: Duration,
}

impl Line {
    fn new(rates: Rates, seed: u64) -> Self {
        Self {
            device: Device::new(),
            there: Noise::new(rates, seed),
            back: Noise::new(rates, !seed),
            come: VecDeque::new(),
            now: Duration::ZERO,
        }
    }
}

impl Port for Line {
    fn read(&mut self, room: &mut [u8], within: Duration) -> io::Result<usize> {
        if self.come.is_empty() {
            self.now += within;
        }
        let count = room.len().min(self.come.len());
        for (to, byte) in room.iter_mut().zip(self.come.drain(..count)) {
            *to = byte;
        }
        Ok(count)
    }

    fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        let (mut arrived, mut answers) = (Vec::new(), Vec::new());
        self.there.pass(bytes, &mut arrived);
        for byte in arrived {
            let answer = self.device.byte(byte).unwrap_or_default();
            self.back.pass(answer, &mut answers);
        }
        self.come.extend(answers);
        // A byte at 115 200 baud.
        self.now += Duration::from_micros(87) * bytes.len() as u32;
        Ok(())
    }

    fn now(&self) -> Duration {
        self.now
    }
}

fn test(name: &str, rates: Rates, seed: u64) -> Result<(Tested, Counts), Fault> {
    let log = format!("{}/data/recordings/{name}.vcd", env!("CARGO_MANIFEST_DIR"));
    let mut reader = LogReader::open(&log, &Options::default())?;
    let settings = Settings {
        hold_ns: if seed % 2 == 0 { 1_000_000 } else { 200_000 },
        ..Settings::default()
    };
    let mut line = Line::new(rates, seed);
    let times = [Duration::from_secs(5), Duration::from_millis(200)];
    let mut session = Session::new(&mut line, "memory", times[0], times[1]);
    let tested = run(&mut reader, &settings, &mut session, 1, &mut |_| ())?;
    let counts = session.counts();
    Ok((tested, counts))
}

const NAMES: [&str; 3] = ["ir-receiver-2s", "ook-433mhz-receiver-12s", "rc-433mhz-8s"];

/// Every recording over lines from good to bad, each damage by itself and all together.
#[test]
fn no_noise_makes_a_difference() {
    let alone = |rate| {
        let none = Rates::default();
        let third = rate / 3;
        [
            Rates { lost: rate, ..none },
            Rates {
                changed: rate,
                ..none
            },
            Rates {
                added: rate,
                ..none
            },
            Rates {
                lost: third,
                changed: third,
                added: third,
            },
        ]
    };
    for name in NAMES {
        for rate in [0, 100, 1_000, 3_000] {
            for (seed, rates) in (0..).zip(alone(rate)) {
                let (tested, counts) = test(name, rates, seed).unwrap();
                assert_eq!(tested.faults, [], "{name} {rates:?}");
                assert_eq!(tested.differences, [], "{name} {rates:?}");
                assert!(tested.told.iter().sum::<u64>() > 0, "{name} {rates:?}");
                assert!(
                    (counts.again > 0) == (rate > 0),
                    "{name} {rates:?} {counts:?}"
                );
            }
        }
    }
}

/// Where hardly a message gets through the test may be given up, in time, and is never wrong.
#[test]
fn a_line_too_bad_is_given_up_and_never_judged_wrongly() {
    let mut given_up = 0;
    for seed in 0..200 {
        let rate = 4_000 + 200 * seed as u32;
        let rates = Rates {
            lost: rate,
            changed: rate,
            added: rate,
        };
        match test(NAMES[0], rates, seed) {
            Ok((tested, _)) => {
                assert_eq!(tested.differences, [], "{rates:?}");
                given_up += u32::from(!tested.faults.is_empty());
            }
            Err(why) => {
                assert!(why.to_string().contains("an answer to"), "{why}");
                given_up += 1;
            }
        }
    }
    assert!((20..200).contains(&given_up), "{given_up} of 200");
}
