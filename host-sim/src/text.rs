//! Files that are read as a whole.

use std::path::Path;

use crate::fault::Fault;

/// Name and text of a file, or of stdin for `-`.
///
/// # Errors
/// It cannot be read, or is no text.
pub(crate) fn read(path: &Path) -> Result<(String, String), Fault> {
    let name = path.display().to_string();
    let text = if name == "-" {
        std::io::read_to_string(std::io::stdin())
    } else {
        std::fs::read_to_string(path)
    };
    let text = text.map_err(|why| Fault::io(&name, "read", &why))?;
    Ok((name, text))
}
