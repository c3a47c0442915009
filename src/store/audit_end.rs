//! Where the audit ended, in a file of its own beside the database: what is left of a chain whose end was cut off is a chain.
//!
//! The end moves with every change that is done, and only along the chain: when the row that it names is gone or another one,
//! it stays where it was, and every look at the chain says so.

use std::fs::{self, OpenOptions};
use std::io::{self, Write as _};
use std::os::unix::fs::{FileExt as _, OpenOptionsExt as _};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use crate::durable;

/// A row of the audit that a change has reached.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct End {
    /// Its number.
    pub seq: i64,
    /// Its hash in the chain, lower-case hex.
    pub hash: String,
}

/// The file of one database.
#[derive(Debug)]
pub struct EndFile {
    path: PathBuf,
    turn: Mutex<()>,
}

impl EndFile {
    /// The one of this database.
    pub fn of(database: &Path) -> Self {
        let mut name = database.file_name().unwrap_or_default().to_owned();
        name.push(".end");
        Self { path: database.with_file_name(name), turn: Mutex::new(()) }
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// What it says: nothing when it isn't there or can't be read, which is logged.
    pub fn read(&self) -> Option<End> {
        let text = match fs::read_to_string(&self.path) {
            Ok(text) => text,
            Err(error) => {
                if error.kind() != io::ErrorKind::NotFound {
                    tracing::error!(%error, "the end of the audit can't be read");
                }
                return None;
            }
        };
        parse(&text)
    }

    /// Moves on to an end whose change is done; never back. What fails is logged: the end then lies behind, which hides only
    /// what is cut off before the next change.
    pub(super) fn reach(&self, end: &End) {
        let _turn = self.turn.lock().unwrap_or_else(PoisonError::into_inner);
        match self.read() {
            Some(before) if before.seq >= end.seq => {}
            _ => {
                if let Err(error) = self.set(end) {
                    tracing::error!(%error, "the end of the audit can't be kept");
                }
            }
        }
    }

    /// Says that the chain ends here, whatever the file said before.
    ///
    /// # Errors
    /// When it can't be written.
    pub fn set(&self, end: &End) -> io::Result<()> {
        // As long for every number, so that one write replaces the line where it is, and no reader sees half of it.
        let line = format!("{:020} {}\n", end.seq, end.hash);
        match OpenOptions::new().write(true).open(&self.path) {
            // Not synced: after a power cut it may lie behind, and never ahead, since the change was synced before.
            Ok(file) => {
                file.write_all_at(line.as_bytes(), 0)?;
                if file.metadata()?.len() == LENGTH { Ok(()) } else { file.set_len(LENGTH) }
            }
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                let mut file =
                    OpenOptions::new().write(true).create(true).truncate(true).mode(0o600).open(&self.path)?;
                file.write_all(line.as_bytes())?;
                file.sync_all()?;
                durable::keep_names_beside(&self.path)
            }
            Err(error) => Err(error),
        }
    }
}

/// A line: twenty digits, a space, a hash in hex, and its end.
const LENGTH: u64 = 20 + 1 + 64 + 1;

fn parse(text: &str) -> Option<End> {
    let (seq, hash) = text.strip_suffix('\n')?.split_once(' ')?;
    let digits = |text: &str, length| text.len() == length && text.bytes().all(|byte| byte.is_ascii_hexdigit());
    let seq = seq.parse().ok().filter(|_| digits(seq, 20))?;
    digits(hash, 64).then(|| End { seq, hash: hash.to_owned() })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn end(seq: i64) -> End {
        End { seq, hash: format!("{seq:064x}") }
    }

    #[test]
    fn it_moves_forward_and_is_set_back_only_when_told() {
        let folder = tempfile::tempdir().unwrap();
        let file = EndFile::of(&folder.path().join("palpebra.db"));
        assert_eq!(file.path(), folder.path().join("palpebra.db.end"));
        assert_eq!(file.read(), None);
        file.reach(&end(99));
        file.reach(&end(100));
        file.reach(&end(7));
        assert_eq!(file.read(), Some(end(100)));
        file.set(&end(7)).unwrap();
        assert_eq!(file.read(), Some(end(7)));
        file.set(&end(i64::MAX)).unwrap();
        assert_eq!(file.read(), Some(end(i64::MAX)));
    }

    #[test]
    fn a_file_that_says_something_else_says_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let file = EndFile::of(&folder.path().join("palpebra.db"));
        file.set(&end(12)).unwrap();
        let whole = fs::read(file.path()).unwrap();
        for length in 0..whole.len() {
            fs::write(file.path(), whole.get(..length).unwrap()).unwrap();
            assert_eq!(file.read(), None, "{length} bytes");
        }
        for text in ["x", "\u{fffd} \n", "-0000000000000000001 ff\n"] {
            fs::write(file.path(), text).unwrap();
            assert_eq!(file.read(), None, "{text}");
        }
        fs::write(file.path(), [0xff; 86]).unwrap();
        assert_eq!(file.read(), None);
        // The next change makes a whole file of it.
        for text in ["cut of".to_owned(), "x".repeat(1000)] {
            fs::write(file.path(), text).unwrap();
            file.reach(&end(13));
            assert_eq!(file.read(), Some(end(13)));
        }
    }
}
