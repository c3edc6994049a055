//! The key of the pair, out of the build environment. TEST KEY: for the emulator and the bench.
//!
//! On a machine the key comes from a pairing, is kept in flash that cannot be read out, and is
//! none that a build log has seen.

use trueonset::frame::Key;

include!(concat!(env!("OUT_DIR"), "/key.rs"));

/// Found in an image by anyone who looks whether it may go into a machine.
#[used]
static NOTICE: [u8; 8] = *b"TEST KEY";

/// The key; all bytes alike are refused.
pub const KEY: Key = trueonset::checked!(Key::new(TEST_KEY));
