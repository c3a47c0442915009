//! Sessions and sign-in links, by the hash of their token.

use time::{Duration, OffsetDateTime};

use super::types::{impossible, instant, read};
use super::{Connection, Stored};
use crate::domain::ids::{AccountId, ClientId, DraftId};

/// Whose session it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Holder {
    /// The owner or a practitioner.
    Account(AccountId),
    /// A client.
    Client(ClientId),
}

/// A session that has not passed its absolute end.
#[derive(Debug, Clone)]
pub struct Session {
    /// Whose it is.
    pub holder: Holder,
    /// When it was last used, to within a minute.
    pub seen_at: OffsetDateTime,
}

/// The session behind a token.
///
/// # Errors
/// When the file can't be read.
pub async fn get(c: &mut Connection, token_hash: &str, now: OffsetDateTime) -> Stored<Option<Session>> {
    let now = now.unix_timestamp();
    let row = sqlx::query!(
        "SELECT account_id, client_id, seen_at FROM session WHERE token_hash = ? AND expires_at > ?",
        token_hash,
        now
    )
    .fetch_optional(c)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let holder = match (row.account_id, row.client_id) {
        (Some(id), None) => Holder::Account(read("session", "account_id", "", AccountId::parse(&id))?),
        (None, Some(id)) => Holder::Client(read("session", "client_id", "", ClientId::parse(&id))?),
        _ => return Err(impossible("session", "account_id", "")),
    };
    Ok(Some(Session { holder, seen_at: instant("session", "seen_at", "", row.seen_at)? }))
}

/// Begins a session that ends at the latest after `lasts`.
///
/// # Errors
/// When the file can't be written.
pub async fn begin(
    c: &mut Connection,
    token_hash: &str,
    holder: &Holder,
    now: OffsetDateTime,
    lasts: Duration,
) -> Stored<()> {
    let (account, client) = match holder {
        Holder::Account(id) => (Some(id.as_str()), None),
        Holder::Client(id) => (None, Some(id.as_str())),
    };
    let (at, end) = (now.unix_timestamp(), (now + lasts).unix_timestamp());
    sqlx::query!(
        "INSERT INTO session (token_hash, account_id, client_id, created_at, seen_at, expires_at) VALUES (?, ?, ?, ?, ?, ?)",
        token_hash,
        account,
        client,
        at,
        at,
        end
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Notes that a session was used.
///
/// # Errors
/// When the file can't be written.
pub async fn touch(c: &mut Connection, token_hash: &str, now: OffsetDateTime) -> Stored<()> {
    let now = now.unix_timestamp();
    sqlx::query!("UPDATE session SET seen_at = ? WHERE token_hash = ?", now, token_hash).execute(c).await?;
    Ok(())
}

/// Ends one session.
///
/// # Errors
/// When the file can't be written.
pub async fn end(c: &mut Connection, token_hash: &str) -> Stored<()> {
    sqlx::query!("DELETE FROM session WHERE token_hash = ?", token_hash).execute(c).await?;
    Ok(())
}

/// Ends all sessions of one person.
///
/// # Errors
/// When the file can't be written.
pub async fn end_all(c: &mut Connection, holder: &Holder) -> Stored<()> {
    match holder {
        Holder::Account(id) => {
            let id = id.as_str();
            sqlx::query!("DELETE FROM session WHERE account_id = ?", id).execute(c).await?;
        }
        Holder::Client(id) => {
            let id = id.as_str();
            sqlx::query!("DELETE FROM session WHERE client_id = ?", id).execute(c).await?;
        }
    }
    Ok(())
}

/// Stores a sign-in link for a client, with the booking that she was filling in when she asked.
///
/// # Errors
/// When the file can't be written.
pub async fn add_link(
    c: &mut Connection,
    token_hash: &str,
    client: &ClientId,
    draft: Option<&DraftId>,
    now: OffsetDateTime,
    lasts: Duration,
) -> Stored<()> {
    let (client, draft) = (client.as_str(), draft.map(DraftId::as_str));
    let (at, end) = (now.unix_timestamp(), (now + lasts).unix_timestamp());
    sqlx::query!(
        "INSERT INTO sign_in_link (token_hash, client_id, draft_id, created_at, expires_at) VALUES (?, ?, ?, ?, ?)",
        token_hash,
        client,
        draft,
        at,
        end
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Uses a link up. `None` when it is unknown, used or past its end.
///
/// # Errors
/// When the file can't be written.
pub async fn use_link(
    c: &mut Connection,
    token_hash: &str,
    now: OffsetDateTime,
) -> Stored<Option<(ClientId, Option<DraftId>)>> {
    let now = now.unix_timestamp();
    let row = sqlx::query!(
        "UPDATE sign_in_link SET used_at = ? WHERE token_hash = ? AND used_at IS NULL AND expires_at > ?
         RETURNING client_id, draft_id",
        now,
        token_hash,
        now
    )
    .fetch_optional(c)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let client = read("sign_in_link", "client_id", "", ClientId::parse(&row.client_id))?;
    let draft = row.draft_id.map(|id| read("sign_in_link", "draft_id", "", DraftId::parse(&id))).transpose()?;
    Ok(Some((client, draft)))
}

/// Whether a link could still be used.
///
/// # Errors
/// When the file can't be read.
pub async fn link_is_good(c: &mut Connection, token_hash: &str, now: OffsetDateTime) -> Stored<bool> {
    let now = now.unix_timestamp();
    let row = sqlx::query_scalar!(
        "SELECT 1 FROM sign_in_link WHERE token_hash = ? AND used_at IS NULL AND expires_at > ?",
        token_hash,
        now
    )
    .fetch_optional(c)
    .await?;
    Ok(row.is_some())
}

/// Deletes sessions and links that have ended.
///
/// # Errors
/// When the file can't be written.
pub async fn sweep(c: &mut Connection, now: OffsetDateTime) -> Stored<()> {
    let now = now.unix_timestamp();
    sqlx::query!("DELETE FROM session WHERE expires_at <= ?", now).execute(&mut *c).await?;
    sqlx::query!("DELETE FROM sign_in_link WHERE expires_at <= ?", now).execute(c).await?;
    Ok(())
}
