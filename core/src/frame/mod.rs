//! Frame: sixteen bytes over the air, with a tag that only the probe's key can make.
//!
//! Bits are counted from the most significant of the first byte. The payload has 80 bits, the tag
//! 32, the CRC 16.
//!
//! | bits | normal (0) | older edge (1) | hello (2) |
//! |---|---|---|---|
//! | 0-3 | kind; 3 to 15 are left for later and carry nothing | same | same |
//! | 4-15 | number of the probe | same | same |
//! | 16-31 | low 16 bits of the slot, which begins with the frame | same | same |
//! | 32-33 | [`Contact`] | same | same |
//! | 34-36 | [`Signs`]: bit 34 self-test failed, 35 look at the slow values, 36 measuring | same | same |
//! | 37-41 | number of the newest edge, modulo 32; odd: touched | same | same |
//! | 42-43 | [`Quality`] | same | bits 16 to 39 of the slot |
//! | 44-63 | age of that edge | age of the edge before | ... in bits 42-65 |
//! | 64-67 | which [`SlowValue`] | same | |
//! | 68-79 | the value | same | low 14 bits of the boot number, bits 66-79 |
//! | 80-111 | tag: SipHash-2-4 of boot (24), slot (40) and payload (80 bits), its low 32 bits | same | same |
//! | 112-127 | CRC-16 of bits 0-111, polynomial 0x90D9 from 0xFFFF | same | same |
//!
//! An age counts 0.125 µs up to 131.071 75 ms at the slot's start; all ones stand for an edge too
//! old to tell: no time, never a wrong one.
//!
//! The slot is sequence number, counter against replays and time stamp in one. 24 bits of it and
//! the boot number travel only in a hello; the tag covers them in every frame. What a frame says
//! can be read only after its tag was found good: see [`Sealed::open`].
//!
//! Wrong frames that get through: the CRC finds all of up to five wrong bits; of noise 2^-16 pass
//! it, and of those 2^-32 the tag.

mod codec;
mod crc;
mod key;
mod words;

pub use codec::{FrameError, Opened, Report, Sealed, AGE_STEPS, FRAME};
pub use crc::crc16;
pub use key::{Key, KeyError};
pub use words::{Contact, Kind, Mark, Quality, Signs, SlowValue};

#[cfg(test)]
mod tests;
