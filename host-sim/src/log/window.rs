//! The part of an input that is in memory: one buffer of fixed size, filled by `read()`, consumed from the
//! front, with the line number and byte offset of its beginning.

use std::io::{self, Read};

use crate::fault::{excerpt, Fault, Place};

/// Longest row of a CSV log, in bytes.
pub const MAX_ROW_BYTES: usize = 64 * 1024;

/// Longest token of a value change dump, in bytes: room for a vector of 2^16 bits twice over.
pub const MAX_TOKEN_BYTES: usize = 128 * 1024;

/// Bytes held at most. Larger than any row or token, and small enough to stay in the second-level cache.
const CAPACITY: usize = 256 * 1024;

/// Zero bytes behind the data, so that words can be loaded anywhere inside it without a check of the length.
pub(crate) const PADDING: usize = 64;

/// The input and the part of it in memory.
pub(crate) struct Window {
    source: Box<dyn Read + Send>,
    file: String,
    buffer: Vec<u8>,
    start: usize,
    end: usize,
    ended: bool,
    line: u64,
    offset: u64,
}

impl Window {
    /// `file` is the name shown in messages.
    pub(crate) fn new(source: Box<dyn Read + Send>, file: &str) -> Self {
        Self {
            source,
            file: file.to_owned(),
            buffer: vec![0; CAPACITY + PADDING],
            start: 0,
            end: 0,
            ended: false,
            line: 1,
            offset: 0,
        }
    }

    pub(crate) fn file(&self) -> &str {
        &self.file
    }

    /// What has been read and not been consumed.
    pub(crate) fn data(&self) -> &[u8] {
        &self.buffer[self.start..self.end]
    }

    /// The same with [`PADDING`] more bytes of no meaning behind.
    pub(crate) fn padded(&self) -> &[u8] {
        &self.buffer[self.start..self.end + PADDING]
    }

    /// Whether everything there is has been read.
    pub(crate) fn ended(&self) -> bool {
        self.ended
    }

    /// Reads once, waiting for at least one byte. `false` if nothing came: the end, or no room.
    pub(crate) fn more(&mut self) -> Result<bool, Fault> {
        if self.ended {
            return Ok(false);
        }
        if self.start > 0 {
            self.buffer.copy_within(self.start..self.end, 0);
            self.end -= self.start;
            self.start = 0;
        }
        if self.end == CAPACITY {
            return Ok(false);
        }
        loop {
            match self.source.read(&mut self.buffer[self.end..CAPACITY]) {
                Ok(0) => {
                    self.ended = true;
                    return Ok(false);
                }
                Ok(count) => {
                    self.end += count;
                    return Ok(true);
                }
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => {
                    self.ended = true;
                    let offset = self.offset + self.data().len() as u64;
                    return Err(
                        Fault::io(&self.file, "read", &error).at(Place::byte(&self.file, offset))
                    );
                }
            }
        }
    }

    /// Gives up the first `count` bytes.
    pub(crate) fn consume(&mut self, count: usize) {
        self.line += newlines(&self.data()[..count]);
        self.offset += count as u64;
        self.start += count;
    }

    /// Number of the line at the beginning of the data, the first is 1.
    pub(crate) fn line(&self) -> u64 {
        self.line
    }

    /// Number of the byte at the beginning of the data, the first is 0.
    pub(crate) fn offset(&self) -> u64 {
        self.offset
    }

    /// Reads until `count` bytes are in memory. `false` if the input ends before, or there is no room for so many.
    pub(crate) fn holds(&mut self, count: usize) -> Result<bool, Fault> {
        while self.data().len() < count {
            if !self.more()? {
                return Ok(false);
            }
        }
        Ok(true)
    }

    /// The place of the byte `at` positions into the data.
    pub(crate) fn place(&self, at: usize) -> Place {
        Place::line(&self.file, self.line + newlines(&self.data()[..at]))
    }

    /// Length of the tokens in memory that are complete; at the end of the input the last one needs no blank
    /// behind it. Reads until there is one. Zero at the end.
    pub(crate) fn tokens(&mut self) -> Result<usize, Fault> {
        let mut searched = 0;
        loop {
            if let Some(last) = self.data()[searched..]
                .iter()
                .rposition(|&byte| separates(byte))
            {
                return Ok(searched + last + 1);
            }
            searched = self.data().len();
            if searched > MAX_TOKEN_BYTES {
                return Err(token_too_long(self.data()).at(self.place(0)));
            }
            if !self.more()? {
                return Ok(searched);
            }
        }
    }

    /// Consumes separators; then the length of the next complete token, `None` at the end.
    pub(crate) fn token(&mut self) -> Result<Option<usize>, Fault> {
        let mut searched = 0;
        loop {
            if searched == 0 {
                let blank = self
                    .data()
                    .iter()
                    .take_while(|&&byte| separates(byte))
                    .count();
                self.consume(blank);
            }
            if let Some(end) = self.data()[searched..]
                .iter()
                .position(|&byte| separates(byte))
            {
                return Ok(Some(searched + end));
            }
            searched = self.data().len();
            if searched > MAX_TOKEN_BYTES {
                return Err(token_too_long(self.data()).at(self.place(0)));
            }
            if !self.more()? {
                return Ok((searched > 0).then_some(searched));
            }
        }
    }

    /// Length of the rows in memory that are complete; at the end of the input the last one needs no line feed.
    /// Reads until there is one. Zero at the end.
    pub(crate) fn rows(&mut self) -> Result<usize, Fault> {
        let mut searched = 0;
        loop {
            if let Some(last) = memchr::memrchr(b'\n', &self.data()[searched..]) {
                return Ok(searched + last + 1);
            }
            searched = self.data().len();
            if searched > MAX_ROW_BYTES {
                return Err(row_too_long(self.data()).at(self.place(0)));
            }
            if !self.more()? {
                return Ok(searched);
            }
        }
    }
}

/// Whether a byte stands between the tokens of a value change dump.
pub(crate) fn separates(byte: u8) -> bool {
    matches!(byte, b' ' | b'\t' | b'\n' | b'\r' | 0x0b | 0x0c)
}

/// The fault of a token beyond [`MAX_TOKEN_BYTES`].
pub(crate) fn token_too_long(token: &[u8]) -> Fault {
    Fault::new(
        format!(
            "a word that begins {} and is longer than {MAX_TOKEN_BYTES} bytes",
            excerpt(&token[..token.len().min(24)])
        ),
        "shorter words between blanks",
        "check that this is a value change dump",
    )
}

/// The fault of a row beyond [`MAX_ROW_BYTES`].
pub(crate) fn row_too_long(row: &[u8]) -> Fault {
    Fault::new(
        format!(
            "a row that begins {} and does not end within {MAX_ROW_BYTES} bytes",
            excerpt(&row[..row.len().min(24)])
        ),
        "shorter rows",
        "check that this is a text file with line ends",
    )
}

fn newlines(data: &[u8]) -> u64 {
    memchr::memchr_iter(b'\n', data).count() as u64
}
