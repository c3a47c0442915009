//! The studio's own papers: certificates and the insurance policy.

use std::collections::HashMap;

use time::{Date, OffsetDateTime};

use super::types::{day, day_text, impossible, instant, read};
use super::{Connection, Stored};
use crate::domain::file::Kind;
use crate::domain::fingerprint::Fingerprint;
use crate::domain::ids::{PaperId, PractitionerId, ServiceId};

/// A paper, without its file.
#[derive(Debug, Clone)]
pub struct Paper {
    /// Its id.
    pub id: PaperId,
    /// Whose certificate it is; nobody's, when it is the insurance policy.
    pub practitioner: Option<PractitionerId>,
    /// The number on it.
    pub number: String,
    /// Who gave it out.
    pub issuer: String,
    /// The services that it covers.
    pub services: Vec<ServiceId>,
    /// The last day on which it holds; nothing when it holds for ever.
    pub expires_on: Option<Date>,
    /// What kind of file it is.
    pub kind: Kind,
    /// The file's fingerprint.
    pub sha256: Fingerprint,
    /// Who added it.
    pub added_by: String,
    /// When.
    pub added_at: OffsetDateTime,
    /// When it was taken off the list.
    pub removed_at: Option<OffsetDateTime>,
}

impl Paper {
    /// Whether it was on file at a moment whose day, on the studio's calendar, it still held.
    pub fn counted(&self, at: OffsetDateTime, on: Date) -> bool {
        self.added_at <= at
            && self.removed_at.is_none_or(|gone| gone > at)
            && self.expires_on.is_none_or(|end| end >= on)
    }
}

/// Adds a paper with its file.
///
/// # Errors
/// When the file can't be written.
pub async fn insert(c: &mut Connection, p: &Paper, body: &[u8]) -> Stored<()> {
    let (id, practitioner) = (p.id.as_str(), p.practitioner.as_ref().map(PractitionerId::as_str));
    let (expires, kind, sha256) = (p.expires_on.map(day_text), p.kind.as_str(), p.sha256.to_string());
    let at = p.added_at.unix_timestamp();
    sqlx::query!(
        "INSERT INTO paper (id, practitioner_id, number, issuer, expires_on, kind, sha256, body, added_by, added_at)
         VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        practitioner,
        p.number,
        p.issuer,
        expires,
        kind,
        sha256,
        body,
        p.added_by,
        at
    )
    .execute(&mut *c)
    .await?;
    for service in &p.services {
        let service = service.as_str();
        sqlx::query!("INSERT INTO paper_service (paper_id, service_id) VALUES (?, ?)", id, service)
            .execute(&mut *c)
            .await?;
    }
    Ok(())
}

/// All papers that count, the policies first, then by practitioner; each in the order of their ends.
///
/// # Errors
/// When the file can't be read.
pub async fn all(c: &mut Connection) -> Stored<Vec<Paper>> {
    Ok(ever(c).await?.into_iter().filter(|paper| paper.removed_at.is_none()).collect())
}

/// All papers, also those that were taken off the list, in the same order.
///
/// # Errors
/// When the file can't be read.
pub async fn ever(c: &mut Connection) -> Stored<Vec<Paper>> {
    let rows = sqlx::query!(
        "SELECT id, practitioner_id, number, issuer, expires_on, kind, sha256, added_by, added_at, removed_at FROM paper
         ORDER BY practitioner_id IS NOT NULL, practitioner_id, expires_on, id"
    )
    .fetch_all(&mut *c)
    .await?;
    let covers = sqlx::query!("SELECT paper_id, service_id FROM paper_service").fetch_all(c).await?;
    let mut services: HashMap<String, Vec<ServiceId>> = HashMap::new();
    for row in covers {
        let service = read("paper_service", "service_id", &row.paper_id, ServiceId::parse(&row.service_id))?;
        services.entry(row.paper_id).or_default().push(service);
    }
    rows.into_iter()
        .map(|row| {
            let id = &row.id;
            let practitioner = row.practitioner_id.as_deref().map(PractitionerId::parse).transpose();
            Ok(Paper {
                id: read("paper", "id", id, PaperId::parse(id))?,
                practitioner: read("paper", "practitioner_id", id, practitioner)?,
                services: services.remove(id).unwrap_or_default(),
                expires_on: row.expires_on.as_deref().map(|text| day("paper", "expires_on", id, text)).transpose()?,
                kind: Kind::parse(&row.kind).ok_or_else(|| impossible("paper", "kind", id))?,
                sha256: read("paper", "sha256", id, Fingerprint::parse(&row.sha256))?,
                number: row.number,
                issuer: row.issuer,
                added_by: row.added_by,
                added_at: instant("paper", "added_at", id, row.added_at)?,
                removed_at: row.removed_at.map(|at| instant("paper", "removed_at", id, at)).transpose()?,
            })
        })
        .collect()
}

/// The file of a paper, and what kind it is; also of one that was removed.
///
/// # Errors
/// When the file can't be read.
pub async fn body(c: &mut Connection, id: &PaperId) -> Stored<Option<(Kind, Vec<u8>)>> {
    let key = id.as_str();
    let row = sqlx::query!("SELECT kind, body FROM paper WHERE id = ?", key).fetch_optional(c).await?;
    row.map(|row| Ok((Kind::parse(&row.kind).ok_or_else(|| impossible("paper", "kind", key))?, row.body))).transpose()
}

/// A paper counts no more. `false` when it didn't before.
///
/// # Errors
/// When the file can't be written.
pub async fn remove(c: &mut Connection, id: &PaperId, now: OffsetDateTime) -> Stored<bool> {
    let (id, now) = (id.as_str(), now.unix_timestamp());
    let done = sqlx::query!("UPDATE paper SET removed_at = ? WHERE id = ? AND removed_at IS NULL", now, id);
    Ok(done.execute(c).await?.rows_affected() == 1)
}

/// Notes papers that end by a day as warned of: how many were not before.
///
/// # Errors
/// When the file can't be written.
pub async fn warn(c: &mut Connection, by: Date) -> Stored<u64> {
    let by = day_text(by);
    let warned =
        sqlx::query!("UPDATE paper SET warned = 1 WHERE warned = 0 AND removed_at IS NULL AND expires_on <= ?", by);
    Ok(warned.execute(c).await?.rows_affected())
}

/// Whether there are papers to be warned of that end by a day.
///
/// # Errors
/// When the file can't be read.
pub async fn to_warn(c: &mut Connection, by: Date) -> Stored<bool> {
    let by = day_text(by);
    let found = sqlx::query_scalar!(
        r#"SELECT EXISTS (SELECT 1 FROM paper WHERE warned = 0 AND removed_at IS NULL AND expires_on <= ?) AS "found!: bool""#,
        by
    );
    Ok(found.fetch_one(c).await?)
}

/// Whether the studio says that nobody is booked for what no certificate of hers names.
///
/// # Errors
/// When the file can't be read.
pub async fn keeps(c: &mut Connection) -> Stored<bool> {
    let keeps = sqlx::query_scalar!("SELECT keeps_certificates FROM studio").fetch_optional(c).await?;
    Ok(keeps == Some(1))
}

/// Stores that.
///
/// # Errors
/// When the file can't be written.
pub async fn set_keeps(c: &mut Connection, keeps: bool) -> Stored<()> {
    sqlx::query!("UPDATE studio SET keeps_certificates = ?", keeps).execute(c).await?;
    Ok(())
}

/// What the certificates that count say of who may give what.
pub struct Certificates(Vec<Paper>);

impl Certificates {
    /// Up to which day she may give a service: nothing where no certificate of hers names it; inside, nothing where the one
    /// that holds longest has no end.
    pub fn until(&self, who: &PractitionerId, what: &ServiceId) -> Option<Option<Date>> {
        let hers = self.0.iter().filter(|paper| paper.practitioner.as_ref() == Some(who));
        let ends = hers.filter(|paper| paper.services.contains(what)).map(|paper| paper.expires_on);
        ends.reduce(|one, other| one.zip(other).map(|(one, other)| one.max(other)))
    }
}

/// The certificates that bookings follow; nothing where the studio doesn't ask for any.
///
/// # Errors
/// When the file can't be read.
pub async fn certificates(c: &mut Connection) -> Stored<Option<Certificates>> {
    if !keeps(c).await? {
        return Ok(None);
    }
    Ok(Some(Certificates(all(c).await?)))
}
