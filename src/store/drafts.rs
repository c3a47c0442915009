//! Bookings that are being filled in. Only the browser that began one can open it.

use time::OffsetDateTime;

use super::types::{impossible, read};
use super::{Connection, Stored};
use crate::domain::ids::{ClientId, DraftId, ServiceId};

/// A booking that is being filled in.
#[derive(Debug, Clone)]
pub struct Draft {
    /// Its id.
    pub id: DraftId,
    /// What it is for.
    pub service: ServiceId,
    /// Who fills it in, when she is signed in.
    pub client: Option<ClientId>,
    /// Whether it has become a booking.
    pub booked: bool,
    /// Name, mail, phone and birth date as typed: JSON pairs.
    pub details: Option<String>,
    /// Health answers so far, as JSON.
    pub answers: String,
    /// Keys of the sections that are answered, as a JSON list.
    pub sections: String,
    /// Ticks, typed name and drawing, as JSON pairs.
    pub consent: Option<String>,
}

/// A draft, if it is of this browser.
///
/// # Errors
/// When the file can't be read.
pub async fn get(c: &mut Connection, id: &DraftId, owner_hash: &str) -> Stored<Option<Draft>> {
    let key = id.as_str();
    let row = sqlx::query!(
        "SELECT service_id, client_id, state, details, answers, sections, consent FROM draft WHERE id = ? AND owner_hash = ?",
        key,
        owner_hash
    )
    .fetch_optional(c)
    .await?;
    let Some(row) = row else { return Ok(None) };
    Ok(Some(Draft {
        id: id.clone(),
        service: read("draft", "service_id", key, ServiceId::parse(&row.service_id))?,
        client: row.client_id.map(|text| read("draft", "client_id", key, ClientId::parse(&text))).transpose()?,
        booked: row.state == "booked",
        details: row.details,
        answers: row.answers,
        sections: row.sections,
        consent: row.consent,
    }))
}

/// The unfinished bookings of a browser that hold times, the newest first.
///
/// # Errors
/// When the file can't be read.
pub async fn holding(c: &mut Connection, owner_hash: &str) -> Stored<Vec<DraftId>> {
    let rows = sqlx::query_scalar!(
        "SELECT d.id FROM draft d WHERE d.owner_hash = ? AND d.state = 'open'
           AND EXISTS (SELECT 1 FROM visit v WHERE v.draft_id = d.id AND v.state = 'held')
         ORDER BY d.created_at DESC, d.rowid DESC",
        owner_hash
    )
    .fetch_all(c)
    .await?;
    rows.iter().map(|id| read("draft", "id", id, DraftId::parse(id))).collect()
}

/// Begins one.
///
/// # Errors
/// When the file can't be written.
pub async fn insert(c: &mut Connection, draft: &Draft, owner_hash: &str, now: OffsetDateTime) -> Stored<()> {
    let (id, service, now) = (draft.id.as_str(), draft.service.as_str(), now.unix_timestamp());
    let client = draft.client.as_ref().map(ClientId::as_str);
    sqlx::query!(
        "INSERT INTO draft (id, owner_hash, service_id, client_id, answers, created_at, touched_at) VALUES (?, ?, ?, ?, ?, ?, ?)",
        id,
        owner_hash,
        service,
        client,
        draft.answers,
        now,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Keeps what was filled in.
///
/// # Errors
/// When the file can't be written.
pub async fn save(c: &mut Connection, draft: &Draft, now: OffsetDateTime) -> Stored<()> {
    let (id, now) = (draft.id.as_str(), now.unix_timestamp());
    sqlx::query!(
        "UPDATE draft SET details = ?, answers = ?, sections = ?, consent = ?, touched_at = ? WHERE id = ?",
        draft.details,
        draft.answers,
        draft.sections,
        draft.consent,
        now,
        id
    )
    .execute(c)
    .await?;
    Ok(())
}

/// It has become a booking; what was typed has gone into the records and goes from here.
///
/// # Errors
/// When the file can't be written, or it was one already.
pub async fn booked(c: &mut Connection, id: &DraftId, now: OffsetDateTime) -> Stored<()> {
    let (key, now) = (id.as_str(), now.unix_timestamp());
    let changed = sqlx::query!(
        "UPDATE draft SET state = 'booked', details = NULL, answers = '{}', sections = '[]', consent = NULL, touched_at = ?
         WHERE id = ? AND state = 'open'",
        now,
        key
    )
    .execute(c)
    .await?;
    if changed.rows_affected() == 1 { Ok(()) } else { Err(impossible("draft", "state", key)) }
}

/// Everything that one browser was filling in goes over to its new token, and to the client who has signed in there.
///
/// # Errors
/// When the file can't be written.
pub async fn hand_over(c: &mut Connection, old_hash: &str, new_hash: &str, client: &ClientId) -> Stored<()> {
    let client = client.as_str();
    sqlx::query!(
        "UPDATE draft SET owner_hash = ?, client_id = coalesce(client_id, ?) WHERE owner_hash = ? AND state = 'open'",
        new_hash,
        client,
        old_hash
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Deletes what nobody has touched since.
///
/// # Errors
/// When the file can't be written.
pub async fn sweep(c: &mut Connection, untouched_since: OffsetDateTime) -> Stored<u64> {
    let since = untouched_since.unix_timestamp();
    let gone = sqlx::query!("DELETE FROM draft WHERE touched_at < ?", since).execute(c).await?;
    Ok(gone.rows_affected())
}
