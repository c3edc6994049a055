//! For the test rig: a recorded log through the firmware's own code, judged by your own rule.
//!
//! ```text
//! cargo run --release -p trueonset-sim --example rig_check -- edges.csv 20us
//! ```
//!
//! The rule here: every touch must state a doubt below a limit, and its edges must be free of
//! capture faults. Exit 0 when all do, 1 when one does not, 2 when the log could not be judged. A
//! log without any touch could not be judged either.

use std::process::ExitCode;

use trueonset::flags::Flags;
use trueonset_sim::fault::Fault;
use trueonset_sim::log::{LogReader, Options};
use trueonset_sim::quantity::span_ns;
use trueonset_sim::replay::{Engine, Order, Row, Settings};

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let [log, limit] = words.as_slice() else {
        eprintln!("usage: rig_check LOG LIMIT, such as edges.csv 20us");
        return ExitCode::from(2);
    };
    match judge(log, limit) {
        Ok(Some(true)) => ExitCode::SUCCESS,
        Ok(Some(false)) => ExitCode::from(1),
        Ok(None) => {
            eprintln!("no touch in {log}: nothing to judge");
            ExitCode::from(2)
        }
        Err(why) => {
            eprintln!("error: {why}");
            ExitCode::from(2)
        }
    }
}

/// Whether all touches hold; `None` where there is none.
fn judge(log: &str, limit: &str) -> Result<Option<bool>, Fault> {
    let limit_ns = span_ns(limit)?;
    let mut holds = None;
    for row in touches(log)? {
        let known = row.doubt_ns.is_some_and(|doubt_ns| doubt_ns <= limit_ns);
        let clean = row.flags.only(Flags::FAULTS).is_empty();
        println!(
            "{} {} ns, doubt {} ns, {} edges, flags [{}]: {}",
            row.line,
            row.onset_ns,
            row.doubt_ns
                .map_or("unknown".to_owned(), |ns| ns.to_string()),
            row.edges,
            row.flags,
            if known && clean {
                "holds"
            } else {
                "DOES NOT HOLD"
            }
        );
        holds = Some(holds.unwrap_or(true) && known && clean);
    }
    Ok(holds)
}

/// The touches of all lines in the order of their onsets.
fn touches(log: &str) -> Result<Vec<Row>, Fault> {
    let mut reader = LogReader::open(log, &Options::default())?;
    let mut engine = Engine::new(Settings::default())?;
    let mut order = Order::default();
    let (mut batch, mut happened) = (Vec::new(), Vec::new());
    while reader.next_batch(&mut batch)? {
        engine.take(&batch, reader.lines(), &mut happened)?;
        for happening in happened.drain(..) {
            order.take(&engine, &happening);
        }
    }
    engine.finish(&mut happened);
    for happening in happened.drain(..) {
        order.take(&engine, &happening);
    }
    Ok(order.rest().collect())
}
