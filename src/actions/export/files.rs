//! Files that hold records: for the owner of the process alone, complete or not there at all.

use std::fs::{self, DirBuilder, File, OpenOptions};
use std::io::{self, BufWriter, Write};
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt};
use std::path::{Path, PathBuf};

use super::Place;
use crate::app::App;
use crate::documents::digest::{Digest, Digested};
use crate::domain::ids::ExportId;
use crate::durable;
use crate::sealing::{Passphrase, Sealing};

/// The folder below the database's own.
pub(super) const FOLDER: &str = "exports";
const ENDING: &str = "zip";
const UNFINISHED: &str = "part";

/// Makes the folder if it isn't there.
pub(super) fn folder(data: &Path) -> io::Result<PathBuf> {
    let folder = data.join(FOLDER);
    DirBuilder::new().recursive(true).mode(0o700).create(&folder)?;
    Ok(folder)
}

pub(super) fn kept_name(folder: &Path, id: &ExportId) -> PathBuf {
    folder.join(id.as_str()).with_extension(ENDING)
}

fn create(path: &Path) -> io::Result<File> {
    OpenOptions::new().read(true).write(true).create_new(true).mode(0o600).open(path)
}

/// An empty file without a name, which is gone with its last handle: for what is too large for the memory.
///
/// # Errors
/// When the data folder can't be written.
pub fn scratch(app: &App) -> io::Result<File> {
    let name = data_encoding::HEXLOWER.encode(&app.random.bytes::<16>());
    let path = folder(app.db.folder())?.join(name).with_extension(UNFINISHED);
    let file = create(&path)?;
    remove(&path)?;
    Ok(file)
}

fn remove(path: &Path) -> io::Result<()> {
    match fs::remove_file(path) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(()),
        result => result,
    }
}

/// A package that is being written. Dropped before [`Finished::keep`], it is deleted.
pub(super) struct Unfinished {
    now: Named,
    then: PathBuf,
    file: File,
}

/// A package under its name, not yet written down.
pub(super) struct Finished(Named);

/// Deletes the file unless it is kept.
struct Named(Option<PathBuf>);

impl Drop for Named {
    fn drop(&mut self) {
        if let Some(path) = self.0.take()
            && let Err(error) = remove(&path)
        {
            tracing::warn!(%error, "an unfinished export can't be deleted");
        }
    }
}

impl Unfinished {
    pub(super) fn begin(folder: &Path, id: &ExportId, place: &Place) -> io::Result<Self> {
        let (now, then) = match place {
            Place::Kept => (folder.join(id.as_str()).with_extension(UNFINISHED), kept_name(folder, id)),
            Place::At(path) => (path.clone(), path.clone()),
        };
        let file = create(&now)?;
        Ok(Self { now: Named(Some(now)), then, file })
    }

    /// What the package is written to.
    pub(super) fn out(&self) -> io::Result<Hashed> {
        Ok(Digest::new(BufWriter::with_capacity(64 * 1024, self.file.try_clone()?)))
    }

    /// Gives it its last name, with everything on the disk.
    pub(super) fn finish(mut self) -> io::Result<Finished> {
        if let Some(now) = &self.now.0 {
            durable::rename(now, &self.then)?;
        }
        let named = Finished(Named(Some(self.then.clone())));
        self.now.0 = None;
        Ok(named)
    }
}

impl Finished {
    pub(super) fn keep(mut self) {
        self.0.0 = None;
    }
}

/// Writes to a file and hashes what goes by.
pub(super) type Hashed = Digest<BufWriter<File>>;

/// The way of a package to its file: as it is, or encrypted. What is hashed is the file, as whoever gets it can.
pub(super) enum Out {
    Plain(Hashed),
    Sealed(Sealing<Hashed>),
}

impl Out {
    pub(super) fn new(file: Hashed, passphrase: Option<&Passphrase>) -> io::Result<Self> {
        Ok(match passphrase {
            Some(passphrase) => Self::Sealed(passphrase.seal(file)?),
            None => Self::Plain(file),
        })
    }

    pub(super) fn finish(self) -> io::Result<Digested> {
        match self {
            Self::Plain(file) => file.finish(),
            Self::Sealed(sealing) => sealing.finish()?.finish(),
        }
    }
}

impl Write for Out {
    fn write(&mut self, part: &[u8]) -> io::Result<usize> {
        match self {
            Self::Plain(file) => file.write(part),
            Self::Sealed(sealing) => sealing.write(part),
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        match self {
            Self::Plain(file) => file.flush(),
            Self::Sealed(sealing) => sealing.flush(),
        }
    }
}

/// Deletes packages that are not among `keep`, and unfinished ones while none is being written.
pub(super) fn sweep(folder: &Path, keep: &[ExportId], idle: bool) -> io::Result<()> {
    let entries = match fs::read_dir(folder) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
        entries => entries?,
    };
    for entry in entries {
        let path = entry?.path();
        let stem = path.file_stem().and_then(|stem| stem.to_str()).unwrap_or_default();
        let old = match path.extension().and_then(|ending| ending.to_str()) {
            Some(ENDING) => !keep.iter().any(|id| id.as_str() == stem),
            Some(UNFINISHED) => idle,
            _ => false,
        };
        if old {
            remove(&path)?;
        }
    }
    Ok(())
}
