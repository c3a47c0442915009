//! SQL, and nothing else.
//!
//! Free functions over a connection. A read takes a connection of the reading pool; a change runs in
//! [`Db::write`], a transaction that holds SQLite's one write lock from its first statement, so that
//! what was read in it still holds when it writes.

use std::fs::OpenOptions;
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous};
use sqlx::{Connection as _, Sqlite, SqliteConnection, SqlitePool, Transaction};

pub mod accounts;
pub mod audit;
pub mod audit_end;
pub mod backup;
pub mod calendar;
pub mod catalogue;
mod cells;
pub mod chair;
pub mod clients;
mod connection;
pub mod deposits;
pub mod drafts;
pub mod erasure;
mod error;
pub mod exports;
pub mod feeds;
pub mod files;
pub mod guardians;
pub mod harm;
pub mod health;
pub mod holds;
pub mod invitations;
pub mod keyring;
mod keys;
pub mod ledger;
pub mod letters;
pub mod outbox;
pub mod papers;
pub mod passkeys;
pub mod practitioners;
pub mod reactions;
pub mod reminders;
pub mod restriction;
pub mod retention;
pub mod retention_lists;
pub mod retouch;
pub mod rows;
pub mod rules;
mod scrub;
mod sealed;
pub mod second_factor;
pub mod sessions;
pub mod skin_tests;
pub mod steps;
pub mod studio;
pub mod takeovers;
pub mod takings;
pub mod trace;
pub mod treatments;
pub mod types;
mod upgrade;
pub mod verdicts;
pub mod visits;
pub mod wishes;

use audit_end::{End, EndFile};
use connection::Beside;
pub use connection::{Connection, Reader, Tx};
pub use error::{StoreError, Trouble, Unread, readable};
use keyring::{KeyPlace, Keyring};
pub use keys::SealedPeople;
use scrub::Debt;
use upgrade::Standing;

/// Result of a store function.
pub type Stored<T> = Result<T, StoreError>;

/// The database: one writer, several readers.
#[derive(Debug, Clone)]
pub struct Db {
    read: SqlitePool,
    write: SqlitePool,
    file: PathBuf,
    beside: Beside,
    debt: Arc<Debt>,
}

/// Takes SQLite's one write lock at once: a transaction that reads first and writes later can find itself out of date.
const BEGIN: &str = "BEGIN IMMEDIATE";

/// SQLite up to 3.51.2 can corrupt a WAL when two connections checkpoint and write at once.
const OLDEST_SQLITE: (u32, u32, u32) = (3, 51, 3);

impl Db {
    /// Opens the file, making it when it isn't there, with its keys beside it.
    ///
    /// # Errors
    /// As [`Db::open_with`].
    pub async fn open(file: &Path) -> Stored<Self> {
        Self::open_with(file, &KeyPlace::beside(file)).await
    }

    /// Opens the file, making it when it isn't there.
    ///
    /// # Errors
    /// When the file is locked, full, read-only, damaged, from an older or a newer version, or SQLite is too old; or its keys
    /// are missing or others.
    pub async fn open_with(file: &Path, keys: &KeyPlace) -> Stored<Self> {
        Self::opened(file, keys, false).await
    }

    /// [`Db::upgrade_with`] of a file with its keys beside it.
    ///
    /// # Errors
    /// As [`Db::upgrade_with`].
    pub async fn upgrade(file: &Path) -> Stored<Self> {
        Self::upgrade_with(file, &KeyPlace::beside(file)).await
    }

    /// Opens the file and brings one from an older version up to date: [`Db::brought_up`], then [`Db::seal`].
    ///
    /// # Errors
    /// As both.
    pub async fn upgrade_with(file: &Path, keys: &KeyPlace) -> Stored<Self> {
        let db = Self::brought_up(file, keys).await?;
        db.seal().await?;
        Ok(db)
    }

    /// Opens the file and brings the schema of an older version up to date, in one transaction.
    ///
    /// # Errors
    /// As [`Db::open_with`], and when the schema can't be brought up to date: then nothing in the file is changed.
    pub async fn brought_up(file: &Path, keys: &KeyPlace) -> Stored<Self> {
        Self::opened(file, keys, true).await
    }

    /// Seals what an older version left open, in many transactions, which go on where they were cut off.
    ///
    /// # Errors
    /// When the file or the keys can't be written.
    pub async fn seal(&self) -> Stored<()> {
        let (unsealed, _) = sealed::standing(&mut *self.write.acquire().await?).await?;
        if unsealed { sealed::seal_all(self).await } else { Ok(()) }
    }

    async fn opened(file: &Path, keys: &KeyPlace, upgrades: bool) -> Stored<Self> {
        let base = options(file)
            .journal_mode(SqliteJournalMode::Wal)
            .synchronous(SqliteSynchronous::Full)
            .foreign_keys(true)
            .pragma("trusted_schema", "OFF")
            .pragma("cell_size_check", "ON")
            .pragma("secure_delete", "ON")
            .pragma("temp_store", "MEMORY")
            .optimize_on_close(true, None);
        // A full disk ends a transaction inside SQLite without sqlx knowing: such a connection takes no other one any more,
        // so it makes room for a new one.
        let write = pool(1).before_acquire(|connection, _| {
            let spent = connection.is_in_transaction();
            Box::pin(async move { Ok(!spent) })
        });
        let write = write.connect_with(base.clone().create_if_missing(true)).await?;
        let version: String = sqlx::query_scalar("SELECT sqlite_version()").fetch_one(&write).await?;
        if parse_version(&version) < OLDEST_SQLITE {
            return Err(StoreError::SqliteTooOld(version));
        }
        let (upgraded, keys) = match Self::made_ready(&write, keys, upgrades).await {
            Ok(ready) => ready,
            Err(error) => {
                write.close().await;
                return Err(error);
            }
        };
        if let Some(upgraded) = upgraded {
            upgraded.commit().await?;
        }
        let readers = 4;
        let read = pool(readers).connect_with(base.read_only(true).pragma("query_only", "ON")).await?;
        let debt = Arc::new(Debt::of(folder_of(file)));
        let beside = Beside { keys: Arc::new(keys), end: Arc::new(EndFile::of(file)) };
        Ok(Self { read, write, file: file.to_owned(), beside, debt })
    }

    /// The change of the schema, if there is one, which waits to be committed, and the keys of what is sealed.
    async fn made_ready(
        write: &SqlitePool,
        keys: &KeyPlace,
        upgrades: bool,
    ) -> Stored<(Option<Transaction<'static, Sqlite>>, Keyring)> {
        let standing = upgrade::standing(&mut *write.acquire().await?).await?;
        let mut upgraded = match standing {
            Standing::Older if !upgrades => return Err(StoreError::Older),
            Standing::Empty | Standing::Older => Some(upgrade::apply(write).await?),
            Standing::Same => {
                upgrade::compare(write).await?;
                None
            }
        };
        let (unsealed, sealed) = match &mut upgraded {
            Some(tx) => sealed::standing(tx).await?,
            None => sealed::standing(&mut *write.acquire().await?).await?,
        };
        if unsealed && !upgrades {
            return Err(StoreError::Older);
        }
        Ok((upgraded, Keyring::open(keys, !sealed).await?))
    }

    /// The folder of the file.
    pub fn folder(&self) -> &Path {
        folder_of(&self.file)
    }

    /// Where the audit ended after the last change, as the file beside the database has it. Whoever compares asks before the
    /// first look at the rows, since it goes on.
    pub fn audit_end(&self) -> Option<End> {
        self.beside.end.read()
    }

    /// A connection that can only look.
    ///
    /// # Errors
    /// When none is free in time.
    pub async fn read(&self) -> Stored<Reader> {
        Ok(Reader::new(self.read.acquire().await?, self.beside.clone()))
    }

    /// A transaction that can only look, and sees the file as it stands at its first look, however long it lasts.
    ///
    /// # Errors
    /// When no connection is free in time.
    pub async fn snapshot(&self) -> Stored<Tx> {
        Ok(Tx::new(self.read.begin().await?, self.beside.clone()))
    }

    /// So many transactions that can only look and all see the same file, on connections of their own, so that a long work
    /// takes none from those who wait for a page.
    ///
    /// # Errors
    /// When the file can't be read.
    pub async fn snapshots(&self, count: u32) -> Stored<Vec<Tx>> {
        let looking = options(&self.file).foreign_keys(true).read_only(true);
        let looking = looking.pragma("query_only", "ON").pragma("trusted_schema", "OFF").pragma("temp_store", "MEMORY");
        let readers = pool(count + 1).connect_with(looking).await?;
        let mut watch = readers.acquire().await?;
        // The first look fixes what each sees. The number is another one after every commit elsewhere, so when somebody
        // wrote between the looks, they are taken again.
        const VERSION: &str = "PRAGMA data_version";
        loop {
            let before: i64 = sqlx::query_scalar(VERSION).fetch_one(&mut *watch).await?;
            let mut all = Vec::new();
            for _ in 0..count {
                let mut tx = readers.begin().await?;
                sqlx::query("SELECT 1 FROM sqlite_schema").fetch_optional(&mut *tx).await?;
                all.push(Tx::new(tx, self.beside.clone()));
            }
            let after: i64 = sqlx::query_scalar(VERSION).fetch_one(&mut *watch).await?;
            if before == after {
                return Ok(all);
            }
        }
    }

    /// A transaction that holds the write lock.
    ///
    /// # Errors
    /// When the lock isn't free in time.
    pub async fn write(&self) -> Stored<Tx> {
        Ok(Tx::new(self.write.begin_with(BEGIN).await?, self.beside.clone()))
    }

    /// Folds the write-ahead log into the file and cuts it off, so that what was overwritten in the file is nowhere else
    /// either. `false` when somebody still reads from it.
    ///
    /// # Errors
    /// When the file can't be written.
    pub async fn fold(&self) -> Stored<bool> {
        fold(&mut *self.write.acquire().await?).await
    }

    /// Ends all connections, after the write-ahead log was folded into the file.
    pub async fn close(&self) {
        self.read.close().await;
        // SQLite does it when the last connection closes, but not when that is one of the readers, whose threads may be late.
        if let Err(error) = self.fold().await {
            tracing::warn!(%error, "the write-ahead log was not folded in");
        }
        self.write.close().await;
        self.beside.keys.close().await;
    }

    /// Writes a consistent copy to a new file and checks it by opening it. Others read and write meanwhile.
    ///
    /// # Errors
    /// When the copy can't be written or doesn't pass SQLite's own check.
    pub async fn copy_to(&self, file: &Path) -> Stored<()> {
        copy(&self.file, file).await
    }

    /// SQLite's own checks of the whole file: its structure and its references.
    ///
    /// # Errors
    /// When the file can't be read.
    pub async fn check(&self) -> Stored<Vec<String>> {
        let mut connection = self.read().await?;
        let mut found: Vec<String> = sqlx::query_scalar("PRAGMA integrity_check").fetch_all(&mut *connection).await?;
        found.retain(|line| line != "ok");
        let references = sqlx::query("PRAGMA foreign_key_check").fetch_all(&mut *connection).await?;
        if !references.is_empty() {
            found.push(format!("{} rows refer to rows that are not there", references.len()));
        }
        Ok(found)
    }

    /// A quick look over the whole file, for a start: every page is where it should be.
    ///
    /// # Errors
    /// When it isn't, or the file can't be read.
    pub async fn look_over(&self) -> Stored<()> {
        let word: String = sqlx::query_scalar("PRAGMA quick_check(1)").fetch_one(&mut *self.read().await?).await?;
        if word == "ok" { Ok(()) } else { Err(StoreError::Damaged(word)) }
    }

    /// What SQLite says of itself: its version, journal mode and synchronous level.
    ///
    /// # Errors
    /// When the file can't be read.
    pub async fn settings(&self) -> Stored<(String, String, i64)> {
        let mut connection = self.write.acquire().await?;
        let version = sqlx::query_scalar("SELECT sqlite_version()").fetch_one(&mut *connection).await?;
        let journal = sqlx::query_scalar("PRAGMA journal_mode").fetch_one(&mut *connection).await?;
        let synchronous = sqlx::query_scalar("PRAGMA synchronous").fetch_one(&mut *connection).await?;
        Ok((version, journal, synchronous))
    }
}

/// Writes a consistent copy of a database to a new file, of whatever version it is, and checks it by opening it.
///
/// # Errors
/// When there is no database, or as [`Db::copy_to`].
pub async fn copy(from: &Path, to: &Path) -> Stored<()> {
    let pool = pool(1).connect_with(options(from)).await?;
    let copied = copy_out(&mut *pool.acquire().await?, to).await;
    pool.close().await;
    copied
}

async fn copy_out(c: &mut SqliteConnection, file: &Path) -> Stored<()> {
    // SQLite takes an empty file, and would make one that others may read.
    OpenOptions::new().write(true).create(true).truncate(false).mode(0o600).open(file).map_err(sqlx::Error::Io)?;
    sqlx::query("VACUUM INTO ?").bind(file.to_string_lossy().into_owned()).execute(c).await?;
    let copy = pool(1).connect_with(SqliteConnectOptions::new().filename(file).read_only(true)).await?;
    let word: String = sqlx::query_scalar("PRAGMA integrity_check").fetch_one(&copy).await?;
    copy.close().await;
    if word == "ok" { Ok(()) } else { Err(StoreError::Damaged(word)) }
}

/// `false` when somebody still reads from the log.
async fn fold(c: &mut SqliteConnection) -> Stored<bool> {
    let busy: i64 = sqlx::query_scalar("PRAGMA wal_checkpoint(TRUNCATE)").fetch_one(c).await?;
    Ok(busy == 0)
}

fn folder_of(file: &Path) -> &Path {
    file.parent().unwrap_or(Path::new(""))
}

fn options(file: &Path) -> SqliteConnectOptions {
    SqliteConnectOptions::new().filename(file).busy_timeout(Duration::from_secs(5))
}

fn pool(connections: u32) -> SqlitePoolOptions {
    SqlitePoolOptions::new()
        .max_connections(connections)
        .min_connections(connections)
        // A client rather waits her turn than starts again; a request is cut off after half a minute anyway.
        .acquire_timeout(Duration::from_secs(20))
        .idle_timeout(None)
        .max_lifetime(None)
        .test_before_acquire(false)
}

fn parse_version(text: &str) -> (u32, u32, u32) {
    let mut parts = text.split('.').map(|part| part.parse().unwrap_or(0));
    let mut next = || parts.next().unwrap_or(0);
    (next(), next(), next())
}
