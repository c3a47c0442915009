//! Who saw or changed what: rows that are only ever added, each hashing the one before it.

use sha2::{Digest, Sha256};
use time::OffsetDateTime;

use super::{Connection, Stored};
use crate::domain::ids::ClientId;
use crate::domain::role::Actor;

/// One event, without its actor and time.
#[derive(Debug, Clone, Default)]
pub struct Event<'a> {
    /// What was done, as `noun.verb`.
    pub action: &'static str,
    /// Whom it concerns.
    pub client: Option<&'a ClientId>,
    /// What it was done to.
    pub object: &'a str,
    /// Anything else: never a health answer.
    pub detail: &'a str,
}

/// A row as the audit page and exports show it.
#[derive(Debug, Clone)]
pub struct Entry {
    /// Its place in the chain, from 1.
    pub seq: i64,
    /// When.
    pub at: i64,
    /// Kind of actor.
    pub actor_kind: String,
    /// The actor's id.
    pub actor_id: String,
    /// The actor's name at the time.
    pub actor_name: String,
    /// What was done.
    pub action: String,
    /// Whom it concerns, or nothing.
    pub client_id: String,
    /// What it was done to, or nothing.
    pub object_id: String,
    /// Anything else.
    pub detail: String,
    prev_hash: String,
    hash: String,
}

impl Entry {
    /// The row's hash in the chain, lower-case hex.
    pub fn hash(&self) -> &str {
        &self.hash
    }
}

/// The hash before the first row.
const BEGINNING: &str = "";

/// Length before each field, so that no two different rows have the same bytes.
fn hash(seq: i64, at: i64, fields: [&str; 8]) -> String {
    let mut hasher = Sha256::new();
    hasher.update(seq.to_be_bytes());
    hasher.update(at.to_be_bytes());
    for field in fields {
        hasher.update(u64::try_from(field.len()).unwrap_or(u64::MAX).to_be_bytes());
        hasher.update(field.as_bytes());
    }
    data_encoding::HEXLOWER.encode(&hasher.finalize())
}

/// Adds a row, in the transaction of what it tells of.
///
/// # Errors
/// When the file can't be written.
pub async fn append(c: &mut Connection, actor: &Actor, event: Event<'_>, now: OffsetDateTime) -> Stored<()> {
    let last = sqlx::query!("SELECT seq, hash FROM audit ORDER BY seq DESC LIMIT 1").fetch_optional(&mut *c).await?;
    let (seq, prev) = last.map_or((1, BEGINNING.to_owned()), |row| (row.seq + 1, row.hash));
    let at = now.unix_timestamp();
    let (kind, id, name) = actor.columns();
    let client = event.client.map_or("", ClientId::as_str);
    let hash = hash(seq, at, [kind, id, name, event.action, client, event.object, event.detail, &prev]);
    sqlx::query!(
        "INSERT INTO audit (seq, at, actor_kind, actor_id, actor_name, action, client_id, object_id, detail, prev_hash, hash)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        seq,
        at,
        kind,
        id,
        name,
        event.action,
        client,
        event.object,
        event.detail,
        prev,
        hash
    )
    .execute(c)
    .await?;
    Ok(())
}

/// The newest rows, or those of one client.
///
/// # Errors
/// When the file can't be read.
pub async fn list(c: &mut Connection, client: Option<&ClientId>, before: Option<i64>, most: i64) -> Stored<Vec<Entry>> {
    let before = before.unwrap_or(i64::MAX);
    let client = client.map_or("", ClientId::as_str);
    let rows = sqlx::query_as!(
        Entry,
        "SELECT seq, at, actor_kind, actor_id, actor_name, action, client_id, object_id, detail, prev_hash, hash FROM audit
         WHERE (?1 = '' OR client_id = ?1) AND seq < ?2 ORDER BY seq DESC LIMIT ?3",
        client,
        before,
        most
    );
    Ok(rows.fetch_all(c).await?)
}

/// All rows about a client, oldest first.
///
/// # Errors
/// When the file can't be read.
pub async fn of_client(c: &mut Connection, client: &ClientId) -> Stored<Vec<Entry>> {
    let client = client.as_str();
    let rows = sqlx::query_as!(
        Entry,
        "SELECT seq, at, actor_kind, actor_id, actor_name, action, client_id, object_id, detail, prev_hash, hash FROM audit
         WHERE client_id = ? ORDER BY seq",
        client
    );
    Ok(rows.fetch_all(c).await?)
}

/// The first row that doesn't follow from the one before it, or how many rows stand.
///
/// # Errors
/// When the file can't be read.
pub async fn verify(c: &mut Connection) -> Stored<Result<i64, i64>> {
    let (mut count, mut prev) = (0, BEGINNING.to_owned());
    loop {
        let rows = sqlx::query_as!(
            Entry,
            "SELECT seq, at, actor_kind, actor_id, actor_name, action, client_id, object_id, detail, prev_hash, hash FROM audit
             WHERE seq > ? ORDER BY seq LIMIT 1000",
            count
        )
        .fetch_all(&mut *c)
        .await?;
        if rows.is_empty() {
            return Ok(Ok(count));
        }
        for e in rows {
            let fields = [
                &*e.actor_kind,
                &e.actor_id,
                &e.actor_name,
                &e.action,
                &e.client_id,
                &e.object_id,
                &e.detail,
                &e.prev_hash,
            ];
            if e.seq != count + 1 || e.prev_hash != prev || hash(e.seq, e.at, fields) != e.hash {
                return Ok(Err(e.seq));
            }
            (count, prev) = (e.seq, e.hash);
        }
    }
}
