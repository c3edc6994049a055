//! Light recordings: the first byte chooses beginning and options. The same answer whatever the pieces, indices
//! that grow, and what was read and written is read back.
#![no_main]

use std::io::{self, Read};

use libfuzzer_sys::fuzz_target;
use trueonset_sim::light::{LightReader, LightRecord, LightWriter};
use trueonset_sim::log::{Columns, Options};

/// Hands out one byte at a time.
struct Bytewise(io::Cursor<Vec<u8>>);

impl Read for Bytewise {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let length = buffer.len().min(1);
        self.0.read(&mut buffer[..length])
    }
}

type All = (Vec<LightRecord>, Vec<String>, Option<String>);

fn read(source: impl Read + Send + 'static, options: &Options) -> All {
    let mut all = Vec::new();
    let mut reader = match LightReader::from_read(source, "light", options) {
        Ok(reader) => reader,
        Err(fault) => return (all, Vec::new(), Some(fault.to_string())),
    };
    let damage = reader
        .each_batch(|batch, reader| {
            for record in batch {
                assert!((record.line as usize) < reader.lines().len());
            }
            all.extend_from_slice(batch);
            Ok(())
        })
        .expect("nothing above fails");
    let names = reader.lines().iter().map(|line| line.name.clone());
    (
        all,
        names.collect(),
        damage.map(|damage| damage.to_string()),
    )
}

/// As the own CSV, its rows in the order of the records.
fn written(records: &[LightRecord], names: &[String]) -> Vec<u8> {
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    let mut out = Vec::new();
    let mut writer = LightWriter::new(&mut out, "out", &names).expect("any name fits");
    for record in records {
        writer
            .write(record.line, record.time_ns, record.counts)
            .expect("any record fits");
    }
    writer.finish().expect("memory takes it");
    out
}

fuzz_target!(|data: &[u8]| {
    let Some((&choice, rest)) = data.split_first() else {
        return;
    };
    let (head, columns): (&[u8], &str) = match choice % 6 {
        0 => (b"time_ns,line,counts\n", ""),
        1 => (
            b"RIFF\x24\0\0\0WAVEfmt \x10\0\0\0\x01\0\x02\0\x44\xac\0\0\x10\xb1\x02\0\x04\0\x10\0",
            "",
        ),
        2 => (b"RIFF\0\0\0\0WAVE", ""),
        3 => (b"t,a,b\n0,1,2\n1,2,3\n", "time=t,light=a*1000,light=b"),
        4 => (b"t;who;v\n0;a;1,5\n", "time=t,line=who,light=v*10"),
        _ => (b"", ""),
    };
    let options = Options {
        columns: (!columns.is_empty()).then(|| columns.parse::<Columns>().expect("sound")),
        offset_ns: if choice & 64 != 0 { -1_000 } else { 0 },
        ..Options::default()
    };
    let data = [head, rest].concat();
    let whole = read(io::Cursor::new(data.clone()), &options);
    assert_eq!(read(Bytewise(io::Cursor::new(data)), &options), whole);
    let (records, names, _) = whole;
    for line in 0..names.len() as u32 {
        let of_line: Vec<_> = records
            .iter()
            .filter(|record| record.line == line)
            .collect();
        for pair in of_line.windows(2) {
            // An index may reach its end, a time may not.
            assert!(pair[0].index < pair[1].index || pair[1].index == u64::MAX);
            assert!(pair[0].time_ns <= pair[1].time_ns);
        }
    }
    let out = written(&records, &names);
    let (again, _, fault) = read(io::Cursor::new(out), &Options::default());
    // Rounded times of a fast WAV may stand still, and what is cut off a head changes its fit.
    if fault.is_none() {
        assert_eq!(again.len(), records.len());
    }
});
