//! trueonset for programs in C: a counter that does not wrap, lines that find the instant of contact.
//!
//! The caller owns all memory: each state is a struct of a size the header knows, made ready by its
//! `_start` or `_config` and used by one thread or interrupt at a time. Functions say what happened
//! or, from [`TRUEONSET_NULL`] on, why nothing did. Nothing allocates, waits, reads a clock or panics.
//!
//! ```text
//! cargo build --release -p trueonset-c [--target thumbv6m-none-eabi]    # libtrueonset_c.a
//! cc -Wl,--gc-sections replay.c libtrueonset_c.a
//! ```
//!
//! Build it with the profile of this workspace (the whole program in one piece), and let the linker
//! drop what nobody calls; `trueonset.h` is the header, `replay.c` a whole program, `board/` what it
//! needs besides to run on the emulated boards. `tests/run c` has the commands in full.
//!
//! This crate is the only place of the project with `unsafe` in a library: all of it is the reading
//! and writing of the caller's memory, in [`room`].
//!
//! A measuring signal, not a safety function; no performance level is claimed; guards and emergency
//! stop stay in charge.
#![no_std]

mod room;

use core::ffi::c_char;

use trueonset::edge::{Edge, Level};
use trueonset::flags::Flags;
use trueonset::onset::{
    Config, ConfigError, Contact, Doubt, DoubtKind, Event, Glitch, Line, Touched, Truncation,
};
use trueonset::time::{Bits, Counter, FineInstant, Instant, TickRate, TimeError};

use room::room;

/// A panic would call what does not exist: a program in C links only where none can be reached.
#[panic_handler]
fn panic(_: &core::panic::PanicInfo) -> ! {
    extern "C" {
        fn trueonset_a_panic_is_reachable() -> !;
    }
    // SAFETY: never linked, so never called.
    unsafe { trueonset_a_panic_is_reachable() }
}

/// Nothing to tell.
pub const TRUEONSET_NOTHING: u8 = 0;
/// The tool touched.
pub const TRUEONSET_TOUCH: u8 = 1;
/// The tool let go.
pub const TRUEONSET_RELEASE: u8 = 2;
/// Edges without a change of contact.
pub const TRUEONSET_GLITCH: u8 = 3;
/// Refused: a pointer is null.
pub const TRUEONSET_NULL: u8 = 128;
/// Refused: a state that was not made ready.
pub const TRUEONSET_NOT_STARTED: u8 = 129;
/// Refused: a number that stands for no level, side or width.
pub const TRUEONSET_NO_SUCH: u8 = 130;
/// Refused: a tick rate of 0 Hz.
pub const TRUEONSET_BAD_RATE: u8 = 131;
/// Refused: a hold of less than a tick, or of more than 2^31 - 1.
pub const TRUEONSET_BAD_HOLD: u8 = 132;
/// Refused: a capture step of 0, or of more than 65536 ticks.
pub const TRUEONSET_BAD_STEP: u8 = 133;

/// Flag: the stated doubt is an upper bound, not an estimate.
pub const TRUEONSET_FLAG_UPPER: u32 = 1 << 0;
/// Flag: the hold is short against the chatter (below 25 mean dwells).
pub const TRUEONSET_FLAG_SHORT_HOLD: u32 = 1 << 1;
/// Flag: the chatter is far too wide for its number of edges.
pub const TRUEONSET_FLAG_ROUGH: u32 = 1 << 2;
/// Flag: the release did not start from deep contact, its doubt is not known.
pub const TRUEONSET_FLAG_SHALLOW: u32 = 1 << 3;
/// Flag: balance point and causal estimate disagreed; the causal one was used.
pub const TRUEONSET_FLAG_HYBRID: u32 = 1 << 4;
/// Flag: the hardware overwrote a stamp before it was read.
pub const TRUEONSET_FLAG_OVERCAPTURE: u32 = 1 << 5;
/// Flag: two edges to the same level in a row, so at least one is missing.
pub const TRUEONSET_FLAG_LOST_EDGE: u32 = 1 << 6;
/// Flag: a stamp before its predecessor, or one whose high bits are in doubt.
pub const TRUEONSET_FLAG_TIME_BACK: u32 = 1 << 7;
/// Flag: the level could not be read for a while.
pub const TRUEONSET_FLAG_UNKNOWN_LEVEL: u32 = 1 << 8;
/// Flag: the contact of a turning cutter, hits merged into one touch.
pub const TRUEONSET_FLAG_INTERRUPTED: u32 = 1 << 9;
/// Flag: contact that broke up several times before it held.
pub const TRUEONSET_FLAG_FLUTTER: u32 = 1 << 10;
/// Flag: dirt has taken a large part of the light.
pub const TRUEONSET_FLAG_FILM: u32 = 1 << 11;
/// Flag: too little light, or light that went faster than any blade could take it.
pub const TRUEONSET_FLAG_DARK: u32 = 1 << 12;
/// Flag: more light than the converter can show.
pub const TRUEONSET_FLAG_SATURATED: u32 = 1 << 13;
/// Flag: foreign light changes with the mains or a lamp.
pub const TRUEONSET_FLAG_FLICKER: u32 = 1 << 14;
/// Flag: the light has not changed for too long.
pub const TRUEONSET_FLAG_STUCK: u32 = 1 << 15;
/// Flag: the rest level was not known well enough.
pub const TRUEONSET_FLAG_NOT_SETTLED: u32 = 1 << 16;
/// Flag: samples are missing.
pub const TRUEONSET_FLAG_GAP: u32 = 1 << 17;
/// Flag: the blade itself swings: chatter far too wide, and rich in edges.
pub const TRUEONSET_FLAG_VIBRATION: u32 = 1 << 18;
/// Flag: touches that agree, but on one spot: a chip lying there would agree as well.
pub const TRUEONSET_FLAG_SAME_SPOT: u32 = 1 << 19;

/// The bits are those of the library.
const _: () = {
    assert!(TRUEONSET_FLAG_UPPER == Flags::UPPER.bits());
    assert!(TRUEONSET_FLAG_SHORT_HOLD == Flags::SHORT_HOLD.bits());
    assert!(TRUEONSET_FLAG_ROUGH == Flags::ROUGH.bits());
    assert!(TRUEONSET_FLAG_SHALLOW == Flags::SHALLOW.bits());
    assert!(TRUEONSET_FLAG_HYBRID == Flags::HYBRID.bits());
    assert!(TRUEONSET_FLAG_OVERCAPTURE == Flags::OVERCAPTURE.bits());
    assert!(TRUEONSET_FLAG_LOST_EDGE == Flags::LOST_EDGE.bits());
    assert!(TRUEONSET_FLAG_TIME_BACK == Flags::TIME_BACK.bits());
    assert!(TRUEONSET_FLAG_UNKNOWN_LEVEL == Flags::UNKNOWN_LEVEL.bits());
    assert!(TRUEONSET_FLAG_INTERRUPTED == Flags::INTERRUPTED.bits());
    assert!(TRUEONSET_FLAG_FLUTTER == Flags::FLUTTER.bits());
    assert!(TRUEONSET_FLAG_FILM == Flags::FILM.bits());
    assert!(TRUEONSET_FLAG_DARK == Flags::DARK.bits());
    assert!(TRUEONSET_FLAG_SATURATED == Flags::SATURATED.bits());
    assert!(TRUEONSET_FLAG_FLICKER == Flags::FLICKER.bits());
    assert!(TRUEONSET_FLAG_STUCK == Flags::STUCK.bits());
    assert!(TRUEONSET_FLAG_NOT_SETTLED == Flags::NOT_SETTLED.bits());
    assert!(TRUEONSET_FLAG_GAP == Flags::GAP.bits());
    assert!(TRUEONSET_FLAG_VIBRATION == Flags::VIBRATION.bits());
    assert!(TRUEONSET_FLAG_SAME_SPOT == Flags::SAME_SPOT.bits());
};

/// Of the header that a program was compiled with: what changes the layout of a struct or the
/// meaning of a function changes this. See TRUEONSET_FITS.
pub const TRUEONSET_VERSION: u32 = 2;

/// Level: low.
pub const TRUEONSET_LOW: u8 = 0;
/// Level: high.
pub const TRUEONSET_HIGH: u8 = 1;
/// Level: could not be read.
pub const TRUEONSET_UNKNOWN: u8 = 2;

/// Capture stores the step before the edge, as timers usually do.
pub const TRUEONSET_BEFORE: u8 = 0;
/// Capture stores the nearest step.
pub const TRUEONSET_NEAREST: u8 = 1;
/// Capture stores the step after the edge.
pub const TRUEONSET_AFTER: u8 = 2;

/// What the user decides about a line.
#[repr(C)]
pub struct TrueonsetSettings {
    /// How long a level must last to count as a touch, ns.
    pub hold_ns: u64,
    /// The same for a release, ns; 0: as for a touch.
    pub release_hold_ns: u64,
    /// Ticks of the capture clock in a second, 1 or more.
    pub tick_hz: u32,
    /// Bandwidth of comparator or filter, Hz; 0: not known.
    pub bandwidth_hz: u32,
    /// Step of the capture, 1/256 tick: 256 where every tick is counted.
    pub step_256: u32,
    /// Which step it stores: TRUEONSET_BEFORE, TRUEONSET_NEAREST, TRUEONSET_AFTER.
    pub side: u8,
    /// Level in contact: TRUEONSET_HIGH, TRUEONSET_LOW.
    pub touched: u8,
}

/// Checked settings; one serves any number of lines. Its content is the library's own.
#[repr(C)]
pub struct TrueonsetConfig {
    mark: u64,
    room: [u64; 6],
}
room!(TrueonsetConfig, Config, 0x1f1d_7c0f);

/// One line, from edges to touches. Its content is the library's own.
#[repr(C)]
pub struct TrueonsetLine {
    mark: u64,
    room: [u64; 20],
}
room!(TrueonsetLine, Line, 0x1f1d_711e);

/// A hardware counter, widened to ticks that do not wrap. Its content is the library's own.
#[repr(C)]
pub struct TrueonsetCounter {
    mark: u64,
    room: [u64; 2],
}
room!(TrueonsetCounter, Counter, 0x1f1d_7c02);

/// What a line has to say. Of a glitch only first and last edge, width, edges and flags count.
#[repr(C)]
pub struct TrueonsetEvent {
    /// The instant of contact, whole ticks.
    pub onset_ticks: u64,
    /// First edge of the chatter, ticks.
    pub first_edge_ticks: u64,
    /// Last edge of the chatter, ticks.
    pub last_edge_ticks: u64,
    /// When the hold was over, ticks.
    pub confirmed_ticks: u64,
    /// Balance point of the chatter, whole ticks.
    pub balance_ticks: u64,
    /// Where the one-bit cumulative sum had its minimum, whole ticks.
    pub causal_ticks: u64,
    /// Time a glitch spent away, ticks.
    pub width_ticks: u64,
    /// Standard uncertainty of the onset, 1/16 tick, rounded up; 0: not known.
    pub doubt_16: u32,
    /// Edges of the chatter.
    pub edges: u32,
    /// Remarks, see trueonset_flag_word.
    pub flags: u32,
    /// Parts of the onset beyond its whole ticks, 1/256 tick.
    pub onset_256: u8,
    /// The same of the balance point.
    pub balance_256: u8,
    /// The same of the cumulative sum.
    pub causal_256: u8,
    /// What the doubt rests on: 0 assumed, 1 limit, 2 pooled, 3 measured, 4 rough.
    pub kind: u8,
}

/// Where every edge given to a line went.
#[repr(C)]
pub struct TrueonsetTally {
    /// Edges of touches.
    pub touches: u32,
    /// Edges of releases.
    pub releases: u32,
    /// Edges of glitches.
    pub glitches: u32,
    /// The edge that first told the level of a line that began unknown.
    pub initial: u32,
    /// Edges not used.
    pub refused: u32,
    /// Edges of an episode still open.
    pub pending: u32,
}

/// Checks `settings` and makes `config` ready. Returns TRUEONSET_NOTHING, or which one is refused.
///
/// # Safety
/// Both pointers are null or point to their structs.
#[no_mangle]
pub unsafe extern "C" fn trueonset_config(
    config: *mut TrueonsetConfig,
    settings: *const TrueonsetSettings,
) -> u8 {
    // SAFETY: as the caller promises.
    let (Some(config), Some(settings)) = (unsafe { (config.as_mut(), settings.as_ref()) }) else {
        return TRUEONSET_NULL;
    };
    match checked(settings) {
        Ok(checked) => {
            config.put(checked);
            TRUEONSET_NOTHING
        }
        Err(why) => why,
    }
}

/// Ends `config`, for memory that others use after it, as that of a function: what is left there is
/// refused from now on.
///
/// # Safety
/// The pointer is null or points to its struct.
#[no_mangle]
pub unsafe extern "C" fn trueonset_config_end(config: *mut TrueonsetConfig) {
    // SAFETY: as the caller promises.
    if let Some(config) = unsafe { config.as_mut() } {
        config.end();
    }
}

fn checked(settings: &TrueonsetSettings) -> Result<Config, u8> {
    let refused = |why| match why {
        ConfigError::CaptureStep => TRUEONSET_BAD_STEP,
        _ => TRUEONSET_BAD_HOLD,
    };
    let rate = TickRate::from_hz(settings.tick_hz);
    let rate = rate.map_err(|_: TimeError| TRUEONSET_BAD_RATE)?;
    let side = match settings.side {
        TRUEONSET_BEFORE => Truncation::Before,
        TRUEONSET_NEAREST => Truncation::Nearest,
        TRUEONSET_AFTER => Truncation::After,
        _ => return Err(TRUEONSET_NO_SUCH),
    };
    let touched = match settings.touched {
        TRUEONSET_HIGH => Touched::High,
        TRUEONSET_LOW => Touched::Low,
        _ => return Err(TRUEONSET_NO_SUCH),
    };
    let mut config = Config::new(rate, settings.hold_ns)
        .and_then(|config| config.capture(side, settings.step_256))
        .map_err(refused)?;
    if settings.release_hold_ns > 0 {
        config = config
            .release_hold(settings.release_hold_ns)
            .map_err(refused)?;
    }
    if settings.bandwidth_hz > 0 {
        config = config
            .bandwidth_hz(settings.bandwidth_hz)
            .map_err(refused)?;
    }
    Ok(config.touched(touched))
}

/// Makes `line` ready, at `level` since `at_ticks`. Returns TRUEONSET_NOTHING, or why it is refused.
///
/// # Safety
/// Both pointers are null or point to their structs.
#[no_mangle]
pub unsafe extern "C" fn trueonset_line_start(
    line: *mut TrueonsetLine,
    config: *const TrueonsetConfig,
    level: u8,
    at_ticks: u64,
) -> u8 {
    // SAFETY: as the caller promises.
    let (Some(line), Some(config)) = (unsafe { (line.as_mut(), config.as_ref()) }) else {
        return TRUEONSET_NULL;
    };
    let Some(config) = config.get() else {
        return TRUEONSET_NOT_STARTED;
    };
    let Some(level) = self::level(level) else {
        return TRUEONSET_NO_SUCH;
    };
    line.put(Line::new(config, level, Instant::from_ticks(at_ticks)));
    TRUEONSET_NOTHING
}

/// Ends `line`, for memory that others use after it, as that of a function: what is left there is
/// refused from now on.
///
/// # Safety
/// The pointer is null or points to its struct.
#[no_mangle]
pub unsafe extern "C" fn trueonset_line_end(line: *mut TrueonsetLine) {
    // SAFETY: as the caller promises.
    if let Some(line) = unsafe { line.as_mut() } {
        line.end();
    }
}

/// An edge to `level` at `at_ticks`; `faults` are those of trueonset_counter_widen and of the
/// hardware, or 0. Returns what happened, and fills `event` then, or why nothing did.
///
/// # Safety
/// The pointers are null or point to their structs.
#[no_mangle]
pub unsafe extern "C" fn trueonset_line_edge(
    line: *mut TrueonsetLine,
    config: *const TrueonsetConfig,
    at_ticks: u64,
    level: u8,
    faults: u32,
    event: *mut TrueonsetEvent,
) -> u8 {
    let Some(level) = self::level(level) else {
        return TRUEONSET_NO_SUCH;
    };
    let edge = Edge::new(Instant::from_ticks(at_ticks), level);
    let edge = edge.with_faults(Flags::from_bits(faults));
    // SAFETY: as the caller promises.
    unsafe { step(line, config, event, |line, config| line.edge(config, edge)) }
}

/// Edges before `now_ticks` were lost: a queue between interrupt and loop had no room, or the capture
/// stood still. The line was out of sight and is at `level` now, which the pin shows; what it tells of
/// that time has TRUEONSET_FLAG_OVERCAPTURE. Returns what had happened before, and fills `event` then,
/// or why nothing did.
///
/// # Safety
/// The pointers are null or point to their structs.
#[no_mangle]
pub unsafe extern "C" fn trueonset_line_lost(
    line: *mut TrueonsetLine,
    config: *const TrueonsetConfig,
    now_ticks: u64,
    level: u8,
    event: *mut TrueonsetEvent,
) -> u8 {
    let Some(level) = self::level(level) else {
        return TRUEONSET_NO_SUCH;
    };
    let edges = [Level::Unknown, level].map(|level| {
        let edge = Edge::new(Instant::from_ticks(now_ticks), level);
        edge.with_faults(Flags::OVERCAPTURE)
    });
    let act = |line: &mut Line, config: &Config| {
        // Out of sight, the second has nothing to tell.
        let told = edges.map(|edge| line.edge(config, edge));
        told.into_iter().flatten().next()
    };
    // SAFETY: as the caller promises.
    unsafe { step(line, config, event, act) }
}

/// Time has reached `now_ticks`: call it by trueonset_line_deadline or any time later. Returns what
/// happened, and fills `event` then, or why nothing did.
///
/// # Safety
/// The pointers are null or point to their structs.
#[no_mangle]
pub unsafe extern "C" fn trueonset_line_poll(
    line: *mut TrueonsetLine,
    config: *const TrueonsetConfig,
    now_ticks: u64,
    event: *mut TrueonsetEvent,
) -> u8 {
    let now = Instant::from_ticks(now_ticks);
    // SAFETY: as the caller promises.
    unsafe { step(line, config, event, |line, config| line.poll(config, now)) }
}

unsafe fn step(
    line: *mut TrueonsetLine,
    config: *const TrueonsetConfig,
    event: *mut TrueonsetEvent,
    act: impl FnOnce(&mut Line, &Config) -> Option<Event>,
) -> u8 {
    // SAFETY: as the caller's caller promises.
    let given = unsafe { (line.as_mut(), config.as_ref(), event.as_mut()) };
    let (Some(line), Some(config), Some(event)) = given else {
        return TRUEONSET_NULL;
    };
    let (Some(line), Some(config)) = (line.get_mut(), config.get()) else {
        return TRUEONSET_NOT_STARTED;
    };
    let (what, told) = match act(line, config) {
        Some(Event::Touch(touch)) => (TRUEONSET_TOUCH, contact(&touch)),
        Some(Event::Release(release)) => (TRUEONSET_RELEASE, contact(&release)),
        Some(Event::Glitch(glitch)) => (TRUEONSET_GLITCH, self::glitch(&glitch)),
        _ => return TRUEONSET_NOTHING,
    };
    *event = told;
    what
}

/// When trueonset_line_poll is due. Returns 1 and fills `at_ticks`; 0 where nothing is open.
///
/// # Safety
/// The pointers are null or point to their values.
#[no_mangle]
pub unsafe extern "C" fn trueonset_line_deadline(
    line: *const TrueonsetLine,
    at_ticks: *mut u64,
) -> u8 {
    // SAFETY: as the caller promises.
    unsafe { instant(line, at_ticks, Line::deadline) }
}

/// First edge of what may still become a touch, a release or a glitch. Returns 1 and fills
/// `at_ticks`; 0 where nothing is open.
///
/// # Safety
/// The pointers are null or point to their values.
#[no_mangle]
pub unsafe extern "C" fn trueonset_line_open_since(
    line: *const TrueonsetLine,
    at_ticks: *mut u64,
) -> u8 {
    // SAFETY: as the caller promises.
    unsafe { instant(line, at_ticks, Line::open_since) }
}

unsafe fn instant(
    line: *const TrueonsetLine,
    at_ticks: *mut u64,
    ask: impl FnOnce(&Line) -> Option<Instant>,
) -> u8 {
    // SAFETY: as the caller's caller promises.
    let (Some(line), Some(to)) = (unsafe { (line.as_ref(), at_ticks.as_mut()) }) else {
        return TRUEONSET_NULL;
    };
    match line.get().map(ask) {
        None => TRUEONSET_NOT_STARTED,
        Some(None) => 0,
        Some(Some(at)) => {
            *to = at.ticks();
            1
        }
    }
}

/// Whether the tool touches: 1 yes, 0 no. See trueonset_line_is_sure.
///
/// # Safety
/// The pointer is null or points to its struct.
#[no_mangle]
pub unsafe extern "C" fn trueonset_line_in_contact(line: *const TrueonsetLine) -> u8 {
    // SAFETY: as the caller promises.
    unsafe { whether(line, Line::in_contact) }
}

/// Whether the level is known: 1 yes, 0 no. After an edge to TRUEONSET_UNKNOWN it is not until an
/// edge says where the line is; what trueonset_line_in_contact says is old until then.
///
/// # Safety
/// The pointer is null or points to its struct.
#[no_mangle]
pub unsafe extern "C" fn trueonset_line_is_sure(line: *const TrueonsetLine) -> u8 {
    // SAFETY: as the caller promises.
    unsafe { whether(line, Line::is_sure) }
}

unsafe fn whether(line: *const TrueonsetLine, ask: impl FnOnce(&Line) -> bool) -> u8 {
    // SAFETY: as the caller's caller promises.
    let Some(line) = (unsafe { line.as_ref() }) else {
        return TRUEONSET_NULL;
    };
    line.get()
        .map_or(TRUEONSET_NOT_STARTED, |line| ask(line).into())
}

/// Where the edges of `line` went. Returns TRUEONSET_NOTHING, or why it is refused.
///
/// # Safety
/// The pointers are null or point to their structs.
#[no_mangle]
pub unsafe extern "C" fn trueonset_line_tally(
    line: *const TrueonsetLine,
    tally: *mut TrueonsetTally,
) -> u8 {
    // SAFETY: as the caller promises.
    let (Some(line), Some(to)) = (unsafe { (line.as_ref(), tally.as_mut()) }) else {
        return TRUEONSET_NULL;
    };
    let Some(tally) = line.get().map(Line::tally) else {
        return TRUEONSET_NOT_STARTED;
    };
    *to = TrueonsetTally {
        touches: tally.touches,
        releases: tally.releases,
        glitches: tally.glitches,
        initial: tally.initial,
        refused: tally.refused,
        pending: tally.pending,
    };
    TRUEONSET_NOTHING
}

/// Makes `counter` ready: `bits` wide (16, 24 or 32), now at `start_ticks`, whose low bits are what
/// the hardware shows. Stamps may lie up to `back_ticks` before the newest time. Returns
/// TRUEONSET_NOTHING, or why it is refused.
///
/// # Safety
/// The pointer is null or points to its struct.
#[no_mangle]
pub unsafe extern "C" fn trueonset_counter_start(
    counter: *mut TrueonsetCounter,
    bits: u8,
    start_ticks: u64,
    back_ticks: u32,
) -> u8 {
    // SAFETY: as the caller promises.
    let Some(counter) = (unsafe { counter.as_mut() }) else {
        return TRUEONSET_NULL;
    };
    let bits = match bits {
        16 => Bits::B16,
        24 => Bits::B24,
        32 => Bits::B32,
        _ => return TRUEONSET_NO_SUCH,
    };
    let start = Instant::from_ticks(start_ticks);
    counter.put(Counter::new(bits, start).allowing_back_step(back_ticks));
    TRUEONSET_NOTHING
}

/// Ends `counter`, for memory that others use after it, as that of a function: what is left there is
/// refused from now on.
///
/// # Safety
/// The pointer is null or points to its struct.
#[no_mangle]
pub unsafe extern "C" fn trueonset_counter_end(counter: *mut TrueonsetCounter) {
    // SAFETY: as the caller promises.
    if let Some(counter) = unsafe { counter.as_mut() } {
        counter.end();
    }
}

/// Widens the counter value `raw`; call it at least once every half turn. Fills `at_ticks` and, for
/// trueonset_line_edge, `faults`. Returns TRUEONSET_NOTHING, or why it is refused.
///
/// # Safety
/// The pointers are null or point to their values.
#[no_mangle]
pub unsafe extern "C" fn trueonset_counter_widen(
    counter: *mut TrueonsetCounter,
    raw: u32,
    at_ticks: *mut u64,
    faults: *mut u32,
) -> u8 {
    // SAFETY: as the caller promises.
    let given = unsafe { (counter.as_mut(), at_ticks.as_mut(), faults.as_mut()) };
    let (Some(counter), Some(at), Some(faults)) = given else {
        return TRUEONSET_NULL;
    };
    let Some(counter) = counter.get_mut() else {
        return TRUEONSET_NOT_STARTED;
    };
    let stamp = counter.widen(raw);
    *at = stamp.at.ticks();
    *faults = stamp.faults.bits();
    TRUEONSET_NOTHING
}

/// The tick nearest to `ticks` and `part_256` 1/256 ticks, a half rounded up.
#[no_mangle]
pub extern "C" fn trueonset_nearest(ticks: u64, part_256: u8) -> u64 {
    let fine = FineInstant::new(Instant::from_ticks(ticks), i32::from(part_256));
    fine.nearest().ticks()
}

/// A doubt in ns, rounded up; 0 where it is not known or the tick rate is 0 Hz.
#[no_mangle]
pub extern "C" fn trueonset_doubt_ns(doubt_16: u32, tick_hz: u32) -> u64 {
    match (doubt_16, TickRate::from_hz(tick_hz)) {
        (1.., Ok(rate)) => Doubt::from_sixteenths(doubt_16).ns(rate),
        _ => 0,
    }
}

/// Whether the library goes with the header and the compiler of a program: 1 yes, 0 no. Call it as
/// TRUEONSET_FITS(), which gives it the version of the header and the size of every struct there:
/// an option that packs structs is found out as well.
#[no_mangle]
pub extern "C" fn trueonset_fits(
    version: u32,
    settings: usize,
    config: usize,
    line: usize,
    event: usize,
    tally: usize,
    counter: usize,
) -> u8 {
    let theirs = [settings, config, line, event, tally, counter];
    let ours = [
        size_of::<TrueonsetSettings>(),
        size_of::<TrueonsetConfig>(),
        size_of::<TrueonsetLine>(),
        size_of::<TrueonsetEvent>(),
        size_of::<TrueonsetTally>(),
        size_of::<TrueonsetCounter>(),
    ];
    u8::from(version == TRUEONSET_VERSION && theirs == ours)
}

/// The flags of a touch together with what its release adds.
#[no_mangle]
pub extern "C" fn trueonset_flags_with(touch: u32, release: u32) -> u32 {
    let touch = Flags::from_bits(touch);
    touch.with_release(Flags::from_bits(release)).bits()
}

/// Writes the word of the flag `1 << bit` and a closing zero to `out`, cut to `room` bytes. Returns
/// the length of the whole word; 0 where there is none.
///
/// # Safety
/// `out` is null or points to `room` bytes.
#[no_mangle]
pub unsafe extern "C" fn trueonset_flag_word(bit: u8, out: *mut c_char, room: usize) -> usize {
    let flag = Flags::from_bits(1_u32.checked_shl(u32::from(bit)).unwrap_or(0));
    let word = flag.words().next().unwrap_or("");
    if out.is_null() || room == 0 {
        return word.len();
    }
    let cut = word.len().min(room - 1);
    for (place, byte) in word.bytes().take(cut).chain([0]).enumerate() {
        // SAFETY: place is at most cut, which is below room.
        unsafe { out.add(place).write(byte as c_char) };
    }
    word.len()
}

/// The counter-example of the proof: a division by a number nobody knows.
#[cfg(feature = "reachable-panic")]
#[no_mangle]
pub extern "C" fn trueonset_reachable_panic(dividend: u32, divisor: u32) -> u32 {
    dividend / divisor
}

fn level(level: u8) -> Option<Level> {
    match level {
        TRUEONSET_LOW => Some(Level::Low),
        TRUEONSET_HIGH => Some(Level::High),
        TRUEONSET_UNKNOWN => Some(Level::Unknown),
        _ => None,
    }
}

fn contact(contact: &Contact) -> TrueonsetEvent {
    TrueonsetEvent {
        onset_ticks: contact.onset.whole().ticks(),
        first_edge_ticks: contact.first_edge.ticks(),
        last_edge_ticks: contact.last_edge.ticks(),
        confirmed_ticks: contact.confirmed.ticks(),
        balance_ticks: contact.balance.whole().ticks(),
        causal_ticks: contact.causal.whole().ticks(),
        width_ticks: 0,
        doubt_16: contact.doubt.map_or(0, Doubt::sixteenths),
        edges: contact.edges,
        flags: contact.flags.bits(),
        onset_256: contact.onset.part_256(),
        balance_256: contact.balance.part_256(),
        causal_256: contact.causal.part_256(),
        kind: match contact.kind {
            DoubtKind::Assumed => 0,
            DoubtKind::Limit => 1,
            DoubtKind::Pooled => 2,
            DoubtKind::Measured => 3,
            _ => 4,
        },
    }
}

fn glitch(glitch: &Glitch) -> TrueonsetEvent {
    TrueonsetEvent {
        onset_ticks: 0,
        first_edge_ticks: glitch.first_edge.ticks(),
        last_edge_ticks: glitch.last_edge.ticks(),
        confirmed_ticks: 0,
        balance_ticks: 0,
        causal_ticks: 0,
        width_ticks: glitch.width.ticks().unsigned_abs(),
        doubt_16: 0,
        edges: glitch.edges,
        flags: glitch.flags.bits(),
        onset_256: 0,
        balance_256: 0,
        causal_256: 0,
        kind: 0,
    }
}
