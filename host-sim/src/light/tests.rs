//! The room as a whole: every format, the same records whatever the pieces, no panic whatever the bytes.

mod text;
mod wav;

use proptest::prelude::*;

use super::{LightFormat, LightLine, LightReader, LightRecord, LightWriter, Recording};
use crate::fault::Fault;
use crate::log::tests::Pieces;
use crate::log::Options;

/// All a recording says.
#[derive(Debug, PartialEq)]
struct All {
    records: Vec<LightRecord>,
    lines: Vec<LightLine>,
    notes: Vec<String>,
    below_zero: u64,
    fault: Option<Fault>,
}

impl All {
    fn tuples(&self) -> Vec<(u32, u64, i64, u32)> {
        let parts = |r: &LightRecord| (r.line, r.index, r.time_ns, r.counts);
        self.records.iter().map(parts).collect()
    }

    fn counts(&self) -> Vec<u32> {
        self.records.iter().map(|record| record.counts).collect()
    }

    fn message(&self) -> String {
        self.fault.as_ref().expect("a fault").to_string()
    }
}

fn read_pieces(data: &[u8], lengths: &[usize], options: &Options) -> All {
    let mut all = All {
        records: Vec::new(),
        lines: Vec::new(),
        notes: Vec::new(),
        below_zero: 0,
        fault: None,
    };
    let mut reader = match LightReader::from_read(Pieces::new(data, lengths), "t", options) {
        Ok(reader) => reader,
        Err(fault) => {
            all.fault = Some(fault);
            return all;
        }
    };
    let mut batch = Vec::new();
    all.fault = loop {
        match reader.next_batch(&mut batch) {
            Ok(true) => {
                assert!(!batch.is_empty());
                all.records.extend_from_slice(&batch);
            }
            Ok(false) => break None,
            Err(fault) => break Some(fault),
        }
    };
    // The end stays the end.
    all.notes = reader.assumptions().to_vec();
    assert_eq!(reader.next_batch(&mut batch).err(), all.fault);
    assert!(batch.is_empty());
    assert_eq!(reader.assumptions(), all.notes);
    all.lines = reader.lines().to_vec();
    all.below_zero = reader.below_zero();
    all
}

fn read(data: &[u8]) -> All {
    read_pieces(data, &[usize::MAX], &Options::default())
}

fn columns(text: &str) -> Options {
    Options {
        columns: Some(text.parse().unwrap()),
        ..Options::default()
    }
}

/// Every format, sound and damaged, with what is read of it.
fn samples() -> Vec<(Vec<u8>, Options)> {
    let mut rows = String::from("time_ns,line,counts\n");
    let mut scope = String::from("Time [s];CH1 (V);CH2\n");
    for k in 0..700_i64 {
        rows += &format!(
            "{},beam,{}\n{},\"b, 2\",{k}\n",
            k * 5000,
            3000 + k % 7,
            k * 22_676
        );
        scope += &format!("{}e-6;0,{};{}\n", k * 5, 900 + k % 9, k - 3);
    }
    let scope_options = columns("time=Time [s],light=CH1 (V)*1000,light=CH2");
    let sound = wav::bytes(2, 3, 48_000, &(-50..650).collect::<Vec<_>>());
    let mut all = vec![
        (
            format!("{rows}9999999,beam,1\n").into_bytes(),
            Options::default(),
        ),
        (
            format!("{rows}rubbish\n1,beam,1\n").into_bytes(),
            Options::default(),
        ),
        (scope.clone().into_bytes(), scope_options.clone()),
        (format!("{scope}1;1\n").into_bytes(), scope_options),
        (sound[..sound.len() - 4].to_vec(), Options::default()),
        (sound, Options::default()),
    ];
    all.push((
        all[0].0.clone(),
        Options {
            offset_ns: -77,
            ..Options::default()
        },
    ));
    all
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn the_pieces_make_no_difference(
        lengths in proptest::collection::vec(1..3000_usize, 1..6),
        which in 0..7_usize,
    ) {
        let (data, options) = &samples()[which];
        let whole = read_pieces(data, &[usize::MAX], options);
        prop_assert!(whole.records.len() >= 300);
        prop_assert_eq!(read_pieces(data, &lengths, options), whole);
    }

    #[test]
    fn damaged_bytes_get_an_answer(
        which in 0..6_usize,
        damage in proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..8),
        cut in any::<prop::sample::Index>(),
    ) {
        let (mut data, options) = samples()[which].clone();
        for (at, byte) in damage {
            // Most damage goes where the header is, which says the most.
            let at = at.index(if byte % 2 == 0 { 64 } else { data.len() });
            data[at] = byte;
        }
        if cut.index(4) == 0 {
            data.truncate(cut.index(data.len()));
        }
        let whole = read_pieces(&data, &[usize::MAX], &options);
        prop_assert_eq!(read_pieces(&data, &[61, 1, 977], &options), whole);
    }

    #[test]
    fn any_bytes_get_an_answer(
        head in 0..5_usize,
        data in proptest::collection::vec(any::<u8>(), 0..400),
        rows in "[0-9,ab\"\n\r;#.-]{0,200}",
    ) {
        let head: &[u8] = [&b""[..], b"time_ns,line,counts\n", b"RIFF\0\0\0\0WAVE", b"RIFF", b"t,a\n0,1\n"][head];
        let options = columns("time=t,light=a*10");
        for tail in [&data[..], rows.as_bytes()] {
            read(&[head, tail].concat());
            read_pieces(&[head, tail].concat(), &[7], &options);
        }
    }

    #[test]
    fn what_is_written_is_read_back(
        names in proptest::collection::hash_set("[ -~äß]{1,12}", 1..4),
        counts in proptest::collection::vec(any::<u32>(), 1..600),
        start in any::<i32>(),
        period in 1..1_000_000_i64,
    ) {
        let names: Vec<&str> = names.iter().map(String::as_str).collect();
        let mut out = Vec::new();
        let mut writer = LightWriter::new(&mut out, "t", &names).unwrap();
        let mut written = Vec::new();
        for (k, &counts) in counts.iter().enumerate() {
            for line in 0..names.len() as u32 {
                let record = LightRecord { line, index: k as u64, time_ns: i64::from(start) + k as i64 * period, counts };
                writer.write(line, record.time_ns, counts).unwrap();
                written.push(record);
            }
        }
        writer.finish().unwrap();
        let mut all = read(&out);
        prop_assert_eq!(all.fault, None);
        // The heads of the lines come one behind the other.
        all.records.sort_by_key(|record| (record.index, record.line));
        prop_assert_eq!(all.records, written);
        let read_names: Vec<&str> = all.lines.iter().map(|line| line.name.as_str()).collect();
        prop_assert_eq!(read_names, names);
    }
}

#[test]
fn formats_are_told_by_their_content() {
    let open = |data: &[u8], options: &Options| match Recording::from_read(
        Pieces::new(data, &[1]),
        "t",
        options,
    ) {
        Ok(Recording::Light(reader)) => Ok(Some(reader.format())),
        Ok(Recording::Edges(_)) => Ok(None),
        Err(fault) => Err(fault.to_string()),
    };
    let plain = Options::default();
    let own = b"\xef\xbb\xbf# note\ntime_ns,line,counts\r\n0,a,1\r\n";
    assert_eq!(open(own, &plain), Ok(Some(LightFormat::Csv)));
    let sound = wav::bytes(1, 2, 8000, &[1, 2]);
    assert_eq!(open(&sound, &plain), Ok(Some(LightFormat::Wav)));
    let light = columns("time=t,light=v");
    assert_eq!(open(b"t,v\n0,1\n", &light), Ok(Some(LightFormat::ScopeCsv)));
    assert_eq!(open(b"time_ns,line,level\n0,a,1\n", &plain), Ok(None));
    assert_eq!(open(b"$enddefinitions $end", &plain), Ok(None));
    assert_eq!(
        open(b"RIFF,t\n1,0\n", &columns("time=t,level=RIFF")),
        Ok(None)
    );
    assert!(open(&sound, &light)
        .unwrap_err()
        .contains("leave these options out"));
    assert!(
        open(b"", &plain).is_err()
            && open(b"RIF", &plain).is_err()
            && open(b"RIFF", &plain).is_err()
    );
    assert!(open(b"RIFF\0\0\0\0AVI LIST", &plain).is_err());
}

#[test]
fn the_wrong_reader_says_which_is_right() {
    let edges = read(b"time_ns,line,level\n0,a,1\n").message();
    assert!(edges.contains("light=NAME"), "{edges}");
    let light = &b"time_ns,line,counts\n0,a,1\n"[..];
    let fault = crate::log::LogReader::from_read(light, "t", &Options::default()).err();
    assert!(fault
        .unwrap()
        .to_string()
        .starts_with("t: found a light recording"));
}

#[test]
fn an_offset_that_does_not_fit_lies_before_the_damage() {
    let options = Options {
        offset_ns: i64::MAX - 5000,
        ..Options::default()
    };
    let all = read_pieces(
        b"time_ns,line,counts\n0,a,1\n5000,a,2\n10000,a,3\nx\n",
        &[9],
        &options,
    );
    assert_eq!(all.records.len(), 2);
    assert!(
        all.message().contains("smaller offset"),
        "{}",
        all.message()
    );
}
