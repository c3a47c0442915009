//! What rules ask of the treatments so far.

use time::{Date, OffsetDateTime};

use crate::domain::catalogue::ServiceKind;
use crate::domain::ids::{ClientId, ProductId, ServiceId, VisitId};
use crate::store::types::{day, impossible, instant, read};
use crate::store::{Connection, Stored};

/// A treatment that was begun, here or before, as windows look at it. One that was stopped before a lotion or a tint can
/// have touched her is left out.
#[derive(Debug, Clone)]
pub struct Past {
    /// Whose.
    pub client: ClientId,
    /// Which service.
    pub service: ServiceId,
    /// What kind it is.
    pub kind: ServiceKind,
    /// The day on the studio's calendar.
    pub on: Date,
    /// When it began.
    pub at: OffsetDateTime,
    /// Whether it was stopped before its end, so that nobody knows how much it lifted.
    pub stopped: bool,
}

struct Row {
    id: String,
    client_id: String,
    service_id: String,
    kind: String,
    day: String,
    starts_at: i64,
    stopped: i64,
}

macro_rules! rows {
    ($where:literal $(, $of:expr)?) => {
        sqlx::query_as!(
            Row,
            r#"SELECT d.id AS "id!", d.client_id AS "client_id!", d.service_id AS "service_id!", s.kind AS "kind!",
                      d.day AS "day!: String", d.starts_at AS "starts_at!: i64", d.stopped AS "stopped!: i64"
               FROM treated d JOIN service s ON s.id = d.service_id "# + $where + " ORDER BY d.starts_at, d.id"
            $(, $of)?
        )
    };
}

/// All treatments that count for windows, of one client or of all, oldest first.
///
/// # Errors
/// When the file can't be read.
pub async fn past(c: &mut Connection, client: Option<&ClientId>) -> Stored<Vec<Past>> {
    let rows = match client.map(ClientId::as_str) {
        Some(client) => rows!("WHERE d.client_id = ?", client).fetch_all(c).await?,
        None => rows!("").fetch_all(c).await?,
    };
    rows.into_iter()
        .map(|row| {
            let id = &row.id;
            Ok(Past {
                client: read("treatment", "client_id", id, ClientId::parse(&row.client_id))?,
                service: read("treatment_version", "service_id", id, ServiceId::parse(&row.service_id))?,
                kind: ServiceKind::parse(&row.kind).ok_or_else(|| impossible("service", "kind", id))?,
                on: day("visit", "civil_start", id, &row.day)?,
                at: instant("visit", "starts_at", id, row.starts_at)?,
                stopped: row.stopped == 1,
            })
        })
        .collect()
}

/// When a client was treated with each product: (product, when).
///
/// # Errors
/// When the file can't be read.
pub async fn uses(c: &mut Connection, client: &ClientId) -> Stored<Vec<(ProductId, OffsetDateTime)>> {
    let key = client.as_str();
    let rows = sqlx::query!(
        "SELECT p.product_id, x.started_at FROM treatment t
         JOIN treatment_version x ON x.treatment_id = t.id
             AND x.version = (SELECT max(version) FROM treatment_version WHERE treatment_id = t.id)
         JOIN treatment_product p ON p.treatment_id = t.id AND p.version = x.version
         WHERE t.client_id = ?",
        key
    )
    .fetch_all(c)
    .await?;
    rows.into_iter()
        .map(|row| {
            let product = read("treatment_product", "product_id", key, ProductId::parse(&row.product_id))?;
            Ok((product, instant("treatment_version", "started_at", key, row.started_at)?))
        })
        .collect()
}

/// When treatments of hers began that ended with a reaction, and when what was reported from moderate on did, but for
/// skin tests; each with its visit.
///
/// # Errors
/// When the file can't be read.
pub async fn reactions(c: &mut Connection, client: &ClientId) -> Stored<Vec<(OffsetDateTime, Option<VisitId>)>> {
    let key = client.as_str();
    let rows = sqlx::query!(
        r#"SELECT x.started_at AS "at!: i64", t.visit_id AS "visit_id: String"
           FROM treatment t JOIN treatment_version x ON x.treatment_id = t.id
               AND x.version = (SELECT max(version) FROM treatment_version WHERE treatment_id = t.id)
           WHERE t.client_id = ?1 AND x.outcome = 'reaction'
           UNION
           SELECT began_at, visit_id FROM reaction
           WHERE client_id = ?1 AND skin_test_id IS NULL AND level IN ('moderate', 'serious', 'emergency')"#,
        key
    )
    .fetch_all(c)
    .await?;
    rows.into_iter()
        .map(|row| {
            let visit = row.visit_id.map(|id| read("reaction", "visit_id", key, VisitId::parse(&id))).transpose()?;
            Ok((instant("treatment_version", "started_at", key, row.at)?, visit))
        })
        .collect()
}
