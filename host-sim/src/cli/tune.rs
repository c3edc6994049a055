//! `tune`: constants of the comparator out of logs with known truth.

use std::path::Path;

use serde_json::json;
use trueonset::lateness::{Calibrator, FeedMean, Lateness};
use trueonset::onset::Chatter;

use super::args::Tune;
use super::files;
use super::replay::replay;
use super::settings::decided;
use super::table::table;
use super::talk::Talk;
use super::Outcome;
use crate::fault::{Fault, Place};
use crate::quantity::show_feed_nm_s;
use crate::replay::Settings;
use crate::tune::{gather, parse, Calibrated, Gathered, FEEDS};

/// Runs it.
pub(crate) fn run(args: &Tune, talk: &Talk) -> Result<Outcome, Fault> {
    let logs = args.logs.iter().map(|log| ("LOG", Some(log.as_str())));
    let truths = args.truth.iter().map(|path| ("--truth", path.to_str()));
    let inputs: Vec<_> = logs.chain(truths).collect();
    files::keep_apart(&inputs, &[("--config", args.config.as_deref())])?;
    if args.truth.len() != args.logs.len() {
        return Err(Fault::new(
            format!("{} logs and {} truths", args.logs.len(), args.truth.len()),
            "one --truth for each log, in the same order",
            "this version calibrates by known truth; simulate --log --truth makes both",
        )
        .at(Place::Setting("--truth".to_owned())));
    }
    let mut settings = decided(&args.deciding)?;
    let mut calibrator = Calibrator::<FEEDS>::new();
    let mut whole = Gathered::default();
    let mut light = 0;
    for (log, truth) in args.logs.iter().zip(&args.truth) {
        // What one log has taught, the next one starts from.
        let one = one_log(log, truth, args, &settings, &mut calibrator, talk)?;
        settings.chatter = one.learned;
        whole.add(&one.gathered);
        light += usize::from(one.light);
    }
    tell_left_out(&whole, talk);
    if light > 0 {
        return of_light(args, light, &calibrator);
    }
    let calibrated = Calibrated::of(&calibrator, settings.chatter)?;
    let text = if args.json {
        format!("{}\n", document(&calibrated))
    } else {
        page(&calibrated)
    };
    super::print(text.as_bytes())?;
    if let Some(path) = &args.config {
        let toml = calibrated.toml(settings.hold_ns, settings.bandwidth_hz);
        super::write_file(path, toml.as_bytes())?;
    }
    Ok(Outcome::Holds)
}

/// What became of touches that no pair was made of.
fn tell_left_out(whole: &Gathered, talk: &Talk) {
    for (count, what) in [
        (
            whole.without,
            "true touches without a touch and its release in the log",
        ),
        (whole.unfit, "with a remark on their onset"),
        (whole.far, "more than 1mm late by their feed"),
        (whole.spare, "beyond the 65535 that count at one feed"),
        (whole.strangers, "touches of the logs that no truth has"),
    ] {
        if count > 0 {
            talk.note(&format!("left out: {count} {what}"));
        }
    }
}

/// Samples have neither hysteresis nor chatter: how late they are at each feed is all there is.
fn of_light(args: &Tune, light: usize, calibrator: &Calibrator<FEEDS>) -> Result<Outcome, Fault> {
    let wrong = |found: &str, expected: &str, remedy: &str| {
        Err(Fault::new(found, expected, remedy).at(Place::Setting("LOG".to_owned())))
    };
    if light < args.logs.len() {
        return wrong(
            "recordings of light beside logs of edges",
            "one kind: their lateness has nothing in common",
            "tune each kind by itself",
        );
    }
    if args.config.is_some() {
        return wrong(
            "--config with recordings of light",
            "logs of edges: the constants are a comparator's, and a replay of light takes none off",
            "leave --config away to see how late the samples are at each feed",
        );
    }
    let mut feeds: Vec<FeedMean> = calibrator.feeds().collect();
    feeds.sort_by_key(|mean| mean.feed_nm_s);
    let text = if args.json {
        let feeds: Vec<_> = feeds.iter().map(feed_json).collect();
        format!("{}\n", json!({ "feeds": feeds }))
    } else {
        let mut rows = vec![["feed", "pairs", "late nm", "± nm", ""]
            .map(str::to_owned)
            .to_vec()];
        rows.extend(feeds.iter().map(|mean| {
            let mut row = seen(mean);
            row.push(String::new());
            row
        }));
        format!(
            "{}\n\nLight, not edges: there is no comparator to calibrate.\n\
             Measuring code, not a safety device: prove the setting at reduced feed.\n",
            table(&rows)
        )
    };
    super::print(text.as_bytes())?;
    Ok(Outcome::Holds)
}

/// What one log gave.
struct OneLog {
    gathered: Gathered,
    learned: Chatter,
    light: bool,
}

/// The pairs of one log.
fn one_log(
    log: &str,
    truth: &Path,
    args: &Tune,
    settings: &Settings,
    calibrator: &mut Calibrator<FEEDS>,
    talk: &Talk,
) -> Result<OneLog, Fault> {
    let name = truth.display().to_string();
    let bytes = files::bytes(truth)?;
    let truth = parse(&bytes, &name)?;
    let mut rows = Vec::new();
    let done = replay(log, settings, &args.reading.options(), None, &mut |row| {
        rows.push(row);
        Ok(())
    })?;
    if let Some(other) = rows.iter().find(|row| row.line != rows[0].line) {
        return Err(Fault::new(
            format!("touches on the lines {} and {}", rows[0].line, other.line),
            "one line, that of the truth",
            "name it with --line",
        )
        .at(Place::File(log.to_owned())));
    }
    let (learned, light) = (done.learned(), done.is_light());
    if let Some(damage) = done.tell(talk) {
        return Err(damage);
    }
    Ok(OneLog {
        gathered: gather(&truth, &rows, calibrator, (log, &name))?,
        learned,
        light,
    })
}

fn nm(pm: f64) -> String {
    format!("{:.2}", pm / 1e3)
}

/// A feed and what was seen at it.
fn seen(mean: &FeedMean) -> Vec<String> {
    vec![
        show_feed_nm_s(u64::from(mean.feed_nm_s)),
        mean.pairs.to_string(),
        nm(mean.half_pm as f64),
        nm(f64::from(mean.doubt_pm)),
    ]
}

/// The same for machines.
fn feed_json(mean: &FeedMean) -> serde_json::Value {
    json!({
        "feed_nm_s": mean.feed_nm_s,
        "pairs": mean.pairs,
        "late_nm": mean.half_pm as f64 / 1e3,
        "doubt_nm": f64::from(mean.doubt_pm) / 1e3,
    })
}

/// What the fit leaves at a feed, pm.
fn left_pm(calibrated: &Calibrated, mean: &FeedMean) -> f64 {
    mean.half_pm as f64 - calibrated.fitted_nm(mean.feed_nm_s) * 1e3
}

/// For people.
fn page(calibrated: &Calibrated) -> String {
    let header = [
        "feed",
        "pairs",
        "late nm",
        "± nm",
        "fitted nm",
        "left nm",
        "",
    ];
    let mut rows = vec![header.map(str::to_owned).to_vec()];
    for mean in &calibrated.feeds {
        let mut row = seen(mean);
        row.extend([
            format!("{:.2}", calibrated.fitted_nm(mean.feed_nm_s)),
            nm(left_pm(calibrated, mean)),
            String::new(),
        ]);
        rows.push(row);
    }
    let late = &calibrated.lateness;
    let most = calibrated
        .feeds
        .iter()
        .map(|mean| left_pm(calibrated, mean).abs())
        .fold(0.0, f64::max);
    format!(
        "{}\n\n\
         delay {:.3} ± {:.3} us of filter and comparator, a constant time\n\
         offset {} ± {} nm, half the hysteresis as travel of the blade\n\
         {}\n\
         {}\n\
         left by the fit: {} nm at most, over the feeds above only\n\
         a truth that is late as a whole, or states a wrong feed, would look like a delay: check it apart\n\
         Measuring code, not a safety device: prove the setting at reduced feed.\n",
        table(&rows),
        late.delay_ps() as f64 / 1e6,
        f64::from(late.delay_doubt_ps()) / 1e6,
        nm(f64::from(late.offset_pm())),
        nm(f64::from(late.offset_doubt_pm())),
        turn(late),
        match calibrated.chatter_ns {
            0 => "no touch of nine edges or more: what one edge of chatter stands for is not known"
                .to_owned(),
            ns => format!(
                "one edge of chatter stands for {:.3} us of noise",
                ns as f64 / 1e3
            ),
        },
        nm(most),
    )
}

/// Where the offset turns from time into place, and whether that was found.
fn turn(late: &Lateness) -> String {
    let at = show_feed_nm_s(u64::from(late.turn_nm_s()));
    if late.is_turn_assumed() {
        return format!(
            "these feeds do not show where it turns from a constant time into a constant place; {at} is assumed:\n\
             state [approach] feed, within the feeds above, or no offset is taken off; three feeds or more, from\n\
             below to above the turn, and more pairs find it"
        );
    }
    format!(
        "it is a constant time of {:.3} us below about {at}, a constant place above",
        (late.at_feed(0).ps - late.delay_ps()) as f64 / 1e6
    )
}

/// For machines.
fn document(calibrated: &Calibrated) -> serde_json::Value {
    let late = &calibrated.lateness;
    let feeds: Vec<_> = calibrated
        .feeds
        .iter()
        .map(|mean| {
            let mut feed = feed_json(mean);
            feed["fitted_nm"] = json!(calibrated.fitted_nm(mean.feed_nm_s));
            feed
        })
        .collect();
    json!({
        "delay_ns": late.delay_ps() as f64 / 1e3,
        "delay_doubt_ns": f64::from(late.delay_doubt_ps()) / 1e3,
        "offset_nm": f64::from(late.offset_pm()) / 1e3,
        "offset_doubt_nm": f64::from(late.offset_doubt_pm()) / 1e3,
        "chatter_ns": calibrated.chatter_ns,
        "together": f64::from(late.together_permille()) / 1e3,
        "turn_nm_s": late.turn_nm_s(),
        "turn_found": !late.is_turn_assumed(),
        "feeds": feeds,
    })
}
