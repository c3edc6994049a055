//! `advise`: from tolerances to a feed and what goes with it, each advice simulated.

mod output;
mod page;

use std::sync::atomic::Ordering;

use super::again::quoted;
use super::args::Advise;
use super::files;
use super::running::{bar, stop_on_interrupt, writable};
use super::talk::Talk;
use super::Outcome;
use crate::fault::{Fault, Place};
use crate::report::CAUTION;
use crate::scenario::{idle_in_advice, Tables};
use crate::study::advice::{
    advise, latches, prove, Advice, Asked, Impossible, Judged, Machine, Proof,
};
use crate::study::packs::Together;

/// Packs whose lives stand for those of the scenario.
const PACKS: u64 = 64;

/// An advice with all that is told of it.
struct Answer {
    advice: Advice,
    proof: Proof,
    judged: Judged,
    /// How packs of its cells live.
    cells: Option<Together>,
    cautions: Vec<String>,
    /// The command that gives the same again.
    command: String,
}

/// Runs it.
pub(crate) fn run(args: &Advise, talk: &Talk) -> Result<Outcome, Fault> {
    files::keep_apart(
        &[("SCENARIO", args.scenario.to_str())],
        &[("--report", args.telling.report.as_deref())],
    )?;
    let tables = Tables::read(&args.scenario)?;
    let machine = Machine::of(&tables)?;
    latches(&machine).map_err(|why| why.or_at(Place::File(tables.source().to_owned())))?;
    if let Some(idle) = idle_in_advice(&tables) {
        talk.note(&idle);
    }
    if let Some(path) = &args.telling.report {
        writable(path)?;
    }
    let asked = Asked {
        tolerance: args.tolerance as f64 * 1e-9,
        overtravel: args.overtravel as f64 * 1e-9,
    };
    let advice = match advise(&machine, &asked, args.telling.seed) {
        Ok(advice) => advice,
        Err(why) => return impossible(args, &asked, &why, talk),
    };
    let stop = stop_on_interrupt()?;
    let bar = bar(args.touches);
    let proof = prove(&advice, args.touches, args.telling.seed, &|added| {
        bar.inc(added);
        !stop.load(Ordering::Relaxed)
    })
    .map_err(|why| why.or_at(Place::Setting("the feed advised, simulated".to_owned())))?;
    bar.finish_and_clear();
    let Some(proof) = proof else {
        talk.error("stopped before the simulation was done: nothing is advised without it");
        return Ok(Outcome::CouldNot);
    };
    let judged = proof.judged(&advice);
    let answer = Answer {
        cells: cells(&machine, args.telling.seed)?,
        cautions: cautions(&advice, &proof),
        command: command(args),
        advice,
        proof,
        judged,
    };
    let text = if args.telling.json {
        output::json(&answer, args)
    } else if args.telling.csv {
        output::csv(&answer)
    } else {
        output::people(&answer)
    };
    super::print(text.as_bytes())?;
    if args.telling.csv {
        talk.line(&format!("caution: {CAUTION}"));
    }
    if let Some(path) = &args.telling.report {
        super::write_file(path, page::page(&answer, args).as_bytes())?;
    }
    Ok(match &answer.judged {
        Judged::Holds => Outcome::Holds,
        Judged::Breaks(why) => {
            talk.note(why);
            Outcome::Not
        }
        Judged::Differs(why) => {
            talk.error(why);
            Outcome::CouldNot
        }
    })
}

fn impossible(
    args: &Advise,
    asked: &Asked,
    why: &Impossible,
    talk: &Talk,
) -> Result<Outcome, Fault> {
    let text = if args.telling.json {
        output::json_impossible(why, args)
    } else if args.telling.csv {
        output::csv_impossible(why)
    } else {
        output::people_impossible(asked, why)
    };
    super::print(text.as_bytes())?;
    if args.telling.csv {
        talk.line(&format!("caution: {CAUTION}"));
    }
    if let Some(path) = &args.telling.report {
        let page = page::impossible(asked, why, args, &command(args));
        super::write_file(path, page.as_bytes())?;
    }
    Ok(Outcome::Not)
}

/// How packs of its cells live; each has random numbers of its own.
fn cells(machine: &Machine, seed: u64) -> Result<Option<Together>, Fault> {
    let first = seed.wrapping_mul(PACKS) % (u64::MAX / 2);
    let lives = machine
        .scenario
        .battery
        .map(|case| case.together(first..first + PACKS));
    lives
        .transpose()
        .map_err(|why| Fault::new(why.to_string(), "cells the core takes", "change [battery]"))
}

/// The same command again, with all that it was left to assume.
fn command(args: &Advise) -> String {
    let scenario = quoted(&args.scenario.display().to_string());
    format!(
        "trueonset advise {scenario} --tolerance {}nm --overtravel {}nm --touches {} --seed {}",
        args.tolerance, args.overtravel, args.touches, args.telling.seed
    )
}

/// What stands beside a feed, always.
fn cautions(advice: &Advice, proof: &Proof) -> Vec<String> {
    let mut all = vec![CAUTION.to_owned()];
    if proof.offset.abs() > 0.1 * advice.asked.tolerance {
        all.push(format!(
            "The mean error of {:.3} um is not in the figures: touch a reference at the same feed to take it off.",
            proof.offset * 1e6
        ));
    }
    let holds = &advice.holds;
    if holds.advised_ns != holds.stated_ns {
        all.push(format!(
            "The hold of {:.3} ms is too short for noise and spikes; the answer has {:.3} ms.",
            holds.stated_ns as f64 / 1e6,
            holds.advised_ns as f64 / 1e6
        ));
    }
    if let Some(air) = &advice.air {
        match air.needed_ns {
            Some((delay_ns, dead_ns))
                if delay_ns > air.stated_ns.0 || dead_ns > air.stated_ns.1 =>
            {
                all.push(format!(
                    "The losses of this link ask for a delay of {:.1} ms and a silence of {:.1} ms: touches late in \
                     one of 1e9, READY falling once in 100 hours. It has {:.1} and {:.1} ms: READY will fall more \
                     often, which stops the machine and never hides a touch.",
                    delay_ns as f64 / 1e6,
                    dead_ns as f64 / 1e6,
                    air.stated_ns.0 as f64 / 1e6,
                    air.stated_ns.1 as f64 / 1e6
                ));
            }
            Some(_) => {}
            None => all.push("No delay is long enough for the losses of this link.".to_owned()),
        }
    }
    if let Some(bar) = &advice.machine.slim {
        all.push(format!(
            "The slim tool buckles at {:.2} N by Euler, as a solid bar; a quarter of that is asked of it. An upper \
             bound, not a safe force: flutes, chips and a slant break tools far below.",
            bar.buckles()
        ));
    }
    if advice.machine.scenario.limits == crate::model::ramp::Limits::NONE {
        all.push(
            "Neither approach.acceleration nor approach.jerk is stated: this axis stops at once, no real one does."
                .to_owned(),
        );
    }
    all.push(
        "Assumed, to be measured: acceleration off by 10 % (standard deviation), jerk by 20 %, reaction 1 ms shorter \
         to 3 ms longer, feed off by 1 %."
            .to_owned(),
    );
    all
}
