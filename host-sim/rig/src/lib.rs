//! A device under test and a PC: the edges of a log go in, what the device made of them comes back.
//!
//! ```text
//! PC: log ─▶ Item ─▶ Request ─▶ frame ══ serial line, TCP ══▶ Collector ─▶ Device ─▶ Machine (core's lines)
//!     Machine ─▶ equal? ◀─ Report ◀─ Answer ◀─ Collector ◀══ frame ◀──────────────────┘
//! ```
//!
//! Both sides are this one description: the image that runs on the device and the program on the PC
//! compile the same files, and [`Machine`] is what both run. A firmware developer who wants another
//! board under test writes two functions, a byte in and bytes out, around a [`Device`].
//!
//! For measurement, not a safety function; no performance level is claimed; guards and emergency
//! stop stay in charge.
//!
//! # The protocol, version 2
//!
//! The PC asks, the device answers; one request is under way at a time. All numbers are
//! little-endian. A device sends nothing unasked.
//!
//! **Frame.** `00`, the stuffed bytes, `00`. Stuffing is COBS (Cheshire and Baker, 1999), so that
//! a `00` stands nowhere else: whatever was lost or added before it, the next frame is read from
//! its first byte. Unstuffed, a frame is a body of 1 to [`BODY`] bytes and four bytes of check sum:
//! CRC-32/ISCSI of the public catalogues over the body (polynomial 1EDC6F41, reflected, from and
//! inverted to all ones; `E3069283` of "123456789"). The 16-bit check of core's frames is made for
//! their 16 bytes: in a body as long as these it would miss two wrong bits. A frame that is too long, cannot be unstuffed or
//! fails its check is *damaged*: the device answers `AGAIN`, the PC sends its request again.
//!
//! **Requests**
//!
//! | body | bytes | meaning |
//! |---|---|---|
//! | `01` HELLO | version u8, run u32 | start anew; `run` is any number, to tell this run's answer from an older one |
//! | `02` SETTINGS | tick_hz u32, hold_ns u64, bandwidth_hz u32 (0: not stated), side u8 (0 before, 1 nearest, 2 after), step_256 u32 | how edges become touches |
//! | `03` EDGES | from u32, base u64, items | items of the log, the first of which has the number `from` |
//! | `04` END | items u32 | the log is over after so many items |
//!
//! **Item**: a head byte, then the time as a step in ticks from the item before (the first: from
//! `base`), zigzag (0, −1, 1, −2 ..) and in groups of seven bits, the lowest first, bit 7 set in all
//! but the last. Head: bits 0 to 3 the line; bits 4 and 5 what: 0 the line starts at a level and is high in contact, 1 the same and it is low,
//! 2 an edge to a level, 3 time has passed; bits 6 and 7 the level: 0 low, 1 high, 2 not known.
//!
//! **Answers**
//!
//! | body | bytes | meaning |
//! |---|---|---|
//! | `81` | version u8, run u32, release 3 × u8 | to HELLO: its version, the number given, release of the library. Every version begins so |
//! | `82` | - | settings taken |
//! | `83` | from u32, taken u8, reports | to EDGES: so many items were taken, with what came of them; the PC goes on with the next |
//! | `84` | items u32, lines u8, for each line touches, releases, glitches, initial, refused, pending: u32 | to END |
//! | `90` AGAIN | - | a frame came damaged |
//! | `91` REFUSED | code u8, item u32, detail u8 | see [`Refusal`]; nothing was taken |
//!
//! **Report**: number of its item less `from` u8; head u8 (bits 0 to 3 the line; bits 4 and 5: 0 touch, 1
//! release, 2 glitch); then of touch and release: onset u64 + u8 (1/256 tick), first edge, last
//! edge, confirmed u64 each, balance point and causal estimate u64 + u8 each, doubt u32 (1/16 tick,
//! 0 not known), kind u8, edges u32, flags u32; of a glitch: first edge, last edge u64 each, width
//! i64, edges u32, flags u32. An item brings one report at most.
//!
//! **What is lost is sent again.** The device keeps its last answer: to the same EDGES once more it
//! answers with that, and takes nothing twice. A request without an answer is repeated by the PC
//! until its patience ends.
//!
//! **What comes back.** Bit 7 of the first byte tells an answer from a request. A device answers no
//! answer: one that comes in is its own over a loop, or another device's, and the next request
//! other than HELLO is refused for it. The PC drops its own requests and tells of them. On a line of
//! one pair let the receiver of a device be off while it sends.
#![no_std]
#![forbid(unsafe_code)]

mod bytes;
mod device;
mod frame;
mod item;
mod machine;
mod message;
mod report;

pub use bytes::Bytes;
pub use device::Device;
pub use frame::{Collector, Damaged, Frame};
pub use item::{Block, Item, Items, What};
pub use machine::{BadItem, BadSettings, Machine, Settings};
pub use message::{Answer, Refusal, Request};
pub use report::{push as push_report, Kind, Report, Reports};

/// The version of the protocol described here.
pub const VERSION: u8 = 2;
/// Lines of a log at most.
pub const LINES: usize = 8;
/// Longest body of a message in bytes.
pub const BODY: usize = 248;

#[cfg(test)]
mod tests;
