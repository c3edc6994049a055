//! Reports into bytes and back.

use super::crc::crc16;
use super::key::Key;
use super::words::{Contact, Kind, Mark, Quality, Signs, SlowValue};

/// Length of a frame, bytes.
pub const FRAME: usize = 16;
/// Ages are below this, in 0.125 µs; it stands for an edge too old to tell.
pub const AGE_STEPS: u32 = (1 << 20) - 1;

/// Boot bits that a hello carries.
const BOOT_BITS: u32 = 14;

/// Why bytes are no frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum FrameError {
    /// The check sum is wrong: damaged on the way.
    Crc,
}

impl core::fmt::Display for FrameError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::Crc => f.write_str("the check sum is wrong: damaged on the way"),
        }
    }
}

impl core::error::Error for FrameError {}

/// What a probe says at the start of a slot.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Report {
    /// Which of the three kinds.
    pub kind: Kind,
    /// What the probe sees.
    pub contact: Contact,
    /// Signs.
    pub signs: Signs,
    /// Number of the newest edge, 0 to 31; odd: touched.
    pub number: u8,
    /// How clean the edge was whose age follows; clean in a hello.
    pub quality: Quality,
    /// Age of that edge at the start of the slot, 0.125 µs, below [`AGE_STEPS`]; `None`: older
    /// than can be told, or a hello.
    pub age_125ns: Option<u32>,
    /// A slow value; `None` in a hello.
    pub slow: Option<SlowValue>,
}

impl Report {
    /// The frame of probe number `id` (12 bits) for the slot `who.slot`. An age that does not fit
    /// becomes none.
    #[must_use]
    pub fn seal(&self, key: &Key, id: u16, who: Mark) -> [u8; FRAME] {
        let signs = u64::from(self.signs.self_test_failed) << 2
            | u64::from(self.signs.look) << 1
            | u64::from(self.signs.measuring);
        let head = (self.kind as u64) << 60
            | u64::from(id & 0xFFF) << 48
            | (who.slot & 0xFFFF) << 32
            | (self.contact as u64) << 30
            | signs << 27
            | u64::from(self.number & 31) << 22;
        let (head, tail) = if self.kind == Kind::Hello {
            let slot_hi = who.slot >> 16 & 0xFF_FFFF;
            let boot_lo = who.boot & ((1 << BOOT_BITS) - 1);
            // 22 bits of the slot before bit 64, two after it.
            (
                head | slot_hi >> 2,
                ((slot_hi & 3) << BOOT_BITS) as u16 | boot_lo as u16,
            )
        } else {
            let age = self.age_125ns.unwrap_or(AGE_STEPS).min(AGE_STEPS);
            let slow = self.slow.unwrap_or(SlowValue::Other(15, 0));
            (
                head | (self.quality as u64) << 20 | u64::from(age),
                slow.bits(),
            )
        };
        let tag = tag(key, who, head, tail);
        let [a, b, c, d, e, f, g, h] = head.to_be_bytes();
        let [i, j] = tail.to_be_bytes();
        let [k, l, m, n] = tag.to_be_bytes();
        let mut frame = [a, b, c, d, e, f, g, h, i, j, k, l, m, n, 0, 0];
        let [body @ .., o, p] = &mut frame;
        [*o, *p] = crc16(body).to_be_bytes();
        frame
    }
}

/// The tag of a payload in the slot `who`.
fn tag(key: &Key, who: Mark, head: u64, tail: u16) -> u32 {
    let place = u64::from(who.boot & Mark::LAST_BOOT) << 40 | who.slot & Mark::LAST_SLOT;
    // SipHash reads its words little-endian; these bytes are in the order of the frame.
    let hash = key.hash([place.swap_bytes(), head.swap_bytes()], tail.to_be_bytes());
    hash as u32
}

/// A frame whose check sum is right and whose tag was not looked at yet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Sealed {
    head: u64,
    tail: u16,
    tag: u32,
}

/// What a genuine frame says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Opened {
    /// A report.
    Report(Report),
    /// A kind that this version does not know: it says nothing, and is no sign of life.
    Unknown(u8),
}

impl Sealed {
    /// Reads a frame.
    ///
    /// # Errors
    /// [`FrameError::Crc`].
    pub fn parse(bytes: &[u8; FRAME]) -> Result<Self, FrameError> {
        let [body @ .., o, p] = bytes;
        if crc16(body) != u16::from_be_bytes([*o, *p]) {
            return Err(FrameError::Crc);
        }
        let [a, b, c, d, e, f, g, h, i, j, k, l, m, n] = *body;
        Ok(Self {
            head: u64::from_be_bytes([a, b, c, d, e, f, g, h]),
            tail: u16::from_be_bytes([i, j]),
            tag: u32::from_be_bytes([k, l, m, n]),
        })
    }

    /// Number of the probe that it names.
    #[must_use]
    pub const fn id(&self) -> u16 {
        (self.head >> 48) as u16 & 0xFFF
    }

    /// Low 16 bits of the slot that it names.
    #[must_use]
    pub const fn slot_low(&self) -> u16 {
        (self.head >> 32) as u16
    }

    /// Boot and slot that a hello claims. Of the boot number it carries 14 bits; the smallest one
    /// from `known_boot` on that ends in them is meant, so that an older start cannot even be
    /// named. `None` for another kind, and where no boot number is left.
    #[must_use]
    pub const fn claim(&self, known_boot: u32) -> Option<Mark> {
        if self.head >> 60 != Kind::Hello as u64 {
            return None;
        }
        let step = 1 << BOOT_BITS;
        let low = self.tail as u32 & (step - 1);
        let known = known_boot & Mark::LAST_BOOT;
        let same = known & !(step - 1) | low;
        let boot = if same < known { same + step } else { same };
        if boot > Mark::LAST_BOOT {
            return None;
        }
        let slot_hi = (self.head & 0x3F_FFFF) << 2 | (self.tail >> BOOT_BITS) as u64;
        Some(Mark {
            boot,
            slot: slot_hi << 16 | self.slot_low() as u64,
        })
    }

    /// Whether what it tells of its slot, and a hello of its start, is of `who`.
    fn names(&self, who: Mark) -> bool {
        let who = Mark {
            boot: who.boot & Mark::LAST_BOOT,
            slot: who.slot & Mark::LAST_SLOT,
        };
        let is_hello = self.head >> 60 == Kind::Hello as u64;
        self.slot_low() == who.slot as u16 && (!is_hello || self.claim(who.boot) == Some(who))
    }

    /// What it says, if its tag is that of this key for the slot `who`, and it names no other. The
    /// comparison takes the same time wherever they differ.
    ///
    /// Whatever opens as a report seals to the very same bytes.
    #[must_use]
    pub fn open(&self, key: &Key, who: Mark) -> Option<Opened> {
        let right = tag(key, who, self.head, self.tail);
        // One 32-bit difference, tested once.
        if core::hint::black_box(right ^ self.tag) != 0 {
            return None;
        }
        if !self.names(who) {
            return None;
        }
        let kind = match self.head >> 60 {
            0 => Kind::Normal,
            1 => Kind::Older,
            2 => Kind::Hello,
            other => return Some(Opened::Unknown(other as u8)),
        };
        let hello = kind == Kind::Hello;
        let age = (self.head & u64::from(AGE_STEPS)) as u32;
        Some(Opened::Report(Report {
            kind,
            contact: Contact::of(self.head >> 30),
            signs: Signs {
                measuring: self.head >> 27 & 1 == 1,
                look: self.head >> 28 & 1 == 1,
                self_test_failed: self.head >> 29 & 1 == 1,
            },
            number: (self.head >> 22) as u8 & 31,
            quality: if hello {
                Quality::Clean
            } else {
                Quality::of(self.head >> 20)
            },
            age_125ns: (!hello && age < AGE_STEPS).then_some(age),
            slow: (!hello).then_some(SlowValue::of(self.tail)),
        }))
    }
}
