//! Decodes the log of an image: `deflog IMAGE < LOG` prints a line a record.

use std::error::Error;
use std::io::{Read, Write};

use defmt_decoder::{DecodeError, Table};

fn main() -> Result<(), Box<dyn Error>> {
    let image = std::env::args().nth(1).ok_or("usage: deflog IMAGE < LOG")?;
    let table = Table::parse(&std::fs::read(&image)?)?.ok_or(format!("{image} has no log"))?;
    let mut log = Vec::new();
    std::io::stdin().read_to_end(&mut log)?;
    let mut decoder = table.new_stream_decoder();
    decoder.received(&log);
    let mut out = std::io::stdout().lock();
    loop {
        match decoder.decode() {
            Ok(record) => writeln!(out, "{}", record.display_message())?,
            // The emulator may have been stopped within a record.
            Err(DecodeError::UnexpectedEof) => return Ok(()),
            Err(why) => return Err(format!("the log is damaged: {why:?}").into()),
        }
    }
}
