//! Fields of records and messages, most significant byte first.

/// Puts `field` into `bytes` from `at` on; what lies beyond the end is left out.
pub(super) fn put(bytes: &mut [u8], at: usize, field: &[u8]) {
    for (to, from) in bytes.iter_mut().skip(at).zip(field) {
        *to = *from;
    }
}

/// The `N` bytes of `bytes` from `at` on; 0 beyond the end.
pub(super) fn get<const N: usize>(bytes: &[u8], at: usize) -> [u8; N] {
    let mut field = [0; N];
    for (to, from) in field.iter_mut().zip(bytes.iter().skip(at)) {
        *to = *from;
    }
    field
}

/// Whether all bytes are the same: erased memory.
pub(super) fn are_alike(bytes: &[u8]) -> bool {
    bytes.windows(2).all(|pair| match pair {
        [one, other] => one == other,
        _ => true,
    })
}
