//! Parents and guardians who were there.

use time::OffsetDateTime;

use super::types::instant;
use super::{Connection, Stored};
use crate::domain::ids::VisitId;

/// A parent or guardian who was there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Present {
    /// The name.
    pub name: String,
    /// Who noted it.
    pub noted_by: String,
    /// When.
    pub noted_at: OffsetDateTime,
}

/// Who was there at a visit.
///
/// # Errors
/// When the file can't be read.
pub async fn of_visit(c: &mut Connection, visit: &VisitId) -> Stored<Option<Present>> {
    let id = visit.as_str();
    let row = sqlx::query!("SELECT name, noted_by, noted_at FROM visit_guardian WHERE visit_id = ?", id)
        .fetch_optional(c)
        .await?;
    row.map(|row| {
        let noted_at = instant("visit_guardian", "noted_at", id, row.noted_at)?;
        Ok(Present { name: row.name, noted_by: row.noted_by, noted_at })
    })
    .transpose()
}

/// Notes who is there. The first note stands.
///
/// # Errors
/// When the file can't be written.
pub async fn note(c: &mut Connection, visit: &VisitId, present: &Present) -> Stored<()> {
    let (id, at) = (visit.as_str(), present.noted_at.unix_timestamp());
    sqlx::query!(
        "INSERT INTO visit_guardian (visit_id, name, noted_by, noted_at) VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING",
        id,
        present.name,
        present.noted_by,
        at
    )
    .execute(c)
    .await?;
    Ok(())
}
