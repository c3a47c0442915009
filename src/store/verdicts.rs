//! What the rules said of booked visits.

use time::OffsetDateTime;

use super::types::{instant, read};
use super::{Connection, Stored};
use crate::domain::ids::VisitId;
use crate::domain::readiness::Readiness;

/// What the rules said of a booked visit.
#[derive(Debug, Clone)]
pub struct Judged {
    /// When it was booked, or first looked at.
    pub booked: Readiness,
    /// When it was judged last with another outcome than before.
    pub latest: Readiness,
    /// When that was.
    pub judged_at: OffsetDateTime,
    /// Since when it stands worse than it was booked.
    pub changed_at: Option<OffsetDateTime>,
}

/// What was said of a visit.
///
/// # Errors
/// When the file can't be read.
pub async fn of_visit(c: &mut Connection, visit: &VisitId) -> Stored<Option<Judged>> {
    let id = visit.as_str();
    let row = sqlx::query!("SELECT booked, latest, judged_at, changed_at FROM visit_verdict WHERE visit_id = ?", id);
    let Some(row) = row.fetch_optional(&mut *c).await? else { return Ok(None) };
    let key = c.opener_of_visit(id).await?;
    let opened = |column, sealed: &str| {
        let text = key.text("visit_verdict", column, id, sealed)?;
        read("visit_verdict", column, id, serde_json::from_str(&text))
    };
    let changed_at = row.changed_at.map(|at| instant("visit_verdict", "changed_at", id, at));
    Ok(Some(Judged {
        booked: opened("booked", &row.booked)?,
        latest: opened("latest", &row.latest)?,
        judged_at: instant("visit_verdict", "judged_at", id, row.judged_at)?,
        changed_at: changed_at.transpose()?,
    }))
}

/// Whether a visit stands worse than it was booked.
///
/// # Errors
/// When the file can't be read.
pub async fn stands_worse(c: &mut Connection, visit: &VisitId) -> Stored<bool> {
    let id = visit.as_str();
    let row = sqlx::query_scalar!("SELECT changed_at FROM visit_verdict WHERE visit_id = ?", id);
    Ok(row.fetch_optional(c).await?.flatten().is_some())
}

/// Keeps what was said in place of what was kept before.
///
/// # Errors
/// When the file can't be written.
pub async fn keep(c: &mut Connection, visit: &VisitId, judged: &Judged) -> Stored<()> {
    let id = visit.as_str();
    let key = c.sealer_of_visit(id).await?;
    let sealed = |column, said: &Readiness| {
        let text = read("visit_verdict", column, id, serde_json::to_string(said))?;
        key.text("visit_verdict", column, id, &text)
    };
    let (booked, latest) = (sealed("booked", &judged.booked)?, sealed("latest", &judged.latest)?);
    let (at, changed) = (judged.judged_at.unix_timestamp(), judged.changed_at.map(OffsetDateTime::unix_timestamp));
    sqlx::query!(
        "INSERT INTO visit_verdict (visit_id, booked, latest, judged_at, changed_at) VALUES (?1, ?2, ?3, ?4, ?5)
         ON CONFLICT (visit_id) DO UPDATE SET booked = ?2, latest = ?3, judged_at = ?4, changed_at = ?5",
        id,
        booked,
        latest,
        at,
        changed
    )
    .execute(c)
    .await?;
    Ok(())
}

/// The booked treatments that are still to come, and whose.
///
/// # Errors
/// When the file can't be read.
pub async fn to_watch(c: &mut Connection, now: OffsetDateTime) -> Stored<Vec<VisitId>> {
    let now = now.unix_timestamp();
    let rows = sqlx::query_scalar!(
        "SELECT id FROM visit WHERE state = 'booked' AND purpose = 'treatment' AND starts_at > ? ORDER BY starts_at, id",
        now
    );
    let rows = rows.fetch_all(c).await?;
    rows.iter().map(|id| read("visit", "id", id, VisitId::parse(id))).collect()
}
