//! Calendars that read from here, and calendars that are read.

use time::OffsetDateTime;

use super::types::{instant, read};
use super::{Connection, Stored};
use crate::domain::ids::PractitionerId;

/// Since when a practitioner's feed has its address.
///
/// # Errors
/// When the file can't be read.
pub async fn since(c: &mut Connection, practitioner: &PractitionerId) -> Stored<Option<OffsetDateTime>> {
    let id = practitioner.as_str();
    let at = sqlx::query_scalar!("SELECT created_at FROM feed WHERE practitioner_id = ?", id).fetch_optional(c).await?;
    at.map(|at| instant("feed", "created_at", id, at)).transpose()
}

/// Whose feed a token opens.
///
/// # Errors
/// When the file can't be read.
pub async fn by_token(c: &mut Connection, token_hash: &str) -> Stored<Option<PractitionerId>> {
    let id = sqlx::query_scalar!("SELECT practitioner_id FROM feed WHERE token_hash = ?", token_hash);
    let id = id.fetch_optional(c).await?;
    id.map(|id| read("feed", "practitioner_id", &id, PractitionerId::parse(&id))).transpose()
}

/// Gives a feed its address; the one before ends.
///
/// # Errors
/// When the file can't be written.
pub async fn set(c: &mut Connection, practitioner: &PractitionerId, hash: &str, now: OffsetDateTime) -> Stored<()> {
    let (id, now) = (practitioner.as_str(), now.unix_timestamp());
    sqlx::query!(
        "INSERT INTO feed (practitioner_id, token_hash, created_at) VALUES (?1, ?2, ?3)
         ON CONFLICT (practitioner_id) DO UPDATE SET token_hash = ?2, created_at = ?3",
        id,
        hash,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Ends a feed's address. `false` when there is none.
///
/// # Errors
/// When the file can't be written.
pub async fn end(c: &mut Connection, practitioner: &PractitionerId) -> Stored<bool> {
    let id = practitioner.as_str();
    let ended = sqlx::query!("DELETE FROM feed WHERE practitioner_id = ?", id).execute(c).await?;
    Ok(ended.rows_affected() == 1)
}

/// A calendar elsewhere.
#[derive(Clone)]
pub struct Outside {
    /// Whose busy times it holds.
    pub practitioner: PractitionerId,
    /// Its address, which is a secret.
    pub url: String,
    /// How often in a row it could not be read.
    pub failures: i64,
    /// When it was read last.
    pub read_at: Option<OffsetDateTime>,
    /// Why it could not be read last, or nothing.
    pub trouble: String,
}

struct Row {
    practitioner_id: String,
    url: String,
    failures: i64,
    read_at: Option<i64>,
    trouble: String,
}

impl Row {
    fn outside(self) -> Stored<Outside> {
        let id = &self.practitioner_id;
        Ok(Outside {
            practitioner: read("outside_calendar", "practitioner_id", id, PractitionerId::parse(id))?,
            read_at: self.read_at.map(|at| instant("outside_calendar", "read_at", id, at)).transpose()?,
            url: self.url,
            failures: self.failures,
            trouble: self.trouble,
        })
    }
}

macro_rules! outside {
    ($rest:literal $(, $arg:expr)* $(,)?) => {
        sqlx::query_as!(
            Row,
            "SELECT practitioner_id, url, failures, read_at, trouble FROM outside_calendar " + $rest
            $(, $arg)*
        )
    };
}

/// All of them.
///
/// # Errors
/// When the file can't be read.
pub async fn all_outside(c: &mut Connection) -> Stored<Vec<Outside>> {
    outside!("ORDER BY practitioner_id").fetch_all(c).await?.into_iter().map(Row::outside).collect()
}

/// A practitioner's.
///
/// # Errors
/// When the file can't be read.
pub async fn outside_of(c: &mut Connection, practitioner: &PractitionerId) -> Stored<Option<Outside>> {
    let id = practitioner.as_str();
    outside!("WHERE practitioner_id = ?", id).fetch_optional(c).await?.map(Row::outside).transpose()
}

/// The one whose reading is due next.
///
/// # Errors
/// When the file can't be read.
pub async fn due(c: &mut Connection, now: OffsetDateTime) -> Stored<Option<Outside>> {
    let now = now.unix_timestamp();
    outside!("WHERE due_at <= ? ORDER BY due_at LIMIT 1", now).fetch_optional(c).await?.map(Row::outside).transpose()
}

/// Sets the address; what another one gave is forgotten.
///
/// # Errors
/// When the file can't be written.
pub async fn set_outside(c: &mut Connection, of: &PractitionerId, url: &str, now: OffsetDateTime) -> Stored<()> {
    remove_outside(c, of).await?;
    let (id, now) = (of.as_str(), now.unix_timestamp());
    sqlx::query!("INSERT INTO outside_calendar (practitioner_id, url, due_at) VALUES (?, ?, ?)", id, url, now)
        .execute(c)
        .await?;
    Ok(())
}

/// It is read no longer, and its busy times go.
///
/// # Errors
/// When the file can't be written.
pub async fn remove_outside(c: &mut Connection, of: &PractitionerId) -> Stored<()> {
    let id = of.as_str();
    sqlx::query!("DELETE FROM outside_calendar WHERE practitioner_id = ?", id).execute(c).await?;
    Ok(())
}

/// It was read: these are its busy times now. Nothing happens when it has another address by now.
///
/// # Errors
/// When the file can't be written.
pub async fn was_read(
    c: &mut Connection,
    outside: &Outside,
    busy: &[(i64, i64)],
    (now, due): (OffsetDateTime, OffsetDateTime),
) -> Stored<()> {
    let (id, now, due) = (outside.practitioner.as_str(), now.unix_timestamp(), due.unix_timestamp());
    let changed = sqlx::query!(
        "UPDATE outside_calendar SET read_at = ?, due_at = ?, failures = 0, trouble = '' WHERE practitioner_id = ? AND url = ?",
        now,
        due,
        id,
        outside.url
    )
    .execute(&mut *c)
    .await?;
    if changed.rows_affected() == 0 {
        return Ok(());
    }
    sqlx::query!("DELETE FROM outside_busy WHERE practitioner_id = ?", id).execute(&mut *c).await?;
    for (from, to) in busy {
        sqlx::query!("INSERT INTO outside_busy (practitioner_id, starts_at, ends_at) VALUES (?, ?, ?)", id, from, to)
            .execute(&mut *c)
            .await?;
    }
    Ok(())
}

/// It could not be read: what it gave last stays.
///
/// # Errors
/// When the file can't be written.
pub async fn failed(c: &mut Connection, outside: &Outside, trouble: &str, due: OffsetDateTime) -> Stored<()> {
    let (id, due) = (outside.practitioner.as_str(), due.unix_timestamp());
    sqlx::query!(
        "UPDATE outside_calendar SET trouble = ?, due_at = ?, failures = failures + 1 WHERE practitioner_id = ? AND url = ?",
        trouble,
        due,
        id,
        outside.url
    )
    .execute(c)
    .await?;
    Ok(())
}
