//! Clients who asked to be erased: what waits for the owner, and who is only kept for claims.

use time::OffsetDateTime;

use super::types::{instant, read};
use super::{Connection, Stored};
use crate::domain::ids::ClientId;

/// A client asks to be erased; asking twice is asking once. `false` when she had asked before.
///
/// # Errors
/// When the file can't be written.
pub async fn ask(c: &mut Connection, client: &ClientId, now: OffsetDateTime) -> Stored<bool> {
    let (client, now) = (client.as_str(), now.unix_timestamp());
    let done = sqlx::query!("INSERT OR IGNORE INTO erasure_request (client_id, asked_at) VALUES (?, ?)", client, now);
    Ok(done.execute(c).await?.rows_affected() == 1)
}

/// She doesn't ask any more, or it is done. `false` when she hadn't asked.
///
/// # Errors
/// When the file can't be written.
pub async fn unask(c: &mut Connection, client: &ClientId) -> Stored<bool> {
    let client = client.as_str();
    let done = sqlx::query!("DELETE FROM erasure_request WHERE client_id = ?", client).execute(c).await?;
    Ok(done.rows_affected() == 1)
}

/// When a client asked, if she waits for an answer.
///
/// # Errors
/// When the file can't be read.
pub async fn asked_at(c: &mut Connection, client: &ClientId) -> Stored<Option<OffsetDateTime>> {
    let key = client.as_str();
    let at = sqlx::query_scalar!("SELECT asked_at FROM erasure_request WHERE client_id = ?", key);
    at.fetch_optional(c).await?.map(|at| instant("erasure_request", "asked_at", key, at)).transpose()
}

/// Everybody who waits for an answer, the longest first.
///
/// # Errors
/// When the file can't be read.
pub async fn requests(c: &mut Connection) -> Stored<Vec<(ClientId, OffsetDateTime)>> {
    let rows = sqlx::query!("SELECT client_id, asked_at FROM erasure_request ORDER BY asked_at, client_id");
    let rows = rows.fetch_all(c).await?;
    rows.into_iter()
        .map(|row| {
            let client = read("erasure_request", "client_id", &row.client_id, ClientId::parse(&row.client_id))?;
            Ok((client, instant("erasure_request", "asked_at", &row.client_id, row.asked_at)?))
        })
        .collect()
}

/// Restricts a client's record: she is met nowhere any more.
///
/// # Errors
/// When the file can't be written.
pub async fn restrict(c: &mut Connection, client: &ClientId, now: OffsetDateTime) -> Stored<()> {
    let (id, now) = (client.as_str(), now.unix_timestamp());
    sqlx::query!("DELETE FROM session WHERE client_id = ?", id).execute(&mut *c).await?;
    sqlx::query!("DELETE FROM sign_in_link WHERE client_id = ?", id).execute(&mut *c).await?;
    sqlx::query!("DELETE FROM draft WHERE client_id = ?", id).execute(&mut *c).await?;
    sqlx::query!("DELETE FROM skin_test_link WHERE skin_test_id IN (SELECT id FROM skin_test WHERE client_id = ?)", id)
        .execute(&mut *c)
        .await?;
    sqlx::query!("UPDATE client SET restricted_at = ? WHERE id = ?", now, id).execute(c).await?;
    Ok(())
}

/// Takes out what she was sent and wished for.
///
/// # Errors
/// When the file can't be written.
pub async fn forget_invitations(c: &mut Connection, client: &ClientId) -> Stored<()> {
    let id = client.as_str();
    sqlx::query!("DELETE FROM invitation WHERE client_id = ?", id).execute(&mut *c).await?;
    sqlx::query!("DELETE FROM wish WHERE client_id = ?", id).execute(c).await?;
    Ok(())
}

/// When a client's record was restricted, if it is.
///
/// # Errors
/// When the file can't be read.
pub async fn since(c: &mut Connection, client: &ClientId) -> Stored<Option<OffsetDateTime>> {
    let key = client.as_str();
    let at = sqlx::query_scalar!("SELECT restricted_at FROM client WHERE id = ?", key).fetch_optional(c).await?;
    at.flatten().map(|at| instant("client", "restricted_at", key, at)).transpose()
}

/// Everybody whose record is restricted, since when.
///
/// # Errors
/// When the file can't be read.
pub async fn all(c: &mut Connection) -> Stored<Vec<(ClientId, OffsetDateTime)>> {
    let rows = sqlx::query!(
        r#"SELECT id, restricted_at AS "at!: i64" FROM client WHERE restricted_at IS NOT NULL ORDER BY restricted_at, id"#
    );
    let rows = rows.fetch_all(c).await?;
    rows.into_iter()
        .map(|row| {
            let client = read("client", "id", &row.id, ClientId::parse(&row.id))?;
            Ok((client, instant("client", "restricted_at", &row.id, row.at)?))
        })
        .collect()
}
