//! What lasts on the disk: a name is only safe when its folder is too.

use std::fs::{self, File};
use std::io;
use std::path::Path;

/// Makes names that were given or taken away in the folder of this file outlast a power cut.
///
/// # Errors
/// When the folder can't be opened or the disk can't take it.
pub fn keep_names_beside(file: &Path) -> io::Result<()> {
    let folder = file.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    File::open(folder)?.sync_all()
}

/// Gives a file that is whole its name, in the place of whatever had it: after a power cut the one or the other is there.
///
/// # Errors
/// When the disk can't take it.
pub fn rename(from: &Path, to: &Path) -> io::Result<()> {
    File::open(from)?.sync_all()?;
    fs::rename(from, to)?;
    keep_names_beside(to)
}
