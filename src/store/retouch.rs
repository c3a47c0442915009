//! What the retouch list looks at, read for many clients at once.

pub mod lines;

use std::collections::{HashMap, HashSet};

use time::{Date, OffsetDateTime};

use super::catalogue::Service;
use super::types::{civil, impossible, read};
use super::{Connection, Stored};
use crate::domain::ids::{ClientId, ProductId, ServiceId};
use crate::domain::retouch::Done;

/// A client with her treatments, oldest first.
#[derive(Debug, Clone)]
pub struct Treated {
    /// Who.
    pub client: ClientId,
    /// Her treatments as [`super::treatments::past`] counts them; never empty.
    pub done: Vec<Done>,
}

/// Everybody who was treated, with her treatments. `services` are all there are; the treatments name their places.
///
/// # Errors
/// When the file can't be read.
pub async fn treated(c: &mut Connection, services: &[Service]) -> Stored<Vec<Treated>> {
    let rows = sqlx::query!(
        r#"SELECT d.client_id AS "client_id!", d.service_id AS "service_id!", d.day AS "day!: String"
           FROM treated d JOIN client h ON h.id = d.client_id AND h.restricted_at IS NULL
           ORDER BY d.client_id, d.starts_at, d.id"#
    )
    .fetch_all(c)
    .await?;
    let places: HashMap<&str, usize> = services.iter().enumerate().map(|(at, s)| (s.id.as_str(), at)).collect();
    let mut all: Vec<Treated> = Vec::new();
    for row in rows {
        let id = &row.client_id;
        let place = places.get(row.service_id.as_str()).copied();
        let service = place.ok_or_else(|| impossible("treatment_version", "service_id", id))?;
        let kind = services.get(service).map(|one| one.kind).ok_or_else(|| impossible("service", "kind", id))?;
        let done = Done { service, kind, on: super::types::day("visit", "civil_start", id, &row.day)? };
        match all.last_mut().filter(|last| last.client.as_str() == id) {
            Some(last) => last.done.push(done),
            None => {
                let client = read("treatment", "client_id", id, ClientId::parse(id))?;
                all.push(Treated { client, done: vec![done] });
            }
        }
    }
    Ok(all)
}

/// The next treatment that each of these clients has booked: its day and its service.
///
/// # Errors
/// When the file can't be read.
pub async fn booked(
    c: &mut Connection,
    clients: &[&ClientId],
    now: OffsetDateTime,
) -> Stored<HashMap<ClientId, (Date, ServiceId)>> {
    let ids = as_json(clients.iter().map(|id| id.as_str()));
    let now = now.unix_timestamp();
    // A visit lasts a day at most; the bound lets the index on client and start serve.
    let since = now - 86_400;
    let rows = sqlx::query!(
        "SELECT id, client_id AS 'client_id!', service_id, civil_start FROM visit
         WHERE client_id IN (SELECT value FROM json_each(?3)) AND starts_at > ?1 AND ends_at > ?2 AND purpose = 'treatment'
             AND state IN ('booked', 'arrived', 'in_treatment')
         ORDER BY starts_at DESC",
        since,
        now,
        ids
    )
    .fetch_all(c)
    .await?;
    rows.into_iter()
        .map(|row| {
            let client = read("visit", "client_id", &row.id, ClientId::parse(&row.client_id))?;
            let day = civil("visit", "civil_start", &row.id, &row.civil_start)?.date();
            Ok((client, (day, read("visit", "service_id", &row.id, ServiceId::parse(&row.service_id))?)))
        })
        .collect()
}

pub(super) fn as_json<'a>(ids: impl IntoIterator<Item = &'a str>) -> String {
    serde_json::Value::from_iter(ids).to_string()
}

/// The names of these clients.
///
/// # Errors
/// When the file can't be read.
pub async fn names(c: &mut Connection, clients: &[&ClientId]) -> Stored<HashMap<ClientId, String>> {
    let ids = as_json(clients.iter().map(|id| id.as_str()));
    let rows = sqlx::query!("SELECT id, name FROM client WHERE id IN (SELECT value FROM json_each(?))", ids);
    let rows = rows.fetch_all(c).await?;
    rows.into_iter().map(|row| Ok((read("client", "id", &row.id, ClientId::parse(&row.id))?, row.name))).collect()
}

/// Which of these clients may be mailed invitations: what each last signed says so, and she has not withdrawn it.
///
/// # Errors
/// When the file can't be read.
pub async fn may_invite(c: &mut Connection, clients: &[&ClientId]) -> Stored<HashSet<ClientId>> {
    let ids = as_json(clients.iter().map(|id| id.as_str()));
    let rows = sqlx::query!(
        r#"SELECT c.client_id, c.invitations, EXISTS (SELECT 1 FROM consent_withdrawal w WHERE w.client_id = c.client_id
             AND w.tick = 'marketing' AND w.withdrawn_at >= c.given_at) AS "back!: bool"
           FROM consent c WHERE c.client_id IN (SELECT value FROM json_each(?)) AND c.signed = 1
           ORDER BY c.given_at, c.rowid"#,
        ids
    )
    .fetch_all(c)
    .await?;
    let mut may = HashSet::new();
    for row in rows {
        let client = read("consent", "client_id", &row.client_id, ClientId::parse(&row.client_id))?;
        if row.invitations == 1 && !row.back {
            may.insert(client);
        } else {
            may.remove(&client);
        }
    }
    Ok(may)
}

/// The products that each service wants tested.
///
/// # Errors
/// When the file can't be read.
pub async fn tested(c: &mut Connection) -> Stored<HashMap<ServiceId, Vec<ProductId>>> {
    let rows = sqlx::query!("SELECT service_id, product_id FROM service_skin_test").fetch_all(c).await?;
    let mut all: HashMap<ServiceId, Vec<ProductId>> = HashMap::new();
    for row in rows {
        let service = read("service_skin_test", "service_id", &row.service_id, ServiceId::parse(&row.service_id))?;
        let product = read("service_skin_test", "product_id", &row.product_id, ProductId::parse(&row.product_id))?;
        all.entry(service).or_default().push(product);
    }
    Ok(all)
}
