//! What was decided before a treatment began.

use time::OffsetDateTime;

use crate::domain::ids::VisitId;
use crate::store::types::instant;
use crate::store::{Connection, Stored};

/// What was decided before a treatment began.
#[derive(Debug, Clone)]
pub struct Start {
    /// The verdict's word.
    pub verdict: String,
    /// The whole verdict with its reasons, as JSON.
    pub readiness: String,
    /// Why it was begun against it, or nothing.
    pub reason: String,
    /// Who began.
    pub started_by: String,
    /// When.
    pub started_at: OffsetDateTime,
}

/// What was decided before this visit's treatment.
///
/// # Errors
/// When the file can't be read.
pub async fn start(c: &mut Connection, visit: &VisitId) -> Stored<Option<Start>> {
    let id = visit.as_str();
    let row = sqlx::query!(
        "SELECT verdict, readiness, reason, started_by, started_at FROM visit_start WHERE visit_id = ?",
        id
    )
    .fetch_optional(c)
    .await?;
    row.map(|row| {
        Ok(Start {
            verdict: row.verdict,
            readiness: row.readiness,
            reason: row.reason,
            started_by: row.started_by,
            started_at: instant("visit_start", "started_at", id, row.started_at)?,
        })
    })
    .transpose()
}

/// Stores what was decided.
///
/// # Errors
/// When it was begun already, or the file can't be written.
pub async fn add_start(c: &mut Connection, visit: &VisitId, s: &Start) -> Stored<()> {
    let (id, at) = (visit.as_str(), s.started_at.unix_timestamp());
    sqlx::query!(
        "INSERT INTO visit_start (visit_id, verdict, readiness, reason, started_by, started_at) VALUES (?, ?, ?, ?, ?, ?)",
        id,
        s.verdict,
        s.readiness,
        s.reason,
        s.started_by,
        at
    )
    .execute(c)
    .await?;
    Ok(())
}
