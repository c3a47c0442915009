//! What the team shows besides a password, and the browsers that it is known by.

use time::OffsetDateTime;

use super::types::{impossible, instant};
use super::{Connection, Stored};
use crate::domain::ids::AccountId;

/// The app of an account.
pub struct Factor {
    /// What the app shares.
    pub secret: [u8; 20],
    /// The step of the last code that was taken.
    pub used_step: i64,
    /// When it was set up.
    pub made_at: OffsetDateTime,
}

/// Whether an account has a second factor: an app, or a passkey.
///
/// # Errors
/// When the file can't be read.
pub async fn is_set_up(c: &mut Connection, account: &AccountId) -> Stored<bool> {
    let id = account.as_str();
    let query = sqlx::query_scalar!(
        "SELECT 1 FROM second_factor WHERE account_id = ? UNION ALL SELECT 1 FROM passkey WHERE account_id = ? LIMIT 1",
        id,
        id
    );
    Ok(query.fetch_optional(c).await?.is_some())
}

/// The app of an account, once it is set up.
///
/// # Errors
/// When the file can't be read.
pub async fn get(c: &mut Connection, account: &AccountId) -> Stored<Option<Factor>> {
    let id = account.as_str();
    let row = sqlx::query!("SELECT secret, used_step, made_at FROM second_factor WHERE account_id = ?", id);
    let Some(row) = row.fetch_optional(c).await? else { return Ok(None) };
    let secret = row.secret.try_into().map_err(|_| impossible("second_factor", "secret", id))?;
    let made_at = instant("second_factor", "made_at", id, row.made_at)?;
    Ok(Some(Factor { secret, used_step: row.used_step, made_at }))
}

/// Sets the app of an account, in the place of an earlier one; the code that confirmed it is used up.
///
/// # Errors
/// When the file can't be written.
pub async fn set(
    c: &mut Connection,
    account: &AccountId,
    secret: &[u8],
    used_step: i64,
    now: OffsetDateTime,
) -> Stored<()> {
    let (id, now) = (account.as_str(), now.unix_timestamp());
    sqlx::query!(
        "INSERT INTO second_factor (account_id, secret, used_step, made_at) VALUES (?, ?, ?, ?)
         ON CONFLICT (account_id) DO UPDATE SET secret = excluded.secret, used_step = excluded.used_step, made_at = excluded.made_at",
        id,
        secret,
        used_step,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Takes app, passkeys and recovery codes away. `false` when there was neither app nor passkey.
///
/// # Errors
/// When the file can't be written.
pub async fn remove(c: &mut Connection, account: &AccountId) -> Stored<bool> {
    let id = account.as_str();
    sqlx::query!("DELETE FROM recovery_code WHERE account_id = ?", id).execute(&mut *c).await?;
    let keys = sqlx::query!("DELETE FROM passkey WHERE account_id = ?", id).execute(&mut *c).await?;
    let app = sqlx::query!("DELETE FROM second_factor WHERE account_id = ?", id).execute(c).await?;
    Ok(app.rows_affected() + keys.rows_affected() > 0)
}

/// Uses the code of a step up. `false` when that code or a later one was taken before. A code that was taken later than
/// the step after this one was taken by a clock that has been set back since; it holds nobody back.
///
/// # Errors
/// When the file can't be written.
pub async fn use_step(c: &mut Connection, account: &AccountId, step: i64) -> Stored<bool> {
    let id = account.as_str();
    // The clock is at most one step before the code's, and the code that was taken at most one after the clock's.
    let latest = step + 2;
    let query = sqlx::query!(
        "UPDATE second_factor SET used_step = ? WHERE account_id = ? AND (used_step < ? OR used_step > ?)",
        step,
        id,
        step,
        latest
    );
    Ok(query.execute(c).await?.rows_affected() == 1)
}

/// Stores the hashes of new recovery codes in the place of all earlier ones.
///
/// # Errors
/// When the file can't be written.
pub async fn set_recovery(c: &mut Connection, account: &AccountId, hashes: &[String]) -> Stored<()> {
    let id = account.as_str();
    sqlx::query!("DELETE FROM recovery_code WHERE account_id = ?", id).execute(&mut *c).await?;
    for hash in hashes {
        sqlx::query!("INSERT INTO recovery_code (code_hash, account_id) VALUES (?, ?)", hash, id)
            .execute(&mut *c)
            .await?;
    }
    Ok(())
}

/// Uses a recovery code up. `false` when it is not hers or was used before.
///
/// # Errors
/// When the file can't be written.
pub async fn use_recovery(c: &mut Connection, account: &AccountId, hash: &str, now: OffsetDateTime) -> Stored<bool> {
    let (id, now) = (account.as_str(), now.unix_timestamp());
    let query = sqlx::query!(
        "UPDATE recovery_code SET used_at = ? WHERE code_hash = ? AND account_id = ? AND used_at IS NULL",
        now,
        hash,
        id
    );
    Ok(query.execute(c).await?.rows_affected() == 1)
}

/// How many recovery codes are left.
///
/// # Errors
/// When the file can't be read.
pub async fn recovery_left(c: &mut Connection, account: &AccountId) -> Stored<i64> {
    let id = account.as_str();
    let query = sqlx::query_scalar!("SELECT count(*) FROM recovery_code WHERE account_id = ? AND used_at IS NULL", id);
    Ok(query.fetch_one(c).await?)
}

/// Whether the account with this mail has signed in with this browser before.
///
/// # Errors
/// When the file can't be read.
pub async fn knows_browser(c: &mut Connection, mail: &str, token_hash: &str) -> Stored<bool> {
    let query = sqlx::query_scalar!(
        "SELECT 1 FROM known_browser JOIN account ON account.id = known_browser.account_id
         WHERE account.mail = ? AND known_browser.token_hash = ?",
        mail,
        token_hash
    );
    Ok(query.fetch_optional(c).await?.is_some())
}

/// Whether an account has signed in with this browser before.
///
/// # Errors
/// When the file can't be read.
pub async fn knows_browser_of(c: &mut Connection, account: &AccountId, token_hash: &str) -> Stored<bool> {
    let id = account.as_str();
    let query =
        sqlx::query_scalar!("SELECT 1 FROM known_browser WHERE account_id = ? AND token_hash = ?", id, token_hash);
    Ok(query.fetch_optional(c).await?.is_some())
}

/// Whether an account has signed in with any browser yet.
///
/// # Errors
/// When the file can't be read.
pub async fn knows_any_browser(c: &mut Connection, account: &AccountId) -> Stored<bool> {
    let id = account.as_str();
    let query = sqlx::query_scalar!("SELECT 1 FROM known_browser WHERE account_id = ? LIMIT 1", id);
    Ok(query.fetch_optional(c).await?.is_some())
}

/// Notes that an account signs in with this browser again. `false` when it doesn't know it.
///
/// # Errors
/// When the file can't be written.
pub async fn see_browser(
    c: &mut Connection,
    account: &AccountId,
    token_hash: &str,
    now: OffsetDateTime,
) -> Stored<bool> {
    let (id, now) = (account.as_str(), now.unix_timestamp());
    let query = sqlx::query!(
        "UPDATE known_browser SET seen_at = ? WHERE account_id = ? AND token_hash = ?",
        now,
        id,
        token_hash
    );
    Ok(query.execute(c).await?.rows_affected() == 1)
}

/// Notes that an account has signed in with this browser for the first time.
///
/// # Errors
/// When the file can't be written.
pub async fn meet_browser(
    c: &mut Connection,
    account: &AccountId,
    token_hash: &str,
    now: OffsetDateTime,
) -> Stored<()> {
    let (id, now) = (account.as_str(), now.unix_timestamp());
    sqlx::query!("INSERT INTO known_browser (account_id, token_hash, seen_at) VALUES (?, ?, ?)", id, token_hash, now)
        .execute(c)
        .await?;
    Ok(())
}

/// Forgets the browsers that an account is known by.
///
/// # Errors
/// When the file can't be written.
pub async fn forget_browsers(c: &mut Connection, account: &AccountId) -> Stored<()> {
    let id = account.as_str();
    sqlx::query!("DELETE FROM known_browser WHERE account_id = ?", id).execute(c).await?;
    Ok(())
}

/// Forgets browsers that were not used since `before`.
///
/// # Errors
/// When the file can't be written.
pub async fn sweep(c: &mut Connection, before: OffsetDateTime) -> Stored<()> {
    let before = before.unix_timestamp();
    sqlx::query!("DELETE FROM known_browser WHERE seen_at < ?", before).execute(c).await?;
    Ok(())
}
