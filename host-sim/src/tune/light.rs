//! The same for recordings of the light: which method, and what each would miss.

use trueonset::barrier::Method;

use super::advised::{no_touch, one_line, Advised, Question};
use super::survey::{due, Heard, Rung};
use crate::fault::{Fault, Place};
use crate::light::Recording;
use crate::quantity::show_time_ns;
use crate::replay::{LightEngine, Order, Settings};

/// What a recording is like.
#[derive(Debug, Clone, Copy, Default)]
pub struct Facts {
    /// Samples a second.
    pub rate_hz: u32,
    /// Width of a sample, bits.
    pub bits: u8,
    /// Light at rest, counts.
    pub rest_counts: u32,
    /// Its noise, counts.
    pub noise_counts: f64,
}

/// # Errors
/// As for edges; also a recording beside logs of edges.
pub(super) fn advise(asked: &Question<'_>) -> Result<Advised, Fault> {
    let stated_ns = asked.settings.hold_ns;
    let mut advised = Advised {
        hold_ns: stated_ns,
        method: Some(asked.settings.method),
        ..Advised::default()
    };
    // What the settings say, unless a truth is there: then that.
    let own = each(asked, asked.settings, &mut advised)?;
    let reference: Vec<_> = if asked.truths.is_empty() {
        own.iter().map(Heard::due).collect()
    } else {
        asked.truths.iter().map(|truth| due(truth)).collect()
    };
    if own.iter().all(|heard| heard.rows.is_empty()) {
        return Err(no_touch(asked));
    }
    advised.against = if asked.truths.is_empty() {
        format!("what a hold of {} tells", show_time_ns(stated_ns as i64))
    } else {
        "the truth".to_owned()
    };
    for method in [Method::Area, Method::Matched] {
        for hold_ns in [stated_ns / 5, stated_ns, stated_ns.saturating_mul(5)] {
            let settings = Settings {
                hold_ns,
                method,
                ..asked.settings.clone()
            };
            // A hold that the core refuses at this rate is no candidate.
            let Ok(heard) = each(asked, &settings, &mut advised) else {
                continue;
            };
            let mut rung = Rung {
                hold_ns,
                method: Some(method),
                ..Rung::default()
            };
            for (heard, due) in heard.iter().zip(&reference) {
                heard.count(due, &mut rung);
            }
            advised.rungs.push(rung);
        }
    }
    let clean = || advised.rungs.iter().filter(|rung| rung.is_clean());
    let at_hold = clean().filter(|rung| rung.hold_ns == stated_ns);
    if let Some(best) = at_hold.min_by(|a, b| a.doubt_ns.total_cmp(&b.doubt_ns)) {
        advised.method = best.method;
    }
    let fits = || {
        clean()
            .filter(|rung| rung.method == advised.method)
            .map(|rung| rung.hold_ns)
    };
    advised.fits_ns = (
        fits().min().unwrap_or(stated_ns),
        fits().max().unwrap_or(stated_ns),
    );
    let settings = Settings {
        method: advised.method.unwrap_or_default(),
        ..asked.settings.clone()
    };
    let heard = each(asked, &settings, &mut advised)?;
    advised.rows = heard.into_iter().map(|heard| heard.rows).collect();
    Ok(advised)
}

/// Every recording with these settings.
fn each(
    asked: &Question<'_>,
    settings: &Settings,
    advised: &mut Advised,
) -> Result<Vec<Heard>, Fault> {
    advised.duration_ns = 0;
    let mut all = Vec::new();
    for log in asked.logs {
        let Recording::Light(mut reader) = Recording::open(log, asked.options)? else {
            return Err(Fault::new(
                "a log of edges beside recordings of light",
                "one kind",
                "tune each kind by itself",
            )
            .at(Place::File(log.clone())));
        };
        let mut engine = LightEngine::new(settings.clone());
        let (mut order, mut heard) = (Order::default(), Heard::default());
        let damage = engine.take_all(&mut reader, |engine, happened| {
            heard.take(engine, &mut order, happened);
        })?;
        if let Some(damage) = damage {
            return Err(damage);
        }
        heard.rows.extend(order.rest());
        one_line(heard.rows.iter(), log)?;
        advised.duration_ns += engine.duration_ns();
        let line = heard.rows.first().map(|row| row.line.as_str());
        if let Some(facts) = engine.facts().iter().find(|facts| Some(facts.name) == line) {
            advised.light = Some(Facts {
                rate_hz: u32::try_from(facts.rate_hz).unwrap_or(u32::MAX),
                bits: settings.sample_bits,
                rest_counts: u32::from(facts.optics.rest_counts),
                noise_counts: f64::from(facts.optics.noise_counts_256) / 256.0,
            });
        }
        all.push(heard);
    }
    Ok(all)
}
