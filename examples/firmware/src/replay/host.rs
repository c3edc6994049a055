//! Files of the host.

use core::fmt;

use heapless::Vec;
use semihosting::{fs::File, io::Write};

use crate::fault::Fault;

/// Longest path, in bytes, and its closing zero.
const MAX_PATH: usize = 256;

/// Opens a file to read.
pub fn open(path: &str) -> Result<File, Fault> {
    with_c_path(path, |path| File::open(path), "a file that can be read")
}

/// A file being written, collected to chunks: each call to the host stops the processor.
pub struct Out {
    file: File,
    chunk: Vec<u8, 512>,
}

impl Out {
    /// Makes the file, or empties it.
    pub fn create(path: &str) -> Result<Self, Fault> {
        let file = with_c_path(
            path,
            |path| File::create(path),
            "a file that can be written",
        )?;
        Ok(Self {
            file,
            chunk: Vec::new(),
        })
    }

    /// Hands everything to the host.
    pub fn flush(&mut self) -> Result<(), Fault> {
        self.file.write_all(&self.chunk).map_err(|_| full())?;
        self.chunk.clear();
        Ok(())
    }
}

impl fmt::Write for Out {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        for &byte in text.as_bytes() {
            if self.chunk.is_full() {
                self.flush().map_err(|_| fmt::Error)?;
            }
            self.chunk.push(byte).map_err(|_| fmt::Error)?;
        }
        Ok(())
    }
}

/// The host refused to take output.
pub fn full() -> Fault {
    Fault::new(
        0,
        "a write error",
        "the host to take the touches",
        "free some space on the host",
    )
}

fn with_c_path(
    path: &str,
    act: impl FnOnce(&core::ffi::CStr) -> semihosting::io::Result<File>,
    expected: &'static str,
) -> Result<File, Fault> {
    let mut bytes: Vec<u8, MAX_PATH> = Vec::new();
    let fits = bytes.extend_from_slice(path.as_bytes()).is_ok() && bytes.push(0).is_ok();
    let c_path = core::ffi::CStr::from_bytes_with_nul(&bytes)
        .ok()
        .filter(|_| fits);
    let file = c_path.and_then(|path| act(path).ok());
    file.ok_or_else(|| {
        Fault::new(
            0,
            "no such file, or no permission",
            expected,
            "check the path and its folder",
        )
    })
}
