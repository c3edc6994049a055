//! Light recordings from files, as the program meets them.

use std::fs;
use std::io::{self, Read};
use std::process::Command;

use trueonset_sim::light::{LightFormat, LightReader, LightWriter, Rate, Recording};
use trueonset_sim::log::Options;

/// A recording of a moving blade at 48 kHz as WAV of one channel; `seconds` long.
fn wav(seconds: u32) -> Vec<u8> {
    let samples: Vec<u8> = (0..48_000 * seconds)
        .flat_map(|k| light_at(k).to_le_bytes())
        .collect();
    let mut file = b"RIFF\0\0\0\0WAVEfmt \x10\0\0\0\x01\0\x01\0".to_vec();
    file.extend(48_000_u32.to_le_bytes());
    file.extend(96_000_u32.to_le_bytes());
    file.extend(b"\x02\0\x10\0data");
    file.extend((samples.len() as u32).to_le_bytes());
    file.extend(samples);
    file
}

/// Light, shade of 10 ms each second, light.
fn light_at(sample: u32) -> u16 {
    if (24_000..24_480).contains(&(sample % 48_000)) {
        40
    } else {
        3276
    }
}

#[test]
fn a_wav_and_the_csv_written_of_it_say_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let (sound, text) = (path("blade.bin"), path("blade.csv"));
    fs::write(&sound, wav(3)).unwrap();
    let mut reader = LightReader::open(&sound, &Options::default()).unwrap();
    assert_eq!(reader.format(), LightFormat::Wav);
    let mut writer =
        LightWriter::new(fs::File::create(&text).unwrap(), &text, &["channel1"]).unwrap();
    let mut first = Vec::new();
    let damage = reader
        .each_batch(|batch, _| {
            first.extend_from_slice(batch);
            batch
                .iter()
                .try_for_each(|record| writer.write(record.line, record.time_ns, record.counts))
        })
        .unwrap();
    assert_eq!(damage, None);
    writer.finish().unwrap();

    let Ok(Recording::Light(mut reader)) = Recording::open(&text, &Options::default()) else {
        panic!("no light recording");
    };
    assert_eq!(reader.format(), LightFormat::Csv);
    let mut second = Vec::new();
    let damage = reader
        .each_batch(|batch, reader| {
            // Known from the first record on, for the barrier is set up by it.
            assert_eq!(reader.lines()[0].rate.map(Rate::hz), Some(48_000));
            second.extend_from_slice(batch);
            Ok(())
        })
        .unwrap();
    assert_eq!(damage, None);
    assert_eq!(first, second);
    assert_eq!(first.len(), 144_000);
    assert!(first
        .iter()
        .all(|record| record.counts == u32::from(light_at(record.index as u32))));
}

#[test]
fn a_missing_file_is_named() {
    let fault = LightReader::open("no such recording.wav", &Options::default())
        .err()
        .unwrap();
    assert!(fault
        .to_string()
        .starts_with("no such recording.wav: found"));
}

/// Rows without end, until the reader of them gives up.
struct Endless {
    row: u64,
    limit: u64,
    rest: Vec<u8>,
}

impl Read for Endless {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        while self.rest.len() < buffer.len() && self.row < self.limit {
            let (time_ns, counts) = (self.row * 5000, 3000 + self.row % 17);
            self.rest
                .extend(format!("{time_ns},beam,{counts}\n").as_bytes());
            self.row += 1;
        }
        let length = buffer.len().min(self.rest.len());
        buffer[..length].copy_from_slice(&self.rest[..length]);
        self.rest.drain(..length);
        Ok(length)
    }
}

#[test]
fn a_long_recording_is_read_in_small_batches() {
    let source = io::Cursor::new("time_ns,line,counts\n").chain(Endless {
        row: 0,
        limit: 2_000_000,
        rest: Vec::new(),
    });
    let mut reader = LightReader::from_read(source, "long", &Options::default()).unwrap();
    let (mut batch, mut count, mut largest) = (Vec::new(), 0_u64, 0);
    while reader.next_batch(&mut batch).unwrap() {
        for record in &batch {
            assert_eq!(record.index, count);
            count += 1;
        }
        largest = largest.max(batch.len());
    }
    assert_eq!(count, 2_000_000);
    assert!(largest < 30_000, "{largest}");
}

#[test]
fn what_takes_edges_only_says_so() {
    let folder = tempfile::tempdir().unwrap();
    let (sound, new) = (
        folder.path().join("blade.wav"),
        folder.path().join("new.csv"),
    );
    fs::write(&sound, wav(1)).unwrap();
    let output = Command::new(env!("CARGO_BIN_EXE_trueonset"))
        .args(["convert".as_ref(), sound.as_os_str(), new.as_os_str()])
        .output()
        .unwrap();
    let message = String::from_utf8_lossy(&output.stderr).into_owned();
    assert_eq!(output.status.code(), Some(2), "{message}");
    assert!(message.contains("a light recording"), "{message}");
}

#[test]
fn waves_of_light_tell_when_and_why_in_rising_time() {
    let folder = tempfile::tempdir().unwrap();
    let path = |name: &str| folder.path().join(name).to_str().unwrap().to_owned();
    let run = |args: &[&str]| {
        let output = Command::new(env!("CARGO_BIN_EXE_trueonset"))
            .args(args)
            .output()
            .unwrap();
        assert_eq!(output.status.code(), Some(0), "{args:?}");
        String::from_utf8(output.stdout).unwrap()
    };
    run(&["demo", "--out", &path("demo")]);
    let (log, config) = (path("demo/light.csv"), path("demo/light.toml"));
    let rows = run(&[
        "replay",
        &log,
        "--config",
        &config,
        "--csv",
        "--waves",
        &path("w.vcd"),
    ]);
    let dump = fs::read_to_string(path("w.vcd")).unwrap();
    let (head, body) = dump.split_once("$enddefinitions $end\n").unwrap();
    assert!(head.contains("$var integer 32 ! length $end"));
    let (mut now, mut onsets, mut lights) = (-1, Vec::new(), 0);
    for line in body.lines() {
        if let Some(time) = line.strip_prefix('#') {
            // Except for the identifier `#` behind its value, which stands last.
            let time: i64 = time.parse().unwrap();
            assert!(time > now);
            now = time;
        } else if line == "1#" {
            onsets.push(now);
        } else if line.starts_with('b') {
            lights += 1;
        }
    }
    let column = |at: usize| -> Vec<i64> {
        let cells = rows.lines().skip(1).map(|row| row.split(',').nth(at));
        cells.map(|cell| cell.unwrap().parse().unwrap()).collect()
    };
    let mut expected = [column(1), column(7)].concat();
    expected.sort_unstable();
    assert_eq!(onsets, expected);
    // Every sample of the crossings, next to nothing of the rest.
    assert!((8_000..60_000).contains(&lights), "{lights}");
}
