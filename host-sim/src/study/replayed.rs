//! A simulated log replayed at once, without a file between: truth and rows side by side.

use trueonset::edge::Level;
use trueonset::onset::Chatter;

use crate::fault::Fault;
use crate::log::{LineInfo, Record, What};
use crate::replay::{Engine, Order, Row, Settings};
use crate::scenario::{draw, Scenario, Touch, LINE};

/// What a replay made of a simulated log.
#[derive(Debug, Clone)]
pub struct Replayed {
    /// The true touches.
    pub truth: Vec<Touch>,
    /// The edges of each, as (time ns, high after it).
    pub edges: Vec<Vec<(i64, bool)>>,
    /// The touches found.
    pub rows: Vec<Row>,
    /// What the line learned of its hardware.
    pub learned: Chatter,
}

/// Draws `touches` of `scenario` and replays them with `settings`; edges are kept where `keep`.
///
/// # Errors
/// A log too long, or a setting out of the core's range.
pub fn replayed(
    scenario: &Scenario,
    touches: u64,
    seed: u64,
    settings: &Settings,
    keep: bool,
) -> Result<Replayed, Fault> {
    let lines = [LineInfo {
        name: LINE.to_owned(),
        initial: Some(Level::Low),
    }];
    let record = |time_ns, what| Record {
        time_ns,
        line: 0,
        what,
    };
    let mut drawn = draw(scenario, touches, seed)?;
    let mut engine = Engine::new(settings.clone())?;
    let mut order = Order::default();
    let mut happened = Vec::new();
    let mut replayed = Replayed {
        truth: Vec::new(),
        edges: Vec::new(),
        rows: Vec::new(),
        learned: Chatter::new(),
    };
    engine.take(&[record(0, What::Start(Level::Low))], &lines, &mut happened)?;
    while let Some((touch, edges)) = drawn.next_touch() {
        let level = |high| if high { Level::High } else { Level::Low };
        let batch: Vec<Record> = edges
            .iter()
            .map(|&(at, high)| record(at, What::Edge(level(high))))
            .collect();
        if keep {
            replayed.edges.push(edges.to_vec());
        }
        replayed.truth.push(touch);
        engine.take(&batch, &lines, &mut happened)?;
        for happening in happened.drain(..) {
            order.take(&engine, &happening);
        }
        while let Some(row) = order.next_ready(&engine) {
            replayed.rows.push(row);
        }
    }
    engine.poll_all(i64::MAX, &mut happened);
    for happening in happened.drain(..) {
        order.take(&engine, &happening);
    }
    replayed.learned = engine.learned();
    replayed.rows.extend(order.rest());
    Ok(replayed)
}
