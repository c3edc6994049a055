//! The board of the emulator: timer with capture unit, pins, converter, air and flash.
//!
//! All of them live on the far side of a UART, in the program that drives the emulator and is
//! clock and world of its boards. On a real board a HAL stands here, and its registers instead of
//! these messages; numbers are little-endian:
//!
//! | to the board | bytes |
//! |---|---|
//! | `C` an edge was captured | counter 4, bits 1: 0 level, 1 over-captured, 2 level not known |
//! | `F` a frame was heard | counter at its first edge 4, frame 16 |
//! | `G` the timer has come to | counter 4, ticks of the pass 4, input pins 1, rest mV 2, loaded mV 2 |
//! | `S` what a place of the flash holds, before the first `G` | place 1, record 12 |
//! | `X` the watchdog bites | |
//!
//! | from the board | bytes |
//! |---|---|
//! | `F` a frame for the air | tick of its first edge 8, frame 16 |
//! | `S` a record for the flash | place 1, record 12 |
//! | `E` an edge for the control | onset 8 (0: none), bound 4, number 1, bits 1: 7 touched, else remarks |
//! | `D` waits until, at the latest | tick 8, drops its lines after tick 8, output pins 1, latched 1 |
//!
//! After `D` the board sleeps until `G`: so it never sees a tick that it may not see yet. A pass
//! takes time: the second look at the counter after `G`, and all later ones, find it further by the
//! ticks of the pass.
// Each image has its own part of the board.
#![allow(dead_code)]

#[cfg(feature = "async")]
mod bell;
mod uart;

use core::cell::RefCell;
use core::sync::atomic::{AtomicU8, Ordering};

use critical_section::Mutex;
use embedded_hal::digital::{Error, ErrorKind, ErrorType, InputPin, OutputPin};
use heapless::Deque;
use trueonset::edge::Level;
use trueonset::frame::{Mark, FRAME};
use trueonset::lines::Causes;
use trueonset::link::RECORD;
use trueonset::pins::{Capture, Captured, Records};
use trueonset::playout::PlayedEdge;
use trueonset::time::Instant;

#[cfg(feature = "async")]
#[allow(unused_imports)]
pub use bell::{ring, Bell};
#[allow(unused_imports)]
pub(crate) use uart::interrupt;
#[allow(unused_imports)]
pub use uart::restart;
#[cfg(target_arch = "riscv32")]
pub use uart::serve;
#[cfg(target_arch = "arm")]
#[allow(unused_imports)]
pub use uart::RECEIVED;

/// Number of the probe that the flash was paired with.
const ID: u16 = 0x5A5;

/// A byte of the log.
pub fn log(byte: u8) {
    uart::log(byte);
}

/// Length of the longest message.
const LONGEST: usize = 21;

struct Port {
    message: [u8; LONGEST],
    have: usize,
    /// The timer went on.
    go: bool,
    count: u32,
    /// By how much the counter is further at the next look.
    step: u32,
    inputs: u8,
    millivolts: (u16, u16),
    records: [Option<[u8; RECORD]>; 2],
    frames: Deque<(u32, [u8; FRAME]), 4>,
    lost: u32,
}

static PORT: Mutex<RefCell<Port>> = Mutex::new(RefCell::new(Port {
    message: [0; LONGEST],
    have: 0,
    go: false,
    count: 0,
    step: 0,
    inputs: 0,
    millivolts: (0, 0),
    records: [None; 2],
    frames: Deque::new(),
    lost: 0,
}));

/// Output pins as they are, and what else the next `D` tells.
static OUTPUTS: AtomicU8 = AtomicU8::new(0);

/// Nobody else borrows inside a critical section.
fn with<R: Default>(act: impl FnOnce(&mut Port) -> R) -> R {
    critical_section::with(|section| match PORT.borrow(section).try_borrow_mut() {
        Ok(mut port) => act(&mut port),
        Err(_) => R::default(),
    })
}

impl Port {
    /// One more byte; an edge, if it completes one.
    fn byte(&mut self, byte: u8) -> Option<Captured> {
        *self.message.get_mut(self.have)? = byte;
        self.have += 1;
        let length = match self.message[0] {
            b'C' => 6,
            b'F' => 21,
            b'G' => 14,
            b'S' => 2 + RECORD,
            _ => 1,
        };
        if self.have < length {
            return None;
        }
        self.have = 0;
        let [kind, c0, c1, c2, c3, rest @ ..] = self.message;
        let count = u32::from_le_bytes([c0, c1, c2, c3]);
        match kind {
            b'C' => {
                let bits = rest[0];
                let level = if bits & 4 == 0 {
                    Level::from(bits & 1 != 0)
                } else {
                    Level::Unknown
                };
                return Some(Captured {
                    raw: count,
                    level,
                    over: bits & 2 != 0,
                });
            }
            b'F' => {
                if self.frames.push_back((count, rest)).is_err() {
                    self.lost = self.lost.wrapping_add(1);
                }
            }
            b'G' => {
                let [s0, s1, s2, s3, inputs, r0, r1, l0, l1, ..] = rest;
                self.go = true;
                self.count = count;
                self.step = u32::from_le_bytes([s0, s1, s2, s3]);
                self.inputs = inputs;
                self.millivolts = (u16::from_le_bytes([r0, r1]), u16::from_le_bytes([l0, l1]));
            }
            b'S' => {
                let [_, place, record @ ..] = self.message;
                let kept = self.records.get_mut(usize::from(place));
                if let (Some(kept), Some(record)) = (kept, record.first_chunk()) {
                    *kept = Some(*record);
                }
            }
            b'X' => restart(),
            _ => {}
        }
        None
    }
}

/// Switches the board on and waits for its timer to start.
pub fn start() {
    uart::start();
    wait(None, None, Causes::NONE);
}

/// The same for a shell that enables interrupts later.
pub fn start_unheard() {
    uart::switch_on();
    set(None, None, Causes::NONE);
    while !gone_on() {
        // No edge comes before the timer starts.
        let _ = CaptureUnit.take();
    }
}

/// The capture unit of the barrier's comparator.
pub struct CaptureUnit;

impl Capture for CaptureUnit {
    fn take(&mut self) -> Option<Captured> {
        with(|port| loop {
            let captured = port.byte(uart::receive()?);
            if captured.is_some() {
                return captured;
            }
        })
    }

    fn count(&self) -> u32 {
        with(|port| {
            let count = port.count;
            let step = core::mem::take(&mut port.step);
            port.count = count.wrapping_add(step);
            if step > 0 {
                pass_begins();
            }
            count
        })
    }
}

/// Sets the compare unit that drops READY and RUN after that tick; the counter after it. On this
/// board [`set`] does so once more at the end of the pass, and before that no tick goes by.
pub fn drop_after(_: Option<Instant>) -> u32 {
    CaptureUnit.count()
}

/// Whether this start is one after a loss of power, and not one by the watchdog, a fault or a
/// debugger: on a real board the register of reset causes tells, to be cleared after that.
pub fn had_no_power() -> bool {
    with(|port| port.inputs & POWER != 0)
}

/// For an interrupt that nobody handles: starts anew, out of reset all lines at stop, and latched.
pub fn start_anew(_: i16) -> ! {
    restart()
}

/// The same at a probe: silent until power comes back, which takes READY down at its board. To start
/// anew, again and again, would wear its flash out.
pub fn halt(_: i16) -> ! {
    loop {
        uart::sleep();
    }
}

/// Markers between which the emulator counts the instructions of a pass.
fn pass_begins() {
    #[cfg(target_arch = "arm")]
    // SAFETY: moves a register onto itself.
    unsafe {
        core::arch::asm!("mov r9, r9", options(nomem, nostack, preserves_flags));
    }
}

fn pass_ends() {
    #[cfg(target_arch = "arm")]
    // SAFETY: moves a register onto itself.
    unsafe {
        core::arch::asm!("mov r10, r10", options(nomem, nostack, preserves_flags));
    }
}

/// A frame that was heard, with the counter at its first edge.
pub fn heard() -> Option<(u32, [u8; FRAME])> {
    with(|port| port.frames.pop_front())
}

/// Frames that found no room.
pub fn frames_lost() -> u32 {
    with(|port| port.lost)
}

/// Voltage of the cells at rest and at the end of a pulse, mV.
pub fn millivolts() -> (u16, u16) {
    raise(CONVERTED);
    with(|port| port.millivolts)
}

/// Two pages of flash, kept by the program that drives the emulator and durable at once; they begin
/// as a pairing leaves them.
pub struct Flash;

impl Records for Flash {
    fn read(&mut self) -> [[u8; RECORD]; 2] {
        let paired = Mark::default().record(ID);
        with(|port| port.records).map(|record| record.unwrap_or(paired))
    }

    fn write(&mut self, place: u8, record: &[u8; RECORD]) {
        uart::send(b'S');
        uart::send(place);
        record.iter().copied().for_each(uart::send);
        with(|port| {
            if let Some(kept) = port.records.get_mut(usize::from(place)) {
                *kept = Some(*record);
            }
        });
    }
}

/// Hands the sender a frame whose first edge a compare unit puts on the air at `begin`.
pub fn send_frame(begin: Instant, frame: &[u8; FRAME]) {
    uart::send(b'F');
    send_ticks(begin.ticks());
    frame.iter().copied().for_each(uart::send);
}

/// Tells the control of an edge, for positions that it keeps.
pub fn tell(edge: &PlayedEdge) {
    uart::send(b'E');
    send_ticks(edge.onset.map_or(0, Instant::ticks));
    edge.bound.to_le_bytes().into_iter().for_each(uart::send);
    uart::send(edge.number);
    uart::send(u8::from(edge.touched) << 7 | edge.remarks.bits() as u8);
}

/// Lets a compare unit drop READY and RUN after `valid_until`, and sleeps until `wake` or an
/// interrupt. A tick that is past counts as reached: on a real board look at the counter after the
/// compare channel is set, since one that is set to a past tick waits for a turn of the counter.
/// The latch is told for the test's sake.
pub fn wait(wake: Option<Instant>, valid_until: Option<Instant>, latched: Causes) {
    set(wake, valid_until, latched);
    while !critical_section::with(|_| {
        let gone_on = gone_on();
        if !gone_on {
            // An interrupt that comes before it wakes it all the same.
            uart::sleep();
        }
        gone_on
    }) {}
}

/// Sets both compare units, as [`wait`] does.
pub fn set(wake: Option<Instant>, valid_until: Option<Instant>, latched: Causes) {
    pass_ends();
    uart::send(b'D');
    send_ticks(wake.map_or(u64::MAX, Instant::ticks));
    send_ticks(valid_until.map_or(0, Instant::ticks));
    uart::send(OUTPUTS.load(Ordering::Relaxed));
    uart::send(latched.bits() as u8);
    let fed = OUTPUTS.load(Ordering::Relaxed) & !(WATCHDOG | CONVERTED);
    OUTPUTS.store(fed, Ordering::Relaxed);
}

/// Whether the timer has come to what it was set to, or something woke the board; once each time.
pub fn gone_on() -> bool {
    with(|port| core::mem::take(&mut port.go))
}

fn send_ticks(ticks: u64) {
    ticks.to_le_bytes().into_iter().for_each(uart::send);
}

const WATCHDOG: u8 = 1 << 4;
const CONVERTED: u8 = 1 << 5;

/// Feeds the watchdog.
pub fn feed_watchdog() {
    raise(WATCHDOG);
}

fn raise(bits: u8) {
    OUTPUTS.store(OUTPUTS.load(Ordering::Relaxed) | bits, Ordering::Relaxed);
}

/// An output pin.
pub struct Output(u8);

impl Output {
    /// READY, RUN and STOP of the board.
    pub const READY: Self = Self(1);
    /// See [`READY`](Self::READY).
    pub const RUN: Self = Self(1 << 1);
    /// See [`READY`](Self::READY).
    pub const STOP: Self = Self(1 << 2);
    /// The light of the barrier.
    pub const LAMP: Self = Self(1 << 3);
}

impl Output {
    /// A pin behind a port expander that does not answer stays as it is.
    fn drive(&self, high: bool) -> Result<(), NoAnswer> {
        if with(|port| port.inputs & NO_OUTPUT != 0) {
            return Err(NoAnswer);
        }
        let others = OUTPUTS.load(Ordering::Relaxed) & !self.0;
        OUTPUTS.store(others | if high { self.0 } else { 0 }, Ordering::Relaxed);
        Ok(())
    }
}

impl ErrorType for Output {
    type Error = NoAnswer;
}

impl OutputPin for Output {
    fn set_low(&mut self) -> Result<(), NoAnswer> {
        self.drive(false)
    }

    fn set_high(&mut self) -> Result<(), NoAnswer> {
        self.drive(true)
    }
}

/// Set by the world where no output can be driven.
const NO_OUTPUT: u8 = 1 << 4;
/// Set by the world from power-up to the first bite of the watchdog.
const POWER: u8 = 1 << 5;

/// An input pin.
#[derive(PartialEq, Eq)]
pub struct Input(u8);

impl Input {
    /// The re-arm wire.
    pub const REARM: Self = Self(1);
    /// READY and RUN read back behind the output stage.
    pub const READY: Self = Self(1 << 1);
    /// See [`READY`](Self::READY).
    pub const RUN: Self = Self(1 << 2);
    /// The comparator of the barrier; high is blocked.
    pub const BLOCKED: Self = Self(1 << 3);
    /// Set by the world where the re-arm wire, or the comparator, cannot be read.
    const NO_REARM: u8 = 1 << 7;
    const NO_BLOCKED: u8 = 1 << 6;
}

/// A pin that can be neither read nor driven, as behind a port expander that does not answer.
#[derive(Clone, Copy, Debug)]
pub struct NoAnswer;

impl Error for NoAnswer {
    fn kind(&self) -> ErrorKind {
        ErrorKind::Other
    }
}

impl ErrorType for Input {
    type Error = NoAnswer;
}

impl InputPin for Input {
    fn is_high(&mut self) -> Result<bool, NoAnswer> {
        let inputs = with(|port| port.inputs);
        let broken = match *self {
            Self::REARM => Self::NO_REARM,
            Self::BLOCKED => Self::NO_BLOCKED,
            _ => 0,
        };
        if inputs & broken != 0 {
            return Err(NoAnswer);
        }
        Ok(inputs & self.0 != 0)
    }

    fn is_low(&mut self) -> Result<bool, NoAnswer> {
        self.is_high().map(|high| !high)
    }
}
