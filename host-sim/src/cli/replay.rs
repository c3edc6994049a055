//! `replay`: a log in, touches out.

use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::Path;

use serde_json::json;
use trueonset::lateness::Lateness;
use trueonset::onset::{Chatter, Contact, Event};

use super::args::Replay;
use super::files;
use super::picture;
use super::settings::{config_name, settings};
use super::table;
use super::talk::Talk;
use super::Outcome;
use crate::fault::{Fault, Place};
use crate::light::{LightReader, Recording};
use crate::log::{LogReader, Options};
use crate::replay::clock::{log_ns, nearest_log_ns};
use crate::replay::row::{doubt_ns, CutterRow, COLUMNS};
use crate::replay::{
    check_names, Engine, Happening, LightEngine, LightWaves, Lines, Order, Row, Settings, Waves,
};

/// Runs it.
pub(crate) fn run(args: &Replay, talk: &Talk) -> Result<Outcome, Fault> {
    files::keep_apart(
        &[
            ("LOG", Some(&args.log)),
            ("--config", config_name(&args.deciding).as_deref()),
        ],
        &[
            ("--waves", args.waves.as_deref()),
            ("--report", args.report.as_deref()),
        ],
    )?;
    let settings = settings(&args.deciding, talk)?;
    let options = args.reading.options();
    if args.follow {
        return follow(args, &settings, &options, talk);
    }
    let mut out = BufWriter::new(io::stdout().lock());
    let name = args.waves.as_ref().map(|path| path.display().to_string());
    let mut dump = match (&args.waves, &name) {
        (Some(path), Some(name)) => Some(Dump::new(path, name, &args.log, &options)?),
        _ => None,
    };
    let mut kept = Vec::new();
    if args.csv {
        line(&mut out, COLUMNS)?;
    }
    let keep = !(args.csv || args.json) || args.report.is_some();
    let done = replay(&args.log, &settings, &options, dump.as_mut(), &mut |row| {
        if args.csv {
            line(&mut out, &row.csv())?;
        } else if args.json {
            line(&mut out, &serde_json::to_string(&row).unwrap_or_default())?;
        }
        if keep {
            kept.push(row);
        }
        Ok(())
    })?;
    if let Some(dump) = dump {
        dump.finish(talk)?;
    }
    if !(args.csv || args.json) {
        line(&mut out, &table::touches(&kept))?;
        if let Some(cutters) = table::cutters(&kept) {
            line(&mut out, &format!("\n{cutters}"))?;
        }
    }
    out.flush()
        .map_err(|why| Fault::io("stdout", "write to", &why))?;
    if let Some(path) = &args.report {
        let page = picture::replay_report(&args.log, &kept, &settings, &options)?;
        super::write_file(path, page.as_bytes())?;
    }
    Ok(done
        .tell(talk)
        .map_or(Outcome::Holds, |_| Outcome::CouldNot))
}

/// Told of an edge log whose comparator nobody described.
pub(super) const BANDWIDTH: &str =
    "bandwidth assumed 100kHz; state that of comparator or filter with --bandwidth";
/// Hint for an edge log without a touch.
pub(super) const NO_TOUCH: &str =
    "no touch; see `trueonset describe`, and try --touched low or a shorter --hold";
/// Hint for a light recording without one.
const NO_LIGHT_TOUCH: &str =
    "no touch; the light must be seen at rest for a third of a second first, and fall to the trip point";

/// What a replay left behind besides its rows.
pub(crate) struct Done {
    /// Where the edges went, as a sentence.
    account: String,
    /// Hint where no touch was found.
    hint: &'static str,
    /// No line has anything open that began before, ns.
    settled_ns: i64,
    /// What the first line has learned of its hardware.
    learned: Chatter,
    /// Whether the log is of light, not of edges.
    light: bool,
    touches: u64,
    /// Onsets before the log begins: the constants take off more than it shows.
    before: u64,
    /// Touches handed on before their release was known.
    early: u64,
    /// Touches handed on before it was certain that none comes before them.
    unordered: u64,
    assumptions: Vec<String>,
    damage: Option<Fault>,
}

impl Done {
    /// The time up to which a damaged log lets nothing open, ns; `None` for a sound one.
    pub(crate) fn seen_until_ns(&self) -> Option<i64> {
        self.damage.as_ref().map(|_| self.settled_ns)
    }

    /// What the first line has learned of its hardware.
    pub(crate) fn learned(&self) -> Chatter {
        self.learned
    }

    /// Whether the log is of light, not of edges.
    pub(crate) fn is_light(&self) -> bool {
        self.light
    }

    /// Notes, hint and, last, the sum of edges.
    pub(crate) fn tell(self, talk: &Talk) -> Option<Fault> {
        for assumption in &self.assumptions {
            talk.note(assumption);
        }
        if self.touches == 0 {
            talk.note(self.hint);
        }
        if self.before > 0 {
            talk.note(&format!(
                "{} onsets lie before the log begins: [calibration] takes off more than it shows",
                self.before
            ));
        }
        if self.early > 0 {
            talk.note(&format!(
                "{} touches stand without their release: too many others came before it",
                self.early
            ));
        }
        if self.unordered > 0 {
            talk.note(&format!(
                "{} touches may stand out of order: too many waited for one that has not ended",
                self.unordered
            ));
        }
        if let Some(damage) = &self.damage {
            talk.error(&damage.to_string());
        }
        talk.line(&self.account);
        self.damage
    }
}

/// Replays a whole log; `each` gets the rows in order. Damage of the log ends it early and is
/// handed back with what came before.
pub(crate) fn replay(
    log: &str,
    settings: &Settings,
    options: &Options,
    mut dump: Option<&mut Dump<'_>>,
    each: &mut dyn FnMut(Row) -> Result<(), Fault>,
) -> Result<Done, Fault> {
    let mut reader = match Recording::open(log, options)? {
        Recording::Edges(reader) => reader,
        Recording::Light(reader) => {
            let waves = dump.and_then(|dump| dump.light.as_mut());
            return replay_light(reader, settings, waves, each);
        }
    };
    let mut waves = dump.as_mut().and_then(|dump| dump.edges.as_mut());
    let mut engine = Engine::new(settings.clone())?;
    let mut order = Order::default();
    let mut happened = Vec::new();
    let mut before = 0;
    if reader.declares_lines() {
        check_names(settings, &reader)?;
    }
    let damage = reader.each_batch(|batch, reader| {
        engine.take(batch, reader.lines(), &mut happened)?;
        if let Some(waves) = waves.as_deref_mut() {
            for record in batch {
                waves.record(record);
            }
        }
        pass_on(&engine, &mut happened, &mut order, waves.as_deref_mut());
        while let Some(row) = order.next_ready(&engine) {
            before += u64::from(row.onset_ns < engine.first_ns());
            each(row)?;
        }
        match waves.as_deref_mut() {
            Some(waves) => waves.advance(&engine),
            None => Ok(()),
        }
    })?;
    engine.finish(&mut happened);
    pass_on(&engine, &mut happened, &mut order, waves);
    let (touches, early, unordered) = (order.touches(), order.early(), order.unordered());
    for row in order.rest() {
        before += u64::from(row.onset_ns < engine.first_ns());
        each(row)?;
    }
    if damage.is_none() {
        check_names(settings, &reader)?;
    }
    let mut assumptions = reader.assumptions().to_vec();
    if settings.bandwidth_assumed {
        assumptions.push(BANDWIDTH.to_owned());
    }
    Ok(Done {
        account: engine.tally().to_string(),
        hint: NO_TOUCH,
        settled_ns: engine.settled_until_ns(),
        learned: engine.learned(),
        light: false,
        touches,
        before,
        early,
        unordered,
        assumptions,
        damage,
    })
}

/// Samples of a light recording taken at once.
const PIECE: usize = 256;

/// What `--waves` writes, by the kind of the log.
pub(crate) struct Dump<'a> {
    edges: Option<Waves<'a>>,
    light: Option<LightWaves<'a>>,
}

impl<'a> Dump<'a> {
    fn new(path: &Path, name: &'a str, log: &str, options: &Options) -> Result<Self, Fault> {
        let (names, light) = names(log, options)?;
        let file = File::create(path).map_err(|why| Fault::io(name, "write", &why))?;
        let (mut edges, mut samples) = (None, None);
        if light {
            samples = Some(LightWaves::new(file, name, &names)?);
        } else {
            edges = Some(Waves::new(BufWriter::new(file), name, &names)?);
        }
        Ok(Self {
            edges,
            light: samples,
        })
    }

    fn finish(self, talk: &Talk) -> Result<(), Fault> {
        let mut moved = 0;
        if let Some(waves) = self.edges {
            moved += waves.finish()?;
        }
        if let Some(waves) = self.light {
            let (late, thinned) = waves.finish()?;
            moved += late;
            if thinned > 0 {
                talk.note(&format!(
                    "{thinned} samples of long crossings are not in the waves"
                ));
            }
        }
        if moved > 0 {
            talk.note(&format!(
                "{moved} changes stand in the waves later than they were: too many others waited"
            ));
        }
        Ok(())
    }
}

/// The same for a light recording.
fn replay_light(
    mut reader: LightReader,
    settings: &Settings,
    mut waves: Option<&mut LightWaves<'_>>,
    each: &mut dyn FnMut(Row) -> Result<(), Fault>,
) -> Result<Done, Fault> {
    let mut engine = LightEngine::new(settings.clone());
    let mut order = Order::default();
    let mut happened = Vec::new();
    let damage = reader.each_batch(|batch, reader| {
        // In pieces, so that waves know within so many samples whether the light crosses.
        for piece in batch.chunks(PIECE) {
            engine
                .take(piece, reader.lines(), &mut happened)
                .map_err(|why| why.or_at(Place::File(reader.file().to_owned())))?;
            if let Some(waves) = waves.as_deref_mut() {
                for record in piece {
                    waves.record(record, engine.is_crossing(record.line));
                }
                for happening in &happened {
                    waves.happening(happening);
                }
                waves.advance(&engine)?;
            }
            pass_on(&engine, &mut happened, &mut order, None);
            while let Some(row) = order.next_ready(&engine) {
                each(row)?;
            }
        }
        Ok(())
    })?;
    if damage.is_none() {
        for (name, _) in &settings.lines {
            if reader.find(name).is_none() {
                let known: Vec<_> = reader
                    .lines()
                    .iter()
                    .map(|line| line.name.as_str())
                    .collect();
                return Err(Fault::new(
                    format!("no line {name}"),
                    format!("one of {}", known.join(", ")),
                    "name a line of the recording",
                )
                .at(Place::File(reader.file().to_owned())));
            }
        }
    }
    let (touches, early, unordered) = (order.touches(), order.early(), order.unordered());
    for row in order.rest() {
        each(row)?;
    }
    let mut assumptions = reader.assumptions().to_vec();
    if settings.lateness != Lateness::default() {
        assumptions
            .push("[calibration] is that of a comparator's edges: not applied to light".into());
    }
    if settings.spindle.is_some() {
        assumptions
            .push("[spindle] merges hits of edges: a light recording is read as it stands".into());
    }
    for line in engine.facts().iter().filter(|line| !line.optics.is_clear()) {
        assumptions.push(format!(
            "optics of {} at the end: {}",
            line.name, line.optics.flags
        ));
    }
    Ok(Done {
        account: engine.account(),
        hint: NO_LIGHT_TOUCH,
        settled_ns: engine.settled_until_ns(),
        learned: settings.chatter,
        light: true,
        touches,
        before: 0,
        early,
        unordered,
        assumptions,
        damage,
    })
}

fn pass_on(
    engine: &dyn Lines,
    happened: &mut Vec<Happening>,
    order: &mut Order,
    mut waves: Option<&mut Waves<'_>>,
) {
    for happening in happened.drain(..) {
        order.take(engine, &happening);
        if let Some(waves) = waves.as_deref_mut() {
            waves.happening(&happening);
        }
    }
}

/// The names of a log's lines, read beforehand, and whether they are of light.
fn names(log: &str, options: &Options) -> Result<(Vec<String>, bool), Fault> {
    if log == "-" {
        return Err(Fault::new(
            "stdin",
            "a file for --waves, which reads the log twice",
            "save the stream first",
        ));
    }
    // Damage is met again, and told, in the second reading.
    match Recording::open(log, options)? {
        Recording::Edges(mut reader) => {
            if !reader.declares_lines() {
                reader.each_batch(|_, _| Ok(()))?;
            }
            let names = reader.lines().iter().map(|line| line.name.clone());
            Ok((names.collect(), false))
        }
        Recording::Light(mut reader) => {
            reader.each_batch(|_, _| Ok(()))?;
            let names = reader.lines().iter().map(|line| line.name.clone());
            Ok((names.collect(), true))
        }
    }
}

/// Live: every event at once, in the order of confirmation.
fn follow(
    args: &Replay,
    settings: &Settings,
    options: &Options,
    talk: &Talk,
) -> Result<Outcome, Fault> {
    let mut reader = LogReader::open(&args.log, options)?;
    if settings.bandwidth_assumed {
        talk.note(BANDWIDTH);
    }
    let mut engine = Engine::new(settings.clone())?;
    let mut happened = Vec::new();
    let mut touches = 0;
    let mut out = io::stdout().lock();
    let mut print = |engine: &Engine, happened: &mut Vec<Happening>| -> Result<(), Fault> {
        for happening in happened.drain(..) {
            if let Some(text) = event_json(engine, &happening) {
                touches += u64::from(matches!(happening.event, Event::Touch(_)));
                line(&mut out, &text)?;
                out.flush()
                    .map_err(|why| Fault::io("stdout", "write to", &why))?;
            }
        }
        Ok(())
    };
    let damage = reader.each_batch(|batch, reader| {
        engine.take(batch, reader.lines(), &mut happened)?;
        engine.poll_all(engine.latest_ns(), &mut happened);
        print(&engine, &mut happened)
    })?;
    engine.finish(&mut happened);
    print(&engine, &mut happened)?;
    if damage.is_none() {
        check_names(settings, &reader)?;
    }
    let done = Done {
        account: engine.tally().to_string(),
        hint: NO_TOUCH,
        settled_ns: engine.settled_until_ns(),
        learned: engine.learned(),
        light: false,
        touches,
        before: 0,
        early: 0,
        unordered: 0,
        assumptions: reader.assumptions().to_vec(),
        damage,
    };
    Ok(done
        .tell(talk)
        .map_or(Outcome::Holds, |_| Outcome::CouldNot))
}

fn event_json(engine: &Engine, happening: &Happening) -> Option<String> {
    let (word, contact): (&str, Contact) = match happening.event {
        Event::Touch(touch) => ("touch", touch),
        Event::Release(release) => ("release", release),
        _ => return None,
    };
    let flags: Vec<&str> = contact.flags.words().collect();
    let mut document = json!({
        "event": word,
        "line": engine.name(happening.line),
        "onset_ns": nearest_log_ns(contact.onset),
        "doubt_ns": doubt_ns(&contact),
        "first_edge_ns": log_ns(contact.first_edge),
        "last_edge_ns": log_ns(contact.last_edge),
        "edges": contact.edges,
        "confirmed_ns": log_ns(contact.confirmed),
        "flags": flags,
    });
    if let Some(cutter) = &happening.cutter {
        document["cutter"] = json!(CutterRow::of(cutter));
    }
    Some(document.to_string())
}

fn line(out: &mut dyn Write, text: &str) -> Result<(), Fault> {
    writeln!(out, "{text}").map_err(|why| Fault::io("stdout", "write to", &why))
}
