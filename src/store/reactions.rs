//! Reaction reports and what was written to them.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};
use time::OffsetDateTime;

use super::types::{impossible, instant, read};
use super::{Connection, Stored};
use crate::domain::ids::{ClientId, ProductId, ReactionId, SkinTestId, VisitId};
use crate::domain::reaction::{Lasted, Level, Sign, State};

/// A report.
#[derive(Clone)]
pub struct Reaction {
    /// Its id.
    pub id: ReactionId,
    /// Whose.
    pub client: ClientId,
    /// At or after which visit.
    pub visit: Option<VisitId>,
    /// Of which skin test.
    pub skin_test: Option<SkinTestId>,
    /// Where it stands.
    pub state: State,
    /// How grave it is, as of the last entry.
    pub level: Level,
    /// When it began.
    pub began_at: OffsetDateTime,
    /// When it was reported.
    pub reported_at: OffsetDateTime,
    /// When to ask again.
    pub due_at: Option<OffsetDateTime>,
    /// Products with their batches: those it was written with, and those that the record of its visit names by now, or that
    /// were taken so far while there is none.
    pub products: Vec<(ProductId, String)>,
    /// What was written to it, oldest first.
    pub entries: Vec<Entry>,
}

/// Something that was written to a report.
#[derive(Clone)]
pub struct Entry {
    /// What it is.
    pub body: Body,
    /// By whom.
    pub written_by: String,
    /// When.
    pub written_at: OffsetDateTime,
}

/// What an entry holds.
#[derive(Clone, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Body {
    /// The report itself.
    Report {
        /// What was seen or felt.
        signs: BTreeSet<Sign>,
        /// How long it lasted, where somebody said.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        lasted: Option<Lasted>,
        /// How grave.
        level: Level,
        /// How long an eye was rinsed, in minutes.
        rinsed: Option<u16>,
        /// What was done at once, and advised.
        first_aid: String,
        /// Medical care that was sought, and what was said there.
        care: String,
        /// Anything else.
        note: String,
    },
    /// She was asked again.
    FollowUp {
        /// What is seen or felt now.
        signs: BTreeSet<Sign>,
        /// How grave.
        level: Level,
        /// Medical care that was sought, and what was said there.
        care: String,
        /// Anything else.
        note: String,
    },
    /// Somebody was told.
    Told {
        /// Who: supplier, insurer, doctor, authority.
        whom: String,
        /// Their reference.
        reference: String,
    },
    /// It is over.
    Settled {
        /// How it ended.
        outcome: String,
        /// What is done so that it doesn't happen again.
        corrective: String,
    },
    /// It is not over.
    Reopened {
        /// Why.
        why: String,
    },
}

/// Adds a report without its entries.
///
/// # Errors
/// When the file can't be written.
pub async fn insert(c: &mut Connection, r: &Reaction) -> Stored<()> {
    let (id, client, state, level) = (r.id.as_str(), r.client.as_str(), r.state.as_str(), r.level.as_str());
    let visit = r.visit.as_ref().map(VisitId::as_str);
    let test = r.skin_test.as_ref().map(SkinTestId::as_str);
    let (began, reported) = (r.began_at.unix_timestamp(), r.reported_at.unix_timestamp());
    let due = r.due_at.map(OffsetDateTime::unix_timestamp);
    sqlx::query!(
        "INSERT INTO reaction (id, client_id, visit_id, skin_test_id, state, level, began_at, reported_at, due_at)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        client,
        visit,
        test,
        state,
        level,
        began,
        reported,
        due
    )
    .execute(&mut *c)
    .await?;
    for (product, batch) in &r.products {
        let product = product.as_str();
        sqlx::query!(
            "INSERT INTO reaction_product (reaction_id, product_id, batch) VALUES (?, ?, ?) ON CONFLICT DO NOTHING",
            id,
            product,
            batch
        )
        .execute(&mut *c)
        .await?;
    }
    Ok(())
}

/// Adds an entry, and where the report stands after it.
///
/// # Errors
/// When the file can't be written.
pub async fn add(c: &mut Connection, r: &Reaction, entry: &Entry) -> Stored<()> {
    let (id, state, level) = (r.id.as_str(), r.state.as_str(), r.level.as_str());
    let due = r.due_at.map(OffsetDateTime::unix_timestamp);
    let row = sqlx::query_scalar!(r#"SELECT coalesce(max(id), 0) + 1 AS "next!: i64" FROM reaction_entry"#);
    let row = row.fetch_one(&mut *c).await?;
    let body = read("reaction_entry", "body", id, serde_json::to_string(&entry.body))?;
    let body = c.sealer(r.client.as_str()).await?.text("reaction_entry", "body", &row.to_string(), &body)?;
    let at = entry.written_at.unix_timestamp();
    sqlx::query!("UPDATE reaction SET state = ?, level = ?, due_at = ? WHERE id = ?", state, level, due, id)
        .execute(&mut *c)
        .await?;
    sqlx::query!(
        "INSERT INTO reaction_entry (id, reaction_id, body, written_by, written_at) VALUES (?, ?, ?, ?, ?)",
        row,
        id,
        body,
        entry.written_by,
        at
    )
    .execute(c)
    .await?;
    Ok(())
}

/// One report.
///
/// # Errors
/// When the file can't be read.
pub async fn get(c: &mut Connection, id: &ReactionId) -> Stored<Option<Reaction>> {
    const TABLE: &str = "reaction";
    let key = id.as_str();
    let row = sqlx::query!(
        "SELECT client_id, visit_id, skin_test_id, state, level, began_at, reported_at, due_at FROM reaction WHERE id = ?",
        key
    )
    .fetch_optional(&mut *c)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let products = sqlx::query!(
        r#"SELECT product_id AS "product_id!: String", batch AS "batch!: String" FROM reaction_product WHERE reaction_id = ?1
           UNION
           SELECT p.product_id, p.batch FROM reaction r JOIN treatment t ON t.visit_id = r.visit_id
           JOIN treatment_product p ON p.treatment_id = t.id
               AND p.version = (SELECT max(version) FROM treatment_version WHERE treatment_id = t.id)
           WHERE r.id = ?1
           UNION
           SELECT b.product_id, b.number FROM reaction r JOIN chair_batch b ON b.visit_id = r.visit_id
           WHERE r.id = ?1 AND NOT EXISTS (SELECT 1 FROM treatment t WHERE t.visit_id = r.visit_id)
           ORDER BY 1, 2"#,
        key
    )
    .fetch_all(&mut *c)
    .await?;
    let entries = sqlx::query!(
        "SELECT id, body, written_by, written_at FROM reaction_entry WHERE reaction_id = ? ORDER BY id",
        key
    )
    .fetch_all(&mut *c)
    .await?;
    let opener = c.opener(&row.client_id).await?;
    let entries = entries.into_iter().map(|entry| {
        let body = opener.text("reaction_entry", "body", &entry.id.to_string(), &entry.body)?;
        Ok(Entry {
            body: read("reaction_entry", "body", key, serde_json::from_str(&body))?,
            written_by: entry.written_by,
            written_at: instant("reaction_entry", "written_at", key, entry.written_at)?,
        })
    });
    let products = products.into_iter().map(|product| {
        Ok((read("reaction_product", "product_id", key, ProductId::parse(&product.product_id))?, product.batch))
    });
    Ok(Some(Reaction {
        id: id.clone(),
        client: read(TABLE, "client_id", key, ClientId::parse(&row.client_id))?,
        visit: row.visit_id.map(|text| read(TABLE, "visit_id", key, VisitId::parse(&text))).transpose()?,
        skin_test: row
            .skin_test_id
            .map(|text| read(TABLE, "skin_test_id", key, SkinTestId::parse(&text)))
            .transpose()?,
        state: State::parse(&row.state).ok_or_else(|| impossible(TABLE, "state", key))?,
        level: Level::parse(&row.level).ok_or_else(|| impossible(TABLE, "level", key))?,
        began_at: instant(TABLE, "began_at", key, row.began_at)?,
        reported_at: instant(TABLE, "reported_at", key, row.reported_at)?,
        due_at: row.due_at.map(|at| instant(TABLE, "due_at", key, at)).transpose()?,
        products: products.collect::<Stored<_>>()?,
        entries: entries.collect::<Stored<_>>()?,
    }))
}

async fn all(c: &mut Connection, ids: Vec<String>) -> Stored<Vec<Reaction>> {
    let mut found = Vec::with_capacity(ids.len());
    for id in ids {
        found.extend(get(c, &read("reaction", "id", &id, ReactionId::parse(&id))?).await?);
    }
    Ok(found)
}

/// All reports of a client, newest first.
///
/// # Errors
/// When the file can't be read.
pub async fn of_client(c: &mut Connection, client: &ClientId) -> Stored<Vec<Reaction>> {
    let key = client.as_str();
    let ids =
        sqlx::query_scalar!("SELECT id FROM reaction WHERE client_id = ? ORDER BY reported_at DESC, rowid DESC", key)
            .fetch_all(&mut *c)
            .await?;
    all(c, ids).await
}

/// The report of a skin test, if there is one.
///
/// # Errors
/// When the file can't be read.
pub async fn of_skin_test(c: &mut Connection, test: &SkinTestId) -> Stored<Option<Reaction>> {
    let key = test.as_str();
    let ids = sqlx::query_scalar!("SELECT id FROM reaction WHERE skin_test_id = ?", key).fetch_all(&mut *c).await?;
    Ok(all(c, ids).await?.into_iter().next())
}

/// A report on which somebody should ask again.
#[derive(Debug, Clone)]
pub struct Due {
    /// Its id.
    pub id: ReactionId,
    /// Whose.
    pub client: ClientId,
    /// By when.
    pub at: OffsetDateTime,
}

/// The open reports on which somebody should ask again by then, the longest due first.
///
/// # Errors
/// When the file can't be read.
pub async fn due(c: &mut Connection, by: OffsetDateTime) -> Stored<Vec<Due>> {
    const TABLE: &str = "reaction";
    let by = by.unix_timestamp();
    let rows = sqlx::query!(
        r#"SELECT id, client_id, due_at AS "due_at!" FROM reaction WHERE due_at <= ? ORDER BY due_at, id"#,
        by
    );
    let rows = rows.fetch_all(c).await?;
    rows.into_iter()
        .map(|row| {
            Ok(Due {
                id: read(TABLE, "id", &row.id, ReactionId::parse(&row.id))?,
                client: read(TABLE, "client_id", &row.id, ClientId::parse(&row.client_id))?,
                at: instant(TABLE, "due_at", &row.id, row.due_at)?,
            })
        })
        .collect()
}
