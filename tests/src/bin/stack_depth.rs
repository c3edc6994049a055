//! Worst-case stack out of a linked image: `stack_depth DISASSEMBLY SIZES`.
//!
//! DISASSEMBLY is that of `objdump -dC`, SIZES the section `.stack_sizes`: an address of 32 bits and the size of its
//! frame as ULEB128, for every function that the compiler made. Prints one line each: depth below `main`, below the
//! interrupt with the frame that the processor pushes, and of the deepest entry of the library with its name; of an image
//! with functions `entry_..`, one line for each of these instead. Where no
//! size is told, as of assembly, the frame is what all its `push` and `sub sp` together take. Guessed is one thing: a
//! call through a register is taken for one of any function whose address stands among the constants of the caller, as
//! where a compiler calls often whom it keeps in a register; an address that came from elsewhere would not be seen. Exit status 2 where no bound can be told: recursion, or such a call without any
//! such constant.

use std::collections::BTreeMap;
use std::error::Error;
use std::process::ExitCode;

/// What a Cortex-M pushes on its own for an interrupt, and what aligning it may take (Armv6-M manual, B1.5.6).
const EXCEPTION: u32 = 32 + 4;

/// A function of the image.
#[derive(Debug, Default)]
struct Function {
    name: String,
    /// As the compiler tells it.
    frame: Option<u32>,
    /// What its instructions take from the stack, all together.
    taken: u32,
    calls: Vec<u32>,
    /// It calls through a register; and its constants, of which some are functions.
    blind: bool,
    constants: Vec<u32>,
}

fn main() -> ExitCode {
    match run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("error: {why}");
            ExitCode::from(2)
        }
    }
}

fn run() -> Result<(), Box<dyn Error>> {
    let mut words = std::env::args().skip(1);
    let (Some(text), Some(sizes)) = (words.next(), words.next()) else {
        return Err("usage: stack_depth DISASSEMBLY SIZES".into());
    };
    let mut functions = disassembled(&std::fs::read_to_string(text)?)?;
    frames(&mut functions, &std::fs::read(sizes)?)?;
    // Of an image that has each entry in a function of its own, only those.
    let mut entries = Vec::new();
    for (at, function) in &functions {
        let entry = function.name.split_once("::entry_");
        if let Some((_, name)) = entry.filter(|(_, name)| !name.contains('{')) {
            entries.push((depth(&functions, *at, &mut Vec::new())?, name));
        }
    }
    if !entries.is_empty() {
        entries.sort();
        for (depth, name) in entries.iter().rev() {
            println!("{name} {} {}", depth.bytes, depth.path);
        }
        return Ok(());
    }
    let find = |name: &str| {
        let mut all = functions.iter();
        let found = all.find(|(_, function)| function.name == name);
        found
            .map(|(at, _)| *at)
            .ok_or(format!("no function {name}"))
    };
    let main = depth(&functions, find("main")?, &mut Vec::new())?;
    let interrupt = depth(&functions, find("DefaultHandler")?, &mut Vec::new())?;
    let mut deepest = Depth::default();
    for (at, function) in &functions {
        if function.name.contains("trueonset::") {
            deepest = deepest.max(depth(&functions, *at, &mut Vec::new())?);
        }
    }
    println!("main {} {}", main.bytes, main.path);
    println!(
        "interrupt {} {}",
        EXCEPTION + interrupt.bytes,
        interrupt.path
    );
    println!("entry {} {}", deepest.bytes, deepest.path);
    Ok(())
}

/// The functions and whom each calls, tail calls included.
fn disassembled(text: &str) -> Result<BTreeMap<u32, Function>, Box<dyn Error>> {
    let mut functions: BTreeMap<u32, Function> = BTreeMap::new();
    let mut present = 0;
    for line in text.lines() {
        let head = line
            .strip_suffix(">:")
            .and_then(|line| line.split_once(" <"));
        if let Some((at, name)) = head {
            present = u32::from_str_radix(at, 16)?;
            name.clone_into(&mut functions.entry(present).or_default().name);
            continue;
        }
        let Some(function) = functions.get_mut(&present) else {
            continue;
        };
        let mut columns = line.split('\t').skip(2);
        let (Some(what), Some(whom)) = (columns.next(), columns.next()) else {
            continue;
        };
        let what = what.trim();
        if what == ".word" {
            let constant = whom.trim_start_matches("0x");
            function.constants.extend(u32::from_str_radix(constant, 16));
        } else if let Some(taken) = taken(what, whom) {
            function.taken += taken;
        } else if what == "blx" || what == "bx" && whom != "lr" {
            function.blind = true;
        } else if what.starts_with('b') {
            let target = whom.split_once(' ').map_or(whom, |(target, _)| target);
            function.calls.extend(u32::from_str_radix(target, 16));
        }
    }
    // A branch to elsewhere inside a function is none to another.
    let starts: Vec<u32> = functions.keys().copied().collect();
    for (at, function) in &mut functions {
        let is_other = |call: &u32| call != at && starts.binary_search(call).is_ok();
        function.calls.retain(is_other);
        if function.blind {
            // Thumb code has odd addresses.
            let odd = function
                .constants
                .iter()
                .filter(|constant| *constant & 1 == 1);
            let called: Vec<u32> = odd.map(|constant| constant & !1).filter(is_other).collect();
            function.blind = called.is_empty();
            function.calls.extend(called);
        }
    }
    Ok(functions)
}

/// The frames that the compiler tells of.
fn frames(functions: &mut BTreeMap<u32, Function>, sizes: &[u8]) -> Result<(), Box<dyn Error>> {
    let mut rest = sizes;
    let mut told = 0;
    while let Some((at, more)) = rest.split_first_chunk::<4>() {
        let (mut frame, mut shift) = (0_u32, 0);
        rest = more;
        loop {
            let (byte, more) = rest.split_first().ok_or("a size is cut off")?;
            rest = more;
            frame |= u32::from(byte & 0x7F) << shift;
            shift += 7;
            if byte & 0x80 == 0 {
                break;
            }
        }
        if let Some(function) = functions.get_mut(&(u32::from_le_bytes(*at) & !1)) {
            function.frame = Some(frame);
            told += 1;
        }
    }
    if told < 20 {
        return Err(
            format!("only {told} frames are told: was it built with -Z emit-stack-sizes?").into(),
        );
    }
    Ok(())
}

/// How deep, and by which functions with their frames.
#[derive(Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
struct Depth {
    bytes: u32,
    path: String,
}

/// Frame of a function and the deepest below it.
fn depth(
    functions: &BTreeMap<u32, Function>,
    at: u32,
    above: &mut Vec<u32>,
) -> Result<Depth, Box<dyn Error>> {
    let function = &functions[&at];
    if function.blind {
        return Err(format!("{} calls through a register", function.name).into());
    }
    if above.contains(&at) {
        return Err(format!("{} comes back to itself", function.name).into());
    }
    above.push(at);
    let mut below = Depth::default();
    for call in &function.calls {
        below = below.max(depth(functions, *call, above)?);
    }
    above.pop();
    let frame = function.frame.unwrap_or(function.taken);
    Ok(Depth {
        bytes: frame + below.bytes,
        path: format!("{} {frame}; {}", function.name, below.path),
    })
}

/// Bytes that an instruction takes from the stack: `push {r4, r6-r8, lr}`, `sub sp, #24`.
fn taken(what: &str, whom: &str) -> Option<u32> {
    if what.starts_with("sub") {
        let bytes = whom.strip_prefix("sp, ")?.trim_start_matches("sp, ");
        return bytes
            .split([' ', ';'])
            .next()?
            .strip_prefix('#')?
            .parse()
            .ok();
    }
    let list = match what {
        "push" | "push.w" => whom,
        "stmdb" => whom.strip_prefix("sp!, ")?,
        _ => return None,
    };
    let number = |name: &str| match name {
        "fp" => Some(11),
        "ip" => Some(12),
        "lr" => Some(14),
        name => name.strip_prefix('r')?.parse().ok(),
    };
    let registers = list.trim_start_matches('{').split('}').next()?;
    let registers = registers
        .split(", ")
        .map(|part| match part.split_once('-') {
            Some((first, last)) => Some(number(last)? - number(first)? + 1),
            None => number(part).map(|_| 1_u32),
        });
    registers.sum::<Option<u32>>().map(|count| 4 * count)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The division of the compiler's own runtime, of which no size is told.
    #[test]
    fn a_frame_that_is_not_told_is_read_off_the_instructions() {
        let text = "00000100 <__aeabi_uldivmod>:\n\
             \x20    100:\tb5f0      \tpush\t{r4, r5, r6, r7, lr}\n\
             \x20    102:\tb081      \tsub\tsp, #4\n\
             \x20    104:\tbdf0      \tpop\t{r4, r5, r6, r7, pc}\n\n\
             00000110 <main>:\n\
             \x20    110:\tb500      \tpush\t{lr}\n\
             \x20    112:\tf7ff fff5 \tbl\t100 <__aeabi_uldivmod>\n";
        let functions = disassembled(text).unwrap();
        let depth = depth(&functions, 0x110, &mut Vec::new()).unwrap();
        assert_eq!(depth.bytes, 24 + 4);
        assert_eq!(taken("stmdb", "sp!, {r4-r8, fp, lr}"), Some(28));
        assert_eq!(taken("sub.w", "sp, sp, #24"), Some(24));
        assert_eq!(taken("sub", "sp, #8 ; 0x8"), Some(8));
        assert_eq!(taken("subs", "r4, #8"), None);
    }
}
