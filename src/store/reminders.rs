//! Who should be reminded of a visit, and of which visits clients were reminded.

use time::OffsetDateTime;

use super::types::read;
use super::{Connection, Stored};
use crate::domain::ids::{ClientId, VisitId};

/// A visit that somebody should be reminded of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Due {
    /// Which.
    pub visit: VisitId,
    /// Who comes.
    pub client: ClientId,
    /// When it begins, in Unix seconds.
    pub starts_at: i64,
    /// 1 for the first reminder, 2 for the second.
    pub place: i64,
}

/// The reminders that are due at `now` and were not written yet, by visit. Of a visit that was booked or moved after
/// its reminder would have been due there is none: the letter that told of it is as fresh.
///
/// # Errors
/// When the file can't be read.
pub async fn due(c: &mut Connection, now: OffsetDateTime, first_hours: i64, second_hours: i64) -> Stored<Vec<Due>> {
    let (now, first, second) = (now.unix_timestamp(), first_hours * 3600, second_hours * 3600);
    let rows = sqlx::query!(
        r#"SELECT v.id, v.client_id AS "client!", v.starts_at, p.place AS "place!: i64"
           FROM visit v JOIN (SELECT 1 AS place, ?2 AS ahead UNION ALL SELECT 2, ?3) p
           WHERE v.starts_at > ?1 AND v.starts_at <= ?1 + max(?2, ?3) AND v.state = 'booked' AND v.client_id IS NOT NULL
             AND p.ahead > 0 AND v.starts_at - p.ahead <= ?1 AND v.starts_at - p.ahead > v.changed_at
             AND NOT EXISTS (SELECT 1 FROM reminder r
                             WHERE r.visit_id = v.id AND r.starts_at = v.starts_at AND r.place = p.place)
           ORDER BY v.starts_at, v.id, p.place"#,
        now,
        first,
        second
    )
    .fetch_all(c)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(Due {
                visit: read("visit", "id", &row.id, VisitId::parse(&row.id))?,
                client: read("visit", "client_id", &row.id, ClientId::parse(&row.client))?,
                starts_at: row.starts_at,
                place: row.place,
            })
        })
        .collect()
}

/// Notes that a reminder was written. `false` when it was before.
///
/// # Errors
/// When the file can't be written.
pub async fn note(c: &mut Connection, due: &Due) -> Stored<bool> {
    let visit = due.visit.as_str();
    let done = sqlx::query!(
        "INSERT INTO reminder (visit_id, starts_at, place) VALUES (?, ?, ?) ON CONFLICT DO NOTHING",
        visit,
        due.starts_at,
        due.place
    )
    .execute(c)
    .await?;
    Ok(done.rows_affected() == 1)
}
