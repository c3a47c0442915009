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

impl Holder {
    /// What the two columns hold.
    fn columns(&self) -> (Option<&str>, Option<&str>) {
        match self {
            Self::Account(id) => (Some(id.as_str()), None),
            Self::Client(id) => (None, Some(id.as_str())),
        }
    }
}

/// How many sessions one person may have at once; the oldest ends when one more begins. Those that wait for a code are
/// counted apart: whoever has only the password ends none that is open.
const MOST: i64 = 20;

/// How far a session has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    /// The password was right; a code is still asked for.
    Code,
    /// Signed in, but the second factor is to be set up before anything else.
    SetUp,
    /// Everything is open that its holder may see.
    Open,
}

impl Stage {
    fn as_str(self) -> &'static str {
        match self {
            Self::Code => "code",
            Self::SetUp => "set_up",
            Self::Open => "open",
        }
    }

    fn parse(word: &str) -> Option<Self> {
        [Self::Code, Self::SetUp, Self::Open].into_iter().find(|stage| stage.as_str() == word)
    }
}

/// A session that has not passed its absolute end.
#[derive(Debug, Clone)]
pub struct Session {
    /// Whose it is.
    pub holder: Holder,
    /// When it was last used, to within a minute.
    pub seen_at: OffsetDateTime,
    /// How far it has come.
    pub stage: Stage,
    /// When its holder last gave a password or a code.
    pub proved_at: OffsetDateTime,
}

/// A session that begins.
pub struct Begun<'a> {
    /// The hash of its token.
    pub token_hash: &'a str,
    /// Whose it is.
    pub holder: &'a Holder,
    /// How far it has come.
    pub stage: Stage,
    /// The kind of device.
    pub device: &'a str,
    /// When it ends at the latest.
    pub lasts: Duration,
}

/// The session behind a token.
///
/// # Errors
/// When the file can't be read.
pub async fn get(c: &mut Connection, token_hash: &str, now: OffsetDateTime) -> Stored<Option<Session>> {
    let now = now.unix_timestamp();
    let row = sqlx::query!(
        "SELECT account_id, client_id, seen_at, stage, proved_at FROM session WHERE token_hash = ? AND expires_at > ?",
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
    Ok(Some(Session {
        holder,
        seen_at: instant("session", "seen_at", "", row.seen_at)?,
        stage: Stage::parse(&row.stage).ok_or_else(|| impossible("session", "stage", ""))?,
        proved_at: instant("session", "proved_at", "", row.proved_at)?,
    }))
}

/// Begins a session, whose holder has just given a password, a code or a link.
///
/// # Errors
/// When the file can't be written.
pub async fn begin(c: &mut Connection, new: &Begun<'_>, now: OffsetDateTime) -> Stored<()> {
    let (account, client) = new.holder.columns();
    let (at, end, stage) = (now.unix_timestamp(), (now + new.lasts).unix_timestamp(), new.stage.as_str());
    sqlx::query!(
        "INSERT INTO session (token_hash, account_id, client_id, created_at, seen_at, expires_at, stage, proved_at, device)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        new.token_hash,
        account,
        client,
        at,
        at,
        end,
        stage,
        at,
        new.device
    )
    .execute(&mut *c)
    .await?;
    sqlx::query!(
        "DELETE FROM session WHERE token_hash IN (
             SELECT token_hash FROM session WHERE (account_id = ? OR client_id = ?) AND (stage = 'code') = (? = 'code')
             ORDER BY created_at DESC, token_hash = ? DESC LIMIT -1 OFFSET ?)",
        account,
        client,
        stage,
        new.token_hash,
        MOST
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Notes that a session's holder has given a password or a code again.
///
/// # Errors
/// When the file can't be written.
pub async fn prove(c: &mut Connection, token_hash: &str, now: OffsetDateTime) -> Stored<()> {
    let now = now.unix_timestamp();
    sqlx::query!("UPDATE session SET proved_at = ? WHERE token_hash = ?", now, token_hash).execute(c).await?;
    Ok(())
}

/// Opens a session in which the second factor was put off.
///
/// # Errors
/// When the file can't be written.
pub async fn open(c: &mut Connection, token_hash: &str) -> Stored<()> {
    sqlx::query!("UPDATE session SET stage = 'open' WHERE token_hash = ? AND stage = 'set_up'", token_hash)
        .execute(c)
        .await?;
    Ok(())
}

/// A session in the list of somebody's own.
pub struct Listed {
    /// The hash of its token, which names it and opens nothing.
    pub token_hash: String,
    /// When it began.
    pub created_at: OffsetDateTime,
    /// When it was last used, to within a minute.
    pub seen_at: OffsetDateTime,
    /// The kind of device.
    pub device: String,
}

/// The sessions of one person that are in use, the newest first; `rested` is when one must have been used last.
///
/// # Errors
/// When the file can't be read.
pub async fn of(
    c: &mut Connection,
    holder: &Holder,
    now: OffsetDateTime,
    rested: OffsetDateTime,
) -> Stored<Vec<Listed>> {
    let (account, client) = holder.columns();
    let (now, rested) = (now.unix_timestamp(), rested.unix_timestamp());
    let rows = sqlx::query!(
        "SELECT token_hash, created_at, seen_at, device FROM session
         WHERE (account_id = ? OR client_id = ?) AND expires_at > ? AND seen_at > ? ORDER BY created_at DESC, token_hash",
        account,
        client,
        now,
        rested
    );
    let rows = rows.fetch_all(c).await?.into_iter().map(|row| {
        Ok(Listed {
            created_at: instant("session", "created_at", "", row.created_at)?,
            seen_at: instant("session", "seen_at", "", row.seen_at)?,
            token_hash: row.token_hash,
            device: row.device,
        })
    });
    rows.collect()
}

/// Ends one session of one person. `false` when she has none with this hash.
///
/// # Errors
/// When the file can't be written.
pub async fn end_of(c: &mut Connection, holder: &Holder, token_hash: &str) -> Stored<bool> {
    let (account, client) = holder.columns();
    let query = sqlx::query!(
        "DELETE FROM session WHERE token_hash = ? AND (account_id = ? OR client_id = ?)",
        token_hash,
        account,
        client
    );
    Ok(query.execute(c).await?.rows_affected() == 1)
}

/// Ends everybody's sessions but one: how many.
///
/// # Errors
/// When the file can't be written.
pub async fn end_everybody_s(c: &mut Connection, but: &str) -> Stored<u64> {
    Ok(sqlx::query!("DELETE FROM session WHERE token_hash <> ?", but).execute(c).await?.rows_affected())
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

/// Ends one session. `false` when there is none.
///
/// # Errors
/// When the file can't be written.
pub async fn end(c: &mut Connection, token_hash: &str) -> Stored<bool> {
    let ended = sqlx::query!("DELETE FROM session WHERE token_hash = ?", token_hash).execute(c).await?;
    Ok(ended.rows_affected() == 1)
}

/// Ends all sessions of one person.
///
/// # Errors
/// When the file can't be written.
pub async fn end_all(c: &mut Connection, holder: &Holder) -> Stored<()> {
    let (account, client) = holder.columns();
    sqlx::query!("DELETE FROM session WHERE account_id = ? OR client_id = ?", account, client).execute(c).await?;
    Ok(())
}

/// Ends all sessions of an account but one.
///
/// # Errors
/// When the file can't be written.
pub async fn end_others(c: &mut Connection, account: &AccountId, token_hash: &str) -> Stored<()> {
    let id = account.as_str();
    sqlx::query!("DELETE FROM session WHERE account_id = ? AND token_hash <> ?", id, token_hash).execute(c).await?;
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

/// How far the clock may go back before what was made in the future counts for nothing: it could otherwise last for as
/// long as the clock was wrong.
pub const CLOCK_SLIPS: Duration = Duration::minutes(5);

/// Uses a link up. `None` when it is unknown, used or past its end, or was made in the future.
///
/// # Errors
/// When the file can't be written.
pub async fn use_link(
    c: &mut Connection,
    token_hash: &str,
    now: OffsetDateTime,
) -> Stored<Option<(ClientId, Option<DraftId>)>> {
    let (made_by, now) = ((now + CLOCK_SLIPS).unix_timestamp(), now.unix_timestamp());
    let row = sqlx::query!(
        "UPDATE sign_in_link SET used_at = ? WHERE token_hash = ? AND used_at IS NULL AND expires_at > ? AND created_at <= ?
         RETURNING client_id, draft_id",
        now,
        token_hash,
        now,
        made_by
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
    let (made_by, now) = ((now + CLOCK_SLIPS).unix_timestamp(), now.unix_timestamp());
    let row = sqlx::query_scalar!(
        "SELECT 1 FROM sign_in_link WHERE token_hash = ? AND used_at IS NULL AND expires_at > ? AND created_at <= ?",
        token_hash,
        now,
        made_by
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
