//! An advice for people, as JSON and as CSV.

use serde_json::{json, Value};

use super::Answer;
use crate::cli::args::Advise;
use crate::cli::table::table;
use crate::quantity::{show_frequency_hz, show_length_nm};
use crate::report::CAUTION;
use crate::study::advice::{Asked, Better, Impossible, Judged, Limit, PAUSE};
use crate::study::statistics::Share;

/// Standard deviations of the intervals told: 95 %.
const INTERVAL: f64 = 1.959_964;

/// A feed (m/s) for people.
pub(super) fn feed(m_s: f64) -> String {
    let mm_min = m_s * 60_000.0;
    if m_s.is_infinite() {
        "any".to_owned()
    } else if mm_min >= 100.0 {
        format!("{mm_min:.0} mm/min")
    } else if mm_min >= 1.0 {
        format!("{mm_min:.1} mm/min")
    } else {
        format!("{mm_min:.4} mm/min")
    }
}

fn um(m: f64) -> String {
    // Where no touch gave a position there is nothing to tell.
    if m.is_nan() {
        return "-".to_owned();
    }
    let um = m * 1e6;
    format!("{um:.*}", if um < 10.0 { 4 } else { 1 })
}

fn ms(s: f64) -> String {
    format!("{:.1} ms", s * 1e3)
}

/// The answer in a sentence.
pub(super) fn sentence(answer: &Answer) -> String {
    let advice = &answer.advice;
    let mut text = if advice.single {
        format!(
            "Approach with one touch at up to {}; {} takes {} instead of the quickest {}, and stops sooner.",
            feed(advice.feed),
            feed(advice.calm),
            ms(advice.machine.single(advice.calm)),
            ms(advice.machine.single(advice.quick))
        )
    } else {
        format!(
            "Approach with two touches, at {} and then at {}: {} instead of {} with one.",
            feed(advice.two.coarse),
            feed(advice.feed),
            ms(advice.cycle()),
            ms(advice.machine.single(advice.quick))
        )
    };
    match &answer.judged {
        Judged::Holds => {}
        Judged::Breaks(why) => text = format!("Nothing holds: {why}. By theory alone: {text}"),
        Judged::Differs(why) => {
            text = format!("Could not be judged: {why}. By theory alone: {text}");
        }
    }
    text
}

/// What holds the feed back, and what is next.
pub(super) fn binding(limits: &[Limit]) -> String {
    let next = limits.get(1).map_or(String::new(), |next| {
        let ratio = next.feed / limits[0].feed;
        if ratio.is_finite() {
            format!("; next: {}, at {ratio:.2} times that feed", next.by.word())
        } else {
            "; nothing else does".to_owned()
        }
    });
    format!("held back by {}{next}", limits[0].by.word())
}

/// Header and rows: asked, theory, simulated.
pub(super) fn compared(answer: &Answer) -> Vec<Vec<String>> {
    let (advice, proof) = (&answer.advice, &answer.proof);
    let words = |cells: [&str; 5]| cells.map(str::to_owned).to_vec();
    let inside = |share: Share| {
        let (low, _) = share.wilson(INTERVAL);
        format!(
            "{} of {}, at least {:.4} %",
            share.hits,
            share.trials,
            low * 1e2
        )
    };
    let row = |name: &str, asked, theory, simulated, share| {
        vec![
            name.to_owned(),
            um(asked),
            um(theory),
            um(simulated),
            inside(share),
        ]
    };
    vec![
        words([
            "99.9 %, um",
            "asked for",
            "theory",
            "simulated",
            "simulated touches within",
        ]),
        row(
            "error of a touch",
            advice.asked.tolerance,
            advice.error,
            proof.error,
            proof.within,
        ),
        row(
            "overtravel",
            advice.asked.overtravel,
            advice.overtravel,
            proof.overtravel,
            proof.stood,
        ),
    ]
}

/// Header and rows of the limits.
pub(super) fn limits(limits: &[Limit]) -> Vec<Vec<String>> {
    let mut rows = vec![["limit", "feed", "times the answer", ""]
        .map(str::to_owned)
        .to_vec()];
    rows.extend(limits.iter().map(|limit| {
        let ratio = limit.feed / limits[0].feed;
        let ratio = if ratio.is_finite() {
            format!("{ratio:.2}")
        } else {
            "-".to_owned()
        };
        vec![
            limit.by.word().to_owned(),
            feed(limit.feed),
            ratio,
            String::new(),
        ]
    }));
    rows
}

/// Header and rows of better parts.
pub(super) fn better(all: &[Better], now: f64) -> Vec<Vec<String>> {
    let mut rows = vec![[
        "one better part",
        "feed",
        "times the answer",
        "then held back by",
    ]
    .map(str::to_owned)
    .to_vec()];
    rows.extend(all.iter().map(|one| {
        vec![
            one.what.to_owned(),
            feed(one.feed),
            format!("{:.2}", one.feed / now),
            one.by.word().to_owned(),
        ]
    }));
    rows
}

/// What goes with the feed: names and values.
pub(super) fn settings(answer: &Answer) -> Vec<(String, String)> {
    let advice = &answer.advice;
    let holds = &advice.holds;
    let mut all = vec![(
        "hold".to_owned(),
        format!(
            "{:.3} ms; {:.3} to {:.3} ms fit",
            holds.advised_ns as f64 / 1e6,
            holds.least_ns as f64 / 1e6,
            holds.most_ns.max(holds.advised_ns) as f64 / 1e6
        ),
    )];
    if let Some(band) = &advice.band {
        let more = if band.advised_hz == band.stated_hz {
            "as stated".to_owned()
        } else {
            format!(
                "stated and simulated: {}",
                show_frequency_hz(band.stated_hz)
            )
        };
        let hz = show_frequency_hz(band.advised_hz);
        all.push((
            "bandwidth of the comparator".to_owned(),
            format!("{hz}, {more}"),
        ));
    }
    let control = &advice.machine.control;
    all.push((
        "position taken by".to_owned(),
        format!(
            "{}, {} after contact",
            control.latching.word(),
            ms(control.delay + control.input_delay)
        ),
    ));
    if let Some(edge) = &advice.by_edge {
        let told = format!("{}, held back by {}", feed(edge.feed), edge.by.word());
        all.push(("the feed if latched at the edge".to_owned(), told));
    }
    if let Some(link) = &advice.machine.scenario.link {
        let plan = &link.plan;
        let stated = format!(
            "D {:.1} ms, T_dead {:.1} ms",
            f64::from(plan.delay_ns) / 1e6,
            f64::from(plan.dead_ns) / 1e6
        );
        let needed =
            advice
                .air
                .and_then(|air| air.needed_ns)
                .map_or(String::new(), |(delay, dead)| {
                    format!(
                        "; its losses ask for {:.1} and {:.1} ms",
                        delay as f64 / 1e6,
                        dead as f64 / 1e6
                    )
                });
        all.push(("link".to_owned(), stated + &needed));
    }
    if let Some(cells) = &answer.cells {
        all.push((
            "cells last".to_owned(),
            format!(
                "{:.0} h, the mean of {} new packs",
                cells.life_h, cells.packs
            ),
        ));
    }
    all.push(("slowest feed told in time".to_owned(), feed(advice.slowest)));
    let (single, two) = (
        advice.machine.single(advice.quick),
        advice.machine.both(&advice.two),
    );
    all.push((
        "one touch or two".to_owned(),
        format!(
            "{} at {}, or {} at {} then {} with a pause of {:.0} ms",
            ms(single),
            feed(advice.quick),
            ms(two),
            feed(advice.two.coarse),
            feed(advice.two.fine),
            PAUSE * 1e3
        ),
    ));
    all
}

/// For people.
pub(super) fn people(answer: &Answer) -> String {
    let advice = &answer.advice;
    let mut budget = vec![["error made of", "u nm", "share %", ""]
        .map(str::to_owned)
        .to_vec()];
    budget.extend(advice.budget.iter().map(|portion| {
        vec![
            portion.source.to_owned(),
            format!("{:.2}", portion.u * 1e9),
            format!("{:.1}", portion.share * 1e2),
            String::new(),
        ]
    }));
    let settings = settings(answer);
    let widest = settings
        .iter()
        .map(|(name, _)| name.len())
        .max()
        .unwrap_or(0);
    let settings: Vec<String> = settings
        .iter()
        .map(|(name, value)| format!("{name:<widest$}  {value}"))
        .collect();
    let better = if advice.better.is_empty() {
        "no single better part buys a faster feed".to_owned()
    } else {
        table(&better(&advice.better, advice.feed))
    };
    format!(
        "{}\n{}\n\n{}\n\n{}\n\n{}\n\n{}\n\n{}\n\n{}\n",
        sentence(answer),
        binding(&advice.limits),
        table(&compared(answer)),
        table(&limits(&advice.limits)),
        table(&budget),
        better,
        settings.join("\n"),
        answer.cautions.join("\n")
    )
}

/// What there is to say where nothing is possible.
pub(super) fn refusal(asked: &Asked, why: &Impossible) -> String {
    format!(
        "No feed keeps {} um of error and {} um of overtravel: {}",
        um(asked.tolerance),
        um(asked.overtravel),
        if why.slowest.is_infinite() {
            "no touch is told in time".to_owned()
        } else {
            format!(
                "{} is as fast as {} allows, and a touch is told in time from {} on",
                feed(why.limits[0].feed),
                why.limits[0].by.word(),
                feed(why.slowest)
            )
        }
    )
}

/// The same for people.
pub(super) fn people_impossible(asked: &Asked, why: &Impossible) -> String {
    format!(
        "{}\n\nwhat would have to change:\n  {}\n\n{}\n\n{CAUTION}\n",
        refusal(asked, why),
        why.changes.join("\n  "),
        table(&limits(&why.limits))
    )
}

/// A number, or null where it has no end.
fn number(value: f64) -> Value {
    json!(value.is_finite().then_some(value))
}

/// nm, whole, rounded up.
fn nm(m: f64) -> Value {
    number((m * 1e12).round() / 1e3)
}

fn nm_s(m_s: f64) -> Value {
    json!(m_s.is_finite().then(|| (m_s * 1e9).round() as u64))
}

fn limits_json(limits: &[Limit]) -> Value {
    let one = |limit: &Limit| json!({"by": limit.by.word(), "feed_nm_s": nm_s(limit.feed)});
    limits.iter().map(one).collect()
}

/// One document.
pub(super) fn json(answer: &Answer, args: &Advise) -> String {
    let (advice, proof) = (&answer.advice, &answer.proof);
    let confidence = advice.kept.wilson(INTERVAL);
    let reason = match &answer.judged {
        Judged::Holds => None,
        Judged::Breaks(why) | Judged::Differs(why) => Some(why),
    };
    let budget: Value = advice
        .budget
        .iter()
        .map(|portion| {
            json!({"source": portion.source, "u_nm": nm(portion.u), "share": portion.share})
        })
        .collect();
    let better: Value = advice
        .better
        .iter()
        .map(|one| json!({"what": one.what, "feed_nm_s": nm_s(one.feed), "limited_by": one.by.word()}))
        .collect();
    let link = advice.machine.scenario.link.as_ref().map(|link| {
        let needed = advice.air.and_then(|air| air.needed_ns);
        json!({
            "delay_ns": link.plan.delay_ns,
            "dead_ns": link.plan.dead_ns,
            "needed_delay_ns": needed.map(|(delay, _)| delay),
            "needed_dead_ns": needed.map(|(_, dead)| dead),
        })
    });
    let battery = answer.cells.map(
        |cells| json!({"packs": cells.packs, "life_h": cells.life_h, "spare_h": cells.spare_h}),
    );
    let two = &advice.two;
    let mut document = json!({
        "holds": answer.judged == Judged::Holds,
        "reason": reason,
        "scenario": args.scenario.display().to_string(),
        "seed": args.telling.seed,
        "tolerance_nm": args.tolerance,
        "overtravel_asked_nm": args.overtravel,
        "feed_nm_s": nm_s(advice.feed),
        "feed_min_nm_s": nm_s(advice.calm),
        "feed_quickest_nm_s": nm_s(advice.quick),
        "feed_coarse_nm_s": if advice.single { Value::Null } else { nm_s(two.coarse) },
        "feed_told_nm_s": nm_s(advice.slowest),
        "feed_by_edge_nm_s": advice.by_edge.map(|edge| nm_s(edge.feed)),
        "single_approach": advice.single,
        "cycle_ms": number(advice.cycle() * 1e3),
        "cycle_single_ms": number(advice.machine.single(advice.quick) * 1e3),
        "cycle_two_ms": number(advice.machine.both(two) * 1e3),
        "hold_ns": advice.holds.advised_ns,
        "hold_least_ns": advice.holds.least_ns,
        "hold_most_ns": advice.holds.most_ns,
        "bandwidth_hz": advice.band.map(|band| band.advised_hz),
    });
    let more = json!({
        "limited_by": advice.limits[0].by.word(),
        "limited_next": advice.limits.get(1).map(|next| next.by.word()),
        "limited_ratio": advice.limits.get(1).map(|next| number(next.feed / advice.limits[0].feed)),
        "limits": limits_json(&advice.limits),
        "error_nm": nm(advice.error),
        "budget": budget,
        "overtravel_nm": nm(advice.overtravel),
        "confidence": advice.kept.value(),
        "confidence_low": confidence.0,
        "confidence_high": confidence.1,
        "better": better,
        "link": link,
        "battery": battery,
        "simulated": {
            "p999_nm": nm(proof.error),
            "overtravel_p999_nm": nm(proof.overtravel),
            "offset_nm": nm(proof.offset),
            "sd_nm": nm(proof.spread),
            "touches": proof.touches,
            "missed": proof.missed,
            "false_touches": proof.false_touches,
            "within": proof.within.hits,
            "stood": proof.stood.hits,
            "late": proof.carried.map(|carried| carried.late),
        },
        "cautions": answer.cautions,
        "command": answer.command,
    });
    if let (Value::Object(all), Value::Object(more)) = (&mut document, more) {
        all.extend(more);
    }
    format!("{document:#}\n")
}

/// The document where nothing is possible: the same keys, null where there is nothing.
pub(super) fn json_impossible(why: &Impossible, args: &Advise) -> String {
    let document = json!({
        "holds": false,
        "scenario": args.scenario.display().to_string(),
        "seed": args.telling.seed,
        "tolerance_nm": args.tolerance,
        "overtravel_asked_nm": args.overtravel,
        "feed_nm_s": null,
        "feed_min_nm_s": null,
        "feed_told_nm_s": nm_s(why.slowest),
        "single_approach": null,
        "cycle_ms": null,
        "hold_ns": null,
        "limited_by": why.limits[0].by.word(),
        "limited_next": why.limits.get(1).map(|next| next.by.word()),
        "limits": limits_json(&why.limits),
        "budget": [],
        "overtravel_nm": null,
        "confidence": null,
        "simulated": null,
        "changes": why.changes,
        "cautions": [CAUTION],
    });
    format!("{document:#}\n")
}

const COLUMNS: &str = "holds,feed_nm_s,feed_min_nm_s,single_approach,cycle_ms,hold_ns,limited_by,limited_next,error_nm,\
                       overtravel_nm,confidence,p999_nm,overtravel_p999_nm";

/// One header line and one row.
pub(super) fn csv(answer: &Answer) -> String {
    let (advice, proof) = (&answer.advice, &answer.proof);
    let cells = [
        json!(answer.judged == Judged::Holds),
        nm_s(advice.feed),
        nm_s(advice.calm),
        json!(advice.single),
        number(advice.cycle() * 1e3),
        json!(advice.holds.advised_ns),
        json!(advice.limits[0].by.word()),
        json!(advice.limits.get(1).map(|next| next.by.word())),
        nm(advice.error),
        nm(advice.overtravel),
        json!(advice.kept.value()),
        nm(proof.error),
        nm(proof.overtravel),
    ];
    row(&cells)
}

/// The same where nothing is possible.
pub(super) fn csv_impossible(why: &Impossible) -> String {
    let mut cells = vec![Value::Null; COLUMNS.split(',').count()];
    cells[0] = json!(false);
    cells[6] = json!(why.limits[0].by.word());
    cells[7] = json!(why.limits.get(1).map(|next| next.by.word()));
    row(&cells)
}

fn row(cells: &[Value]) -> String {
    let cells = cells.iter().map(|cell| match cell {
        Value::Null => String::new(),
        Value::String(word) => word.clone(),
        other => other.to_string(),
    });
    format!("{COLUMNS}\n{}\n", cells.collect::<Vec<_>>().join(","))
}

/// A length asked for, exactly.
pub(super) fn asked(nm: u64) -> String {
    show_length_nm(i64::try_from(nm).unwrap_or(i64::MAX))
}
