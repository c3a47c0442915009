//! The steps of services, and the studio's own lists. Every version stays.

use serde::Serialize;
use serde::de::DeserializeOwned;
use time::OffsetDateTime;

use super::types::{impossible, read, small};
use super::{Connection, Stored};
use crate::domain::ids::{ProductId, ServiceId};
use crate::domain::steps::Plan;

/// What steps are of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Subject {
    /// A service, or a service done with one product.
    Service(ServiceId, Option<ProductId>),
    /// A skin test.
    SkinTest,
}

impl Subject {
    fn key(&self) -> (&str, &str) {
        match self {
            Self::Service(service, product) => (service.as_str(), product.as_ref().map_or("", ProductId::as_str)),
            Self::SkinTest => ("skin_test", ""),
        }
    }
}

/// The newest steps that were written for something, with their version; nothing when none were.
///
/// # Errors
/// When the file can't be read.
pub async fn plan(c: &mut Connection, of: &Subject) -> Stored<Option<(u32, Plan)>> {
    let (subject, product) = of.key();
    let row = sqlx::query!(
        "SELECT version, steps FROM step_plan WHERE subject = ? AND product_id = ? ORDER BY version DESC LIMIT 1",
        subject,
        product
    )
    .fetch_optional(c)
    .await?;
    row.map(|row| {
        let plan = read("step_plan", "steps", subject, serde_json::from_str(&row.steps))?;
        Ok((small("step_plan", "version", subject, row.version)?, plan))
    })
    .transpose()
}

/// The products that a service has steps of its own for.
///
/// # Errors
/// When the file can't be read.
pub async fn products_with_plan(c: &mut Connection, service: &ServiceId) -> Stored<Vec<ProductId>> {
    let key = service.as_str();
    let rows = sqlx::query_scalar!(
        "SELECT DISTINCT product_id FROM step_plan WHERE subject = ? AND product_id <> '' ORDER BY product_id",
        key
    )
    .fetch_all(c)
    .await?;
    rows.into_iter().map(|id| read("step_plan", "product_id", key, ProductId::parse(&id))).collect()
}

/// Adds steps that hold from now on.
///
/// # Errors
/// When that version is there already, or the file can't be written.
pub async fn add_plan(
    c: &mut Connection,
    of: &Subject,
    version: u32,
    plan: &Plan,
    by: &str,
    now: OffsetDateTime,
) -> Stored<()> {
    let (subject, product) = of.key();
    let steps = serde_json::to_string(plan).map_err(|_| impossible("step_plan", "steps", subject))?;
    let now = now.unix_timestamp();
    sqlx::query!(
        "INSERT INTO step_plan (subject, product_id, version, steps, written_by, written_at) VALUES (?, ?, ?, ?, ?, ?)",
        subject,
        product,
        version,
        steps,
        by,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// The newest entries of a list, with their version; nothing when the studio wrote none.
///
/// # Errors
/// When the file can't be read.
pub async fn list<T: DeserializeOwned>(c: &mut Connection, name: &'static str) -> Stored<Option<(u32, Vec<T>)>> {
    let row =
        sqlx::query!("SELECT version, entries FROM studio_list WHERE name = ? ORDER BY version DESC LIMIT 1", name)
            .fetch_optional(c)
            .await?;
    row.map(|row| {
        let entries = read("studio_list", "entries", name, serde_json::from_str(&row.entries))?;
        Ok((small("studio_list", "version", name, row.version)?, entries))
    })
    .transpose()
}

/// Adds entries that hold from now on.
///
/// # Errors
/// When that version is there already, or the file can't be written.
pub async fn add_list<T: Serialize>(
    c: &mut Connection,
    name: &'static str,
    version: u32,
    entries: &[T],
    by: &str,
    now: OffsetDateTime,
) -> Stored<()> {
    let entries = serde_json::to_string(entries).map_err(|_| impossible("studio_list", "entries", name))?;
    let now = now.unix_timestamp();
    sqlx::query!(
        "INSERT INTO studio_list (name, version, entries, written_by, written_at) VALUES (?, ?, ?, ?, ?)",
        name,
        version,
        entries,
        by,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}
