//! Export packages that were made, and what only they ask of the records.

use time::OffsetDateTime;

use super::types::{instant, read, small};
use super::{Connection, Stored};
use crate::domain::ids::{ClientId, ExportId, VisitId};

/// A package that was made.
#[derive(Debug, Clone)]
pub struct Export {
    /// Its id.
    pub id: ExportId,
    /// The name of whoever made it.
    pub made_by: String,
    /// Why, in that person's words.
    pub why: String,
    /// What it covers, as JSON.
    pub scope: String,
    /// How many clients are in it.
    pub clients: u64,
    /// Its size.
    pub bytes: u64,
    /// The SHA-256 of the file, in hex.
    pub sha256: String,
    /// The SHA-256 of the manifest in it, in hex.
    pub manifest_sha256: String,
    /// Whether it was encrypted, with a passphrase that is kept nowhere.
    pub encrypted: bool,
    /// When it was made.
    pub made_at: OffsetDateTime,
}

struct Row {
    id: String,
    made_by: String,
    why: String,
    scope: String,
    clients: i64,
    bytes: i64,
    sha256: String,
    manifest_sha256: String,
    encrypted: i64,
    made_at: i64,
}

impl Row {
    fn export(self) -> Stored<Export> {
        let id = &self.id;
        Ok(Export {
            clients: small("export", "clients", id, self.clients)?,
            bytes: small("export", "bytes", id, self.bytes)?,
            made_at: instant("export", "made_at", id, self.made_at)?,
            id: read("export", "id", id, ExportId::parse(id))?,
            made_by: self.made_by,
            why: self.why,
            scope: self.scope,
            sha256: self.sha256,
            manifest_sha256: self.manifest_sha256,
            encrypted: self.encrypted == 1,
        })
    }
}

macro_rules! exports {
    ($rest:literal $(, $arg:expr)* $(,)?) => {
        sqlx::query_as!(
            Row,
            "SELECT id, made_by, why, scope, clients, bytes, sha256, manifest_sha256, encrypted, made_at FROM export " + $rest
            $(, $arg)*
        )
    };
}

/// The newest packages, newest first.
///
/// # Errors
/// When the file can't be read.
pub async fn list(c: &mut Connection, most: i64) -> Stored<Vec<Export>> {
    let rows = exports!("ORDER BY made_at DESC, rowid DESC LIMIT ?", most).fetch_all(c).await?;
    rows.into_iter().map(Row::export).collect()
}

/// One package.
///
/// # Errors
/// When the file can't be read.
pub async fn get(c: &mut Connection, id: &ExportId) -> Stored<Option<Export>> {
    let id = id.as_str();
    exports!("WHERE id = ?", id).fetch_optional(c).await?.map(Row::export).transpose()
}

/// The packages that were made after a moment.
///
/// # Errors
/// When the file can't be read.
pub async fn made_after(c: &mut Connection, moment: OffsetDateTime) -> Stored<Vec<ExportId>> {
    let moment = moment.unix_timestamp();
    let rows = sqlx::query_scalar!("SELECT id FROM export WHERE made_at > ?", moment).fetch_all(c).await?;
    rows.iter().map(|id| read("export", "id", id, ExportId::parse(id))).collect()
}

/// Adds a package.
///
/// # Errors
/// When the file can't be written.
pub async fn insert(c: &mut Connection, e: &Export) -> Stored<()> {
    let (id, at) = (e.id.as_str(), e.made_at.unix_timestamp());
    let clients: i64 = read("export", "clients", id, e.clients.try_into())?;
    let bytes: i64 = read("export", "bytes", id, e.bytes.try_into())?;
    sqlx::query!(
        "INSERT INTO export (id, made_by, why, scope, clients, bytes, sha256, manifest_sha256, encrypted, made_at)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        e.made_by,
        e.why,
        e.scope,
        clients,
        bytes,
        e.sha256,
        e.manifest_sha256,
        e.encrypted,
        at
    )
    .execute(c)
    .await?;
    Ok(())
}

fn ids(rows: Vec<String>) -> Stored<Vec<ClientId>> {
    rows.iter().map(|id| read("client", "id", id, ClientId::parse(id))).collect()
}

/// Every client whose record is not restricted, by name.
///
/// # Errors
/// When the file can't be read.
pub async fn everyone(c: &mut Connection) -> Stored<Vec<ClientId>> {
    ids(sqlx::query_scalar!("SELECT id FROM client WHERE restricted_at IS NULL ORDER BY name COLLATE NOCASE, id")
        .fetch_all(c)
        .await?)
}

/// Every client with a visit that begins from `from` on and before `to`, by name; also one that was taken over from before.
/// A time that was only held is no visit.
///
/// # Errors
/// When the file can't be read.
pub async fn with_visit(c: &mut Connection, from: OffsetDateTime, to: OffsetDateTime) -> Stored<Vec<ClientId>> {
    let (from, to) = (from.unix_timestamp(), to.unix_timestamp());
    let rows = sqlx::query_scalar!(
        "SELECT c.id FROM client c WHERE c.restricted_at IS NULL AND
             (EXISTS (SELECT 1 FROM visit v WHERE v.client_id = c.id AND v.starts_at >= ?1 AND v.starts_at < ?2
                      AND v.state NOT IN ('held', 'hold_expired'))
              OR EXISTS (SELECT 1 FROM past_visit p WHERE p.client_id = c.id AND p.starts_at >= ?1 AND p.starts_at < ?2))
         ORDER BY c.name COLLATE NOCASE, c.id",
        from,
        to
    );
    ids(rows.fetch_all(c).await?)
}

/// How many clients are left out of a package of several, since their records are locked away: all of them, or those with
/// a visit between two moments.
///
/// # Errors
/// When the file can't be read.
pub async fn locked_away(c: &mut Connection, between: Option<(OffsetDateTime, OffsetDateTime)>) -> Stored<u64> {
    let (from, to) = between.map(|(from, to)| (from.unix_timestamp(), to.unix_timestamp())).unzip();
    let count = sqlx::query_scalar!(
        r#"SELECT count(*) AS "count!: i64" FROM client c WHERE c.restricted_at IS NOT NULL AND (?1 IS NULL OR
             EXISTS (SELECT 1 FROM visit v WHERE v.client_id = c.id AND v.starts_at >= ?1 AND v.starts_at < ?2
                     AND v.state NOT IN ('held', 'hold_expired'))
             OR EXISTS (SELECT 1 FROM past_visit p WHERE p.client_id = c.id AND p.starts_at >= ?1 AND p.starts_at < ?2))"#,
        from,
        to
    );
    read("client", "restricted_at", "count", count.fetch_one(c).await?.try_into())
}

/// When a client was first known, and when the time of each of her visits was taken.
///
/// # Errors
/// When the file can't be read.
pub async fn since(c: &mut Connection, client: &ClientId) -> Stored<(OffsetDateTime, Vec<(VisitId, OffsetDateTime)>)> {
    let key = client.as_str();
    let known = sqlx::query_scalar!("SELECT created_at FROM client WHERE id = ?", key).fetch_one(&mut *c).await?;
    let visits = sqlx::query!("SELECT id, created_at FROM visit WHERE client_id = ?", key).fetch_all(c).await?;
    let visits = visits.into_iter().map(|row| {
        let id = read("visit", "id", &row.id, VisitId::parse(&row.id))?;
        Ok((id, instant("visit", "created_at", &row.id, row.created_at)?))
    });
    Ok((instant("client", "created_at", key, known)?, visits.collect::<Stored<_>>()?))
}

/// Version and hash of the rules that were in force at a moment.
///
/// # Errors
/// When the file can't be read.
pub async fn rules_at(c: &mut Connection, moment: OffsetDateTime) -> Stored<Option<(i64, String)>> {
    let moment = moment.unix_timestamp();
    let row = sqlx::query!(
        "SELECT version, sha256 FROM rule_table WHERE published_at <= ? ORDER BY version DESC LIMIT 1",
        moment
    );
    Ok(row.fetch_optional(c).await?.map(|row| (row.version, row.sha256)))
}
