//! Where a log comes from: a file, or stdin for `-`.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};

use crate::fault::Fault;

/// The input and its name in messages.
pub(crate) fn open(path: &str) -> Result<(Box<dyn Read + Send>, String), Fault> {
    if path == "-" {
        return Ok((Box::new(io::stdin()), "stdin".to_owned()));
    }
    let file = File::open(path).map_err(|error| Fault::io(path, "open", &error))?;
    Ok((Box::new(file), path.to_owned()))
}

/// An input that can be read from its beginning more than once.
pub(crate) struct Rereadable {
    file: File,
    name: String,
}

impl Rereadable {
    /// What cannot be read twice (stdin, a pipe) is copied to a temporary file first.
    pub(crate) fn open(path: &str) -> Result<Self, Fault> {
        if path != "-" {
            let file = File::open(path).map_err(|error| Fault::io(path, "open", &error))?;
            if file.metadata().is_ok_and(|metadata| metadata.is_file()) {
                return Ok(Self {
                    file,
                    name: path.to_owned(),
                });
            }
        }
        let (mut source, name) = open(path)?;
        let mut file =
            tempfile::tempfile().map_err(|error| Fault::io("a temporary file", "open", &error))?;
        io::copy(&mut source, &mut file).map_err(|error| Fault::io(&name, "copy", &error))?;
        Ok(Self { file, name })
    }

    pub(crate) fn name(&self) -> &str {
        &self.name
    }

    /// The input from its beginning. Only the last reader handed out may be read from.
    pub(crate) fn read(&self) -> Result<Box<dyn Read + Send>, Fault> {
        let again = || {
            let mut file = self.file.try_clone()?;
            file.seek(SeekFrom::Start(0))?;
            Ok(file)
        };
        let file = again().map_err(|error: io::Error| Fault::io(&self.name, "read", &error))?;
        Ok(Box::new(file))
    }
}
