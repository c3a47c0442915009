//! What lasts on the disk: a name is only safe when its folder is too.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write as _};
use std::os::unix::fs::{MetadataExt as _, OpenOptionsExt as _};
use std::path::{Path, PathBuf};

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

/// Writes a file that isn't there yet, for its owner alone: whole or not at all, whenever the power fails or the disk is full.
///
/// # Errors
/// When there is such a file, somebody else makes it at the same time, or the disk can't take it.
pub fn write_new(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let part = beside(path, "part");
    // Whoever holds the lock on it writes it; what a cut left of it is written over.
    let mut file = OpenOptions::new().write(true).create(true).truncate(false).mode(0o600).open(&part)?;
    file.lock()?;
    let written = file.metadata()?;
    let mine = fs::metadata(&part).is_ok_and(|there| (there.dev(), there.ino()) == (written.dev(), written.ino()));
    if !mine {
        return Err(io::ErrorKind::AlreadyExists.into());
    }
    let mut put = || {
        if fs::exists(path)? {
            return Err(io::ErrorKind::AlreadyExists.into());
        }
        file.set_len(0)?;
        file.write_all(bytes)?;
        rename(&part, path)
    };
    let put: io::Result<()> = put();
    if put.is_err() {
        let _ = fs::remove_file(&part);
    }
    put
}

/// The file of this name and a dot and a tail, in the same folder.
pub fn beside(file: &Path, tail: &str) -> PathBuf {
    let mut name = file.file_name().unwrap_or_default().to_owned();
    name.push(".");
    name.push(tail);
    file.with_file_name(name)
}

#[cfg(test)]
mod tests {
    use std::os::unix::fs::PermissionsExt as _;

    use super::*;

    #[test]
    fn a_new_file_is_there_whole_for_its_owner_alone_or_not_at_all() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("key");
        fs::write(beside(&path, "part"), "what a cut left, and longer").unwrap();
        fs::set_permissions(beside(&path, "part"), fs::Permissions::from_mode(0o600)).unwrap();
        write_new(&path, b"whole").unwrap();
        assert_eq!(fs::read(&path).unwrap(), b"whole");
        assert_eq!(fs::metadata(&path).unwrap().permissions().mode() & 0o777, 0o600);
        assert_eq!(write_new(&path, b"another").unwrap_err().kind(), io::ErrorKind::AlreadyExists);
        assert_eq!(fs::read(&path).unwrap(), b"whole", "never over another one");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn of_many_that_make_one_at_once_one_does_and_what_it_wrote_is_there() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("key");
        let made: Vec<usize> = std::thread::scope(|scope| {
            let all: Vec<_> = (0..8)
                .map(|n| {
                    (
                        n,
                        scope.spawn({
                            let path = &path;
                            move || write_new(path, format!("{n}").as_bytes())
                        }),
                    )
                })
                .collect();
            all.into_iter().filter_map(|(n, one)| one.join().unwrap().is_ok().then_some(n)).collect()
        });
        assert_eq!(made.len(), 1);
        assert_eq!(fs::read_to_string(&path).unwrap(), made[0].to_string());
    }
}
