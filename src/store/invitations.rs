//! Letters that ask clients back, and their links.

use std::collections::HashMap;

use time::{Date, OffsetDateTime};

use super::retouch::as_json;
use super::types::{day, day_text, instant, read};
use super::{Connection, Stored};
use crate::domain::ids::{ClientId, InvitationId, ServiceId};

/// A letter that asks a client back.
#[derive(Debug, Clone)]
pub struct Invitation {
    /// Its id.
    pub id: InvitationId,
    /// Whom it asks.
    pub client: ClientId,
    /// For what.
    pub service: ServiceId,
    /// When her window opens.
    pub opens: Date,
}

/// Adds one.
///
/// # Errors
/// When the file can't be written.
pub async fn insert(c: &mut Connection, one: &Invitation, now: OffsetDateTime) -> Stored<()> {
    let (id, client, service) = (one.id.as_str(), one.client.as_str(), one.service.as_str());
    let (opens, now) = (day_text(one.opens), now.unix_timestamp());
    sqlx::query!(
        "INSERT INTO invitation (id, client_id, service_id, opens_on, created_at) VALUES (?, ?, ?, ?, ?)",
        id,
        client,
        service,
        opens,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// One.
///
/// # Errors
/// When the file can't be read.
pub async fn get(c: &mut Connection, id: &InvitationId) -> Stored<Option<Invitation>> {
    let key = id.as_str();
    let row = sqlx::query!("SELECT client_id, service_id, opens_on FROM invitation WHERE id = ?", key);
    let Some(row) = row.fetch_optional(c).await? else { return Ok(None) };
    Ok(Some(Invitation {
        id: id.clone(),
        client: read("invitation", "client_id", key, ClientId::parse(&row.client_id))?,
        service: read("invitation", "service_id", key, ServiceId::parse(&row.service_id))?,
        opens: day("invitation", "opens_on", key, &row.opens_on)?,
    }))
}

/// Takes one out whose letter was never sent.
///
/// # Errors
/// When the file can't be written.
pub async fn remove(c: &mut Connection, id: &InvitationId) -> Stored<()> {
    let id = id.as_str();
    sqlx::query!("DELETE FROM invitation WHERE id = ?", id).execute(c).await?;
    Ok(())
}

/// How often each of these clients was invited, and when last.
///
/// # Errors
/// When the file can't be read.
pub async fn told(c: &mut Connection, clients: &[&ClientId]) -> Stored<HashMap<ClientId, (i64, OffsetDateTime)>> {
    let ids = as_json(clients.iter().map(|id| id.as_str()));
    let rows = sqlx::query!(
        r#"SELECT client_id AS "client_id!", count(*) AS "times!: i64", max(created_at) AS "last!: i64" FROM invitation
           WHERE client_id IN (SELECT value FROM json_each(?)) GROUP BY client_id"#,
        ids
    );
    let rows = rows.fetch_all(c).await?;
    rows.into_iter()
        .map(|row| {
            let id = &row.client_id;
            let at = instant("invitation", "created_at", id, row.last)?;
            Ok((read("invitation", "client_id", id, ClientId::parse(id))?, (row.times, at)))
        })
        .collect()
}

/// Stores the link of a letter that is being written.
///
/// # Errors
/// When the file can't be written.
pub async fn add_link(c: &mut Connection, token_hash: &str, id: &InvitationId, now: OffsetDateTime) -> Stored<()> {
    let (id, now) = (id.as_str(), now.unix_timestamp());
    sqlx::query!(
        "INSERT INTO invitation_link (token_hash, invitation_id, created_at) VALUES (?, ?, ?)",
        token_hash,
        id,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// A letter's link.
pub struct Link {
    /// The letter.
    pub invitation: InvitationId,
    /// When it was written.
    pub made_at: OffsetDateTime,
    /// Whether it led nowhere yet, and was not tried too often.
    pub fresh: bool,
}

/// How many wrong dates of birth end a link.
const MOST_TRIES: i64 = 5;

/// A link. It ends the letters for as long as its letter is known.
///
/// # Errors
/// When the file can't be read.
pub async fn link(c: &mut Connection, token_hash: &str) -> Stored<Option<Link>> {
    let row = sqlx::query!(
        r#"SELECT invitation_id, created_at, used_at IS NULL AND tries < ?1 AS "fresh!: bool" FROM invitation_link
           WHERE token_hash = ?2"#,
        MOST_TRIES,
        token_hash
    );
    let Some(row) = row.fetch_optional(c).await? else { return Ok(None) };
    Ok(Some(Link {
        invitation: read("invitation_link", "invitation_id", "", InvitationId::parse(&row.invitation_id))?,
        made_at: instant("invitation_link", "created_at", "", row.created_at)?,
        fresh: row.fresh,
    }))
}

/// A wrong date of birth was given with a link.
///
/// # Errors
/// When the file can't be written.
pub async fn tried(c: &mut Connection, token_hash: &str) -> Stored<()> {
    sqlx::query!("UPDATE invitation_link SET tries = tries + 1 WHERE token_hash = ?", token_hash).execute(c).await?;
    Ok(())
}

/// Uses a link up; `false` when somebody was quicker, or others tried too often at the same moment.
///
/// # Errors
/// When the file can't be written.
pub async fn use_link(c: &mut Connection, token_hash: &str, now: OffsetDateTime) -> Stored<bool> {
    let now = now.unix_timestamp();
    let used = sqlx::query!(
        "UPDATE invitation_link SET used_at = ? WHERE token_hash = ? AND used_at IS NULL AND tries < ?",
        now,
        token_hash,
        MOST_TRIES
    );
    Ok(used.execute(c).await?.rows_affected() == 1)
}
