//! Faults put into a copy of the rules, one at a time, to see that each is found out by its name.
//!
//! The copy is made of the very files of core: each fault replaces a piece of text that must occur
//! there exactly once, by one that acts as before unless that fault is switched on. The copy is
//! built once; which fault is on is said when it runs.

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::atomic::{AtomicBool, Ordering};

use crate::{all, cycle, pairing};

/// A fault.
pub(crate) struct Fault {
    /// What is wrong.
    pub(crate) name: &'static str,
    /// File of core, the text there, and what stands for it; `FAULT` is true where it is on.
    pub(crate) file: &'static str,
    pub(crate) text: &'static str,
    pub(crate) instead: &'static str,
    /// The rules of which one must be found broken, by the beginnings of their names.
    pub(crate) rules: &'static [&'static str],
    /// The settings to look in, by a part of their names.
    pub(crate) among: &'static str,
}

const MACHINE: &str = "link/machine.rs";
const LATCH: &str = "lines/latch.rs";
const STORE: &str = "link/store.rs";

/// Those of links.
const LINK: &[Fault] = &[
    Fault {
        name: "an edge under confirmation is vouched for",
        file: MACHINE,
        text: "if all_timed && !clash && sure && is_seen(heard) {",
        instead: "if all_timed && !clash && sure && (FAULT || is_seen(heard)) {",
        rules: &["V1"],
        among: "edges told late",
    },
    Fault {
        name: "a frame that clashes is vouched for",
        file: MACHINE,
        text: "all_timed && !clash &&",
        instead: "all_timed && (FAULT || !clash) &&",
        rules: &["V1"],
        among: "clash and lost lock",
    },
    Fault {
        name: "a frame without a lock is vouched for",
        file: MACHINE,
        text: "let sure = is_sure(config, begin);\n        if all_timed",
        instead: "let sure = FAULT || is_sure(config, begin);\n        if all_timed",
        rules: &["V1"],
        among: "clash and lost lock",
    },
    Fault {
        name: "a join without a lock",
        file: MACHINE,
        text: "let sure = is_sure(config, begin);\n        let sound",
        instead: "let sure = FAULT || is_sure(config, begin);\n        let sound",
        rules: &["J7"],
        among: "clash and lost lock",
    },
    Fault {
        name: "a clash does not reach edges on their way",
        file: MACHINE,
        text: "self.playout.clash();",
        instead: "if !FAULT { self.playout.clash(); }",
        rules: &["I4c"],
        among: "clash and lost lock",
    },
    Fault {
        name: "a join in the middle of an edge",
        file: MACHINE,
        text: "!is_contradiction(heard) && is_seen(heard);",
        instead: "!is_contradiction(heard) && (FAULT || is_seen(heard));",
        rules: &["V1"],
        among: "edges told late",
    },
    Fault {
        name: "a join forgets bad tags",
        file: MACHINE,
        text: "self.fault = false;\n        }\n        Outcome::Joining",
        instead: "self.fault = false;\n            if FAULT { self.bad_tags.clear(); }\n        }\n        Outcome::Joining",
        rules: &["R3"],
        among: "flood",
    },
    Fault {
        name: "life by arrival",
        file: MACHINE,
        text: "self.last = self.last.max(begin.at);\n            Outcome::Life",
        instead: "self.last = self.last.max(if FAULT { self.now } else { begin.at });\n            Outcome::Life",
        rules: &["V1"],
        among: "edges, worst clock",
    },
    Fault {
        name: "validity not bound to life",
        file: MACHINE,
        text: "valid_until: Some(dead.min(due))",
        instead: "valid_until: Some(if FAULT { dead.later(9) } else { dead.min(due) })",
        rules: &["V1"],
        among: "edges, worst clock",
    },
    Fault {
        name: "no gate",
        file: MACHINE,
        text: "self.slots.fits(slot, arrival))",
        instead: "(FAULT || self.slots.fits(slot, arrival)))",
        rules: &["I3"],
        among: "second sender",
    },
    Fault {
        name: "no window",
        file: MACHINE,
        text: "if self.window.has(slot) {",
        instead: "if !FAULT && self.window.has(slot) {",
        rules: &["I3"],
        among: "edges, worst clock",
    },
    Fault {
        name: "a known number taken as new",
        file: MACHINE,
        text: "(0, ..) => {",
        instead: "(0, Kind::Normal, Some(time)) if FAULT => { self.pend(number, time, EdgeRemarks::NONE, None); true }\n            (0, ..) => {",
        rules: &["I3"],
        among: "edges, worst clock",
    },
    Fault {
        name: "a hello reports an edge again",
        file: MACHINE,
        text: "(2, Kind::Hello, _) if gap == 2 => false,",
        instead: "(2, Kind::Hello, _) if gap == 2 => { if FAULT { self.untimed = Some(number); } false }",
        rules: &["I3", "I10"],
        among: "hello",
    },
    Fault {
        name: "a frame of the older edge prolongs life",
        file: MACHINE,
        text: "(1, Kind::Older, Some(_)) => {\n                self.narrow(config, heard, time);\n                false",
        instead: "(1, Kind::Older, Some(_)) => {\n                self.narrow(config, heard, time);\n                FAULT",
        rules: &["O2"],
        among: "older edges",
    },
    Fault {
        name: "a frame after a skipped edge prolongs life",
        file: MACHINE,
        text: "self.pend(number, time, EdgeRemarks::NONE, None);\n                }\n                false",
        instead: "self.pend(number, time, EdgeRemarks::NONE, None);\n                }\n                FAULT",
        rules: &["O2"],
        among: "older edges",
    },
    Fault {
        name: "three edges in an outage accepted",
        file: MACHINE,
        text: "let step = number.wrapping_sub(self.known) & 31;",
        instead: "let far = number.wrapping_sub(self.known) & 31;\n        let step = if FAULT && far == 3 { self.known = number.wrapping_sub(1) & 31; 1 } else { far };",
        rules: &["O2", "I10"],
        among: "three edges",
    },
    Fault {
        name: "the older age taken for that of the newest edge",
        file: MACHINE,
        text: "(0, ..) => {",
        instead: "(1, Kind::Older, Some(time)) if FAULT => { self.pend(number, time, EdgeRemarks::NONE, None); self.known = number; true }\n            (0, ..) => {",
        rules: &["I4"],
        among: "older edges",
    },
    Fault {
        name: "validity ignores edges on their way",
        file: MACHINE,
        text: "let due = next_due.map_or(dead, |due| due.earlier(1));",
        instead: "let due = next_due.filter(|_| !FAULT).map_or(dead, |due| due.earlier(1));",
        rules: &["I6"],
        among: "stalls",
    },
    Fault {
        name: "an edge that runs out untimed is not latched",
        file: MACHINE,
        text: "if self.state == State::Live && self.gap() > 0 {",
        instead: "if !FAULT && self.state == State::Live && self.gap() > 0 {",
        rules: &["I10"],
        among: "edges, worst clock",
    },
    Fault {
        name: "a mistimed touch is not latched",
        file: MACHINE,
        text: "self.latch.set(Causes::TIME);",
        instead: "if !FAULT { self.latch.set(Causes::TIME); }",
        rules: &["I10"],
        among: "stalls",
    },
    Fault {
        name: "an unknown edge without time is not latched",
        file: MACHINE,
        text: "_ => {\n                self.latch.set(Causes::SEQUENCE);",
        instead: "_ => {\n                if !FAULT { self.latch.set(Causes::SEQUENCE); }",
        rules: &["I10"],
        among: "hello",
    },
    Fault {
        name: "a skipped edge is forgotten",
        file: MACHINE,
        text: "(2, Kind::Normal, Some(time)) => {",
        instead: "(2, Kind::Normal, Some(time)) if FAULT => { self.pend(number, time, EdgeRemarks::NONE, None); self.known = number; false }\n            (2, Kind::Normal, Some(time)) => {",
        rules: &["I10", "O2"],
        among: "older edges",
    },
    Fault {
        name: "re-arm by a level",
        file: LATCH,
        text: "let rose = level == Level::High && self.low;",
        instead: "let rose = level == Level::High && (FAULT || self.low);",
        rules: &["R1"],
        among: "flood and wire",
    },
    Fault {
        name: "no lock after a rise",
        file: LATCH,
        text: "let locked = now < self.locked_until;",
        instead: "let locked = !FAULT && now < self.locked_until;",
        rules: &["R2"],
        among: "wire",
    },
    Fault {
        name: "re-arm while the cause goes on",
        file: LATCH,
        text: "} else if obstacles.cause_persists {",
        instead: "} else if !FAULT && obstacles.cause_persists {",
        rules: &["R3"],
        among: "wire",
    },
    Fault {
        name: "re-arm without a sight of open contact",
        file: LATCH,
        text: "} else if self.open < open_needed {",
        instead: "} else if !FAULT && self.open < open_needed {",
        rules: &["R4"],
        among: "wire",
    },
    Fault {
        name: "re-arm with an edge on its way",
        file: LATCH,
        text: "} else if obstacles.edge_pending {",
        instead: "} else if !FAULT && obstacles.edge_pending {",
        rules: &["R5"],
        among: "edges, worst clock",
    },
    Fault {
        name: "a flood is not latched",
        file: MACHINE,
        text: "self.latch.set(Causes::FLOOD);",
        instead: "if !FAULT { self.latch.set(Causes::FLOOD); }",
        rules: &["F1"],
        among: "flood",
    },
    Fault {
        name: "a second sender is not latched",
        file: MACHINE,
        text: "self.latch.set(Causes::TWO_SENDERS);",
        instead: "if !FAULT { self.latch.set(Causes::TWO_SENDERS); }",
        rules: &["T1"],
        among: "second",
    },
    Fault {
        name: "the first decision is not stop",
        file: MACHINE,
        text: "let first = !core::mem::replace(&mut self.asked, true);",
        instead: "let first = !core::mem::replace(&mut self.asked, true) && !FAULT;",
        rules: &["P1"],
        among: "stalls",
    },
    Fault {
        name: "the mark is not read",
        file: STORE,
        text: "floor: stored.mark.unwrap_or_default(),",
        instead: "floor: stored.mark.map(|mark| if FAULT { Mark { slot: 0, ..mark } } else { mark }).unwrap_or_default(),",
        rules: &["J1a"],
        among: "one start, one loss",
    },
    Fault {
        name: "a mark is used before it is durable",
        file: STORE,
        text: "durable.boot == who.boot &&",
        instead: "FAULT || durable.boot == who.boot &&",
        rules: &["J1a"],
        among: "one start, one loss",
    },
    Fault {
        name: "the store runs back",
        file: STORE,
        text: "(Some(one), Some(other)) if one >= other => Self {",
        instead: "(Some(one), Some(other)) if (one >= other) != FAULT => Self {",
        rules: &["J1a", "J2"],
        among: "one start, one loss",
    },
    Fault {
        name: "one record of a far mark",
        file: STORE,
        text: "|| mark.slot > durable.slot.saturating_add(reserve)",
        instead: "|| !FAULT && mark.slot > durable.slot.saturating_add(reserve)",
        rules: &["J1a"],
        among: "one start, one loss",
    },
    Fault {
        name: "the number of a start is not lifted",
        file: MACHINE,
        text: "sealed.claim(self.marks.floor.boot)",
        instead: "sealed.claim(if FAULT { 0 } else { self.marks.floor.boot })",
        rules: &["J4"],
        among: "two short starts, one",
    },
    Fault {
        name: "no guard below the mark",
        file: STORE,
        text: "left >= u64::from(plan.guard_slots)",
        instead: "(FAULT || left >= u64::from(plan.guard_slots))",
        rules: &["J1b"],
        among: "few whole writes",
    },
    Fault {
        name: "the counter runs back with an older frame",
        file: MACHINE,
        text: "self.marks.floor = self.marks.floor.max(heard.who);",
        instead: "self.marks.floor = if FAULT { heard.who } else { self.marks.floor.max(heard.who) };",
        rules: &["J2"],
        among: "one start, one loss",
    },
    Fault {
        name: "torn records are taken for an empty store",
        file: STORE,
        text: "(None, None) => Self {\n                mark: None,",
        instead: "(None, None) => Self {\n                mark: FAULT.then_some(Mark::default()),",
        rules: &["J3"],
        among: "one start, one loss",
    },
    Fault {
        name: "a close is not kept to where power stays",
        file: STORE,
        text: "        self.durable = Some(mark);\n        self.wanted = None;",
        instead: "        if !FAULT { self.durable = Some(mark); }\n        self.wanted = None;",
        rules: &["J1a"],
        among: "closed, then goes on",
    },
    Fault {
        name: "a write that a close has overtaken counts",
        file: STORE,
        text: ".filter(|write| write.mark == mark) else {\n            return;",
        instead: ".filter(|write| write.mark == mark) else {\n            if FAULT { self.durable = self.durable.map(|durable| durable.max(mark)); }\n            return;",
        rules: &["J1a"],
        among: "closed, then goes on",
    },
    Fault {
        name: "another start is accepted while the link lives",
        file: MACHINE,
        text: "heard.who.boot == self.boot &&",
        instead: "(FAULT || heard.who.boot == self.boot) &&",
        rules: &["J5"],
        among: "two short starts, one",
    },
    Fault {
        name: "a write is asked for with every slot",
        file: STORE,
        text: "self.wanted.is_none() && mark > asked",
        instead: "(FAULT || self.wanted.is_none()) && mark > asked",
        rules: &["J6"],
        among: "one start, one loss",
    },
];

/// What is said where no rule is found broken: what an equivalent fault must come to.
pub(crate) const NONE_BROKEN: &str = "no rule is broken";

/// All faults.
fn every() -> Vec<&'static Fault> {
    LINK.iter()
        .chain(pairing::FAULTS)
        .chain(cycle::faults::ALL)
        .collect()
}

/// What the copy has on top: which fault is on.
const SWITCH: &str = "
/// Faults, for the walk.
pub mod fault {
    use core::sync::atomic::{AtomicUsize, Ordering};
    static ON: AtomicUsize = AtomicUsize::new(usize::MAX);
    /// Switches one on.
    pub fn switch(fault: usize) {
        ON.store(fault, Ordering::Relaxed);
    }
    pub(crate) fn is(fault: usize) -> bool {
        ON.load(Ordering::Relaxed) == fault
    }
}
";

/// Makes the copy, builds it and lets each fault run that is looked for in settings of that name;
/// whether all were found out.
pub(crate) fn all(limit: u64, among: &str) -> bool {
    match copy_and_build() {
        Ok(program) => run(&program, limit, among),
        Err(why) => {
            println!("no copy with faults: {why}");
            false
        }
    }
}

fn run(program: &Path, limit: u64, among: &str) -> bool {
    let every = every();
    let chosen = |number: &usize| every[*number].among.contains(among);
    let numbered: Vec<usize> = (0..every.len()).filter(chosen).collect();
    let fine = AtomicBool::new(true);
    crate::in_parallel(&numbered, |k| {
        let out = Command::new(program)
            .args(["fault", &limit.to_string()])
            .env("FAULT", k.to_string())
            .output();
        let said = match out {
            Ok(out) => String::from_utf8_lossy(&out.stdout).trim().to_owned(),
            Err(why) => why.to_string(),
        };
        let fault = every[*k];
        let found = fault.rules.iter().any(|rule| said.starts_with(rule));
        println!(
            "{:46} {}{said}",
            fault.name,
            if found { "found: " } else { "NOT FOUND: " }
        );
        fine.fetch_and(found, Ordering::Relaxed);
    });
    let fine = fine.into_inner();
    println!(
        "{} faults: {}",
        numbered.len(),
        if fine {
            "all found by name"
        } else {
            "not all found"
        }
    );
    fine
}

/// In the copy: looks for the fault that is on, and says which rule it breaks.
pub(crate) fn one(limit: u64) -> bool {
    let number = std::env::var("FAULT")
        .ok()
        .and_then(|text| text.parse::<usize>().ok());
    let Some(fault) = number.and_then(|number| every().get(number).copied()) else {
        println!("FAULT is not the number of one");
        return false;
    };
    for small in all::named(fault.among) {
        match small.walk(limit) {
            Ok(walked) => {
                if let Some((broken, path)) = walked.broken {
                    println!(
                        "{}, {} ({}, step {})",
                        broken.rule,
                        broken.what,
                        small.name(),
                        path.len()
                    );
                    return true;
                }
            }
            // It is so wrong that not even the beginning is reached.
            Err(why) => {
                println!("{why} ({}, beginning)", small.name());
                return true;
            }
        }
    }
    println!("{NONE_BROKEN}");
    false
}

fn copy_and_build() -> Result<PathBuf, String> {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    let root = here.parent().and_then(Path::parent).ok_or("no workspace")?;
    let target =
        std::env::var_os("CARGO_TARGET_DIR").map_or_else(|| root.join("target"), PathBuf::from);
    let copy = target.join("faults");
    let _ = std::fs::remove_dir_all(&copy);
    for folder in ["core/src", "tests/walk/src"] {
        copy_folder(&root.join(folder), &copy.join(folder))?;
    }
    for file in ["core/Cargo.toml", "tests/walk/Cargo.toml"] {
        copy_file(&root.join(file), &copy.join(file))?;
    }
    // A workspace of its own, with what the packages take from it.
    let whole = read(&root.join("Cargo.toml"))?;
    let members = "members = [\"core\", \"host-sim\", \"host-sim/rig\", \"tests\", \"tests/ops\", \"tests/walk\"]";
    if !whole.contains(members) {
        return Err("the workspace has other members".to_owned());
    }
    let own = whole
        .replace(members, "members = [\"core\", \"tests/walk\"]")
        .replace("exclude = [\"examples/firmware\"]\n", "");
    write(&copy.join("Cargo.toml"), &own)?;
    copy_file(&root.join("Cargo.lock"), &copy.join("Cargo.lock"))?;
    for (number, fault) in every().into_iter().enumerate() {
        let path = copy.join("core/src").join(fault.file);
        let text = read(&path)?;
        if text.matches(fault.text).count() != 1 {
            return Err(format!(
                "{}: its place is not found exactly once in {}",
                fault.name, fault.file
            ));
        }
        let on = format!("crate::fault::is({number})");
        write(
            &path,
            &text.replace(fault.text, &fault.instead.replace("FAULT", &on)),
        )?;
    }
    let lib = copy.join("core/src/lib.rs");
    write(&lib, &(read(&lib)? + SWITCH))?;
    let main = copy.join("tests/walk/src/main.rs");
    let switched = read(&main)?.replacen(
        "    let args: Vec<String>",
        "    if let Some(fault) = std::env::var(\"FAULT\").ok().and_then(|text| text.parse().ok()) {\n        trueonset::fault::switch(fault);\n    }\n    let args: Vec<String>",
        1,
    );
    write(&main, &switched)?;
    let built = Command::new("cargo")
        .args([
            "build",
            "--release",
            "--quiet",
            "--offline",
            "-p",
            "trueonset-walk",
        ])
        .current_dir(&copy)
        .env("CARGO_TARGET_DIR", copy.join("target"))
        .status()
        .map_err(|why| why.to_string())?;
    if built.success() {
        Ok(copy.join("target/release/trueonset-walk"))
    } else {
        Err("the copy does not build".to_owned())
    }
}

fn read(path: &Path) -> Result<String, String> {
    std::fs::read_to_string(path).map_err(|why| format!("{}: {why}", path.display()))
}

fn write(path: &Path, text: &str) -> Result<(), String> {
    std::fs::write(path, text).map_err(|why| format!("{}: {why}", path.display()))
}

fn copy_file(from: &Path, to: &Path) -> Result<(), String> {
    if let Some(folder) = to.parent() {
        std::fs::create_dir_all(folder).map_err(|why| why.to_string())?;
    }
    std::fs::copy(from, to).map_err(|why| format!("{}: {why}", from.display()))?;
    Ok(())
}

fn copy_folder(from: &Path, to: &Path) -> Result<(), String> {
    let all = std::fs::read_dir(from).map_err(|why| format!("{}: {why}", from.display()))?;
    for entry in all {
        let path = entry.map_err(|why| why.to_string())?.path();
        let Some(name) = path.file_name() else {
            continue;
        };
        if path.is_dir() {
            copy_folder(&path, &to.join(name))?;
        } else {
            copy_file(&path, &to.join(name))?;
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The copy is made of texts that must not have moved away from under it.
    #[test]
    fn every_fault_has_its_place_in_core_and_a_setting_to_look_in() {
        let core = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../core/src");
        for fault in every() {
            let text = read(&core.join(fault.file)).unwrap();
            assert_eq!(text.matches(fault.text).count(), 1, "{}", fault.name);
            assert!(fault.instead.contains("FAULT"), "{}", fault.name);
            assert!(!all::named(fault.among).is_empty(), "{}", fault.name);
        }
    }
}
