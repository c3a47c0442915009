//! The team's passkeys, and what their sessions were asked to answer with one.

use time::{Duration, OffsetDateTime};

use super::sessions::CLOCK_SLIPS;
use super::types::{instant, read, small};
use super::{Connection, Stored};
use crate::domain::ids::{AccountId, PasskeyId};

/// How long a session may take to answer.
pub const ANSWERED_WITHIN: Duration = Duration::minutes(5);

/// A passkey of an account.
#[derive(Debug, Clone)]
pub struct Passkey {
    /// Its id.
    pub id: PasskeyId,
    /// What she calls it.
    pub name: String,
    /// What its device calls it.
    pub credential: Vec<u8>,
    /// How its device is reached.
    pub transports: u8,
    /// Its public half.
    pub key: Vec<u8>,
    /// Its counter, and what else changes.
    pub state: Vec<u8>,
    /// When it was made.
    pub made_at: OffsetDateTime,
    /// When it was last used.
    pub used_at: Option<OffsetDateTime>,
}

/// What a session was asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Purpose {
    /// To make a passkey.
    Add,
    /// To answer with one.
    Use,
}

impl Purpose {
    fn as_str(self) -> &'static str {
        match self {
            Self::Add => "add",
            Self::Use => "use",
        }
    }
}

/// The passkeys of an account, the oldest first.
///
/// # Errors
/// When the file can't be read.
pub async fn of_account(c: &mut Connection, account: &AccountId) -> Stored<Vec<Passkey>> {
    let id = account.as_str();
    let rows = sqlx::query!(
        "SELECT id, name, credential, transports, key, state, made_at, used_at FROM passkey
         WHERE account_id = ? ORDER BY made_at, id",
        id
    );
    let rows = rows.fetch_all(c).await?.into_iter().map(|row| {
        let key = row.id;
        Ok(Passkey {
            transports: small("passkey", "transports", &key, row.transports)?,
            made_at: instant("passkey", "made_at", &key, row.made_at)?,
            used_at: row.used_at.map(|at| instant("passkey", "used_at", &key, at)).transpose()?,
            id: read("passkey", "id", &key, PasskeyId::parse(&key))?,
            name: row.name,
            credential: row.credential,
            key: row.key,
            state: row.state,
        })
    });
    rows.collect()
}

/// Stores a new one. `false` when its device has given it to somebody before.
///
/// # Errors
/// When the file can't be written.
pub async fn insert(c: &mut Connection, account: &AccountId, new: &Passkey) -> Stored<bool> {
    let (id, account, made_at) = (new.id.as_str(), account.as_str(), new.made_at.unix_timestamp());
    let query = sqlx::query!(
        "INSERT INTO passkey (id, account_id, credential, transports, key, state, name, made_at)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (credential) DO NOTHING",
        id,
        account,
        new.credential,
        new.transports,
        new.key,
        new.state,
        new.name,
        made_at
    );
    Ok(query.execute(c).await?.rows_affected() == 1)
}

/// Notes that one was used, and its new state.
///
/// # Errors
/// When the file can't be written.
pub async fn used(c: &mut Connection, id: &PasskeyId, state: &[u8], now: OffsetDateTime) -> Stored<()> {
    let (id, now) = (id.as_str(), now.unix_timestamp());
    sqlx::query!("UPDATE passkey SET state = ?, used_at = ? WHERE id = ?", state, now, id).execute(c).await?;
    Ok(())
}

/// Removes one of an account. `false` when it has none with this id.
///
/// # Errors
/// When the file can't be written.
pub async fn remove(c: &mut Connection, account: &AccountId, id: &PasskeyId) -> Stored<bool> {
    let (account, id) = (account.as_str(), id.as_str());
    let query = sqlx::query!("DELETE FROM passkey WHERE id = ? AND account_id = ?", id, account);
    Ok(query.execute(c).await?.rows_affected() == 1)
}

/// Keeps what a session was asked, in the place of what it was asked before.
///
/// # Errors
/// When the file can't be written.
pub async fn ask(
    c: &mut Connection,
    session_hash: &str,
    purpose: Purpose,
    kept: &[u8],
    now: OffsetDateTime,
) -> Stored<()> {
    let (purpose, now) = (purpose.as_str(), now.unix_timestamp());
    sqlx::query!(
        "INSERT INTO passkey_challenge (session_hash, purpose, kept, asked_at) VALUES (?, ?, ?, ?)
         ON CONFLICT (session_hash, purpose) DO UPDATE SET kept = excluded.kept, asked_at = excluded.asked_at",
        session_hash,
        purpose,
        kept,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Takes what a session was asked, so that it is answered once. `None` when nothing was, or too long ago, or in the future.
///
/// # Errors
/// When the file can't be written.
pub async fn answered(
    c: &mut Connection,
    session_hash: &str,
    purpose: Purpose,
    now: OffsetDateTime,
) -> Stored<Option<Vec<u8>>> {
    let purpose = purpose.as_str();
    let row = sqlx::query!(
        "DELETE FROM passkey_challenge WHERE session_hash = ? AND purpose = ? RETURNING kept, asked_at",
        session_hash,
        purpose
    );
    let Some(row) = row.fetch_optional(c).await? else { return Ok(None) };
    let asked_at = instant("passkey_challenge", "asked_at", "", row.asked_at)?;
    let in_time = (-CLOCK_SLIPS..ANSWERED_WITHIN).contains(&(now - asked_at));
    Ok(in_time.then_some(row.kept))
}

/// Forgets what was asked too long ago.
///
/// # Errors
/// When the file can't be written.
pub async fn sweep(c: &mut Connection, now: OffsetDateTime) -> Stored<()> {
    let before = (now - ANSWERED_WITHIN).unix_timestamp();
    sqlx::query!("DELETE FROM passkey_challenge WHERE asked_at <= ?", before).execute(c).await?;
    Ok(())
}
