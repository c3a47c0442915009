//! What was decided before a treatment began.

use time::OffsetDateTime;

use crate::domain::ids::VisitId;
use crate::store::types::{instant, read};
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

const TABLE: &str = "visit_start";

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
    .fetch_optional(&mut *c)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let key = c.opener_of_visit(id).await?;
    Ok(Some(Start {
        verdict: key.text(TABLE, "verdict", id, &row.verdict)?,
        readiness: key.text(TABLE, "readiness", id, &row.readiness)?,
        reason: key.text(TABLE, "reason", id, &row.reason)?,
        started_by: row.started_by,
        started_at: instant(TABLE, "started_at", id, row.started_at)?,
    }))
}

/// Treatments that were begun before a moment and have no record yet, the oldest first.
///
/// # Errors
/// When the file can't be read.
pub async fn unwritten(c: &mut Connection, before: OffsetDateTime) -> Stored<Vec<VisitId>> {
    let before = before.unix_timestamp();
    let rows = sqlx::query_scalar!(
        "SELECT v.id FROM visit_start b JOIN visit v ON v.id = b.visit_id
         WHERE v.state = 'in_treatment' AND b.started_at < ? ORDER BY b.started_at, v.id",
        before
    );
    let rows = rows.fetch_all(c).await?;
    rows.into_iter().map(|id| read("visit_start", "visit_id", &id, VisitId::parse(&id))).collect()
}

/// Stores what was decided.
///
/// # Errors
/// When it was begun already, or the file can't be written.
pub async fn add_start(c: &mut Connection, visit: &VisitId, s: &Start) -> Stored<()> {
    let (id, at) = (visit.as_str(), s.started_at.unix_timestamp());
    let key = c.sealer_of_visit(id).await?;
    let verdict = key.text(TABLE, "verdict", id, &s.verdict)?;
    let readiness = key.text(TABLE, "readiness", id, &s.readiness)?;
    let reason = key.text(TABLE, "reason", id, &s.reason)?;
    sqlx::query!(
        "INSERT INTO visit_start (visit_id, verdict, readiness, reason, started_by, started_at) VALUES (?, ?, ?, ?, ?, ?)",
        id,
        verdict,
        readiness,
        reason,
        s.started_by,
        at
    )
    .execute(c)
    .await?;
    Ok(())
}
