//! `gauge`: latched touches to tool data.

pub(super) mod page;

use std::path::{Path, PathBuf};

use super::args::Gauge;
use super::files;
use super::table::table;
use super::talk::Talk;
use super::Outcome;
use crate::fault::Fault;
use crate::gauge::{judge, read_touches, Beside, Outcome as Found, Plan, CAUTION};

/// Runs it.
pub(crate) fn run(args: &Gauge, talk: &Talk) -> Result<Outcome, Fault> {
    files::keep_apart(
        &[
            ("PLAN", args.plan.to_str()),
            ("TOUCHES", args.touches.to_str()),
            ("--axis", args.axis.as_deref().and_then(Path::to_str)),
            ("--hits", args.hits.as_deref().and_then(Path::to_str)),
        ],
        &[("--report", args.report.as_deref())],
    )?;
    let plan = Plan::read(&args.plan)?;
    let bytes = files::bytes(&args.touches)?;
    let touches = read_touches(
        &bytes,
        &args.touches.display().to_string(),
        args.axis.is_some(),
    )?;
    let (axis, hits) = (beside(args.axis.as_ref())?, beside(args.hits.as_ref())?);
    let found = judge(&plan, touches, as_given(&axis), as_given(&hits))?;
    if let Some(path) = &args.report {
        super::write_file(path, page::page(&found, args).as_bytes())?;
    }
    let text = if args.json {
        serde_json::to_string(&found)
            .map_err(|why| Fault::new(why.to_string(), "numbers that JSON has", "report this"))?
    } else if args.csv {
        csv(&found)
    } else {
        people(&found)
    };
    super::print(format!("{text}\n").as_bytes())?;
    // People have it in their text; whoever reads on by machine has it here.
    if args.json || args.csv {
        talk.line(&format!("caution: {CAUTION}"));
    }
    Ok(match (found.verdict, found.holds) {
        (Some("unproven"), _) => Outcome::CouldNot,
        (Some("broken"), _) | (_, Some(false)) => Outcome::Not,
        _ => Outcome::Holds,
    })
}

/// A file that stands beside the touches.
type Read = Option<(Vec<u8>, String)>;

fn beside(path: Option<&PathBuf>) -> Result<Read, Fault> {
    path.map(|path| Ok((files::bytes(path)?, path.display().to_string())))
        .transpose()
}

fn as_given(read: &Read) -> Beside<'_> {
    read.as_ref()
        .map(|(bytes, name)| (bytes.as_slice(), name.as_str()))
}

fn cell(number: Option<f64>) -> String {
    number.map_or(String::new(), |number| format!("{number}"))
}

/// A row for each cycle that is an answer; the last one is the result.
fn csv(found: &Found) -> String {
    let mut text =
        "kind,verdict,holds,reason,value_nm,u_nm,k,dof,expanded_nm,touches,dropped,cycle"
            .to_owned();
    for (cycle, row) in found.rows() {
        let holds = row.holds.map_or(String::new(), |holds| holds.to_string());
        let whole = |number: Option<u32>| number.map_or(String::new(), |number| number.to_string());
        text += &format!(
            "\n{},{},{holds},{},{},{},{},{},{},{},{},{}",
            found.kind,
            row.verdict.unwrap_or(""),
            row.reason.unwrap_or(""),
            cell(row.value_nm),
            cell(row.u_nm),
            cell(row.k),
            whole(row.dof),
            cell(row.expanded_nm),
            row.touches,
            row.dropped,
            whole(cycle)
        );
    }
    text
}

fn people(found: &Found) -> String {
    let mut text = format!("{}\n", found.sentence());
    text += &format!(
        "{} touches used, {} dropped\n",
        found.touches, found.dropped
    );
    if let Some(trend) = &found.trend {
        let left = match (
            trend.cycles_left,
            trend.cycles_left_low,
            trend.cycles_left_high,
        ) {
            (Some(mean), Some(low), Some(high)) => {
                format!("{mean:.1} cycles left ({low:.1} to {high:.1}, 95 %)")
            }
            _ => "no end in sight".to_owned(),
        };
        text += &format!(
            "{:.3} \u{b5}m of wear a cycle, {left}\n",
            trend.rate_nm_per_cycle / 1e3
        );
    }
    if let Some(interval) = &found.interval {
        text += &format!(
            "true deviation {:.1} to {:.1} nm (95 %)\n",
            interval.low_nm, interval.high_nm
        );
    }
    if let Some(bound) = found.false_whole_bound {
        text += &format!("chance of a broken tool called whole below {bound:.1e}, by assumed rates of chips and droplets, not by data\n");
    }
    if !found.budget.is_empty() {
        let row = |cells: [String; 4]| cells.to_vec();
        let mut rows = vec![row(["source", "u nm", "share", "class"].map(str::to_owned))];
        for share in &found.budget {
            rows.push(row([
                share.source.clone(),
                format!("{:.1}", share.u_nm),
                format!("{:.1} %", share.of_variance * 100.0),
                share.class.to_owned(),
            ]));
        }
        text += &format!("{}\n", table(&rows));
    }
    if !found.cycles.is_empty() {
        text += &format!("{}\n", cycles(found));
    }
    for note in &found.notes {
        text += &format!("note: {note}\n");
    }
    text + CAUTION
}

/// Each of several cycles as a row.
fn cycles(found: &Found) -> String {
    let head = ["cycle", "answer", "mm", "\u{b1} \u{b5}m", "touches"];
    let mut rows = vec![head.map(str::to_owned).to_vec()];
    let number = |nm: Option<f64>, scale: f64, digits: usize| {
        nm.map_or(String::new(), |nm| format!("{:.digits$}", nm / scale))
    };
    for one in &found.cycles {
        let answer = [one.verdict, one.reason].into_iter().flatten();
        rows.push(vec![
            one.cycle.to_string(),
            answer.collect::<Vec<_>>().join(" "),
            number(one.value_nm, 1e6, 4),
            number(one.expanded_nm, 1e3, 2),
            one.touches.to_string(),
        ]);
    }
    table(&rows)
}
