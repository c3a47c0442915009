//! Mail that waits to leave.

use time::OffsetDateTime;

use super::types::read;
use super::{Connection, Stored};
use crate::domain::ids::{MailId, SkinTestId};

/// A mail that is due.
pub struct Due {
    /// Its row.
    pub id: MailId,
    /// Where it goes.
    pub to_mail: String,
    /// The typed message as JSON.
    pub body: String,
    /// Failed tries so far.
    pub tries: i64,
}

/// How the outbox stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Standing {
    /// Waiting, with tries left.
    pub waiting: i64,
    /// Given up.
    pub given_up: i64,
}

/// Adds a mail in the transaction of what causes it.
///
/// # Errors
/// When the file can't be written.
pub async fn add(
    c: &mut Connection,
    id: &MailId,
    to_mail: &str,
    body: &str,
    due: OffsetDateTime,
    now: OffsetDateTime,
) -> Stored<()> {
    let (id, due, now) = (id.as_str(), due.unix_timestamp(), now.unix_timestamp());
    sqlx::query!(
        "INSERT INTO outbox (id, to_mail, body, due_at, created_at) VALUES (?, ?, ?, ?, ?)",
        id,
        to_mail,
        body,
        due,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// The mail that is due next.
///
/// # Errors
/// When the file can't be read.
pub async fn next(c: &mut Connection, now: OffsetDateTime) -> Stored<Option<Due>> {
    let now = now.unix_timestamp();
    let row = sqlx::query!(
        "SELECT id, to_mail, body, tries FROM outbox WHERE state = 'waiting' AND due_at <= ? ORDER BY due_at, id LIMIT 1",
        now
    )
    .fetch_optional(c)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let id = read("outbox", "id", &row.id, MailId::parse(&row.id))?;
    Ok(Some(Due { id, to_mail: row.to_mail, body: row.body, tries: row.tries }))
}

/// Takes back the mails that would still ask about a skin test.
///
/// # Errors
/// When the file can't be written.
pub async fn cancel_prompts(c: &mut Connection, test: &SkinTestId) -> Stored<()> {
    let test = test.as_str();
    sqlx::query!(
        "DELETE FROM outbox WHERE state = 'waiting' AND json_extract(body, '$.kind') = 'skin_test_prompt'
         AND json_extract(body, '$.test') = ?",
        test
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Takes a row away that was no letter itself.
///
/// # Errors
/// When the file can't be written.
pub async fn remove(c: &mut Connection, id: &MailId) -> Stored<()> {
    let id = id.as_str();
    sqlx::query!("DELETE FROM outbox WHERE id = ?", id).execute(c).await?;
    Ok(())
}

/// It left. The text goes, since it has no further use; the row stays as proof.
///
/// # Errors
/// When the file can't be written.
pub async fn sent(c: &mut Connection, id: &MailId, now: OffsetDateTime) -> Stored<()> {
    let (id, now) = (id.as_str(), now.unix_timestamp());
    sqlx::query!(
        "UPDATE outbox SET state = 'sent', sent_at = ?, tries = tries + 1, last_error = '' WHERE id = ?",
        now,
        id
    )
    .execute(c)
    .await?;
    Ok(())
}

/// It didn't leave: another try at `again`, or none.
///
/// # Errors
/// When the file can't be written.
pub async fn failed(c: &mut Connection, id: &MailId, error: &str, again: Option<OffsetDateTime>) -> Stored<()> {
    let id = id.as_str();
    let state = if again.is_some() { "waiting" } else { "given_up" };
    let again = again.map(OffsetDateTime::unix_timestamp);
    sqlx::query!(
        "UPDATE outbox SET state = ?, due_at = coalesce(?, due_at), tries = tries + 1, last_error = ? WHERE id = ?",
        state,
        again,
        error,
        id
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Counts what waits and what was given up.
///
/// # Errors
/// When the file can't be read.
pub async fn standing(c: &mut Connection) -> Stored<Standing> {
    let row = sqlx::query!(
        r#"SELECT count(*) FILTER (WHERE state = 'waiting') AS "waiting!: i64", count(*) FILTER (WHERE state = 'given_up') AS "given_up!: i64"
           FROM outbox"#
    )
    .fetch_one(c)
    .await?;
    Ok(Standing { waiting: row.waiting, given_up: row.given_up })
}
