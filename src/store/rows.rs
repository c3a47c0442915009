//! Every row about a client, as it stands: for the copy that she takes. The tables are those that are emptied when she leaves,
//! and their columns are asked of the file, so that none can be forgotten.

use std::collections::BTreeMap;

use serde_json::{Map, Value};
use sqlx::AssertSqlSafe;

use super::cells::Opener;
use super::drafts::key_of_day;
use super::types::impossible;
use super::{Connection, Stored, erasure, sealed};
use crate::domain::ids::ClientId;

/// What goes by itself when she leaves, or stays of her.
const BESIDES: [&str; 6] = [
    "client WHERE id = ?1",
    "draft_link WHERE draft_id IN (SELECT id FROM draft WHERE client_id = ?1)",
    "erasure_request WHERE client_id = ?1",
    "retention_line WHERE client_id = ?1",
    "retouch_line WHERE client_id = ?1",
    "retouch_part WHERE client_id = ?1",
];

/// Whether a column is told. Not what lets somebody in; not photos and letters, which are files of her copy; and not why a
/// record is held, since a claim may be under way whose grounds are the owner's to tell.
fn told(table: &str, column: &str) -> bool {
    !column.ends_with("_hash")
        && !matches!((table, column), ("file", "body" | "thumbnail") | ("hold", "why" | "lifted_why"))
}

/// A row: columns and their values.
pub type Row = Map<String, Value>;

/// The rows by table, what is sealed in plain words. A time is the second since 1970 in UTC.
///
/// # Errors
/// When the file can't be read.
pub async fn of_client(c: &mut Connection, client: &ClientId) -> Stored<BTreeMap<&'static str, Vec<Row>>> {
    let hers = c.opener(client.as_str()).await?;
    let mut found = BTreeMap::new();
    for part in erasure::OF_CLIENT.into_iter().chain(BESIDES).chain([erasure::LETTERS]) {
        let table = part.split(' ').next().unwrap_or_default();
        let columns = sqlx::query_scalar("SELECT name FROM pragma_table_info(?) ORDER BY cid").bind(table);
        let columns: Vec<String> = columns.fetch_all(&mut *c).await?;
        let columns = columns.iter().filter(|column| told(table, column));
        let mut pairs: Vec<String> = columns.clone().map(|column| format!("'{column}', \"{column}\"")).collect();
        let sealed: Vec<_> = columns.filter_map(|column| sealed::text(table, column)).collect();
        if let Some((_, _, id)) = sealed.first() {
            pairs.push(format!("'', CAST({id} AS TEXT)"));
        }
        let sql = AssertSqlSafe(format!("SELECT json_object({}) FROM {part}", pairs.join(", ")));
        let read: Vec<String> = sqlx::query_scalar(sql).bind(client.as_str()).fetch_all(&mut *c).await?;
        let mut rows = Vec::with_capacity(read.len());
        for row in read {
            let mut row: Row = serde_json::from_str(&row).map_err(|_| impossible(table, "rows", client.as_str()))?;
            let key = match row.get("key_day").and_then(Value::as_str) {
                // What was sent is emptied, and stands in her record.
                Some("") => None,
                Some(day) => Some(c.opener(&key_of_day(day)).await?),
                None => Some(hers.clone()),
            };
            let id = row.remove("");
            if let (Some(key), Some(Value::String(id))) = (key, id) {
                open(&mut row, &id, &sealed, &key)?;
            }
            rows.push(row);
        }
        if !rows.is_empty() {
            found.insert(table, rows);
        }
    }
    Ok(found)
}

fn open(row: &mut Row, id: &str, sealed: &[(&'static str, &'static str, &str)], opener: &Opener) -> Stored<()> {
    for (table, column, _) in sealed {
        let Some(value) = row.get_mut(*column) else { continue };
        if let Value::String(text) = value {
            let plain = opener.text(table, column, id, text)?;
            *value = match serde_json::from_str(&plain) {
                Ok(shape @ (Value::Object(_) | Value::Array(_))) => shape,
                _ => Value::String(plain),
            };
        }
    }
    Ok(())
}
