//! Treatment records, every version of them, and what was decided before each began.

use time::OffsetDateTime;

use super::types::{impossible, instant, read, small};
use super::{Connection, Stored};
use crate::domain::ids::{ClientId, PractitionerId, ProductId, ServiceId, TreatmentId, VisitId};
use crate::domain::timing::SideTime;

mod past;
mod start;
mod times;

pub use past::{Past, past, reactions, uses};
pub use start::{Start, add_start, start, unwritten};

/// How a treatment came out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// As the client wished.
    AsWished,
    /// Less than she wished.
    LessThanWished,
    /// Stopped before its end.
    Stopped,
    /// With a reaction.
    Reaction,
}

impl Outcome {
    /// Every outcome.
    pub const ALL: [Self; 4] = [Self::AsWished, Self::LessThanWished, Self::Stopped, Self::Reaction];

    /// The word that the database and forms use.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::AsWished => "as_wished",
            Self::LessThanWished => "less_than_wished",
            Self::Stopped => "stopped",
            Self::Reaction => "reaction",
        }
    }

    /// Reads [`Self::as_str`] back.
    pub fn parse(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|outcome| outcome.as_str() == word)
    }
}

/// One version of a record.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Version {
    /// From 1.
    pub version: u32,
    /// What was done.
    pub service: ServiceId,
    /// By whom.
    pub practitioner: PractitionerId,
    /// From when.
    pub started_at: OffsetDateTime,
    /// Until when.
    pub ended_at: OffsetDateTime,
    /// Which shield.
    pub shield: String,
    /// Minutes of the first lotion.
    pub lotion_one_minutes: Option<u16>,
    /// Minutes of the second lotion.
    pub lotion_two_minutes: Option<u16>,
    /// Minutes of the tint.
    pub tint_minutes: Option<u16>,
    /// Anything else.
    pub notes: String,
    /// Whether aftercare was given.
    pub aftercare_given: bool,
    /// How it came out.
    pub outcome: Outcome,
    /// Lashes counted in a marked stretch, and how many of them were still lifted from before.
    pub count: Option<(u16, u16)>,
    /// Why it was corrected; nothing for the first version.
    pub reason: String,
    /// Who wrote it.
    pub written_by: String,
    /// When.
    pub written_at: OffsetDateTime,
    /// Products with their batch.
    pub products: Vec<(ProductId, String)>,
    /// Whether the eyes were rinsed; nothing where nobody said.
    pub rinsed: Option<bool>,
    /// How long each step was on each side, in the order of application.
    pub times: Vec<SideTime>,
}

impl Version {
    /// Whether another one says the same, whoever wrote it and when.
    pub fn says(&self, other: &Self) -> bool {
        let Self { version, practitioner, written_by, written_at, .. } = self.clone();
        Self { version, practitioner, written_by, written_at, ..other.clone() } == *self
    }
}

/// A record with all its versions, the newest first.
#[derive(Debug, Clone)]
pub struct Treatment {
    /// Its id.
    pub id: TreatmentId,
    /// Whom it was done to.
    pub client: ClientId,
    /// At which visit.
    pub visit: VisitId,
    /// Never empty.
    pub versions: Vec<Version>,
}

impl Treatment {
    /// What stands.
    pub fn current(&self) -> Option<&Version> {
        self.versions.first()
    }
}

/// What a version's sealed texts are bound to.
fn place(id: &str, version: i64) -> String {
    format!("{id}/{version}")
}

async fn versions(c: &mut Connection, id: &str, client: &str) -> Stored<Vec<Version>> {
    let key = c.opener(client).await?;
    let rows = sqlx::query!(
        "SELECT version, service_id, practitioner_id, started_at, ended_at, shield, lotion_one_minutes, lotion_two_minutes,
                tint_minutes, notes, aftercare_given, outcome, counted, still_lifted, reason, written_by, written_at, rinsed
         FROM treatment_version WHERE treatment_id = ? ORDER BY version DESC",
        id
    )
    .fetch_all(&mut *c)
    .await?;
    let used = sqlx::query!(
        "SELECT version, product_id, batch FROM treatment_product WHERE treatment_id = ? ORDER BY product_id, batch",
        id
    )
    .fetch_all(&mut *c)
    .await?;
    let times = times::of(c, id).await?;
    const TABLE: &str = "treatment_version";
    rows.into_iter()
        .map(|row| {
            let minutes = |column, value: Option<i64>| value.map(|n| small(TABLE, column, id, n)).transpose();
            let products = used.iter().filter(|product| product.version == row.version);
            let products = products
                .map(|p| Ok((read(TABLE, "product_id", id, ProductId::parse(&p.product_id))?, p.batch.clone())));
            let (version, place) = (small(TABLE, "version", id, row.version)?, place(id, row.version));
            Ok(Version {
                version,
                service: read(TABLE, "service_id", id, ServiceId::parse(&row.service_id))?,
                practitioner: read(TABLE, "practitioner_id", id, PractitionerId::parse(&row.practitioner_id))?,
                started_at: instant(TABLE, "started_at", id, row.started_at)?,
                ended_at: instant(TABLE, "ended_at", id, row.ended_at)?,
                shield: row.shield,
                lotion_one_minutes: minutes("lotion_one_minutes", row.lotion_one_minutes)?,
                lotion_two_minutes: minutes("lotion_two_minutes", row.lotion_two_minutes)?,
                tint_minutes: minutes("tint_minutes", row.tint_minutes)?,
                notes: key.text(TABLE, "notes", &place, &row.notes)?,
                aftercare_given: row.aftercare_given == 1,
                outcome: Outcome::parse(&row.outcome).ok_or_else(|| impossible(TABLE, "outcome", id))?,
                count: minutes("counted", row.counted)?.zip(minutes("still_lifted", row.still_lifted)?),
                reason: key.text(TABLE, "reason", &place, &row.reason)?,
                written_by: row.written_by,
                written_at: instant(TABLE, "written_at", id, row.written_at)?,
                products: products.collect::<Stored<_>>()?,
                rinsed: row.rinsed.map(|rinsed| rinsed == 1),
                times: times.iter().filter(|(own, _)| *own == version).map(|(_, time)| time.clone()).collect(),
            })
        })
        .collect()
}

/// One record.
///
/// # Errors
/// When the file can't be read.
pub async fn get(c: &mut Connection, id: &TreatmentId) -> Stored<Option<Treatment>> {
    let key = id.as_str();
    let row =
        sqlx::query!("SELECT client_id, visit_id FROM treatment WHERE id = ?", key).fetch_optional(&mut *c).await?;
    let Some(row) = row else { return Ok(None) };
    Ok(Some(Treatment {
        id: id.clone(),
        client: read("treatment", "client_id", key, ClientId::parse(&row.client_id))?,
        visit: read("treatment", "visit_id", key, VisitId::parse(&row.visit_id))?,
        versions: versions(c, key, &row.client_id).await?,
    }))
}

/// The record of a visit.
///
/// # Errors
/// When the file can't be read.
pub async fn of_visit(c: &mut Connection, visit: &VisitId) -> Stored<Option<Treatment>> {
    let key = visit.as_str();
    let row = sqlx::query_scalar!("SELECT id FROM treatment WHERE visit_id = ?", key).fetch_optional(&mut *c).await?;
    match row {
        Some(id) => get(c, &read("treatment", "id", &id, TreatmentId::parse(&id))?).await,
        None => Ok(None),
    }
}

/// All records of a client, newest first.
///
/// # Errors
/// When the file can't be read.
pub async fn of_client(c: &mut Connection, client: &ClientId) -> Stored<Vec<Treatment>> {
    let key = client.as_str();
    let rows = sqlx::query_scalar!(
        "SELECT t.id FROM treatment t JOIN visit v ON v.id = t.visit_id WHERE t.client_id = ? ORDER BY v.starts_at DESC, t.id",
        key
    )
    .fetch_all(&mut *c)
    .await?;
    let mut found = Vec::with_capacity(rows.len());
    for id in rows {
        found.extend(get(c, &read("treatment", "id", &id, TreatmentId::parse(&id))?).await?);
    }
    Ok(found)
}

/// Begins a record.
///
/// # Errors
/// When the visit has one already, or the file can't be written.
pub async fn insert(
    c: &mut Connection,
    id: &TreatmentId,
    client: &ClientId,
    visit: &VisitId,
    now: OffsetDateTime,
) -> Stored<()> {
    let (id, client, visit, now) = (id.as_str(), client.as_str(), visit.as_str(), now.unix_timestamp());
    sqlx::query!(
        "INSERT INTO treatment (id, client_id, visit_id, created_at) VALUES (?, ?, ?, ?)",
        id,
        client,
        visit,
        now
    )
    .execute(c)
    .await?;
    Ok(())
}

/// Adds a version to a record.
///
/// # Errors
/// When that version is there already, or the file can't be written.
pub async fn add_version(c: &mut Connection, id: &TreatmentId, v: &Version) -> Stored<()> {
    let id = id.as_str();
    let (service, practitioner, outcome) = (v.service.as_str(), v.practitioner.as_str(), v.outcome.as_str());
    let (started, ended, written) =
        (v.started_at.unix_timestamp(), v.ended_at.unix_timestamp(), v.written_at.unix_timestamp());
    let (counted, lifted) = v.count.unzip();
    let client = sqlx::query_scalar!("SELECT client_id FROM treatment WHERE id = ?", id).fetch_one(&mut *c).await?;
    let (key, place) = (c.sealer(&client).await?, place(id, i64::from(v.version)));
    let notes = key.text("treatment_version", "notes", &place, &v.notes)?;
    let reason = key.text("treatment_version", "reason", &place, &v.reason)?;
    sqlx::query!(
        "INSERT INTO treatment_version (treatment_id, version, service_id, practitioner_id, started_at, ended_at, shield,
            lotion_one_minutes, lotion_two_minutes, tint_minutes, notes, aftercare_given, outcome, counted, still_lifted, reason,
            written_by, written_at, rinsed) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        v.version,
        service,
        practitioner,
        started,
        ended,
        v.shield,
        v.lotion_one_minutes,
        v.lotion_two_minutes,
        v.tint_minutes,
        notes,
        v.aftercare_given,
        outcome,
        counted,
        lifted,
        reason,
        v.written_by,
        written,
        v.rinsed
    )
    .execute(&mut *c)
    .await?;
    for (product, batch) in &v.products {
        let product = product.as_str();
        sqlx::query!(
            "INSERT INTO treatment_product (treatment_id, version, product_id, batch) VALUES (?, ?, ?, ?)",
            id,
            v.version,
            product,
            batch
        )
        .execute(&mut *c)
        .await?;
    }
    times::add(c, id, v.version, &v.times).await
}
