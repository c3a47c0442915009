//! Skin tests and the looks at them.

use serde::{Deserialize, Serialize};
use time::OffsetDateTime;

use super::types::{impossible, instant, read};
use super::{Connection, Stored};
use crate::domain::ids::{ClientId, PractitionerId, ProductId, SkinTestId, VisitId};
use crate::domain::skin_test::{ReadBy, Reading, SkinTest, TestResult, VoidCause};

/// Why a test that failed no longer counts, as somebody wrote it. It is kept with the cause, as one sealed text.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Voiding {
    cause: VoidCause,
    /// Why.
    pub why: String,
    /// By whom.
    pub by: String,
    /// When.
    #[serde(with = "time::serde::timestamp")]
    pub at: OffsetDateTime,
}

/// Reads what stands where a test no longer counts: the cause's word, or all of it.
pub(super) fn read_voided(text: &str, id: &str) -> Stored<(VoidCause, Option<Voiding>)> {
    match VoidCause::parse(text) {
        Some(cause) => Ok((cause, None)),
        None => {
            let voiding: Voiding = read("skin_test", "voided", id, serde_json::from_str(text))?;
            Ok((voiding.cause, Some(voiding)))
        }
    }
}

/// A skin test with what the record holds beside the rule's part.
#[derive(Debug, Clone)]
pub struct StoredTest {
    /// The rule's part.
    pub test: SkinTest,
    /// Whose.
    pub client: ClientId,
    /// At which visit.
    pub visit: Option<VisitId>,
    /// Who applied it.
    pub practitioner: Option<PractitionerId>,
    /// The batch.
    pub batch: String,
    /// Where on the skin.
    pub site: String,
    /// Why it no longer counts, where it failed and somebody let it.
    pub voiding: Option<Voiding>,
    /// Each reading's note and reader, in the order of `test.readings`.
    pub notes: Vec<(String, String)>,
}

/// All skin tests of a client, newest first, each with its readings in order.
///
/// # Errors
/// When the file can't be read.
pub async fn of_client(c: &mut Connection, client: &ClientId) -> Stored<Vec<StoredTest>> {
    let she = client.as_str();
    let key = c.opener(she).await?;
    let rows = sqlx::query!(
        "SELECT id, product_id, visit_id, practitioner_id, batch, site, reliable, voided, applied_at FROM skin_test
         WHERE client_id = ? ORDER BY applied_at DESC, rowid DESC",
        she
    )
    .fetch_all(&mut *c)
    .await?;
    let readings = sqlx::query!(
        "SELECT r.id, r.skin_test_id, r.result, r.note, r.read_by, r.read_at FROM skin_test_reading r JOIN skin_test t ON t.id = r.skin_test_id
         WHERE t.client_id = ? ORDER BY r.read_at, r.id",
        she
    )
    .fetch_all(c)
    .await?;
    let mut tests = Vec::with_capacity(rows.len());
    for row in rows {
        let id = &row.id;
        let (mut looks, mut notes) = (Vec::new(), Vec::new());
        for reading in readings.iter().filter(|reading| reading.skin_test_id == *id) {
            let result =
                TestResult::parse(&reading.result).ok_or_else(|| impossible("skin_test_reading", "result", id))?;
            let by = if reading.read_by == "client" { ReadBy::Client } else { ReadBy::Practitioner };
            looks.push(Reading { at: instant("skin_test_reading", "read_at", id, reading.read_at)?, result, by });
            let note = key.text("skin_test_reading", "note", &reading.id.to_string(), &reading.note)?;
            notes.push((note, reading.read_by.clone()));
        }
        let (voided, voiding) = match &row.voided {
            Some(word) => {
                let (cause, voiding) = read_voided(&key.text("skin_test", "voided", id, word)?, id)?;
                (Some(cause), voiding)
            }
            None => (None, None),
        };
        let test = SkinTest {
            id: read("skin_test", "id", id, SkinTestId::parse(id))?,
            product: read("skin_test", "product_id", id, ProductId::parse(&row.product_id))?,
            applied_at: instant("skin_test", "applied_at", id, row.applied_at)?,
            reliable: row.reliable == 1,
            voided,
            readings: looks,
        };
        tests.push(StoredTest {
            test,
            client: client.clone(),
            visit: row.visit_id.map(|text| read("skin_test", "visit_id", id, VisitId::parse(&text))).transpose()?,
            practitioner: row
                .practitioner_id
                .map(|text| read("skin_test", "practitioner_id", id, PractitionerId::parse(&text)))
                .transpose()?,
            batch: row.batch,
            site: key.text("skin_test", "site", id, &row.site)?,
            voiding,
            notes,
        });
    }
    Ok(tests)
}

/// Whose skin test this is.
///
/// # Errors
/// When the file can't be read.
pub async fn client_of(c: &mut Connection, id: &SkinTestId) -> Stored<Option<ClientId>> {
    let id = id.as_str();
    let row = sqlx::query_scalar!("SELECT client_id FROM skin_test WHERE id = ?", id).fetch_optional(c).await?;
    row.map(|text| read("skin_test", "client_id", id, ClientId::parse(&text))).transpose()
}

/// Adds a skin test that was applied.
///
/// # Errors
/// When the file can't be written.
pub async fn insert(c: &mut Connection, t: &StoredTest, now: OffsetDateTime) -> Stored<()> {
    let (id, client, product) = (t.test.id.as_str(), t.client.as_str(), t.test.product.as_str());
    let (visit, practitioner) =
        (t.visit.as_ref().map(VisitId::as_str), t.practitioner.as_ref().map(PractitionerId::as_str));
    let (applied, now) = (t.test.applied_at.unix_timestamp(), now.unix_timestamp());
    let site = c.sealer(client).await?.text("skin_test", "site", id, &t.site)?;
    sqlx::query!(
        "INSERT INTO skin_test (id, client_id, product_id, visit_id, practitioner_id, batch, site, reliable, applied_at, recorded_at)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        client,
        product,
        visit,
        practitioner,
        t.batch,
        site,
        t.test.reliable,
        applied,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Adds a look at a skin test. `read_by` is the name of whoever looked, or `client`.
///
/// # Errors
/// When the file can't be written.
pub async fn add_reading(
    c: &mut Connection,
    id: &SkinTestId,
    reading: &Reading,
    note: &str,
    read_by: &str,
    now: OffsetDateTime,
) -> Stored<()> {
    let (id, result) = (id.as_str(), reading.result.as_str());
    let (at, now) = (reading.at.unix_timestamp(), now.unix_timestamp());
    let client = sqlx::query_scalar!("SELECT client_id FROM skin_test WHERE id = ?", id).fetch_one(&mut *c).await?;
    let row = sqlx::query_scalar!(r#"SELECT coalesce(max(id), 0) + 1 AS "next!: i64" FROM skin_test_reading"#);
    let row = row.fetch_one(&mut *c).await?;
    let note = c.sealer(&client).await?.text("skin_test_reading", "note", &row.to_string(), note)?;
    sqlx::query!(
        "INSERT INTO skin_test_reading (id, skin_test_id, result, note, read_by, read_at, recorded_at) VALUES (?, ?, ?, ?, ?, ?, ?)",
        row,
        id,
        result,
        note,
        read_by,
        at,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Stores the link of a mail with which a client reports on a test.
///
/// # Errors
/// When the file can't be written.
pub async fn add_link(
    c: &mut Connection,
    token_hash: &str,
    id: &SkinTestId,
    now: OffsetDateTime,
    until: OffsetDateTime,
) -> Stored<()> {
    let (id, now, until) = (id.as_str(), now.unix_timestamp(), until.unix_timestamp());
    sqlx::query!("DELETE FROM skin_test_link WHERE expires_at <= ?", now).execute(&mut *c).await?;
    sqlx::query!(
        "INSERT INTO skin_test_link (token_hash, skin_test_id, created_at, expires_at) VALUES (?, ?, ?, ?)",
        token_hash,
        id,
        now,
        until
    )
    .execute(c)
    .await?;
    Ok(())
}

/// The test that a link is about, while the link works.
///
/// # Errors
/// When the file can't be read.
pub async fn by_link(c: &mut Connection, token_hash: &str, now: OffsetDateTime) -> Stored<Option<SkinTestId>> {
    let now = now.unix_timestamp();
    let row = sqlx::query_scalar!(
        "SELECT skin_test_id FROM skin_test_link WHERE token_hash = ? AND expires_at > ?",
        token_hash,
        now
    )
    .fetch_optional(c)
    .await?;
    row.map(|id| read("skin_test_link", "skin_test_id", &id, SkinTestId::parse(&id))).transpose()
}

/// A test no longer counts. `false` when it didn't before.
///
/// # Errors
/// When the file can't be written.
pub async fn void(c: &mut Connection, id: &SkinTestId, cause: VoidCause) -> Stored<bool> {
    void_as(c, id, cause.as_str()).await
}

/// The same with why, by whom and when, since a reaction was seen.
///
/// # Errors
/// When the file can't be written.
pub async fn void_failed(
    c: &mut Connection,
    id: &SkinTestId,
    cause: VoidCause,
    (why, by): (&str, &str),
    at: OffsetDateTime,
) -> Stored<bool> {
    let voiding = Voiding { cause, why: why.to_owned(), by: by.to_owned(), at };
    void_as(c, id, &read("skin_test", "voided", id.as_str(), serde_json::to_string(&voiding))?).await
}

async fn void_as(c: &mut Connection, id: &SkinTestId, text: &str) -> Stored<bool> {
    let id = id.as_str();
    let client = sqlx::query_scalar!("SELECT client_id FROM skin_test WHERE id = ? AND voided IS NULL", id);
    let Some(client) = client.fetch_optional(&mut *c).await? else { return Ok(false) };
    let cause = c.sealer(&client).await?.text("skin_test", "voided", id, text)?;
    sqlx::query!("UPDATE skin_test SET voided = ? WHERE id = ?", cause, id).execute(c).await?;
    Ok(true)
}

/// The tests of a product that no event has voided, with whose they are.
///
/// # Errors
/// When the file can't be read.
pub async fn counting_of_product(c: &mut Connection, id: &ProductId) -> Stored<Vec<(SkinTestId, ClientId)>> {
    let id = id.as_str();
    let rows = sqlx::query!("SELECT id, client_id FROM skin_test WHERE product_id = ? AND voided IS NULL", id)
        .fetch_all(c)
        .await?;
    rows.into_iter()
        .map(|row| {
            let test = read("skin_test", "id", &row.id, SkinTestId::parse(&row.id))?;
            Ok((test, read("skin_test", "client_id", &row.id, ClientId::parse(&row.client_id))?))
        })
        .collect()
}
