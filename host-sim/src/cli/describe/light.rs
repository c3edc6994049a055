//! `describe` of a light recording: samples, rate and what the optics say.

use serde_json::json;
use trueonset::flags::Flags;

use crate::cli::table::{short_ns, table};
use crate::cli::talk::Talk;
use crate::cli::{print, Outcome};
use crate::fault::Fault;
use crate::light::LightReader;
use crate::replay::{LightEngine, Settings};

/// Runs it.
pub(super) fn run(
    mut reader: LightReader,
    settings: Settings,
    as_json: bool,
    talk: &Talk,
) -> Result<Outcome, Fault> {
    let mut engine = LightEngine::new(settings);
    let damage = engine.take_all(&mut reader, |_, _| {})?;
    let duration_ns = engine.duration_ns();
    let (format, facts) = (reader.format().name(), engine.facts());
    let text = if as_json {
        let lines: Vec<_> = facts
            .iter()
            .map(|line| {
                json!({
                    "name": line.name,
                    "rate_hz": line.rate_hz,
                    "samples": line.samples,
                    "missing": line.missing,
                    "rest_counts": line.optics.rest_counts,
                    "noise_counts": f64::from(line.optics.noise_counts_256) / 256.0,
                    "optics": words(line.optics.flags),
                })
            })
            .collect();
        json!({ "format": format, "duration_ns": duration_ns, "lines": lines }).to_string()
    } else {
        let header = [
            "line",
            "rate Hz",
            "samples",
            "missing",
            "rest counts",
            "noise counts",
            "optics",
        ];
        let mut cells = vec![header.map(str::to_owned).to_vec()];
        cells.extend(facts.iter().map(|line| {
            vec![
                line.name.to_owned(),
                line.rate_hz.to_string(),
                line.samples.to_string(),
                line.missing.to_string(),
                line.optics.rest_counts.to_string(),
                format!("{:.2}", f64::from(line.optics.noise_counts_256) / 256.0),
                words(line.optics.flags).join(" "),
            ]
        }));
        format!("{format}, {}\n{}", short_ns(duration_ns), table(&cells))
    };
    print(format!("{text}\n").as_bytes())?;
    for assumption in reader.assumptions() {
        talk.note(assumption);
    }
    damage.map_or(Ok(Outcome::Holds), Err)
}

/// The states; a recording at peace with its light is `clear`.
fn words(flags: Flags) -> Vec<&'static str> {
    if flags.is_empty() {
        vec!["clear"]
    } else {
        flags.words().collect()
    }
}
