//! Settings of a replay out of defaults, a TOML file and the command line, in this order.

use std::path::Path;

use super::args::Deciding;
use super::talk::Talk;
use crate::fault::{Fault, Place};
use crate::quantity;
use crate::replay::Settings;

/// All keys of the scenario tables; those a replay does not need are told and passed over.
const KEYS: [(&str, &[&str]); 12] = [
    (
        "approach",
        &[
            "feed",
            "acceleration",
            "jerk",
            "depth",
            "length_doubt",
            "clearance",
            "reaction",
        ],
    ),
    (
        "barrier",
        &[
            "span",
            "profile",
            "snr",
            "bandwidth",
            "trip",
            "film",
            "hysteresis",
        ],
    ),
    (
        "disturbance",
        &[
            "glitches_per_s",
            "droplets_per_h",
            "vibration_amplitude",
            "vibration_frequency",
            "flutter",
        ],
    ),
    ("capture", &["tick", "bits"]),
    ("sampling", &["rate", "bits"]),
    ("onset", &["method", "hold"]),
    (
        "link",
        &[
            "medium", "slot", "beat", "loss", "burst", "jitter", "delay", "dead",
        ],
    ),
    ("clock", &["tolerance", "drift"]),
    ("battery", &["cells", "chemistry", "temperature", "run"]),
    (
        "control",
        &[
            "input_delay",
            "input_jitter",
            "latch",
            "period",
            "feed_error",
        ],
    ),
    ("spindle", &["speed", "teeth", "radius", "run_out"]),
    ("plate", &["mass", "preload", "rate", "restitution"]),
];

/// The configuration file as it was named.
pub(crate) fn config_name(deciding: &Deciding) -> Option<String> {
    let config = deciding.config.as_ref()?;
    Some(config.display().to_string())
}

/// The settings, and on stderr what had to be assumed.
///
/// # Errors
/// The file cannot be read, holds an unknown key or a value without its unit.
pub(crate) fn settings(deciding: &Deciding, talk: &Talk) -> Result<Settings, Fault> {
    let mut settings = Settings::default();
    let mut bandwidth_told = deciding.bandwidth.is_some();
    if let Some(path) = &deciding.config {
        bandwidth_told |= read(path, &mut settings, talk)?;
    }
    if let Some(hold) = deciding.hold {
        settings.hold_ns = hold;
    }
    if let Some(touched) = deciding.touched {
        settings.touched = touched;
    }
    if let Some(bandwidth) = deciding.bandwidth {
        settings.bandwidth_hz = bandwidth;
    }
    if !bandwidth_told {
        talk.note("bandwidth assumed 100kHz; state that of comparator or filter with --bandwidth");
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

/// Reads the tables; returns whether a bandwidth was among them.
fn read(path: &Path, settings: &mut Settings, talk: &Talk) -> Result<bool, Fault> {
    let name = path.display().to_string();
    let text = std::fs::read_to_string(path).map_err(|why| Fault::io(&name, "read", &why))?;
    let tables: toml::Table = text.parse().map_err(|why: toml::de::Error| {
        let line = why
            .span()
            .map_or(1, |span| text[..span.start].matches('\n').count() + 1);
        Fault::new(
            why.message(),
            "TOML with tables such as [onset]",
            "correct this line",
        )
        .at(Place::line(&name, line as u64))
    })?;
    let mut bandwidth_told = false;
    let mut unused = Vec::new();
    for (table, keys) in &tables {
        let known = KEYS
            .iter()
            .find(|(known, _)| known == table)
            .map(|(_, keys)| *keys);
        let known = known.or((table == "tool").then_some(&["diameter", "length", "modulus"][..]));
        let (Some(known), Some(keys)) = (known, keys.as_table()) else {
            let names = KEYS.iter().map(|(table, _)| *table);
            return Err(unknown(&name, table, "table", nearest(table, names)));
        };
        for (key, value) in keys {
            let full = format!("{table}.{key}");
            if !known.contains(&key.as_str()) {
                return Err(unknown(
                    &name,
                    &full,
                    "key",
                    nearest(key, known.iter().copied()),
                ));
            }
            let place = || Place::Setting(format!("{name}: {full}"));
            let word = || {
                value.as_str().ok_or_else(|| {
                    Fault::new(
                        format!("{value:?}"),
                        "a quantity with its unit in quotes",
                        "write it as \"1ms\" or \"100kHz\"",
                    )
                    .at(place())
                })
            };
            let at = |why: Fault| why.or_at(place());
            match full.as_str() {
                "onset.hold" => settings.hold_ns = quantity::span_ns(word()?).map_err(at)?,
                "barrier.bandwidth" => {
                    settings.bandwidth_hz = quantity::frequency_hz(word()?).map_err(at)?;
                    bandwidth_told = true;
                }
                "capture.tick" => {
                    let tick = quantity::frequency_hz(word()?).map_err(at)?;
                    let step = 256_000_000_000 / u64::from(tick.max(1));
                    settings.capture_step_256 =
                        Some(u32::try_from(step).unwrap_or(u32::MAX).max(1));
                }
                "approach.feed" => {
                    quantity::feed_nm_s(word()?).map_err(at)?;
                    settings.one_feed = true;
                }
                _ => unused.push(full),
            }
        }
    }
    if settings.one_feed {
        talk.note("[approach] feed: all touches of a line are taken to be made at one feed");
    }
    if !unused.is_empty() {
        talk.note(&format!("not needed by a replay: {}", unused.join(", ")));
    }
    Ok(bandwidth_told)
}

fn unknown(file: &str, found: &str, what: &str, near: Option<&str>) -> Fault {
    Fault::new(
        format!("the unknown {what} {found}"),
        format!("a known {what}"),
        near.map_or("see --help".to_owned(), |near| {
            format!("did you mean {near}?")
        }),
    )
    .at(Place::File(file.to_owned()))
}

/// The known word with the fewest edits.
fn nearest<'a>(word: &str, known: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    known.min_by_key(|known| edits(word, known))
}

/// Edit distance (Levenshtein), one row at a time.
fn edits(a: &str, b: &str) -> usize {
    let b: Vec<char> = b.chars().collect();
    let mut row: Vec<usize> = (0..=b.len()).collect();
    for (i, x) in a.chars().enumerate() {
        let mut corner = i;
        row[0] = i + 1;
        for (j, y) in b.iter().enumerate() {
            let changed = corner + usize::from(x != *y);
            corner = row[j + 1];
            row[j + 1] = changed.min(corner + 1).min(row[j] + 1);
        }
    }
    row[b.len()]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_key_is_suggested() {
        assert_eq!(edits("holt", "hold"), 1);
        assert_eq!(edits("", "hold"), 4);
        let keys = ["method", "hold"].into_iter();
        assert_eq!(nearest("hodl", keys), Some("hold"));
    }
}
