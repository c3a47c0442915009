//! What did clients harm: treatments that ended with a reaction, reports from moderate on, and skin tests that failed.

use std::collections::HashSet;

use time::OffsetDateTime;

use super::retouch::as_json;
use super::skin_tests::read_voided;
use super::types::{instant, read};
use super::{Connection, Stored, readable};
use crate::domain::ids::{ClientId, ProductId, VisitId};
use crate::domain::reaction::Level;
use crate::domain::skin_test::{TestResult, VoidCause};

/// A product that did a client harm.
#[derive(Clone)]
pub struct Harm {
    /// Whom.
    pub client: ClientId,
    /// What.
    pub product: ProductId,
    /// When it began.
    pub at: OffsetDateTime,
    /// At which visit, where it was in a treatment.
    pub visit: Option<VisitId>,
    /// Whether it was in a skin test.
    pub in_test: bool,
}

fn grave() -> String {
    as_json(Level::ALL.into_iter().filter(|level| level.blocks_products()).map(Level::as_str))
}

/// What did these clients harm. A report speaks of the products it was written with, and of those that the record of its
/// visit names by now, or that were taken so far while there is none. A skin test that was recorded by mistake says nothing.
///
/// # Errors
/// When the file can't be read.
pub async fn of(c: &mut Connection, clients: &[&ClientId]) -> Stored<Vec<Harm>> {
    let (ids, grave) = (as_json(clients.iter().map(|id| id.as_str())), grave());
    let rows = sqlx::query!(
        r#"WITH record AS (
               SELECT t.client_id, t.visit_id, x.started_at, x.outcome, p.product_id FROM treatment t
               JOIN treatment_version x ON x.treatment_id = t.id
                   AND x.version = (SELECT max(version) FROM treatment_version WHERE treatment_id = t.id)
               JOIN treatment_product p ON p.treatment_id = t.id AND p.version = x.version
               WHERE t.client_id IN (SELECT value FROM json_each(?1))
           ), report AS (
               SELECT id, client_id, visit_id, began_at FROM reaction
               WHERE client_id IN (SELECT value FROM json_each(?1)) AND skin_test_id IS NULL
                   AND level IN (SELECT value FROM json_each(?2))
           )
           SELECT client_id AS "client_id!: String", product_id AS "product_id!: String", started_at AS "at!: i64",
                  visit_id AS "visit_id: String"
           FROM record WHERE outcome = 'reaction'
           UNION
           SELECT r.client_id, p.product_id, r.began_at, r.visit_id FROM report r JOIN reaction_product p ON p.reaction_id = r.id
           UNION
           SELECT r.client_id, d.product_id, r.began_at, r.visit_id FROM report r JOIN record d ON d.visit_id = r.visit_id
           UNION
           SELECT r.client_id, b.product_id, r.began_at, r.visit_id FROM report r JOIN chair_batch b ON b.visit_id = r.visit_id
           WHERE NOT EXISTS (SELECT 1 FROM treatment t WHERE t.visit_id = r.visit_id)"#,
        ids,
        grave
    )
    .fetch_all(&mut *c)
    .await?;
    let mut found = Vec::with_capacity(rows.len());
    for row in rows {
        let id = &row.client_id;
        found.push(Harm {
            client: read("reaction", "client_id", id, ClientId::parse(id))?,
            product: read("reaction_product", "product_id", id, ProductId::parse(&row.product_id))?,
            at: instant("reaction", "began_at", id, row.at)?,
            visit: row.visit_id.map(|text| read("reaction", "visit_id", id, VisitId::parse(&text))).transpose()?,
            in_test: false,
        });
    }
    found.extend(failed_tests(c, &ids).await?);
    Ok(found)
}

async fn failed_tests(c: &mut Connection, ids: &str) -> Stored<Vec<Harm>> {
    let failing = as_json(TestResult::ALL.into_iter().filter(|result| result.fails()).map(TestResult::as_str));
    let rows = sqlx::query!(
        r#"SELECT s.id AS "id!: String", s.client_id AS "client_id!: String", s.product_id AS "product_id!: String",
                  s.voided AS "voided: String", min(r.read_at) AS "at!: i64"
           FROM skin_test s JOIN skin_test_reading r ON r.skin_test_id = s.id
           WHERE s.client_id IN (SELECT value FROM json_each(?1)) AND r.result IN (SELECT value FROM json_each(?2))
           GROUP BY s.id"#,
        ids,
        failing
    )
    .fetch_all(&mut *c)
    .await?;
    let mut found = Vec::with_capacity(rows.len());
    for row in rows {
        let id = &row.id;
        if let Some(word) = &row.voided {
            // Where nobody can read why it no longer counts, it goes on blocking.
            let word = match readable(c.opener(&row.client_id).await)? {
                Ok(key) => readable(key.text("skin_test", "voided", id, word))?.ok(),
                Err(_) => None,
            };
            let cause = word.map(|word| read_voided(&word, id)).transpose()?;
            if cause.is_some_and(|(cause, _)| cause == VoidCause::Mistake) {
                continue;
            }
        }
        found.push(Harm {
            client: read("skin_test", "client_id", id, ClientId::parse(&row.client_id))?,
            product: read("skin_test", "product_id", id, ProductId::parse(&row.product_id))?,
            at: instant("skin_test_reading", "read_at", id, row.at)?,
            visit: None,
            in_test: true,
        });
    }
    Ok(found)
}

/// Which of these clients have a report, from moderate on, that is not settled.
///
/// # Errors
/// When the file can't be read.
pub async fn unsettled(c: &mut Connection, clients: &[&ClientId]) -> Stored<HashSet<ClientId>> {
    let (ids, grave) = (as_json(clients.iter().map(|id| id.as_str())), grave());
    let rows = sqlx::query_scalar!(
        "SELECT DISTINCT client_id FROM reaction WHERE client_id IN (SELECT value FROM json_each(?1))
             AND state <> 'settled' AND level IN (SELECT value FROM json_each(?2))",
        ids,
        grave
    )
    .fetch_all(c)
    .await?;
    rows.into_iter().map(|id| read("reaction", "client_id", &id, ClientId::parse(&id))).collect()
}
