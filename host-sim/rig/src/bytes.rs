//! Bytes being put together and taken apart.

use crate::BODY;

/// The body of a message: at most [`BODY`] bytes.
#[derive(Clone, Debug)]
pub struct Bytes {
    room: [u8; BODY],
    len: usize,
}

impl Bytes {
    /// None yet.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            room: [0; BODY],
            len: 0,
        }
    }

    /// Appends `bytes`; where they do not fit, nothing, and false.
    pub fn push(&mut self, bytes: &[u8]) -> bool {
        let end = self.len.saturating_add(bytes.len());
        let Some(free) = self.room.get_mut(self.len..end) else {
            return false;
        };
        for (to, from) in free.iter_mut().zip(bytes) {
            *to = *from;
        }
        self.len = end;
        true
    }

    /// How many more fit.
    #[must_use]
    pub const fn left(&self) -> usize {
        BODY.saturating_sub(self.len)
    }

    /// Those appended so far.
    #[must_use]
    pub fn all(&self) -> &[u8] {
        self.room.get(..self.len).unwrap_or_default()
    }

    /// Forgets all from the `len`-th on.
    pub fn cut(&mut self, len: usize) {
        self.len = self.len.min(len);
    }

    /// Overwrites the byte at `place`, if there is one.
    pub(crate) fn set(&mut self, place: usize, byte: u8) {
        if let Some(to) = self.room.get_mut(place) {
            *to = byte;
        }
    }
}

impl Default for Bytes {
    fn default() -> Self {
        Self::new()
    }
}

/// Numbers off the front of bytes.
pub(crate) struct Reader<'a>(pub(crate) &'a [u8]);

impl<'a> Reader<'a> {
    pub(crate) fn array<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (first, rest) = self.0.split_first_chunk()?;
        self.0 = rest;
        Some(*first)
    }

    pub(crate) fn u8(&mut self) -> Option<u8> {
        self.array::<1>().map(|[byte]| byte)
    }

    pub(crate) fn u32(&mut self) -> Option<u32> {
        self.array().map(u32::from_le_bytes)
    }

    pub(crate) fn u64(&mut self) -> Option<u64> {
        self.array().map(u64::from_le_bytes)
    }

    /// All that is left.
    pub(crate) fn rest(self) -> &'a [u8] {
        self.0
    }

    /// `value`, unless bytes are left that nobody asked for.
    pub(crate) fn done<T>(self, value: T) -> Option<T> {
        self.0.is_empty().then_some(value)
    }
}
