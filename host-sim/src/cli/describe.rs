//! `describe`: what a log is like.

mod light;

use serde_json::{json, Value};
use trueonset::onset::Event;

use super::args::Describe as Args;
use super::table::{short_ns, table};
use super::talk::Talk;
use super::Outcome;
use crate::fault::Fault;
use crate::light::Recording;
use crate::log::{Describe, Description, Dwells, Level, LineFacts};
use crate::replay::{Engine, Happening, Settings};

/// Runs it.
pub(crate) fn run(args: &Args, talk: &Talk) -> Result<Outcome, Fault> {
    let settings = Settings {
        hold_ns: args.hold,
        ..Settings::default()
    };
    let mut reader = match Recording::open(&args.log, &args.reading.options())? {
        Recording::Edges(reader) => reader,
        Recording::Light(reader) => return light::run(reader, settings, args.json, talk),
    };
    let mut engine = Engine::new(settings)?;
    let mut describe = Describe::new();
    let mut glitches = Vec::new();
    let mut happened = Vec::new();
    let damage = reader.each_batch(|batch, reader| {
        for record in batch {
            describe.add(record);
        }
        engine.take(batch, reader.lines(), &mut happened)?;
        count(&mut happened, &mut glitches);
        Ok(())
    })?;
    engine.finish(&mut happened);
    count(&mut happened, &mut glitches);
    let mut description = describe.finish(reader.lines());
    for (index, line) in description.lines.iter_mut().enumerate() {
        line.glitches = Some(glitches.get(index).copied().unwrap_or(0));
    }
    let format = reader.format().name();
    let text = if args.json {
        document(format, &description).to_string()
    } else {
        people(format, &description)
    };
    super::print(format!("{text}\n").as_bytes())?;
    for assumption in reader.assumptions() {
        talk.note(assumption);
    }
    for line in description.lines.iter().filter(|line| line.times_back > 0) {
        talk.note(&format!(
            "line {}: {} times before the one before",
            line.name, line.times_back
        ));
    }
    damage.map_or(Ok(Outcome::Holds), Err)
}

fn count(happened: &mut Vec<Happening>, glitches: &mut Vec<u64>) {
    for happening in happened.drain(..) {
        if let Event::Glitch(_) = happening.event {
            let line = happening.line as usize;
            if glitches.len() <= line {
                glitches.resize(line + 1, 0);
            }
            glitches[line] += 1;
        }
    }
}

fn document(format: &str, description: &Description) -> Value {
    let lines: Vec<Value> = description.lines.iter().map(line_json).collect();
    json!({ "format": format, "duration_ns": description.duration_ns, "lines": lines })
}

fn line_json(line: &LineFacts) -> Value {
    let dwells = |dwells: &Dwells| -> Vec<Value> {
        let bins = dwells.bins();
        bins.map(|(from, to, count)| json!({ "from_ns": from, "to_ns": to, "count": count }))
            .collect()
    };
    json!({
        "name": line.name,
        "initial": level(line.initial),
        "edges": line.edges,
        "high_ns": line.high_ns,
        "low_ns": line.low_ns,
        "shortest_high_ns": line.shortest_high_ns,
        "shortest_low_ns": line.shortest_low_ns,
        "glitches": line.glitches,
        "unknown_ns": line.unknown_ns,
        "high_dwells": dwells(&line.high_dwells),
        "low_dwells": dwells(&line.low_dwells),
    })
}

fn level(level: Level) -> &'static str {
    match level {
        Level::Low => "low",
        Level::High => "high",
        Level::Unknown => "unknown",
    }
}

fn people(format: &str, description: &Description) -> String {
    let header = [
        "line",
        "starts",
        "edges",
        "high",
        "low",
        "unknown",
        "shortest high",
        "shortest low",
        "glitches",
        "",
    ];
    let shortest = |ns: Option<u64>| ns.map_or("-".to_owned(), short_ns);
    let mut cells = vec![header.map(str::to_owned).to_vec()];
    for line in &description.lines {
        cells.push(vec![
            line.name.clone(),
            level(line.initial).to_owned(),
            line.edges.to_string(),
            short_ns(line.high_ns),
            short_ns(line.low_ns),
            short_ns(line.unknown_ns),
            shortest(line.shortest_high_ns),
            shortest(line.shortest_low_ns),
            line.glitches.unwrap_or(0).to_string(),
            String::new(),
        ]);
    }
    let mut text = format!(
        "{format}, {}\n{}",
        short_ns(description.duration_ns),
        table(&cells)
    );
    for line in &description.lines {
        for (word, dwells) in [("high", &line.high_dwells), ("low", &line.low_dwells)] {
            text.push_str(&histogram(&format!("{} {word}", line.name), dwells));
        }
    }
    text
}

/// Dwells of one level, a row a bin with a bar as long as its share of the fullest.
fn histogram(title: &str, dwells: &Dwells) -> String {
    let fullest = dwells.bins().map(|(_, _, count)| count).max().unwrap_or(0);
    if fullest == 0 {
        return String::new();
    }
    let mut text = format!("\n\nDwells {title}");
    for (from, to, count) in dwells.bins() {
        let bar = "#".repeat((u128::from(count) * 40).div_ceil(u128::from(fullest)) as usize);
        let row = format!(
            "\n{:>9} to {:>9} {count:>10}  {bar}",
            short_ns(from),
            short_ns(to)
        );
        text.push_str(&row);
    }
    text
}
