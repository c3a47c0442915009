//! Mail that waits to leave.

use time::OffsetDateTime;

use super::types::{instant, read};
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

/// Takes a row away: one that was no letter itself, or that has nothing to say any more.
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

/// A mail that waits or was given up.
pub struct Trouble {
    /// Its row.
    pub id: MailId,
    /// Where it goes.
    pub to_mail: String,
    /// The typed message as JSON.
    pub body: String,
    /// Failed tries so far.
    pub tries: i64,
    /// What the last try ended with.
    pub error: String,
    /// Whether no further try will be made.
    pub given_up: bool,
    /// When it was written.
    pub created_at: OffsetDateTime,
    /// When it is tried next.
    pub due_at: OffsetDateTime,
}

/// What was given up, newest first, and then what failed and is tried again, the next to leave first; a hundred of each.
///
/// # Errors
/// When the file can't be read.
pub async fn troubled(c: &mut Connection) -> Stored<Vec<Trouble>> {
    let rows = sqlx::query!(
        r#"SELECT id AS "id!", to_mail AS "to_mail!", body AS "body!", tries AS "tries!", last_error AS "last_error!",
                  state AS "state!", created_at AS "created_at!", due_at AS "due_at!"
           FROM (SELECT * FROM outbox WHERE state = 'given_up' ORDER BY created_at DESC, id LIMIT 100)
           UNION ALL
           SELECT id, to_mail, body, tries, last_error, state, created_at, due_at
           FROM (SELECT * FROM outbox WHERE state = 'waiting' AND tries > 0 ORDER BY due_at, id LIMIT 100)"#
    )
    .fetch_all(c)
    .await?;
    rows.into_iter()
        .map(|row| {
            let id = &row.id;
            Ok(Trouble {
                id: read("outbox", "id", id, MailId::parse(id))?,
                tries: row.tries,
                given_up: row.state == "given_up",
                created_at: instant("outbox", "created_at", id, row.created_at)?,
                due_at: instant("outbox", "due_at", id, row.due_at)?,
                to_mail: row.to_mail,
                body: row.body,
                error: row.last_error,
            })
        })
        .collect()
}

/// Lets a mail that was given up be tried anew. `false` when there is none.
///
/// # Errors
/// When the file can't be written.
pub async fn again(c: &mut Connection, id: &MailId, now: OffsetDateTime) -> Stored<bool> {
    let (id, now) = (id.as_str(), now.unix_timestamp());
    let done = sqlx::query!(
        "UPDATE outbox SET state = 'waiting', due_at = ?, tries = 0 WHERE id = ? AND state = 'given_up'",
        now,
        id
    )
    .execute(c)
    .await?;
    Ok(done.rows_affected() == 1)
}

/// Takes a mail out that was given up. `false` when there is none.
///
/// # Errors
/// When the file can't be written.
pub async fn set_aside(c: &mut Connection, id: &MailId) -> Stored<bool> {
    let id = id.as_str();
    let done = sqlx::query!("DELETE FROM outbox WHERE id = ? AND state = 'given_up'", id).execute(c).await?;
    Ok(done.rows_affected() == 1)
}
