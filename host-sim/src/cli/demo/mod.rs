//! `demo`: the main job on an invented log, truth beside every touch.
//!
//! ```text
//! scenario ─▶ edges.csv ─▶ replay (the code of `replay`) ─▶ touches.csv ─▶ compared with the truth
//!          │      touches ─▶ head, lossy air, receiver ─▶ lines, air.csv
//!          │             lines, positions of the axis ─▶ gauge ─▶ tool table and verdicts
//!          └▶ light.csv ─▶ the same code, samples ─▶ light_touches.csv ─▶ likewise
//! ```

mod compare;
mod light;
mod link;
mod page;
mod scenario;
mod tools;

use std::io::Write;
use std::path::Path;

use super::args::Demo;
use super::replay::replay;
use super::talk::Talk;
use super::Outcome;
use crate::fault::Fault;
use crate::log::Options;
use crate::replay::row::COLUMNS;
use crate::replay::Row;
use crate::report::{CAUTION, LINES};
use compare::Compared;
use light::Lit;

/// Said on the screen, below the tables.
const INVENTED: &str = "Invented data: nothing here was measured.";

/// Runs it.
pub(crate) fn run(args: &Demo, talk: &Talk) -> Result<Outcome, Fault> {
    let folder = &args.out;
    std::fs::create_dir_all(folder)
        .map_err(|why| Fault::io(&folder.display().to_string(), "create", &why))?;
    let file = |name: &str| folder.join(name);
    let made = scenario::make(args.seed);
    scenario::write_edges(&file("edges.csv"), &made)?;
    super::write_file(
        &file("truth.csv"),
        scenario::truth_csv(made.touches.iter()).as_bytes(),
    )?;
    super::write_file(&file("replay.toml"), scenario::CONFIG.as_bytes())?;

    let log = file("edges.csv").display().to_string();
    let settings = scenario::settings();
    let mut rows: Vec<Row> = Vec::new();
    let done = replay(&log, &settings, &Options::default(), None, &mut |row| {
        rows.push(row);
        Ok(())
    })?;
    write_touches(&file("touches.csv"), &rows)?;
    let compared = Compared::new(&made.touches, &rows);
    let carried = link::carry(&compared, made.end_ns(), args.seed)?;
    super::write_file(&file("air.csv"), carried.csv().as_bytes())?;
    super::write_file(&file("link.toml"), link::CONFIG.as_bytes())?;
    let recording = file("light.csv");
    let lit = sampled(&recording, args.seed, folder)?;
    let tools = tools::judge_all(&compared, &carried, args.seed, &folder.join("tools"))?;
    let study = page::study()?;
    let logs = page::Logs {
        edges: &log,
        light: &recording.display().to_string(),
    };
    let told = page::Told {
        rows: &rows,
        compared: &compared,
        carried: &carried,
        lit: &lit,
        tools: &tools,
        study: &study,
        seed: args.seed,
    };
    let (report, touch) = page::report(&logs, &told)?;
    super::write_file(&file("report.html"), report.as_bytes())?;
    if let Some(picture) = touch {
        super::write_file(&file("touch.svg"), picture.as_bytes())?;
    }

    let text = format!(
        "An invented length probe at an invented machine, seed {}.\n\n{}\n\n{}\n\n{}\n\n{}\n{}\n\n\
         The same barrier, its light read by a 12-bit converter 50 000 times a second.\n\n{}\n\n\
         What the touches are for: invented tools, judged from the lines at the control and the positions of its axis.\n\n{}\n\n{}\n\n\
         {}\n{INVENTED} {LINES}\n{CAUTION}\n",
        args.seed,
        compared.table(),
        compared.summary(),
        carried.lead(),
        carried.table(),
        carried.cells_lead(),
        lit.table(),
        tools.table(),
        tools.sentence(),
        where_files_are(folder),
    );
    super::print(text.as_bytes())?;
    Ok(done
        .tell(talk)
        .map_or(Outcome::Holds, |_| Outcome::CouldNot))
}

/// Draws the light recording, replays it and writes what was found.
fn sampled(recording: &Path, seed: u64, folder: &Path) -> Result<Lit, Fault> {
    let truth = light::make(recording, seed)?;
    let name = recording.display().to_string();
    let mut rows = Vec::new();
    let settings = light::settings();
    replay(&name, &settings, &Options::default(), None, &mut |row| {
        rows.push(row);
        Ok(())
    })?;
    let lit = Lit::new(&truth, &rows);
    write_touches(&folder.join("light_touches.csv"), &rows)?;
    super::write_file(
        &folder.join("light_truth.csv"),
        scenario::truth_csv(lit.touches()).as_bytes(),
    )?;
    super::write_file(&folder.join("light.toml"), light::CONFIG.as_bytes())?;
    Ok(lit)
}

fn write_touches(path: &Path, rows: &[Row]) -> Result<(), Fault> {
    let mut text = Vec::new();
    // Writing to memory cannot fail.
    let _ = writeln!(text, "{COLUMNS}");
    for row in rows {
        let _ = writeln!(text, "{}", row.csv());
    }
    super::write_file(path, &text)
}

fn where_files_are(folder: &Path) -> String {
    let at = |name: &str| folder.join(name).display().to_string();
    format!(
        "Log {}, truth {}, touches {}, at the lines {}, pictures {}\nThe same again: trueonset replay {} --config {} --csv\n\
         for the light: trueonset replay {} --config {} --csv\nand for tool 1: {}",
        at("edges.csv"),
        at("truth.csv"),
        at("touches.csv"),
        at("air.csv"),
        at("report.html"),
        at("edges.csv"),
        at("replay.toml"),
        at("light.csv"),
        at("light.toml"),
        tools::command(&folder.join("tools")),
    )
}
