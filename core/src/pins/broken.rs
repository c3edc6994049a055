//! What a pin of the tests says when it fails.

use embedded_hal::digital::{Error, ErrorKind};

#[derive(Debug)]
pub(super) struct Broken;

impl Error for Broken {
    fn kind(&self) -> ErrorKind {
        ErrorKind::Other
    }
}
