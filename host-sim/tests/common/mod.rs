//! What the tests of the program share.

use std::path::Path;
use std::process::Output;

pub(crate) fn code(output: &Output) -> i32 {
    output.status.code().unwrap()
}

pub(crate) fn out(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

pub(crate) fn err(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

pub(crate) fn text(path: &Path) -> String {
    path.to_str().unwrap().to_owned()
}

/// A folder with a scenario file in it.
pub(crate) fn scenario(toml: &str) -> (tempfile::TempDir, impl Fn(&str) -> String) {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("s.toml"), toml).unwrap();
    let root = folder.path().to_owned();
    (folder, move |name: &str| text(&root.join(name)))
}
