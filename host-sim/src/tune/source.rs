//! The settings advised as Rust source that compiles against the library.

use trueonset::barrier::Method;
use trueonset::lateness::Lateness;
use trueonset::onset::Touched;

use super::advised::Advised;

/// Tick of the capture timer that the source is written for, Hz; its user states another in one place.
pub const TICK_HZ: u32 = 16_000_000;

/// What a user has to know beside the source.
const HEAD: &str = "\
// Settings of a line, found by `trueonset tune` on recorded logs.
// Measuring signal, not a safety function; prove each program at reduced feed with the tool clear;
// guards and emergency stop stay in charge.
";

/// The source; `late` are calibrated constants.
#[must_use]
pub fn source(advised: &Advised, touched: Touched, late: Option<&Lateness>) -> String {
    match advised.light {
        Some(facts) => format!(
            "{HEAD}use trueonset::barrier::{{BarrierConfig, BarrierError, Method}};\nuse trueonset::time::TickRate;\n\n\
             /// Tick of the clock that stamps samples, Hz: state that of the board.\npub const TICK_HZ: u32 = {};\n\
             /// Samples a second.\npub const SAMPLING_HZ: u32 = {};\n\
             /// Width of a sample.\npub const BITS: u8 = {};\n{}\n\
             const fn config() -> Result<BarrierConfig, BarrierError> {{\n\
             \x20   let Ok(rate) = TickRate::from_hz(TICK_HZ) else {{\n\
             \x20       return Err(BarrierError::SamplingRate);\n\
             \x20   }};\n\
             \x20   let config = match BarrierConfig::new(rate, SAMPLING_HZ, HOLD_NS) {{\n\
             \x20       Ok(config) => config,\n\
             \x20       Err(why) => return Err(why),\n\
             \x20   }};\n\
             \x20   let config = match config.bits(BITS) {{\n\
             \x20       Ok(config) => config,\n\
             \x20       Err(why) => return Err(why),\n\
             \x20   }};\n\
             \x20   config.method(Method::{})\n}}\n\n\
             /// The settings, checked while this compiles.\n\
             pub const CONFIG: BarrierConfig = match config() {{\n    Ok(config) => config,\n    Err(_) => panic!(\"settings\"),\n}};\n",
            grouped(u64::from(TICK_HZ)),
            grouped(u64::from(facts.rate_hz)),
            facts.bits,
            hold(advised.hold_ns),
            match advised.method {
                Some(Method::Area) => "Area",
                _ => "Matched",
            },
        ),
        None => of_edges(advised, touched, late),
    }
}

fn of_edges(advised: &Advised, touched: Touched, late: Option<&Lateness>) -> String {
    let touched = match touched {
        Touched::High => "High",
        Touched::Low => "Low",
    };
    let edge_ns = advised.edge_ns.map_or(0, |ns| ns.round() as u64);
    let (uses, lateness) = late.map_or((String::new(), String::new()), |late| {
        (
            "use trueonset::lateness::{Lateness, LatenessError};\n".to_owned(),
            constants(late),
        )
    });
    format!(
        "{HEAD}{uses}use trueonset::onset::{{Chatter, Config, ConfigError, Touched, Truncation}};\nuse trueonset::time::TickRate;\n\n\
         /// Tick of the capture timer, Hz: state that of the board.\npub const TICK_HZ: u32 = {};\n{}\
         /// Bandwidth of comparator or filter, Hz.\npub const BANDWIDTH_HZ: u32 = {};\n\
         /// Noise that one edge of chatter stands for, ns; 0 is not known.\npub const EDGE_NS: u64 = {};\n\n\
         const fn config() -> Result<Config, ConfigError> {{\n\
         \x20   let Ok(rate) = TickRate::from_hz(TICK_HZ) else {{\n\
             \x20       return Err(ConfigError::CaptureStep);\n\
             \x20   }};\n\
         \x20   let config = match Config::new(rate, HOLD_NS) {{\n\
             \x20       Ok(config) => config,\n\
             \x20       Err(why) => return Err(why),\n\
             \x20   }};\n\
         \x20   // One tick a step, cut off to the tick before, as most capture units do.\n\
         \x20   let config = match config.capture(Truncation::Before, 256) {{\n\
             \x20       Ok(config) => config,\n\
             \x20       Err(why) => return Err(why),\n\
             \x20   }};\n\
         \x20   match config.bandwidth_hz(BANDWIDTH_HZ) {{\n\
             \x20       Ok(config) => Ok(config.touched(Touched::{touched})),\n\
             \x20       Err(why) => Err(why),\n\
             \x20   }}\n\
         }}\n\n\
         /// The settings, checked while this compiles.\n\
         pub const CONFIG: Config = match config() {{\n    Ok(config) => config,\n    Err(_) => panic!(\"settings\"),\n}};\n\n\
         /// What the chatter is known to be like: the square of EDGE_NS in 1/256 tick\u{b2}.\n\
         pub const CHATTER: Chatter = Chatter::known(\n\
         \x20   ((EDGE_NS as u128 * TICK_HZ as u128).pow(2) / 1_000_000_000_000_000_000 * 256) as u64,\n);\n{lateness}",
        grouped(u64::from(TICK_HZ)),
        hold(advised.hold_ns),
        grouped(u64::from(advised.bandwidth_hz)),
        grouped(edge_ns),
    )
}

fn hold(hold_ns: u64) -> String {
    format!(
        "/// How long a level must last to count, ns.\npub const HOLD_NS: u64 = {};\n",
        grouped(hold_ns)
    )
}

/// Calibrated constants of the edge path.
fn constants(late: &Lateness) -> String {
    let [least, most] = late.others();
    let assumed = if late.is_turn_assumed() {
        ".turn_assumed()"
    } else {
        ""
    };
    format!(
        "\nconst fn lateness(\n    delay_ps: (i64, u32),\n    offset_pm: (u32, u32),\n    turn_nm_s: u32,\n    together: i16,\n) -> Result<Lateness, LatenessError> {{\n\
         \x20   let late = match Lateness::delay(delay_ps.0, delay_ps.1) {{\n\
             \x20       Ok(late) => late,\n\
             \x20       Err(why) => return Err(why),\n\
             \x20   }};\n\
         \x20   let late = match late.offset(offset_pm.0, offset_pm.1, turn_nm_s) {{\n\
             \x20       Ok(late) => late,\n\
             \x20       Err(why) => return Err(why),\n\
             \x20   }};\n\
         \x20   late.together(together)\n\
         }}\n\n\
         /// What comparator and filter add, as calibrated: taken off by `Lateness::corrected`.\n\
         pub const LATENESS: Lateness = match (\n    {},\n    {},\n    {},\n) {{\n\
         \x20   (Ok(best), Ok(least), Ok(most)) => best.between(&least, &most){assumed},\n\
         \x20   _ => panic!(\"constants\"),\n\
         }};\n",
        one(late),
        one(&least),
        one(&most),
    )
}

fn one(late: &Lateness) -> String {
    format!(
        "lateness(({}, {}), ({}, {}), {}, {})",
        late.delay_ps(),
        late.delay_doubt_ps(),
        late.offset_pm(),
        late.offset_doubt_pm(),
        late.turn_nm_s(),
        late.together_permille(),
    )
}

/// A number with a `_` before each group of three digits.
fn grouped(number: u64) -> String {
    let digits = number.to_string();
    let mut text = String::new();
    for (k, digit) in digits.chars().enumerate() {
        if k > 0 && (digits.len() - k) % 3 == 0 {
            text.push('_');
        }
        text.push(digit);
    }
    text
}
