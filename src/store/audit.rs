//! Who saw or changed what: rows that are only ever added, each hashing the one before it.

use sha2::{Digest, Sha256};
use time::OffsetDateTime;

use super::audit_end::End;
use super::types::instant;
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
    append_all(c, actor, &[event], now).await
}

/// How many rows go into the file in one statement.
const AT_ONCE: usize = 500;

/// Adds rows in this order, in the transaction of what they tell of.
///
/// # Errors
/// When the file can't be written.
pub async fn append_all(c: &mut Connection, actor: &Actor, events: &[Event<'_>], now: OffsetDateTime) -> Stored<()> {
    let mut from = last(c).await?;
    if !c.has_reached() {
        match c.audit_end() {
            Some(end) if !stands(c, &end).await? => c.stands_apart(),
            Some(_) => {}
            // A chain that has just begun has lost nothing.
            None if from.seq == 0 => {}
            None => {
                let lost = Event { action: "end-of-log.lost", ..Event::default() };
                from = add(c, &Actor::Program, &[lost], now, from).await?;
            }
        }
    }
    let end = add(c, actor, events, now, from).await?;
    c.reach(end);
    Ok(())
}

/// The last row.
///
/// # Errors
/// When the file can't be read.
pub async fn last(c: &mut Connection) -> Stored<End> {
    let last = sqlx::query!("SELECT seq, hash FROM audit ORDER BY seq DESC LIMIT 1").fetch_optional(c).await?;
    Ok(last.map_or(End { seq: 0, hash: BEGINNING.to_owned() }, |row| End { seq: row.seq, hash: row.hash }))
}

/// Whether the row where the audit once ended is there as it was.
///
/// # Errors
/// When the file can't be read.
pub async fn stands(c: &mut Connection, end: &End) -> Stored<bool> {
    Ok(hash_at(c, end.seq).await? == end.hash)
}

/// Adds rows behind one: the last of them.
async fn add(c: &mut Connection, actor: &Actor, events: &[Event<'_>], now: OffsetDateTime, from: End) -> Stored<End> {
    let End { mut seq, hash: mut prev } = from;
    let at = now.unix_timestamp();
    let (kind, id, name) = actor.columns();
    for some in events.chunks(AT_ONCE) {
        let mut rows = Vec::new();
        for event in some {
            let client = event.client.map_or("", ClientId::as_str);
            seq += 1;
            let hash = hash(seq, at, [kind, id, name, event.action, client, event.object, event.detail, &prev]);
            let prev = std::mem::replace(&mut prev, hash.clone());
            rows.push(serde_json::json!([seq, event.action, client, event.object, event.detail, prev, hash]));
        }
        let rows = serde_json::Value::from(rows).to_string();
        sqlx::query!(
            "INSERT INTO audit (seq, at, actor_kind, actor_id, actor_name, action, client_id, object_id, detail, prev_hash, hash)
             SELECT value ->> 0, ?1, ?2, ?3, ?4, value ->> 1, value ->> 2, value ->> 3, value ->> 4, value ->> 5, value ->> 6
             FROM json_each(?5) ORDER BY key",
            at,
            kind,
            id,
            name,
            rows
        )
        .execute(&mut *c)
        .await?;
    }
    Ok(End { seq, hash: prev })
}

/// The newest rows, or those of one client.
///
/// # Errors
/// When the file can't be read.
pub async fn list(c: &mut Connection, client: Option<&ClientId>, before: Option<i64>, most: i64) -> Stored<Vec<Entry>> {
    search(c, &Search { client, before, ..Search::default() }, most).await
}

/// Which rows are looked for.
#[derive(Debug, Clone, Default)]
pub struct Search<'a> {
    /// About this client.
    pub client: Option<&'a ClientId>,
    /// Of this actor: kind and id as [`Actor::columns`] gives them; the kind tells apart those without an id.
    pub actor: Option<(&'a str, &'a str)>,
    /// From before this moment.
    pub until: Option<OffsetDateTime>,
    /// With a number below this one.
    pub before: Option<i64>,
}

macro_rules! rows {
    ($rest:literal $(, $arg:expr)* $(,)?) => {
        sqlx::query_as!(
            Entry,
            "SELECT seq, at, actor_kind, actor_id, actor_name, action, client_id, object_id, detail, prev_hash, hash FROM audit "
                + $rest
            $(, $arg)*
        )
    };
}

/// Rows that are looked for, the newest first.
///
/// # Errors
/// When the file can't be read.
pub async fn search(c: &mut Connection, search: &Search<'_>, most: i64) -> Stored<Vec<Entry>> {
    let before = search.before.unwrap_or(i64::MAX);
    let until = search.until.map_or(i64::MAX, OffsetDateTime::unix_timestamp);
    // A query of its own for each, so that each goes by its index.
    Ok(match (search.client.map(ClientId::as_str), search.actor) {
        (None, None) => {
            let found = rows!("WHERE at < ?1 AND seq < ?2 ORDER BY seq DESC LIMIT ?3", until, before, most);
            found.fetch_all(c).await?
        }
        (Some(client), None) => {
            rows!(
                "WHERE client_id = ?1 AND at < ?2 AND seq < ?3 ORDER BY seq DESC LIMIT ?4",
                client,
                until,
                before,
                most
            )
            .fetch_all(c)
            .await?
        }
        (None, Some((kind, id))) => rows!(
            "WHERE actor_id = ?1 AND (?1 <> '' OR actor_kind = ?2) AND at < ?3 AND seq < ?4 ORDER BY seq DESC LIMIT ?5",
            id,
            kind,
            until,
            before,
            most
        )
        .fetch_all(c)
        .await?,
        (Some(client), Some((kind, id))) => {
            rows!(
                "WHERE client_id = ?1 AND actor_id = ?2 AND (?2 <> '' OR actor_kind = ?3) AND at < ?4 AND seq < ?5
                 ORDER BY seq DESC LIMIT ?6",
                client,
                id,
                kind,
                until,
                before,
                most
            )
            .fetch_all(c)
            .await?
        }
    })
}

/// All rows about a client, oldest first.
///
/// # Errors
/// When the file can't be read.
pub async fn of_client(c: &mut Connection, client: &ClientId) -> Stored<Vec<Entry>> {
    let client = client.as_str();
    Ok(rows!("WHERE client_id = ? ORDER BY seq", client).fetch_all(c).await?)
}

/// The first row that doesn't follow from the one before it, or how many rows stand.
///
/// # Errors
/// When the file can't be read.
pub async fn verify(c: &mut Connection) -> Stored<Result<i64, i64>> {
    let (mut count, mut prev) = (0, BEGINNING.to_owned());
    loop {
        let rows = rows!("WHERE seq > ? ORDER BY seq LIMIT 1000", count).fetch_all(&mut *c).await?;
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

/// What a look at the chain found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Found {
    /// It holds over so many rows.
    Holds(i64),
    /// The row of this number doesn't follow from the one before it.
    Breaks(i64),
    /// An earlier look reached this row, which is gone or another one now.
    CutOff(i64),
}

/// A look at the chain, when it was.
#[derive(Debug, Clone)]
pub struct Check {
    /// When.
    pub at: OffsetDateTime,
    /// What it found.
    pub found: Found,
}

/// Looks at the whole chain: whether each row follows from the one before it, and whether it still reaches as far as it did
/// when it last held, and as far as [`Db::audit_end`](super::Db::audit_end) said before this look.
///
/// # Errors
/// When the file can't be read.
pub async fn check(c: &mut Connection, end: Option<&End>) -> Stored<Found> {
    let rows = match verify(c).await? {
        Ok(rows) => rows,
        Err(row) => return Ok(Found::Breaks(row)),
    };
    let last = sqlx::query!("SELECT reached, head FROM audit_check WHERE trouble = '' ORDER BY id DESC LIMIT 1");
    let last = last.fetch_optional(&mut *c).await?.map(|last| End { seq: last.reached, hash: last.head });
    for end in [end, last.as_ref()].into_iter().flatten() {
        if !stands(c, end).await? {
            return Ok(Found::CutOff(end.seq));
        }
    }
    Ok(Found::Holds(rows))
}

async fn hash_at(c: &mut Connection, seq: i64) -> Stored<String> {
    let hash = sqlx::query_scalar!("SELECT hash FROM audit WHERE seq = ?", seq).fetch_optional(c).await?;
    Ok(hash.unwrap_or_default())
}

/// Keeps what a look found.
///
/// # Errors
/// When the file can't be written.
pub async fn keep_check(c: &mut Connection, found: Found, now: OffsetDateTime) -> Stored<()> {
    let (reached, trouble, row) = match found {
        Found::Holds(rows) => (rows, "", 0),
        Found::Breaks(row) => (0, "breaks", row),
        Found::CutOff(row) => (0, "cut_off", row),
    };
    let (head, now) = (hash_at(c, reached).await?, now.unix_timestamp());
    sqlx::query!(
        "INSERT INTO audit_check (at, reached, head, trouble, at_row) VALUES (?, ?, ?, ?, ?)",
        now,
        reached,
        head,
        trouble,
        row
    )
    .execute(c)
    .await?;
    Ok(())
}

/// The last look that was kept.
///
/// # Errors
/// When the file can't be read.
pub async fn last_check(c: &mut Connection) -> Stored<Option<Check>> {
    let row = sqlx::query!("SELECT at, reached, trouble, at_row FROM audit_check ORDER BY id DESC LIMIT 1");
    let Some(row) = row.fetch_optional(c).await? else { return Ok(None) };
    let found = match row.trouble.as_str() {
        "" => Found::Holds(row.reached),
        "breaks" => Found::Breaks(row.at_row),
        _ => Found::CutOff(row.at_row),
    };
    Ok(Some(Check { at: instant("audit_check", "at", "", row.at)?, found }))
}
