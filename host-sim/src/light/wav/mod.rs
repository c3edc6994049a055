//! Reader of WAV recordings.
//!
//! A reader of its own: of a file whose stated length is wrong, which a stopped recorder leaves behind, everything
//! that is there has to be delivered, and a damage be named with its byte. The readers in use refuse such a file
//! before its first sample, or lose their way behind a chunk of odd length.

mod header;

use super::reader::Source;
use super::{LightRecord, Rate};
use crate::fault::{Fault, Place};
use crate::log::lines::Lines;
use crate::log::window::Window;
use header::{padded, Format};

/// A recording, everything up to its first sample consumed.
pub(super) struct Wav {
    window: Window,
    lines: Lines,
    format: Format,
    /// Bytes of samples the header states.
    stated: Option<u64>,
    /// Samples of all channels so far.
    count: u64,
    below_zero: u64,
    notes: Vec<String>,
}

impl Wav {
    pub(super) fn new(mut window: Window) -> Result<Self, Fault> {
        let (format, stated) = header::read(&mut window)?;
        let mut lines = Lines::new();
        for channel in 1..=format.channels {
            lines.add(&format!("channel{channel}"))?;
        }
        let mut notes = Vec::new();
        if stated.is_none() {
            notes.push("the header states no length: samples are read to the end".to_owned());
        }
        Ok(Self {
            window,
            lines,
            format,
            stated,
            count: 0,
            below_zero: 0,
            notes,
        })
    }

    /// Bytes of samples that have not come yet.
    fn left(&self) -> u64 {
        let used = self.count * self.format.frame() as u64;
        self.stated.map_or(u64::MAX, |stated| stated - used)
    }

    /// The end of the samples: as stated, or a damage.
    fn end(&mut self) -> Result<bool, Fault> {
        let frame = self.format.frame() as u64;
        let (left, here) = (self.left(), self.window.data().len() as u64);
        let place = Place::byte(self.window.file(), self.window.offset() + here.min(left));
        if self.stated.is_none() {
            if here == 0 {
                return Ok(false);
            }
            return Err(Fault::new(
                format!("{here} bytes behind the last whole sample"),
                format!("{frame} bytes a sample"),
                "record again if the end matters: it is cut off",
            )
            .at(place));
        }
        if here < left {
            return Err(Fault::new(
                format!("the end of the file after {} samples", self.count),
                format!(
                    "{} as the header states",
                    (left + self.count * frame) / frame
                ),
                "copy the file again, or go on with what is there: it was cut short",
            )
            .at(place));
        }
        if left > 0 {
            return Err(Fault::new(
                format!("{left} bytes behind the last whole sample"),
                format!("{frame} bytes a sample"),
                "export the recording again as WAV",
            )
            .at(place));
        }
        self.look_behind()?;
        Ok(false)
    }

    /// Tells of bytes behind the samples that may be samples as well.
    fn look_behind(&mut self) -> Result<(), Fault> {
        let pad = self
            .stated
            .and_then(|stated| u32::try_from(stated).ok())
            .map_or(0, |stated| (padded(stated) - u64::from(stated)) as usize);
        self.window.holds(pad + 4)?;
        let Some(rest) = self
            .window
            .data()
            .get(pad..)
            .filter(|rest| !rest.is_empty())
        else {
            return Ok(());
        };
        let chunk = rest
            .first_chunk::<4>()
            .is_some_and(|name| name.iter().all(|byte| matches!(byte, b' '..=b'~')));
        if !chunk || rest.starts_with(b"data") {
            self.notes.push(format!(
                "the header states {} samples; what stands behind them is not read",
                self.count
            ));
        }
        Ok(())
    }
}

impl Source for Wav {
    fn next_batch(&mut self, out: &mut Vec<LightRecord>) -> Result<bool, Fault> {
        let (frame, bytes) = (self.format.frame(), self.format.bytes);
        let left = self.left();
        if left < frame as u64 || !self.window.holds(frame)? {
            // What can be had of the rest tells what kind of end it is.
            self.window
                .holds(usize::try_from(left.min(frame as u64)).unwrap_or(frame))?;
            return self.end();
        }
        let here = self.window.data().len() as u64;
        let whole = (here.min(left) / frame as u64) as usize * frame;
        let data = &self.window.data()[..whole];
        for samples in data.chunks_exact(frame) {
            let time_ns = self.format.rate.time_ns(self.count).ok_or_else(|| {
                Fault::new(
                    format!("sample {} at {} Hz", self.count, self.format.rate.hz()),
                    "times within 292 years",
                    "cut the recording into pieces",
                )
            })?;
            for (line, sample) in samples.chunks_exact(bytes).enumerate() {
                let value = signed(sample);
                self.below_zero += u64::from(value < 0);
                out.push(LightRecord {
                    line: line as u32,
                    index: self.count,
                    time_ns,
                    counts: value.max(0) as u32,
                });
            }
            self.count += 1;
        }
        self.window.consume(whole);
        if self.below_zero > 0 && !self.notes.iter().any(|note| note == BELOW_ZERO) {
            self.notes.push(BELOW_ZERO.to_owned());
        }
        Ok(true)
    }

    fn lines(&self) -> &Lines {
        &self.lines
    }

    fn rate(&self, _line: usize) -> Option<Rate> {
        Some(self.format.rate)
    }

    fn notes(&self) -> &[String] {
        &self.notes
    }

    fn below_zero(&self) -> u64 {
        self.below_zero
    }

    fn declares_lines(&self) -> bool {
        true
    }
}

const BELOW_ZERO: &str = "values below 0 are taken as no light";

/// A little-endian number of two or three bytes.
#[inline]
fn signed(bytes: &[u8]) -> i32 {
    match *bytes {
        [low, high] => i32::from(i16::from_le_bytes([low, high])),
        [low, middle, high] => i32::from_le_bytes([0, low, middle, high]) >> 8,
        _ => 0,
    }
}
