//! Files named on the command line: outputs must not destroy what is read, nor each other.

use std::io::Read;
use std::path::{Path, PathBuf};

use crate::fault::{Fault, Place};

/// The whole of a file, or of stdin for `-`.
///
/// # Errors
/// It cannot be read.
pub(super) fn bytes(path: &Path) -> Result<Vec<u8>, Fault> {
    let read = if path == Path::new("-") {
        let mut all = Vec::new();
        std::io::stdin().read_to_end(&mut all).map(|_| all)
    } else {
        std::fs::read(path)
    };
    read.map_err(|why| Fault::io(&path.display().to_string(), "read", &why))
}

/// Refuses outputs that are an input or another output, under whatever name, and two inputs that
/// are both stdin. A result on stdout must not go into an input either.
///
/// # Errors
/// Names the two options.
pub(super) fn keep_apart(
    inputs: &[(&str, Option<&str>)],
    outputs: &[(&str, Option<&Path>)],
) -> Result<(), Fault> {
    let given = inputs
        .iter()
        .filter_map(|(option, name)| Some((*option, (*name)?)));
    let mut stdin = given.clone().filter(|(_, name)| *name == "-");
    if let (Some((one, _)), Some((other, _))) = (stdin.next(), stdin.next()) {
        return Err(Fault::new(
            format!("- for {one} and for {other}"),
            "stdin for one of them only",
            "name a file for the other",
        ));
    }
    let mut taken: Vec<(&str, File)> = given
        .map(|(option, name)| (option, File::input(name)))
        .collect();
    let stdout = ("stdout", File::at(Path::new("/dev/stdout")));
    // What is no regular file, a terminal or a pipe, destroys nothing.
    if stdout.1.inode.is_some() {
        taken = add(taken, stdout)?;
    }
    for (option, path) in outputs {
        let Some(path) = path else {
            continue;
        };
        if *path == Path::new("-") {
            return Err(Fault::new(
                format!("{option} -"),
                "a file, since stdout holds the result",
                "name a file",
            ));
        }
        taken = add(taken, (*option, File::at(path)))?;
    }
    Ok(())
}

fn add<'a>(
    mut taken: Vec<(&'a str, File)>,
    (option, file): (&'a str, File),
) -> Result<Vec<(&'a str, File)>, Fault> {
    if let Some((other, _)) = taken.iter().find(|(_, known)| known.is(&file)) {
        return Err(Fault::new(
            format!("the same file for {other} and {option}"),
            "two files, or one would destroy the other",
            "name another file",
        )
        .at(Place::File(file.path.display().to_string())));
    }
    taken.push((option, file));
    Ok(taken)
}

/// A file, known by where it is and by what it is.
struct File {
    path: PathBuf,
    /// Device and number of a regular file, the same for all its names.
    inode: Option<(u64, u64)>,
    /// It is there and is no regular file: a terminal, a pipe, a device.
    special: bool,
}

impl File {
    fn input(name: &str) -> Self {
        Self::at(Path::new(if name == "-" { "/dev/stdin" } else { name }))
    }

    fn at(path: &Path) -> Self {
        Self {
            path: real(path),
            inode: inode(path),
            special: path.metadata().is_ok_and(|what| !what.is_file()),
        }
    }

    fn is(&self, other: &Self) -> bool {
        (self.path == other.path && !self.special)
            || (self.inode.is_some() && self.inode == other.inode)
    }
}

#[cfg(unix)]
fn inode(path: &Path) -> Option<(u64, u64)> {
    use std::os::unix::fs::MetadataExt;
    let file = path.metadata().ok().filter(std::fs::Metadata::is_file)?;
    Some((file.dev(), file.ino()))
}

#[cfg(not(unix))]
fn inode(_: &Path) -> Option<(u64, u64)> {
    None
}

/// The file behind links and dots; of one that is still to be made, its folder's.
fn real(path: &Path) -> PathBuf {
    if let Ok(real) = path.canonicalize() {
        return real;
    }
    let folder = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty());
    let folder = folder.unwrap_or(Path::new(".")).canonicalize();
    match (folder, path.file_name()) {
        (Ok(folder), Some(name)) => folder.join(name),
        _ => path.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_file_under_two_names_is_found_whether_it_exists_or_not() {
        let folder = tempfile::tempdir().unwrap();
        let at = |name: &str| folder.path().join(name);
        std::fs::write(at("log"), "x").unwrap();
        let log = at("log").display().to_string();
        let dotted = folder.path().join(".").join("log");
        let refused = |inputs: &[(&str, Option<&str>)], outputs: &[(&str, Option<&Path>)]| {
            keep_apart(inputs, outputs).map_err(|fault| fault.to_string())
        };
        let same = refused(&[("LOG", Some(&log))], &[("--waves", Some(&dotted))]);
        assert!(same.unwrap_err().contains("LOG and --waves"));
        let (new, again) = (at("new"), folder.path().join(".").join("new"));
        let twice = refused(&[], &[("--waves", Some(&new)), ("--report", Some(&again))]);
        assert!(twice.unwrap_err().contains("--waves and --report"));
        assert!(refused(&[("LOG", Some("-"))], &[("--report", Some(Path::new("-")))]).is_err());
        assert!(refused(
            &[("LOG", Some(&log))],
            &[("--report", Some(&new)), ("--waves", None)]
        )
        .is_ok());
    }
}
