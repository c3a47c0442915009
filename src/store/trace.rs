//! Who came into touch with a batch.

use std::collections::BTreeSet;

use time::OffsetDateTime;

use super::types::{instant, read};
use super::{Connection, Stored};
use crate::domain::ids::{ClientId, ProductId};

/// A treatment or a skin test with the batch.
#[derive(Debug, Clone)]
pub struct Touched {
    /// Whose.
    pub client: ClientId,
    /// Her name.
    pub name: String,
    /// Her mail.
    pub mail: String,
    /// Her phone.
    pub phone: String,
    /// When it began, or was applied.
    pub at: OffsetDateTime,
    /// Whether it was a skin test.
    pub skin_test: bool,
}

/// Every treatment and skin test with a batch from one moment until before another, oldest first. Of a treatment
/// record every version counts: that a batch was named once is reason enough to ask. Of clients whose records are locked
/// away only how many they are.
///
/// # Errors
/// When the file can't be read.
pub async fn batch(
    c: &mut Connection,
    product: &ProductId,
    number: &str,
    from: OffsetDateTime,
    until: OffsetDateTime,
) -> Stored<(Vec<Touched>, usize)> {
    let (product, from, until) = (product.as_str(), from.unix_timestamp(), until.unix_timestamp());
    let rows = sqlx::query!(
        r#"SELECT c.id, c.name, c.mail, c.phone, c.restricted_at, used.at AS "at!: i64", used.test AS "test!: i64"
           FROM (SELECT t.client_id AS client_id, max(x.started_at) AS at, 0 AS test
                 FROM treatment_product p JOIN treatment t ON t.id = p.treatment_id
                 JOIN treatment_version x ON x.treatment_id = p.treatment_id AND x.version = p.version
                 WHERE p.product_id = ?1 AND p.batch = ?2 GROUP BY p.treatment_id
                 UNION ALL
                 SELECT client_id, applied_at, 1 FROM skin_test WHERE product_id = ?1 AND batch = ?2) used
           JOIN client c ON c.id = used.client_id
           WHERE used.at >= ?3 AND used.at < ?4 ORDER BY used.at, c.id"#,
        product,
        number,
        from,
        until
    )
    .fetch_all(c)
    .await?;
    let (mut found, mut locked_away) = (Vec::new(), BTreeSet::new());
    for row in rows {
        if row.restricted_at.is_some() {
            locked_away.insert(row.id);
            continue;
        }
        found.push(Touched {
            client: read("client", "id", &row.id, ClientId::parse(&row.id))?,
            at: instant("treatment_version", "started_at", &row.id, row.at)?,
            name: row.name,
            mail: row.mail,
            phone: row.phone,
            skin_test: row.test == 1,
        });
    }
    Ok((found, locked_away.len()))
}
