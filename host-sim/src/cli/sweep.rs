//! `sweep`: Monte Carlo over a grid of scenarios.

mod output;
mod page;

use std::sync::atomic::Ordering;

use super::args::Sweep;
use super::files;
use super::running::{bar, stop_on_interrupt, writable};
use super::talk::Talk;
use super::Outcome;
use crate::fault::Fault;
use crate::report::LINES;
use crate::scenario::{idle_in_sweep, Tables};
use crate::study::sweep::{Grid, Row};

/// Below this many trials the 99.9 % are the largest error.
const ENOUGH: u64 = 1000;

/// Said wherever lines are shown.
const LINK_CAUTION: &str = LINES;

/// Said wherever lives of cells are shown.
const CELLS: &str = "Cells last: mean life of 64 new packs under an infrared head; spare: how much earlier than needed the \
                     answer to 'lasts the run' stopped being yes.";

/// Runs it.
pub(crate) fn run(args: &Sweep, talk: &Talk) -> Result<Outcome, Fault> {
    files::keep_apart(
        &[("SCENARIO", args.scenario.to_str())],
        &[("--report", args.telling.report.as_deref())],
    )?;
    let tables = Tables::read(&args.scenario)?;
    let grid = Grid::new(&tables, &args.vary)?;
    let mut all = tables.clone();
    for one in &args.vary {
        // Each has been read by the grid.
        let _ = all.set(&one.key, &one.values[0]);
    }
    if let Some(idle) = idle_in_sweep(&all) {
        talk.note(&idle);
    }
    if args.trials < ENOUGH {
        talk.note("99.9 % of fewer than 1000 trials is their largest error");
    }
    if let Some(path) = &args.telling.report {
        writable(path)?;
    }
    let stop = stop_on_interrupt()?;
    let bar = bar(grid.len() as u64 * args.trials);
    let rows = grid.run(args.trials, args.telling.seed, &|added| {
        bar.inc(added);
        !stop.load(Ordering::Relaxed)
    })?;
    bar.finish_and_clear();
    tell_not_carried(&grid, &rows, talk);
    let text = if args.telling.json {
        output::json(&grid, &rows, args)
    } else if args.telling.csv {
        output::csv(&grid, &rows)
    } else {
        output::table(&grid, &rows)
    };
    super::print(text.as_bytes())?;
    if let Some(path) = &args.telling.report {
        let page = page::page(&grid, &rows, &tables, args);
        super::write_file(path, page.as_bytes())?;
    }
    if rows.len() < grid.len() {
        talk.error(&format!(
            "stopped: {} of {} cells finished, the others are missing; the same command without an interruption \
             gives all, these unchanged",
            rows.len(),
            grid.len()
        ));
        return Ok(Outcome::CouldNot);
    }
    Ok(Outcome::Holds)
}

/// Touches that found no READY are in no column; said once, with a way out.
fn tell_not_carried(grid: &Grid, rows: &[Row], talk: &Talk) {
    for row in rows {
        let without = row.link.map_or(0, |link| link.without);
        if without > 0 {
            let pairs = grid.vary.iter().zip(&row.values);
            let cell: Vec<String> = pairs.map(|(one, v)| format!("{}={v}", one.key)).collect();
            let at = if cell.is_empty() { "" } else { " at " };
            talk.note(&format!(
                "{without} touches were not carried{at}{}: READY did not stand for a second within a minute; state less \
                 link.loss, link.jitter or clock.drift, or more link.bound or link.delay",
                cell.join(", ")
            ));
        }
    }
}
