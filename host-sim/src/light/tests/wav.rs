//! WAV.

use super::{read, All};

/// A recording, `values` interleaved.
pub(super) fn bytes(channels: u16, bytes: u16, hz: u32, values: &[i32]) -> Vec<u8> {
    let data: Vec<u8> = values
        .iter()
        .flat_map(|value| value.to_le_bytes()[..usize::from(bytes)].to_vec())
        .collect();
    let length = data.len() as u32;
    with(&[
        (b"fmt ", &format(1, channels, hz, bytes, bytes * 8)),
        (b"LIST", b"odd"),
        (b"data", &data),
    ])
    .into_iter()
    .chain(
        if length % 2 == 1 {
            &b"\0LIST"[..]
        } else {
            b"LIST"
        }
        .iter()
        .copied(),
    )
    .collect()
}

fn format(tag: u16, channels: u16, hz: u32, bytes: u16, bits: u16) -> Vec<u8> {
    let frame = channels.wrapping_mul(bytes);
    let mut all = Vec::new();
    all.extend(tag.to_le_bytes());
    all.extend(channels.to_le_bytes());
    all.extend(hz.to_le_bytes());
    all.extend((hz.wrapping_mul(u32::from(frame))).to_le_bytes());
    all.extend(frame.to_le_bytes());
    all.extend(bits.to_le_bytes());
    all
}

/// A RIFF of chunks; the last one is not padded.
fn with(chunks: &[(&[u8; 4], &[u8])]) -> Vec<u8> {
    let mut body = b"WAVE".to_vec();
    for (at, (name, data)) in chunks.iter().enumerate() {
        body.extend(*name);
        body.extend((data.len() as u32).to_le_bytes());
        body.extend(*data);
        if data.len() % 2 == 1 && at + 1 < chunks.len() {
            body.push(0);
        }
    }
    [b"RIFF", &(body.len() as u32).to_le_bytes()[..], &body].concat()
}

fn refused(chunks: &[(&[u8; 4], &[u8])]) -> String {
    let all = read(&with(chunks));
    assert!(all.records.is_empty());
    all.message()
}

/// With the stated length of the samples replaced.
fn stating(data: &[u8], length: u32) -> Vec<u8> {
    let at = data.windows(4).position(|name| name == b"data").unwrap() + 4;
    let mut data = data.to_vec();
    data[at..at + 4].copy_from_slice(&length.to_le_bytes());
    data
}

#[test]
fn instants_are_whole_numbers_of_periods_of_44_1_khz() {
    let values: Vec<i32> = (0..44_101).map(|k| k % 3000).collect();
    let all = read(&bytes(1, 2, 44_100, &values));
    assert_eq!(all.fault, None);
    assert_eq!(all.lines[0].rate.unwrap().hz(), 44_100);
    assert_eq!(all.lines[0].name, "channel1");
    for (k, record) in all.records.iter().enumerate() {
        // k/rate to the nearest ns; 441 is odd, so there are no ties.
        let exact = (k as u128 * 2_000_000_000 + 44_100) / 88_200;
        assert_eq!(record.time_ns as u128, exact);
        assert_eq!((record.index, record.counts), (k as u64, k as u32 % 3000));
    }
    assert_eq!(all.records[44_100].time_ns, 1_000_000_000);
}

#[test]
fn channels_of_24_bits_are_lines() {
    let all = read(&bytes(
        2,
        3,
        48_000,
        &[1, 8_388_607, -8_388_608, 70_000, 0, -1],
    ));
    assert_eq!(all.fault, None);
    assert_eq!(
        all.tuples(),
        [
            (0, 0, 0, 1),
            (1, 0, 0, 8_388_607),
            (0, 1, 20_833, 0),
            (1, 1, 20_833, 70_000),
            (0, 2, 41_667, 0),
            (1, 2, 41_667, 0),
        ]
    );
    assert_eq!(all.below_zero, 2);
    assert_eq!(all.notes, ["values below 0 are taken as no light"]);
}

#[test]
fn negative_values_of_16_bits_are_no_light() {
    let all = read(&bytes(1, 2, 1000, &[-32_768, 32_767, -1]));
    assert_eq!((all.counts(), all.below_zero), (vec![0, 32_767, 0], 2));
}

#[test]
fn extensible_formats_are_read_if_they_are_pcm() {
    let mut extensible = format(0xfffe, 1, 8000, 2, 16);
    extensible.extend([22, 0, 16, 0, 4, 0, 0, 0]);
    extensible.extend([
        1, 0, 0, 0, 0, 0, 0x10, 0, 0x80, 0, 0, 0xaa, 0, 0x38, 0x9b, 0x71,
    ]);
    let all = read(&with(&[(b"fmt ", &extensible), (b"data", &[5, 0])]));
    assert_eq!((all.counts(), all.fault), (vec![5], None));
    extensible[24] = 3;
    let message = refused(&[(b"fmt ", &extensible), (b"data", &[5, 0])]);
    assert!(message.contains("extensible format other than PCM"));
}

#[test]
fn a_file_cut_short_is_read_up_to_there() {
    let whole = bytes(2, 2, 8000, &[1, 2, 3, 4, 5, 6]);
    let data_at = whole.len() - 4 - 12;
    for cut in 0..12 {
        let all = read(&whole[..data_at + cut]);
        assert_eq!(all.records.len(), cut / 4 * 2);
        let (message, end) = (all.message(), data_at + cut);
        assert!(
            message.starts_with(&format!(
                "t at byte {end}: found the end of the file after {} samples, expected 3",
                cut / 4
            )),
            "{message}"
        );
    }
    for cut in 12..data_at {
        let message = read(&whole[..cut]).message();
        assert!(
            message.starts_with(&format!("t at byte {cut}: found the end of the file")),
            "{message}"
        );
    }
}

#[test]
fn a_header_that_lies_about_the_length_loses_nothing_in_silence() {
    let whole = bytes(1, 2, 8000, &[1, 2, 3, 4]);
    let whole = &whole[..whole.len() - 4];
    let counts = |length: u32| -> All { read(&stating(whole, length)) };
    // More than there is.
    let all = counts(10);
    assert_eq!(all.counts(), [1, 2, 3, 4]);
    assert!(all
        .message()
        .contains("after 4 samples, expected 5 as the header states"));
    // Less than there is.
    let all = counts(4);
    assert_eq!((all.counts(), &all.fault), (vec![1, 2], &None));
    assert!(
        all.notes[0].contains("the header states 2 samples; what stands behind them is not read")
    );
    // No whole number of samples.
    let all = counts(7);
    assert_eq!(all.counts(), [1, 2, 3]);
    assert!(all
        .message()
        .contains("found 1 bytes behind the last whole sample"));
    // None.
    for length in [0, u32::MAX, u32::MAX - 44] {
        let mut data = stating(whole, length);
        data[4..8].copy_from_slice(&36_u32.to_le_bytes());
        let all = read(&data);
        assert_eq!(
            (all.counts(), &all.fault),
            (vec![1, 2, 3, 4], &None),
            "{length}"
        );
        assert!(all.notes[0].contains("states no length"));
        data.push(9);
        let all = read(&data);
        assert_eq!(all.counts(), [1, 2, 3, 4]);
        assert!(all
            .message()
            .contains("1 bytes behind the last whole sample"));
    }
    // Empty, and so it says.
    let empty = with(&[
        (b"fmt ", &format(1, 1, 8000, 2, 16)),
        (b"data", &[]),
        (b"LIST", b"abcd"),
    ]);
    let all = read(&empty);
    assert_eq!((all.counts(), all.fault, all.notes), (vec![], None, vec![]));
}

#[test]
fn a_chunk_behind_the_samples_is_no_news() {
    for values in [&[1, 2][..], &[1, 2, 3]] {
        let all = read(&bytes(1, 3, 8000, values));
        assert_eq!((all.fault, all.notes), (None, vec![]));
    }
    let again = with(&[
        (b"fmt ", &format(1, 1, 8000, 2, 16)),
        (b"data", &[1, 0]),
        (b"data", &[2, 0]),
    ]);
    assert_eq!(read(&again).notes.len(), 1);
}

#[test]
fn other_formats_are_refused_with_their_place() {
    let one = |body: &[u8]| refused(&[(b"fmt ", body), (b"data", &[0; 8])]);
    for (body, words) in [
        (
            format(3, 1, 8000, 4, 32),
            "found floating point samples, expected PCM",
        ),
        (format(2, 1, 8000, 1, 4), "samples of the kind 2"),
        (
            format(1, 1, 8000, 1, 8),
            "samples of 8 bits, expected 16 or 24",
        ),
        (format(1, 1, 8000, 4, 32), "samples of 32 bits"),
        (format(1, 0, 8000, 2, 16), "0 channels"),
        (
            format(1, 257, 8000, 2, 16),
            "257 channels, expected 1 to 256",
        ),
        (format(1, 2, 0, 2, 16), "a rate of 0"),
        (
            format(1, 1, 8000, 4, 24),
            "4 bytes a sample of 1 channels, expected 3",
        ),
        (vec![1, 0], "a format of 2 bytes"),
    ] {
        let message = one(&body);
        assert!(
            message.starts_with("t at byte 12: ") && message.contains(words),
            "{message}"
        );
    }
    assert!(refused(&[(b"data", &[0, 0])]).contains("samples before a format"));
    let many: Vec<(&[u8; 4], &[u8])> = vec![(b"junk", b""); 1001];
    assert!(refused(&many).contains("1000 chunks without samples"));
}
