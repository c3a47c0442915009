//! Who left, as the audit tells it.

use super::types::read;
use super::{Connection, Stored};
use crate::domain::ids::ClientId;

/// Everybody who was erased (`true`) or restricted.
///
/// # Errors
/// When the file can't be read.
pub async fn told(c: &mut Connection) -> Stored<Vec<(bool, ClientId)>> {
    let rows = sqlx::query!(
        "SELECT action, client_id FROM audit WHERE action IN ('record.erased', 'record.restricted') ORDER BY seq"
    );
    let rows = rows.fetch_all(c).await?;
    rows.into_iter()
        .map(|row| {
            let client = read("audit", "client_id", "", ClientId::parse(&row.client_id))?;
            Ok((row.action == "record.erased", client))
        })
        .collect()
}
