//! What holds for any bytes: an answer, the same one whatever the pieces, and what was written is read back.

use std::io::{self, Read};

use trueonset_sim::log::{LogReader, Options, Record, Target, Writer};

/// Hands out one byte at a time.
struct Bytewise(io::Cursor<Vec<u8>>);

impl Read for Bytewise {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let length = buffer.len().min(1);
        self.0.read(&mut buffer[..length])
    }
}

type All = (Vec<Record>, Vec<String>, Option<String>);

fn read(source: impl Read + Send + 'static, options: &Options) -> All {
    let mut all = Vec::new();
    let mut reader = match LogReader::from_read(source, "log", options) {
        Ok(reader) => reader,
        Err(fault) => return (all, Vec::new(), Some(fault.to_string())),
    };
    let mut batch = Vec::new();
    let end = loop {
        match reader.next_batch(&mut batch) {
            Ok(true) => all.extend_from_slice(&batch),
            Ok(false) => break None,
            Err(fault) => break Some(fault.to_string()),
        }
    };
    let names = reader
        .lines()
        .iter()
        .map(|line| line.name.clone())
        .collect();
    (all, names, end)
}

/// Reads a log in two ways, writes it as CSV, and reads that.
pub fn log(data: &[u8], options: &Options) {
    let whole = read(io::Cursor::new(data.to_vec()), options);
    assert_eq!(
        read(Bytewise(io::Cursor::new(data.to_vec())), options),
        whole
    );
    let (records, names, _) = whole;
    let mut out = Vec::new();
    let mut writer =
        Writer::new(Target::Csv, &mut out, "out", &names, false).expect("any name fits");
    for record in &records {
        writer.write(record).expect("any record fits");
    }
    writer.finish().expect("memory takes it");
    let (again, _, fault) = read(io::Cursor::new(out.clone()), &Options::default());
    assert_eq!(fault, None);
    let mut second = Vec::new();
    let names_again: Vec<String> = read(io::Cursor::new(out.clone()), &Options::default()).1;
    let mut writer =
        Writer::new(Target::Csv, &mut second, "out", &names_again, false).expect("any name fits");
    for record in &again {
        writer.write(record).expect("any record fits");
    }
    writer.finish().expect("memory takes it");
    assert_eq!(second, out);
}
