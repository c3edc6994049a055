//! Settings of a replay out of defaults, a TOML file and the command line, in this order.

use std::path::Path;

use super::args::{Deciding, Stated};
use super::talk::Talk;
use crate::fault::{Fault, Place};
use crate::replay::{Settings, Spindle};
use crate::scenario::{Tables, Value};
use trueonset::barrier::Method;
use trueonset::lateness::Lateness;
use trueonset::onset::Chatter;

/// The configuration file as it was named.
pub(crate) fn config_name(deciding: &Deciding) -> Option<String> {
    let config = deciding.config.as_ref()?;
    Some(config.display().to_string())
}

/// The settings, and on stderr what the file is taken for.
///
/// # Errors
/// The file cannot be read, holds an unknown key or a value without its unit.
pub(crate) fn settings(deciding: &Deciding, talk: &Talk) -> Result<Settings, Fault> {
    let mut settings = Settings::default();
    let mut bandwidth_told = false;
    if let Some(path) = &deciding.config {
        bandwidth_told = read(path, &mut settings, talk)?;
    }
    state(&deciding.stated, settings, bandwidth_told)
}

/// The settings of a command line alone.
///
/// # Errors
/// A value is out of the core's range.
pub(crate) fn decided(stated: &Stated) -> Result<Settings, Fault> {
    state(stated, Settings::default(), false)
}

/// What the command line says, over what was settled before.
fn state(
    deciding: &Stated,
    mut settings: Settings,
    bandwidth_told: bool,
) -> Result<Settings, Fault> {
    settings.bandwidth_assumed = !bandwidth_told && deciding.bandwidth.is_none();
    if let Some(hold) = deciding.hold {
        settings.hold_ns = hold;
    }
    if let Some(touched) = deciding.touched {
        settings.touched = touched;
    }
    if let Some(bandwidth) = deciding.bandwidth {
        settings.bandwidth_hz = bandwidth;
    }
    for line in &deciding.lines {
        let own = line.rsplit_once('=').and_then(|(name, word)| {
            super::args::touched(word)
                .ok()
                .map(|level| (name.to_owned(), Some(level)))
        });
        settings
            .lines
            .push(own.unwrap_or_else(|| (line.clone(), None)));
    }
    settings.config(settings.touched)?;
    Ok(settings)
}

/// Keys of a scenario that a replay acts on, beside those of a calibration.
const NEEDED: [&str; 8] = [
    "approach.feed",
    "barrier.bandwidth",
    "capture.tick",
    "onset.hold",
    "onset.method",
    "sampling.bits",
    "spindle.speed",
    "spindle.teeth",
];

/// The constants of a calibrated edge path, as `tune` writes them.
fn lateness(tables: &Tables) -> Result<Lateness, Fault> {
    if !tables.has("calibration") {
        return Ok(Lateness::default());
    }
    let late = constants(tables, "")?;
    let late = match (other(tables, "least_")?, other(tables, "most_")?) {
        (None, None) => late,
        (least, most) => late.between(&least.unwrap_or(late), &most.unwrap_or(late)),
    };
    Ok(match tables.stated("calibration.turn_found") {
        Some(Value::Word("no")) => late.turn_assumed(),
        _ => late,
    })
}

/// Constants that fit nearly as well, where there are any.
fn other(tables: &Tables, prefix: &str) -> Result<Option<Lateness>, Fault> {
    tables
        .stated_keys()
        .any(|key| key.starts_with(&format!("calibration.{prefix}")))
        .then(|| constants(tables, prefix))
        .transpose()
}

/// One set of constants; their names begin with `prefix`.
fn constants(tables: &Tables, prefix: &str) -> Result<Lateness, Fault> {
    let name = |key: &str| format!("calibration.{prefix}{key}");
    // Seconds, metres and m/s into ps, pm and nm/s.
    let scaled = |key: &str, per_si: f64| (tables.si(&name(key)) * per_si).round();
    let offset = ["offset", "offset_doubt"];
    if tables.stated(&name("turn")).is_none() && offset.iter().any(|key| scaled(key, 1e12) != 0.0) {
        return Err(Fault::new(
            "an offset without the feed at which it turns",
            "turn beside offset, as tune --config writes them",
            "calibrate with tune, or state turn as it was found there",
        )
        .at(Place::Setting(format!(
            "{}: {}",
            tables.source(),
            name("turn")
        ))));
    }
    Lateness::delay(
        scaled("delay", 1e12) as i64,
        scaled("delay_doubt", 1e12) as u32,
    )
    .and_then(|late| {
        late.offset(
            scaled("offset", 1e12) as u32,
            scaled("offset_doubt", 1e12) as u32,
            scaled("turn", 1e9) as u32,
        )
    })
    .and_then(|late| late.together(scaled("together", 1e3) as i16))
    .map_err(|why| {
        Fault::new(
            why.to_string(),
            "constants as tune --config writes them",
            "calibrate again, or correct the table",
        )
        .at(Place::Setting(format!(
            "{}: [calibration]",
            tables.source()
        )))
    })
}

/// Reads the tables; returns whether a bandwidth was among them.
fn read(path: &Path, settings: &mut Settings, talk: &Talk) -> Result<bool, Fault> {
    let tables = Tables::read(path)?;
    let whole = |key: &str| match tables.stated(key) {
        Some(Value::Whole(value)) => Some(value.unsigned_abs()),
        _ => None,
    };
    if let Some(hold) = whole("onset.hold") {
        settings.hold_ns = hold;
    }
    let bandwidth = whole("barrier.bandwidth").and_then(|hz| u32::try_from(hz).ok());
    if let Some(bandwidth) = bandwidth {
        settings.bandwidth_hz = bandwidth;
    }
    if let Some(tick) = whole("capture.tick") {
        let step = 256_000_000_000 / tick.max(1);
        settings.capture_step_256 = Some(u32::try_from(step).unwrap_or(u32::MAX).max(1));
    }
    if let Some(bits) = whole("sampling.bits") {
        settings.sample_bits = u8::try_from(bits).unwrap_or(u8::MAX);
    }
    match tables.stated("onset.method") {
        Some(Value::Word("matched")) => settings.method = Method::Matched,
        Some(Value::Word("area")) => settings.method = Method::Area,
        Some(Value::Word(other)) if other != "hybrid" => {
            talk.note(&format!(
                "a replay reports the onset of the library, not {other}"
            ));
        }
        _ => {}
    }
    settings.lateness = lateness(&tables)?;
    if tables.has("spindle") {
        settings.spindle = Some(Spindle {
            turn_ns: (1e9 / tables.si("spindle.speed")).round() as u64,
            teeth: tables.si("spindle.teeth") as u8,
        });
        settings.hits()?;
        talk.note("[spindle]: hits of 20us or more are merged, --hold does not count");
    }
    if let Some(edge_ns) = whole("calibration.chatter") {
        let square = edge_ns.min(1 << 31).pow(2);
        settings.chatter = Chatter::known(square.saturating_mul(256));
    }
    if let Some(feed) = whole("approach.feed") {
        settings.one_feed = true;
        settings.feed_nm_s = u32::try_from(feed).ok();
        talk.note("[approach] feed: all touches of a line are taken to be made at one feed");
    }
    let unused: Vec<&str> = tables
        .stated_keys()
        .filter(|key| !NEEDED.contains(key) && !key.starts_with("calibration."))
        .collect();
    if !unused.is_empty() {
        talk.note(&format!("not needed by a replay: {}", unused.join(", ")));
    }
    Ok(bandwidth.is_some())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tune::Calibrated;

    /// The file holds the very constants: what a replay reads out of it acts alike at any feed.
    #[test]
    fn the_configuration_holds_the_constants_to_the_last_digit() {
        for (found, together) in [(true, -731), (false, 12)] {
            let late = Lateness::delay(-4_123_457, 98_765)
                .and_then(|late| late.offset(40_321, 1_234_567, 25_999_999))
                .and_then(|late| late.together(together))
                .unwrap();
            let other = |turn: u32| {
                Lateness::delay(-5_000_001, 7)
                    .and_then(|late| late.offset(90_001, 11, turn))
                    .and_then(|late| late.together(-999))
                    .unwrap()
            };
            let late = late.between(&other(1_000_001), &other(99_999_999));
            let late = if found { late } else { late.turn_assumed() };
            let calibrated = Calibrated {
                lateness: late,
                feeds: Vec::new(),
                chatter_ns: 3_000,
            };
            let toml = calibrated.toml(1_000_000, 100_000);
            let tables = Tables::parse(&toml, "c.toml").unwrap();
            assert_eq!(lateness(&tables).unwrap(), late);
        }
    }
}
