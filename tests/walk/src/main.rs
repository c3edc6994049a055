//! Walks through the states of small links: `walk [LIMIT] [NAME]`, at most LIMIT states of each
//! setting (all without it), of the settings whose name contains NAME.

mod adversary;
mod setting;
mod walk;
mod world;

use std::process::ExitCode;
use std::sync::Mutex;

use walk::Walked;

fn main() -> ExitCode {
    let mut args = std::env::args().skip(1);
    let limit = args
        .next()
        .and_then(|text| text.parse().ok())
        .unwrap_or(u64::MAX);
    let name = args.next().unwrap_or_default();
    let chosen = setting::ALL
        .iter()
        .filter(|setting| setting.name.contains(&name));
    let queue = Mutex::new(chosen);
    let totals = Mutex::new((0, 0, true));
    let threads = std::thread::available_parallelism().map_or(1, usize::from);
    std::thread::scope(|scope| {
        for _ in 0..threads {
            scope.spawn(|| loop {
                let Some(setting) = queue.lock().ok().and_then(|mut queue| queue.next()) else {
                    return;
                };
                let walked = walk::walk(setting, limit);
                let (text, states, transitions) = match &walked {
                    Ok(walked) => (told(walked), walked.states, walked.transitions),
                    Err(why) => (why.clone(), 0, 0),
                };
                println!("{:32} {text}", setting.name);
                if let Ok(mut totals) = totals.lock() {
                    let fine = matches!(&walked, Ok(walked) if walked.broken.is_none());
                    *totals = (totals.0 + states, totals.1 + transitions, totals.2 && fine);
                }
            });
        }
    });
    let Ok((states, transitions, fine)) = totals.into_inner() else {
        return ExitCode::from(2);
    };
    println!(
        "{states} states, {transitions} transitions: {}",
        if fine {
            "all rules hold"
        } else {
            "a rule is broken"
        }
    );
    ExitCode::from(u8::from(!fine))
}

fn told(walked: &Walked) -> String {
    let closed = if walked.closed {
        "closed"
    } else {
        "not closed"
    };
    let mut text = format!(
        "{} states, {} transitions, {closed}; ready returned from {} states in {} ticks at most",
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
