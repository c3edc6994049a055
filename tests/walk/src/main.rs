//! Walks through the states of small links, and of a check for breakage.
//!
//! * `walk [LIMIT [NAME]]`: at most LIMIT states of each setting (all without it), of the settings
//!   whose name contains NAME. Rows of CSV on the standard output, the rest beside it.
//! * `walk faults [LIMIT [NAME]]`: the same over copies of the rules with one fault each, of the faults
//!   that are looked for in such settings; every one must be found out by the rule that it breaks.

// A model of a world is a list of yes and no.
#![allow(clippy::struct_excessive_bools)]

mod adversary;
mod all;
mod cycle;
mod faults;
mod join;
mod pairing;
mod setting;
mod walk;
mod world;

use std::process::ExitCode;
use std::sync::Mutex;

use all::Small;
use walk::Walked;

fn main() -> ExitCode {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let number = |at: usize| args.get(at).and_then(|text| text.parse().ok());
    let name = |at: usize| args.get(at).map_or("", String::as_str);
    let fine = match args.first().map(String::as_str) {
        Some("faults") => faults::all(number(1).unwrap_or(u64::MAX), name(2)),
        Some("fault") => faults::one(number(1).unwrap_or(u64::MAX)),
        _ => rules(number(0).unwrap_or(u64::MAX), name(1)),
    };
    ExitCode::from(u8::from(!fine))
}

/// Goes through the settings; whether all rules hold.
fn rules(limit: u64, name: &str) -> bool {
    let chosen = all::named(name);
    let totals = Mutex::new((0, 0, !chosen.is_empty()));
    println!("setting,states,transitions,depth,closed,ready_from,ready_after_at_most");
    in_parallel(&chosen, |small: &Small| {
        let walked = match small.walk(limit) {
            Ok(walked) => walked,
            Err(why) => {
                eprintln!("{}: {why}", small.name());
                if let Ok(mut totals) = totals.lock() {
                    totals.2 = false;
                }
                return;
            }
        };
        println!("{}", row(small.name(), &walked));
        if let Some((broken, path)) = &walked.broken {
            eprintln!("{}: BROKEN {}: {}", small.name(), broken.rule, broken.what);
            for (step, choice) in path.iter().enumerate() {
                eprintln!("  {step}: {choice}");
            }
        }
        if let Ok(mut totals) = totals.lock() {
            totals.0 += walked.states;
            totals.1 += walked.transitions;
            totals.2 &= walked.broken.is_none();
        }
    });
    let (states, transitions, fine) = totals.into_inner().unwrap_or((0, 0, false));
    let verdict = if fine {
        "all rules hold"
    } else {
        "a rule is broken"
    };
    eprintln!("{states} states, {transitions} transitions: {verdict}");
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

/// What a walk came to, as a row.
fn row(name: &str, walked: &Walked) -> String {
    let closed = if walked.closed && walked.broken.is_none() {
        "yes"
    } else {
        "no"
    };
    format!(
        "\"{name}\",{},{},{},{closed},{},{}",
        walked.states, walked.transitions, walked.depth, walked.recovered.0, walked.recovered.1
    )
}
