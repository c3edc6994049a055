//! Frames: a body with its check sum, stuffed, between two zeros.

use cobs::{DecodeResult, DecoderState};
use crc::{Crc, NoTable, CRC_32_ISCSI};

use crate::BODY;

/// Without a table: flash counts for more than time here.
const CRC: Crc<u32, NoTable> = Crc::<u32, NoTable>::new(&CRC_32_ISCSI);
/// Bytes of the check sum.
const CHECK: usize = 4;
/// Body and check sum, stuffed: one byte more, since there are fewer than 255.
const STUFFED: usize = BODY + CHECK + 1;

/// The check sum of a body.
pub(crate) fn check(body: &[u8]) -> [u8; CHECK] {
    CRC.checksum(body).to_le_bytes()
}

/// A frame as it goes over the line.
#[derive(Clone, Debug)]
pub struct Frame {
    room: [u8; STUFFED + 2],
    len: usize,
}

impl Frame {
    /// Nothing to send.
    #[must_use]
    pub const fn empty() -> Self {
        Self {
            room: [0; STUFFED + 2],
            len: 0,
        }
    }

    /// The frame of `body`; of more than [`BODY`] bytes nothing.
    #[must_use]
    pub fn of(body: &[u8]) -> Self {
        let mut frame = Self::empty();
        let mut plain = [0; BODY + CHECK];
        let sum = check(body);
        let Some(plain) = plain.get_mut(..body.len() + CHECK) else {
            return frame;
        };
        for (to, from) in plain.iter_mut().zip(body.iter().chain(&sum)) {
            *to = *from;
        }
        let stuffed = frame.room.get_mut(1..=STUFFED);
        if let Some(Ok(len)) = stuffed.map(|room| cobs::try_encode(plain, room)) {
            // A zero before, a zero behind.
            frame.len = len + 2;
        }
        frame
    }

    /// The bytes to send.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        self.room.get(..self.len).unwrap_or_default()
    }
}

/// What came between two zeros was no frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Damaged;

/// Takes bytes until a frame is whole.
#[derive(Clone, Debug)]
pub struct Collector {
    room: [u8; STUFFED + 1],
    /// Bytes that came since the last zero, also those that found no room.
    len: usize,
}

impl Collector {
    /// Nothing has come yet.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            room: [0; STUFFED + 1],
            len: 0,
        }
    }

    /// A byte has come: at the end of a frame its body, or that it is damaged.
    pub fn byte(&mut self, byte: u8) -> Option<Result<&[u8], Damaged>> {
        if let Some(to) = self.room.get_mut(self.len) {
            *to = byte;
        }
        if byte != 0 {
            self.len = self.len.saturating_add(1).min(self.room.len());
            return None;
        }
        let len = core::mem::take(&mut self.len);
        (len > 0).then(|| self.open(len).ok_or(Damaged))
    }

    /// Unstuffed where it lies: what is written lies before what is read. Byte by byte, since of
    /// the whole piece at once the compiler does not see that it stays inside.
    fn open(&mut self, len: usize) -> Option<&[u8]> {
        let (mut state, mut plain, mut complete) = (DecoderState::Idle, 0, false);
        for at in 0..=len {
            let byte = *self.room.get(at)?;
            match state.feed(byte).ok()? {
                DecodeResult::DataContinue(byte) => {
                    *self.room.get_mut(plain)? = byte;
                    plain += 1;
                }
                DecodeResult::DataComplete => complete = true,
                DecodeResult::NoData | DecodeResult::DataStart => {}
            }
        }
        let (body, sum) = self.room.get(..plain)?.split_last_chunk()?;
        (complete && !body.is_empty() && *sum == check(body)).then_some(body)
    }
}

impl Default for Collector {
    fn default() -> Self {
        Self::new()
    }
}
