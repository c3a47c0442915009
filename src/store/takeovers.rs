//! Files that are being taken over, and the visits from before that came in them.

use time::OffsetDateTime;

use super::drafts::{key_of, key_of_day};
use super::types::{day_text, impossible, instant, read};
use super::{Connection, Stored};
use crate::domain::ids::{ClientId, PastVisitId, ProductId, ServiceId, TakeoverId};
use crate::domain::skin_test::TestResult;
use crate::domain::takeover::{DayOrder, Mapping, PastVisit};

/// How a file is to be read; what is empty is guessed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reading {
    /// The word for how letters are written.
    pub charset: String,
    /// The word for what stands between cells.
    pub separator: String,
    /// Which of day and month comes first.
    pub order: DayOrder,
    /// What each column holds; nothing until somebody chose.
    pub mapping: Option<Mapping>,
}

/// A file without its bytes.
#[derive(Debug, Clone)]
pub struct Takeover {
    /// Its id.
    pub id: TakeoverId,
    /// How it is read.
    pub reading: Reading,
    /// Who sent it.
    pub added_by: String,
    /// When.
    pub added_at: OffsetDateTime,
    /// What came of it, as JSON, once it was taken over.
    pub report: Option<String>,
}

const DAY_ORDERS: [(DayOrder, &str); 2] = [(DayOrder::DayFirst, "day_first"), (DayOrder::MonthFirst, "month_first")];

/// Keeps a file that came.
///
/// # Errors
/// When the file can't be written.
pub async fn insert(c: &mut Connection, id: &TakeoverId, body: &[u8], by: &str, now: OffsetDateTime) -> Stored<()> {
    let (id, (day, who), now) = (id.as_str(), key_of(now), now.unix_timestamp());
    let body = c.sealer(&who).await?.bytes("takeover", "body", id, body)?;
    sqlx::query!(
        "INSERT INTO takeover (id, body, key_day, added_by, added_at) VALUES (?, ?, ?, ?, ?)",
        id,
        body,
        day,
        by,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// A file.
///
/// # Errors
/// When the file can't be read.
pub async fn get(c: &mut Connection, id: &TakeoverId) -> Stored<Option<Takeover>> {
    let key = id.as_str();
    let row = sqlx::query!(
        "SELECT charset, separator, day_order, mapping, report, added_by, added_at, done_at FROM takeover WHERE id = ?",
        key
    )
    .fetch_optional(c)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let order = DAY_ORDERS.into_iter().find(|(_, word)| *word == row.day_order);
    let mapping = if row.mapping.is_empty() {
        None
    } else {
        Some(read("takeover", "mapping", key, serde_json::from_str(&row.mapping))?)
    };
    Ok(Some(Takeover {
        id: id.clone(),
        reading: Reading {
            charset: row.charset,
            separator: row.separator,
            order: order.ok_or_else(|| impossible("takeover", "day_order", key))?.0,
            mapping,
        },
        added_by: row.added_by,
        added_at: instant("takeover", "added_at", key, row.added_at)?,
        report: row.done_at.map(|_| row.report),
    }))
}

/// Its bytes; none once it was taken over.
///
/// # Errors
/// When there is no such file, or the file can't be read.
pub async fn body(c: &mut Connection, id: &TakeoverId) -> Stored<Vec<u8>> {
    let id = id.as_str();
    let row = sqlx::query!("SELECT body, key_day FROM takeover WHERE id = ?", id).fetch_one(&mut *c).await?;
    if row.key_day.is_empty() {
        return Ok(Vec::new());
    }
    c.opener(&key_of_day(&row.key_day)).await?.bytes("takeover", "body", id, &row.body)
}

/// How it is to be read from now on.
///
/// # Errors
/// When the file can't be written.
pub async fn set_reading(c: &mut Connection, id: &TakeoverId, reading: &Reading) -> Stored<()> {
    let key = id.as_str();
    let order = DAY_ORDERS.into_iter().find(|(order, _)| *order == reading.order).map_or("day_first", |(_, word)| word);
    let mapping = match &reading.mapping {
        Some(mapping) => serde_json::to_string(mapping).map_err(|_| impossible("takeover", "mapping", key))?,
        None => String::new(),
    };
    sqlx::query!(
        "UPDATE takeover SET charset = ?, separator = ?, day_order = ?, mapping = ? WHERE id = ? AND done_at IS NULL",
        reading.charset,
        reading.separator,
        order,
        mapping,
        key
    )
    .execute(c)
    .await?;
    Ok(())
}

/// It was taken over: what came of it stays, its bytes go.
///
/// # Errors
/// When the file can't be written.
pub async fn finish(c: &mut Connection, id: &TakeoverId, report: &str, now: OffsetDateTime) -> Stored<()> {
    let (id, now) = (id.as_str(), now.unix_timestamp());
    sqlx::query!("UPDATE takeover SET body = x'', key_day = '', report = ?, done_at = ? WHERE id = ?", report, now, id)
        .execute(c)
        .await?;
    Ok(())
}

/// Removes files that came before a moment and were never taken over.
///
/// # Errors
/// When the file can't be written.
pub async fn sweep(c: &mut Connection, before: OffsetDateTime) -> Stored<()> {
    let before = before.unix_timestamp();
    sqlx::query!("DELETE FROM takeover WHERE done_at IS NULL AND added_at < ?", before).execute(c).await?;
    Ok(())
}

/// Adds a visit from before. `starts_at` is noon of its day.
///
/// # Errors
/// When the file can't be written.
pub async fn add_visit(
    c: &mut Connection,
    id: &PastVisitId,
    client: &ClientId,
    visit: &PastVisit,
    starts_at: OffsetDateTime,
    now: OffsetDateTime,
) -> Stored<()> {
    let (id, client, service, day) = (id.as_str(), client.as_str(), visit.service.as_str(), day_text(visit.on));
    let (starts_at, now) = (starts_at.unix_timestamp(), now.unix_timestamp());
    let note = c.sealer(client).await?.text("past_visit", "note", id, &visit.note)?;
    sqlx::query!(
        "INSERT INTO past_visit (id, client_id, service_id, day, starts_at, note, taken_at) VALUES (?, ?, ?, ?, ?, ?, ?)",
        id,
        client,
        service,
        day,
        starts_at,
        note,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// A visit from before, as it is kept.
#[derive(Debug, Clone)]
pub struct StoredPast {
    /// Its id.
    pub id: PastVisitId,
    /// What was told.
    pub visit: PastVisit,
    /// When it was taken over.
    pub taken_at: OffsetDateTime,
}

/// The visits from before of a client, newest first.
///
/// # Errors
/// When the file can't be read.
pub async fn visits_of(c: &mut Connection, client: &ClientId) -> Stored<Vec<StoredPast>> {
    let she = client.as_str();
    let key = c.opener(she).await?;
    let rows = sqlx::query!(
        "SELECT id, service_id, day, note, taken_at FROM past_visit WHERE client_id = ? ORDER BY day DESC, id",
        she
    )
    .fetch_all(c)
    .await?;
    rows.into_iter()
        .map(|row| {
            let visit = PastVisit {
                service: read("past_visit", "service_id", &row.id, ServiceId::parse(&row.service_id))?,
                on: super::types::day("past_visit", "day", &row.id, &row.day)?,
                note: key.text("past_visit", "note", &row.id, &row.note)?,
            };
            let taken_at = instant("past_visit", "taken_at", &row.id, row.taken_at)?;
            Ok(StoredPast { id: read("past_visit", "id", &row.id, PastVisitId::parse(&row.id))?, visit, taken_at })
        })
        .collect()
}

/// Every skin test with each thing that was seen of it, of everybody.
///
/// # Errors
/// When the file can't be read.
pub async fn tests(c: &mut Connection) -> Stored<Vec<(ClientId, ProductId, OffsetDateTime, Option<TestResult>)>> {
    let rows = sqlx::query!(
        r#"SELECT t.id, t.client_id, t.product_id, t.applied_at, r.result AS "result?"
           FROM skin_test t LEFT JOIN skin_test_reading r ON r.skin_test_id = t.id"#
    )
    .fetch_all(c)
    .await?;
    rows.into_iter()
        .map(|row| {
            let id = &row.id;
            let result = match row.result {
                Some(word) => {
                    Some(TestResult::parse(&word).ok_or_else(|| impossible("skin_test_reading", "result", id))?)
                }
                None => None,
            };
            Ok((
                read("skin_test", "client_id", id, ClientId::parse(&row.client_id))?,
                read("skin_test", "product_id", id, ProductId::parse(&row.product_id))?,
                instant("skin_test", "applied_at", id, row.applied_at)?,
                result,
            ))
        })
        .collect()
}
