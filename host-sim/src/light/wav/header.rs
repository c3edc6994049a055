//! The chunks of a WAV up to its samples.

use crate::fault::{excerpt, Fault, Place};
use crate::light::{Rate, MAX_LINES};
use crate::log::window::Window;

/// Subformat of an extensible format that is plain PCM.
const PCM_GUID: [u8; 16] = [
    1, 0, 0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71,
];

/// From here on a stated length is none: writers to a pipe state the most, or the most less their headers.
const UNSTATED: u32 = 0xffff_0000;

/// Chunks before the samples at most; a real file has a handful.
const MOST_CHUNKS: usize = 1000;

/// How the samples are written.
#[derive(Debug, Clone, Copy)]
pub(super) struct Format {
    pub(super) channels: usize,
    pub(super) rate: Rate,
    /// Of a sample of one channel, 2 or 3.
    pub(super) bytes: usize,
}

impl Format {
    /// Bytes of a sample of all channels.
    pub(super) fn frame(&self) -> usize {
        self.channels * self.bytes
    }
}

/// Consumes everything up to the first sample; the format, and the stated number of bytes of the samples, `None`
/// where the header states none.
pub(super) fn read(window: &mut Window) -> Result<(Format, Option<u64>), Fault> {
    let riff = bytes::<12>(window)?;
    let end = 8 + u64::from(u32_at(&riff, 4));
    window.consume(12);
    let mut format = None;
    for _ in 0..MOST_CHUNKS {
        let place = Place::byte(window.file(), window.offset());
        let head = bytes::<8>(window)?;
        let length = u32_at(&head, 4);
        match &head[..4] {
            b"fmt " => {
                let kept = (length as usize).min(40);
                if !window.holds(8 + kept)? {
                    return Err(cut_short(window));
                }
                let body = &window.data()[8..8 + kept];
                format = Some(read_format(body).map_err(|fault| fault.at(place))?);
                window.consume(8);
                skip(window, padded(length))?;
            }
            b"data" => {
                let Some(format) = format else {
                    return Err(Fault::new(
                        "samples before a format",
                        "a chunk `fmt ` before the chunk `data`",
                        "export the recording again as WAV",
                    )
                    .at(place));
                };
                window.consume(8);
                // A recorder that never came to its end left both lengths as they were at the beginning.
                let never_ended = length == 0 && end <= window.offset();
                let stated = (length < UNSTATED && !never_ended).then(|| u64::from(length));
                return Ok((format, stated));
            }
            _ => {
                window.consume(8);
                skip(window, padded(length))?;
            }
        }
    }
    Err(Fault::new(
        format!("{MOST_CHUNKS} chunks without samples"),
        "a chunk `data`",
        "export the recording again as WAV",
    )
    .at(Place::byte(window.file(), window.offset())))
}

/// A chunk fills whole words of 16 bits.
pub(super) fn padded(length: u32) -> u64 {
    u64::from(length) + u64::from(length % 2)
}

fn read_format(body: &[u8]) -> Result<Format, Fault> {
    const REMEDY: &str = "export the recording as PCM of 16 or 24 bits";
    if body.len() < 16 {
        return Err(Fault::new(
            format!("a format of {} bytes", body.len()),
            "16 or more",
            "export the recording again as WAV",
        ));
    }
    let tag = u16_at(body, 0);
    let pcm = tag == 1 || (tag == 0xfffe && body.get(24..40).is_some_and(|guid| guid == PCM_GUID));
    if !pcm {
        let what = match tag {
            3 => "floating point samples".to_owned(),
            0xfffe => "an extensible format other than PCM".to_owned(),
            _ => format!("samples of the kind {tag}"),
        };
        return Err(Fault::new(what, "PCM", REMEDY));
    }
    let (channels, hz) = (usize::from(u16_at(body, 2)), u32_at(body, 4));
    let (frame, bits) = (usize::from(u16_at(body, 12)), u16_at(body, 14));
    if bits != 16 && bits != 24 {
        return Err(Fault::new(
            format!("samples of {bits} bits"),
            "16 or 24 bits",
            REMEDY,
        ));
    }
    if channels == 0 || channels > MAX_LINES {
        return Err(Fault::new(
            format!("{channels} channels"),
            format!("1 to {MAX_LINES}"),
            "export only the channels of light",
        ));
    }
    let bytes = usize::from(bits / 8);
    if frame != channels * bytes {
        return Err(Fault::new(
            format!("{frame} bytes a sample of {channels} channels"),
            format!("{} for {bits} bits", channels * bytes),
            REMEDY,
        ));
    }
    let rate = Rate::new(u64::from(hz), 1_000_000_000).ok_or_else(|| {
        Fault::new(
            "a rate of 0 samples a second",
            "1 or more",
            "export the recording with its rate",
        )
    })?;
    Ok(Format {
        channels,
        rate,
        bytes,
    })
}

fn bytes<const N: usize>(window: &mut Window) -> Result<[u8; N], Fault> {
    window.holds(N)?;
    match window.data().first_chunk() {
        Some(bytes) => Ok(*bytes),
        None => Err(cut_short(window)),
    }
}

fn skip(window: &mut Window, mut count: u64) -> Result<(), Fault> {
    while count > 0 {
        if !window.holds(1)? {
            return Err(cut_short(window));
        }
        let here = window
            .data()
            .len()
            .min(usize::try_from(count).unwrap_or(usize::MAX));
        window.consume(here);
        count -= here as u64;
    }
    Ok(())
}

fn cut_short(window: &Window) -> Fault {
    let end = window.offset() + window.data().len() as u64;
    let rest = window.data();
    let found = if rest.is_empty() {
        "the end of the file".to_owned()
    } else {
        format!("the end of the file behind {}", excerpt(rest))
    };
    Fault::new(
        found,
        "a chunk `data` with samples",
        "copy the file again: it was cut short",
    )
    .at(Place::byte(window.file(), end))
}

fn u16_at(bytes: &[u8], at: usize) -> u16 {
    u16::from_le_bytes([bytes[at], bytes[at + 1]])
}

fn u32_at(bytes: &[u8], at: usize) -> u32 {
    u32::from(u16_at(bytes, at)) | u32::from(u16_at(bytes, at + 2)) << 16
}
