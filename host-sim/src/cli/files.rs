//! Files named on the command line: outputs must not destroy what is read, nor each other.

use std::path::{Path, PathBuf};

use crate::fault::{Fault, Place};

/// Refuses outputs that are an input, another output, or stdout, which the result itself needs.
///
/// # Errors
/// Names the two options.
pub(super) fn keep_apart(
    inputs: &[(&str, Option<&str>)],
    outputs: &[(&str, Option<&Path>)],
) -> Result<(), Fault> {
    let mut taken: Vec<(&str, PathBuf)> = Vec::new();
    for (option, name) in inputs {
        if let Some(name) = name.filter(|name| *name != "-") {
            taken.push((option, real(Path::new(name))));
        }
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
        let path = real(path);
        if let Some((other, _)) = taken.iter().find(|(_, known)| *known == path) {
            return Err(Fault::new(
                format!("the same file for {other} and {option}"),
                "two files, or one would destroy the other",
                "name another file",
            )
            .at(Place::File(path.display().to_string())));
        }
        taken.push((option, path));
    }
    Ok(())
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
