//! Walks through the states of small links.
//!
//! * `walk [LIMIT [NAME]]`: at most LIMIT states of each setting (all without it), of the settings
//!   whose name contains NAME.
//! * `walk faults [LIMIT]`: the same over copies of the rules with one fault each; every one must be
//!   found out by the rule that it breaks.

// A model of a world is a list of yes and no.
#![allow(clippy::struct_excessive_bools)]

mod adversary;
mod faults;
mod setting;
mod walk;
mod world;

use std::process::ExitCode;
use std::sync::Mutex;

use setting::Setting;
use walk::Walked;

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let number = |at: usize| args.get(at).and_then(|text| text.parse().ok());
    let fine = match args.first().map(String::as_str) {
        Some("faults") => faults::all(number(1).unwrap_or(u64::MAX)),
        Some("fault") => faults::one(number(1).unwrap_or(u64::MAX)),
        _ => rules(
            number(0).unwrap_or(u64::MAX),
            args.get(1).map_or("", String::as_str),
        ),
    };
    ExitCode::from(u8::from(!fine))
}

/// Goes through the settings; whether all rules hold.
fn rules(limit: u64, name: &str) -> bool {
    let chosen: Vec<&Setting> = setting::ALL
        .iter()
        .filter(|setting| setting.name.contains(name))
        .collect();
    let totals = Mutex::new((0, 0, !chosen.is_empty()));
    in_parallel(&chosen, |setting| {
        let walked = walk::walk(setting, limit);
        let (text, states, transitions) = match &walked {
            Ok(walked) => (told(walked), walked.states, walked.transitions),
            Err(why) => (why.clone(), 0, 0),
        };
        println!("{:28} {text}", setting.name);
        if let Ok(mut totals) = totals.lock() {
            let fine = matches!(&walked, Ok(walked) if walked.broken.is_none());
            *totals = (totals.0 + states, totals.1 + transitions, totals.2 && fine);
        }
    });
    let (states, transitions, fine) = totals.into_inner().unwrap_or((0, 0, false));
    let verdict = if fine {
        "all rules hold"
    } else {
        "a rule is broken"
    };
    println!("{states} states, {transitions} transitions: {verdict}");
    fine
}

/// Does `work` on each of `all`, on as many threads as there are processors.
fn in_parallel<T: Sync>(all: &[T], work: impl Fn(&T) + Sync) {
    let queue = Mutex::new(all.iter());
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| loop {
                let next = queue.lock().ok().and_then(|mut queue| queue.next());
                let Some(one) = next else {
                    return;
                };
                work(one);
            });
        }
    });
}

fn told(walked: &Walked) -> String {
    let closed = if walked.closed {
        "closed"
    } else {
        "not closed"
    };
    let mut text = format!(
        "{} states, {} transitions, {closed}; ready came from {} of them in {} ticks at most",
        walked.states, walked.transitions, walked.recovered.0, walked.recovered.1
    );
    if let Some((broken, path)) = &walked.broken {
        text += &format!("\n  BROKEN {}: {}\n", broken.rule, broken.what);
        for (tick, choice) in path.iter().enumerate() {
            text += &format!("  {tick}: {choice}\n");
        }
    }
    text
}
