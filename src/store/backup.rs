//! Copies of the database: what became of each, and telling what a file is before anything opens it as a database.

use std::fs::File;
use std::io::{self, Read as _};
use std::path::Path;

use sqlx::ConnectOptions as _;
use sqlx::sqlite::SqliteConnectOptions;
use time::OffsetDateTime;

use super::types::{instant, small};
use super::{Connection, Stored};

/// What `migrations/80_identity.sql` writes into the header.
const APPLICATION_ID: u32 = 1_348_562_032;

/// Why a file is no database of this program.
#[derive(Debug, thiserror::Error)]
pub enum Foreign {
    /// It can't be read.
    #[error("it can't be read: {0}")]
    Io(#[from] io::Error),
    /// There is nothing in it.
    #[error("the file is empty")]
    Empty,
    /// A file of another kind.
    #[error("it is no database, but a file of another kind")]
    NoDatabase,
    /// Another program's database.
    #[error("it is a database of another program")]
    OtherProgram,
    /// It is shorter than it says.
    #[error("it was cut off: {has} of {wants} bytes are there")]
    CutOff {
        /// How long it is.
        has: u64,
        /// How long it should be.
        wants: u64,
    },
}

/// Looks at the first hundred bytes (SQLite file format, section 1.3), and opens only what may be an older version of
/// ours, from before the header said so.
///
/// # Errors
/// [`Foreign`]
pub async fn look(path: &Path) -> Result<(), Foreign> {
    let mut file = File::open(path)?;
    let has = file.metadata()?.len();
    let mut header = Vec::new();
    file.by_ref().take(100).read_to_end(&mut header)?;
    if header.is_empty() {
        return Err(Foreign::Empty);
    }
    let number = |at: usize| header.get(at..at + 4).and_then(|b| Some(u32::from_be_bytes(b.try_into().ok()?)));
    if !header.starts_with(b"SQLite format 3\0") {
        return Err(Foreign::NoDatabase);
    }
    let (Some(pages), Some(application), Some(size)) = (number(28), number(68), number(14)) else {
        return Err(Foreign::CutOff { has, wants: 100 });
    };
    if application != APPLICATION_ID && application != 0 {
        return Err(Foreign::OtherProgram);
    }
    // The page size is the last half of what stands at 14; 1 is 65,536.
    let size = match size & 0xffff {
        1 => 65_536,
        size => u64::from(size),
    };
    let wants = u64::from(pages) * size;
    if has < wants {
        return Err(Foreign::CutOff { has, wants });
    }
    if application == 0 && !is_older(path).await { Err(Foreign::OtherProgram) } else { Ok(()) }
}

/// Whether a file has a table of the schema's versions, as every file of ours has.
async fn is_older(file: &Path) -> bool {
    let Ok(mut c) = SqliteConnectOptions::new().filename(file).read_only(true).connect().await else { return false };
    let found = sqlx::query_scalar("SELECT count(*) FROM _sqlx_migrations").fetch_one(&mut c).await;
    found.is_ok_and(|versions: i64| versions > 0) && sqlx::Connection::close(c).await.is_ok()
}

/// The number that a file shares with all its copies.
///
/// # Errors
/// When the file can't be read, or is from before files had one.
pub async fn identity(c: &mut Connection) -> Stored<String> {
    read_identity(c).await
}

async fn read_identity(c: impl sqlx::SqliteExecutor<'_>) -> Stored<String> {
    Ok(sqlx::query_scalar!("SELECT value FROM identity WHERE id = 1").fetch_one(c).await?)
}

/// [`identity`] of a file that nobody has opened.
///
/// # Errors
/// As [`identity`].
pub async fn identity_of(file: &Path) -> Stored<String> {
    let mut c = SqliteConnectOptions::new().filename(file).connect().await?;
    let found = read_identity(&mut c).await;
    sqlx::Connection::close(c).await?;
    found
}

/// Folds the write-ahead log of a file that nobody has opened into it, of whatever version it is. `false` when somebody
/// reads from it all the same.
///
/// # Errors
/// When it is no database, damaged, or can't be written.
pub async fn fold(file: &Path) -> Stored<bool> {
    let mut c = SqliteConnectOptions::new().filename(file).connect().await?;
    let folded = super::fold(&mut c).await;
    sqlx::Connection::close(c).await?;
    folded
}

/// A try to make a backup.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Try {
    /// When.
    pub tried_at: OffsetDateTime,
    /// The name of its file.
    pub file: String,
    /// How large it is.
    pub bytes: u64,
    /// The SHA-256 of the file, in hex.
    pub sha256: String,
    /// Whether it is encrypted.
    pub encrypted: bool,
    /// Why it failed; empty when it didn't.
    pub trouble: String,
}

/// Adds one.
///
/// # Errors
/// When the file can't be written.
pub async fn add(c: &mut Connection, one: &Try) -> Stored<()> {
    let (at, bytes) = (one.tried_at.unix_timestamp(), i64::try_from(one.bytes).unwrap_or(i64::MAX));
    sqlx::query!(
        "INSERT INTO backup (tried_at, file, bytes, sha256, encrypted, trouble) VALUES (?, ?, ?, ?, ?, ?)",
        at,
        one.file,
        bytes,
        one.sha256,
        one.encrypted,
        one.trouble
    )
    .execute(c)
    .await?;
    Ok(())
}

/// The newest tries, newest first.
///
/// # Errors
/// When the file can't be read.
pub async fn tries(c: &mut Connection, most: i64) -> Stored<Vec<Try>> {
    let rows = sqlx::query!(
        r#"SELECT id, tried_at, file, bytes, sha256, encrypted AS "encrypted: bool", trouble FROM backup
           ORDER BY tried_at DESC, id DESC LIMIT ?"#,
        most
    );
    let read = rows.fetch_all(c).await?.into_iter().map(|row| {
        let id = row.id.to_string();
        Ok(Try {
            tried_at: instant("backup", "tried_at", &id, row.tried_at)?,
            bytes: small("backup", "bytes", &id, row.bytes)?,
            file: row.file,
            sha256: row.sha256,
            encrypted: row.encrypted,
            trouble: row.trouble,
        })
    });
    read.collect()
}

/// When the last backup was made that didn't fail.
///
/// # Errors
/// When the file can't be read.
pub async fn last_good(c: &mut Connection) -> Stored<Option<OffsetDateTime>> {
    let row = sqlx::query_scalar!("SELECT max(tried_at) AS 'at?: i64' FROM backup WHERE trouble = ''");
    row.fetch_one(c).await?.map(|at| instant("backup", "tried_at", "the newest", at)).transpose()
}
