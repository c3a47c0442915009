//! What can go wrong with the file.

use std::path::PathBuf;

use crate::person_keys::MasterError;

/// Why a sealed value isn't read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unread {
    /// Whom it belongs to was erased, and her key with her.
    Erased,
    /// There is no key of whom it belongs to.
    NoKey,
    /// The key doesn't open it.
    Changed,
}

impl std::fmt::Display for Unread {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Erased => "whom it belongs to was erased, and her key with her",
            Self::NoKey => "the key of whom it belongs to is missing",
            Self::Changed => "it was changed, moved to another row, or sealed with another key",
        })
    }
}

/// A failed store call.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// SQLite or the pool refused.
    #[error("the database refused: {0}")]
    Sql(#[from] sqlx::Error),
    /// The schema could not be brought up to date.
    #[error("the schema could not be brought up to date: {0}")]
    Migrate(#[from] sqlx::migrate::MigrateError),
    /// The file is from an older version of this program.
    #[error("its schema is older than this program's")]
    Older,
    /// SQLite's own check found damage.
    #[error("the file is damaged: {0}")]
    Damaged(String),
    /// The linked SQLite has a known corruption race.
    #[error("SQLite {0} is too old: 3.51.3 or newer is needed")]
    SqliteTooOld(String),
    /// A row that no code of ours writes.
    #[error("impossible data in {table}.{column} of {id}")]
    Impossible {
        /// The table.
        table: &'static str,
        /// The column.
        column: &'static str,
        /// The row.
        id: String,
    },
    /// A sealed value that can't be opened.
    #[error("{table}.{column} of {id} can't be read: {why}")]
    Unreadable {
        /// The table.
        table: &'static str,
        /// The column.
        column: &'static str,
        /// The row.
        id: String,
        /// Why.
        why: Unread,
    },
    /// Somebody's key is no more, and nothing can be sealed for her.
    #[error("the key of {0} was destroyed: nothing can be sealed for her")]
    KeyGone(String),
    /// The master key doesn't open this one.
    #[error("the key of {0} is wrapped by another master key, or was changed")]
    ForeignKey(String),
    /// The keys are wrapped by another master key.
    #[error("{} is not the master key of these keys", .0.display())]
    ForeignMaster(PathBuf),
    /// There are keys, and no master key.
    #[error("the master key is missing: put {} back from its copy", .0.display())]
    MasterMissing(PathBuf),
    /// There are sealed values, and no keys.
    #[error("the keys of the records are missing: put {} back from its newest copy", .0.display())]
    KeysMissing(PathBuf),
    /// The master key can't be had.
    #[error(transparent)]
    Master(#[from] MasterError),
}

/// What kind of trouble it is, for a message and an exit code.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trouble {
    /// Another process holds the file, or too much waits for it.
    Busy,
    /// The disk reports an error.
    Disk,
    /// No room on the disk.
    Full,
    /// The file or folder can't be written.
    ReadOnly,
    /// Not a database, or a damaged one.
    Damaged,
    /// Written by a newer version of this program.
    Newer,
    /// Written by an older version of this program.
    Older,
    /// The file can't be opened at all.
    NotOpened,
    /// An overlap with a visit that is there already.
    Overlap,
    /// The keys of the records, or the master key, are missing or others.
    Keys,
    /// A sealed value can't be opened.
    Unreadable,
    /// Anything else: a fault of the program.
    Fault,
}

impl StoreError {
    /// Sorts the error.
    pub fn trouble(&self) -> Trouble {
        match self {
            Self::Sql(error) => of_sql(error),
            Self::Migrate(
                sqlx::migrate::MigrateError::VersionMissing(_) | sqlx::migrate::MigrateError::VersionTooNew(..),
            ) => Trouble::Newer,
            Self::Migrate(
                sqlx::migrate::MigrateError::Execute(error) | sqlx::migrate::MigrateError::ExecuteMigration(error, _),
            ) => of_sql(error),
            Self::Older => Trouble::Older,
            Self::Damaged(_) => Trouble::Damaged,
            Self::Unreadable { .. } => Trouble::Unreadable,
            Self::KeyGone(_)
            | Self::ForeignKey(_)
            | Self::ForeignMaster(_)
            | Self::MasterMissing(_)
            | Self::KeysMissing(_)
            | Self::Master(_) => Trouble::Keys,
            Self::Migrate(_) | Self::SqliteTooOld(_) | Self::Impossible { .. } => Trouble::Fault,
        }
    }

    /// Why somebody's records can't be read, or added to, when that is all that is wrong.
    pub fn unread(&self) -> Option<Unread> {
        match self {
            Self::Unreadable { why, .. } => Some(*why),
            Self::KeyGone(_) => Some(Unread::Erased),
            Self::ForeignKey(_) => Some(Unread::NoKey),
            _ => None,
        }
    }

    /// Whether two visits would overlap.
    pub fn is_overlap(&self) -> bool {
        self.trouble() == Trouble::Overlap
    }
}

/// Parts what can't be read from a file that can't: a list says so in the place of the one and goes on.
///
/// # Errors
/// When more is wrong than that this one can't be read.
pub fn readable<T>(read: Result<T, StoreError>) -> Result<Result<T, Unread>, StoreError> {
    match read {
        Ok(value) => Ok(Ok(value)),
        Err(error) => match error.unread() {
            Some(why) => {
                tracing::error!(%error, "a list goes on without it");
                Ok(Err(why))
            }
            None => Err(error),
        },
    }
}

fn of_sql(error: &sqlx::Error) -> Trouble {
    match error {
        sqlx::Error::PoolTimedOut => Trouble::Busy,
        sqlx::Error::Database(database) => {
            if database.message().contains("visit overlaps") {
                return Trouble::Overlap;
            }
            let code = database.code().and_then(|code| code.parse::<u32>().ok()).unwrap_or(0);
            match code & 0xff {
                5 | 6 => Trouble::Busy,
                8 => Trouble::ReadOnly,
                13 => Trouble::Full,
                11 | 26 => Trouble::Damaged,
                14 => Trouble::NotOpened,
                10 => Trouble::Disk,
                _ => Trouble::Fault,
            }
        }
        _ => Trouble::Fault,
    }
}
