//! The key of a probe, and the tag it makes.

/// Why a key was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum KeyError {
    /// All bytes alike: erased memory, not a drawn key.
    AllBytesAlike,
}

impl core::fmt::Display for KeyError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        match self {
            Self::AllBytesAlike => {
                f.write_str("all bytes of the key are alike; draw 16 random bytes, one key a probe")
            }
        }
    }
}

impl core::error::Error for KeyError {}

/// The secret of one probe and its receiver. It can make tags and nothing else: it is neither
/// printed nor compared nor copied.
///
/// ```compile_fail
/// # let key = trueonset::frame::Key::new([1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16]);
/// println!("{:?}", key); // error: no Debug
/// ```
///
/// ```compile_fail
/// # let bytes = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16];
/// # let Ok(key) = trueonset::frame::Key::new(bytes) else { return };
/// # let Ok(other) = trueonset::frame::Key::new(bytes) else { return };
/// let same = key == other; // error: no PartialEq
/// ```
///
/// ```compile_fail
/// # let Ok(key) = trueonset::frame::Key::new([1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16]) else { return };
/// let copy = key.clone(); // error: no Clone
/// ```
pub struct Key {
    words: [u64; 2],
}

impl Key {
    /// A key of 16 random bytes.
    ///
    /// # Errors
    /// [`KeyError::AllBytesAlike`].
    pub const fn new(bytes: [u8; 16]) -> Result<Self, KeyError> {
        let [a, b, c, d, e, f, g, h, i, j, k, l, m, n, o, p] = bytes;
        let one = u64::from_le_bytes([a, b, c, d, e, f, g, h]);
        let other = u64::from_le_bytes([i, j, k, l, m, n, o, p]);
        // Eight times the first byte.
        let alike = a as u64 * 0x0101_0101_0101_0101;
        if one == alike && other == alike {
            return Err(KeyError::AllBytesAlike);
        }
        Ok(Self {
            words: [one, other],
        })
    }

    /// Tells keys apart without telling them: 32 bits of a tag that no accepted frame can carry,
    /// of kind 15 in the last slot of the last start there is.
    pub(crate) fn check(&self) -> u32 {
        self.hash([u64::MAX, u64::from_be_bytes(*b"\xFFpairing")], [0; 2]) as u32
    }

    /// SipHash-2-4 of 18 bytes: two words and two bytes (J.-P. Aumasson, D. J. Bernstein, SipHash:
    /// a fast short-input PRF, 2012).
    pub(super) fn hash(&self, words: [u64; 2], end: [u8; 2]) -> u64 {
        let [k0, k1] = self.words;
        let mut v0 = k0 ^ 0x736f_6d65_7073_6575;
        let mut v1 = k1 ^ 0x646f_7261_6e64_6f6d;
        let mut v2 = k0 ^ 0x6c79_6765_6e65_7261;
        let mut v3 = k1 ^ 0x7465_6462_7974_6573;
        let [e0, e1] = end;
        let last = 18 << 56 | u64::from(e1) << 8 | u64::from(e0);
        let [w0, w1] = words;
        // Two rounds a word, and four at the end as if of two words of 0.
        let words = [w0, w1, last];
        for at in 0..5 {
            let word = words.get(at).copied().unwrap_or(0);
            if at == 3 {
                v2 ^= 0xff;
            }
            v3 ^= word;
            [v0, v1, v2, v3] = round(round([v0, v1, v2, v3]));
            v0 ^= word;
        }
        v0 ^ v1 ^ v2 ^ v3
    }
}

#[inline]
fn round([v0, v1, v2, v3]: [u64; 4]) -> [u64; 4] {
    let v0 = v0.wrapping_add(v1);
    let v1 = v1.rotate_left(13) ^ v0;
    let v0 = v0.rotate_left(32);
    let v2 = v2.wrapping_add(v3);
    let v3 = v3.rotate_left(16) ^ v2;
    let v0 = v0.wrapping_add(v3);
    let v3 = v3.rotate_left(21) ^ v0;
    let v2 = v2.wrapping_add(v1);
    let v1 = v1.rotate_left(17) ^ v2;
    [v0, v1, v2.rotate_left(32), v3]
}

/// A key must not leave by a log or a file: this stops compiling if it ever can.
#[cfg(any(feature = "defmt", feature = "serde"))]
const _: () = {
    trait Unique<As> {
        fn found() {}
    }
    impl<T> Unique<()> for T {}
    #[cfg(feature = "serde")]
    impl<T: serde::Serialize> Unique<u8> for T {}
    #[cfg(feature = "defmt")]
    impl<T: defmt::Format> Unique<u16> for T {}
    let _ = <Key as Unique<_>>::found;
};
