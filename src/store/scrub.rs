//! Writing the file anew after somebody left, and remembering that it is owed.

use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use super::{Db, Stored};
use crate::durable;

/// Lies beside the database while a scrub is owed, so that a new start pays it.
const MARK: &str = "scrub.owed";

/// How often a scrub came to be owed, and up to which time it was paid. A flag would lose what leaves during a scrub.
#[derive(Debug)]
pub(super) struct Debt {
    mark: PathBuf,
    counts: Mutex<Counts>,
}

#[derive(Debug, Clone, Copy, Default)]
struct Counts {
    owed: u64,
    paid: u64,
}

impl Debt {
    /// What is owed of the file in this folder.
    pub(super) fn of(folder: &Path) -> Self {
        let mark = folder.join(MARK);
        let counts = Counts { owed: u64::from(mark.exists()), paid: 0 };
        Self { mark, counts: Mutex::new(counts) }
    }

    fn owe(&self) {
        let mut counts = self.counts.lock().unwrap_or_else(PoisonError::into_inner);
        if counts.owed == counts.paid
            && let Err(error) = self.set_mark()
        {
            tracing::warn!(%error, "a new start won't know that the file has to be written anew");
        }
        counts.owed += 1;
    }

    fn set_mark(&self) -> io::Result<()> {
        File::create(&self.mark)?.sync_all()?;
        durable::keep_names_beside(&self.mark)
    }

    fn times(&self) -> u64 {
        self.counts.lock().unwrap_or_else(PoisonError::into_inner).owed
    }

    /// Up to where it is owed, if it is.
    fn open(&self) -> Option<u64> {
        let counts = *self.counts.lock().unwrap_or_else(PoisonError::into_inner);
        (counts.owed > counts.paid).then_some(counts.owed)
    }

    fn pay(&self, upto: u64) {
        let mut counts = self.counts.lock().unwrap_or_else(PoisonError::into_inner);
        counts.paid = counts.paid.max(upto);
        if counts.owed == counts.paid
            && let Err(error) = fs::remove_file(&self.mark)
        {
            tracing::warn!(%error, "a new start will write the file anew once more");
        }
    }
}

impl Db {
    /// Writes the file anew without what left it, and folds the log in. `secure_delete` alone isn't enough: where rows move
    /// between pages, SQLite leaves the old bytes. `false` when somebody still reads from the log.
    ///
    /// # Errors
    /// When the file can't be written.
    pub async fn scrub(&self) -> Stored<bool> {
        let mut connection = self.write.acquire().await?;
        // The copy on the way is as large as the file: it goes to the disk, where it has no name. What else is made on the
        // way stays in memory, so this connection serves nobody after it, however it ends.
        connection.close_on_drop();
        sqlx::query("PRAGMA temp_store = FILE").execute(&mut *connection).await?;
        sqlx::query("VACUUM").execute(&mut *connection).await?;
        drop(connection);
        self.fold().await
    }

    /// Something leaves that must be in no byte of the file or its log: see [`Self::scrub_if_owed`]. Called in the
    /// transaction that lets it leave, so that no scrub comes between.
    pub fn owe_scrub(&self) {
        self.debt.owe();
    }

    /// How often something left: whoever copies for long sees that what it read is no longer all there.
    pub fn leavings(&self) -> u64 {
        self.debt.times()
    }

    /// [`Self::scrub`], when something left since. It stays owed while somebody reads for long or the file can't be
    /// written, which is logged: what left is gone from every page all the same. Housekeeping tries again, first at every
    /// start.
    pub async fn scrub_if_owed(&self) {
        let Some(upto) = self.debt.open() else { return };
        match self.scrub().await {
            Ok(true) => self.debt.pay(upto),
            Ok(false) => {}
            Err(error) => tracing::error!(%error, "what left is not wiped out of the file yet"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_comes_during_a_scrub_stays_owed() {
        let folder = tempfile::tempdir().unwrap();
        let debt = Debt::of(folder.path());
        debt.owe();
        let (one, other) = (debt.open().unwrap(), debt.open().unwrap());
        debt.owe();
        debt.pay(one);
        assert_eq!(debt.open(), Some(2));
        debt.pay(2);
        debt.owe();
        // A slow one that began long before pays nothing of what came since.
        debt.pay(other);
        assert_eq!(debt.open(), Some(3));
        assert_eq!(Debt::of(folder.path()).open(), Some(1));
    }
}
