//! The schema: made in a new file, brought up to date in one of an older version, as a whole or not at all.

use sqlx::migrate::MigrateError;
use sqlx::{Sqlite, SqliteConnection, SqlitePool, Transaction};

use super::{BEGIN, StoreError, Stored};

static MIGRATIONS: sqlx::migrate::Migrator = sqlx::migrate!("./migrations");

/// How the schema of a file stands to the one of this program.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Standing {
    /// There is nothing in the file yet.
    Empty,
    /// Something of this program's schema is missing in it.
    Older,
    /// They are the same.
    Same,
}

/// How a file's schema stands.
pub(super) async fn standing(c: &mut SqliteConnection) -> Stored<Standing> {
    let tables: Vec<String> = sqlx::query_scalar("SELECT name FROM sqlite_schema").fetch_all(&mut *c).await?;
    if tables.is_empty() {
        return Ok(Standing::Empty);
    }
    if !tables.iter().any(|name| name == "_sqlx_migrations") {
        return Err(StoreError::Damaged("it holds the tables of another program".to_owned()));
    }
    let applied: Vec<i64> =
        sqlx::query_scalar("SELECT version FROM _sqlx_migrations ORDER BY version").fetch_all(&mut *c).await?;
    match applied.iter().find(|version| !MIGRATIONS.version_exists(**version)) {
        Some(version) => Err(MigrateError::VersionMissing(*version).into()),
        None if MIGRATIONS.iter().all(|one| applied.contains(&one.version)) => Ok(Standing::Same),
        None => Ok(Standing::Older),
    }
}

/// That what was applied once still reads the same.
pub(super) async fn compare(write: &SqlitePool) -> Stored<()> {
    Ok(MIGRATIONS.run(write).await?)
}

/// Applies what is missing in one transaction: when any of it fails, or leaves rows that refer to nothing, the file stays
/// as it was. It is not committed yet, so that whatever else an upgrade needs can be seen to be there first.
pub(super) async fn apply(write: &SqlitePool) -> Stored<Transaction<'static, Sqlite>> {
    let mut tx = write.begin_with(BEGIN).await?;
    MIGRATIONS.run(&mut *tx).await?;
    let lost = sqlx::query("PRAGMA foreign_key_check").fetch_all(&mut *tx).await?.len();
    if lost > 0 {
        return Err(StoreError::Damaged(format!("{lost} rows refer to rows that are not there")));
    }
    Ok(tx)
}
