//! At the chair: she has come, the treatment begins, is recorded, and its record is corrected.

mod record;

pub use record::{LONGEST, Record, RecordRefused, lies_within};

use time::{Date, OffsetDateTime};

use super::case::Known;
use super::chair::{self, LookedAt};
use super::own_visits::take_off;
use super::shelf::Shelf;
use super::{Pending, enqueue};
use crate::app::App;
use crate::domain::ids::{ClientId, ProductId, TreatmentId, VisitId};
use crate::domain::mark::{Changed, Mark};
use crate::domain::readiness::Readiness;
use crate::domain::role::{Actor, Member, Role};
use crate::domain::verdict::{Start, Verdict};
use crate::domain::visit::{EventRefused, VisitState};
use crate::store::audit::Event;
use crate::store::studio::Studio;
use crate::store::treatments::{self, Treatment};
use crate::store::types::impossible;
use crate::store::visits::{self, Purpose, Visit};
use crate::store::{Connection, StoreError, Stored, audit, clients, studio};

/// Why a change at the chair was not made.
#[derive(Debug, thiserror::Error)]
pub enum Refused {
    /// The database can't.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// There is no such visit or record, or it is nobody's whom this member treats.
    #[error("not there")]
    NotFound,
    /// The visit stands where this can't happen.
    #[error(transparent)]
    Event(#[from] EventRefused),
    /// The visit is on another day.
    #[error("the visit is on {0}")]
    OtherDay(Date),
    /// It can't be started, whatever is written.
    #[error("the treatment may not start")]
    MayNotStart,
    /// It can be started only with a written reason.
    #[error("a written reason is needed")]
    WantsReason,
    /// There are notes that were not read.
    #[error("the notes have to be read")]
    WantsNotes,
    /// The treatment is not under way.
    #[error("the treatment is not under way")]
    NotUnderWay,
    /// A skin test is applied in place of a treatment.
    #[error("it is a visit for another purpose")]
    OtherPurpose,
    /// The record doesn't hold together.
    #[error(transparent)]
    Record(#[from] RecordRefused),
    /// What the form showed stands no longer so.
    #[error(transparent)]
    Changed(#[from] Changed),
    /// What is counted towards a price is changed with the price.
    #[error("the deposit is counted towards the price")]
    Counted,
    /// Somebody else has the time by now.
    #[error("the time is taken")]
    Taken,
    /// A record was written already, and says something else.
    #[error("the record is written")]
    Written,
    /// The version that is corrected is no longer the last one.
    #[error("it was corrected since")]
    Corrected,
}

/// Whether a member may see a client's record: the owner every one, a practitioner those whom she treats or treated.
///
/// # Errors
/// When the file can't be read.
pub async fn may_see(c: &mut Connection, member: &Member, client: &ClientId) -> Stored<bool> {
    if clients::get(c, client).await?.is_none() {
        return Ok(false);
    }
    match (member.role, &member.practitioner) {
        (Role::Owner, _) => Ok(true),
        (Role::Practitioner, Some(own)) => visits::treats(c, own, client).await,
        (Role::Practitioner, None) => Ok(false),
    }
}

/// A visit with its client, if this member may see it: hers, or of a client whose record she may see.
///
/// # Errors
/// When the file can't be read.
pub async fn visit_for(c: &mut Connection, member: &Member, id: &VisitId) -> Stored<Option<(Visit, ClientId)>> {
    let Some(visit) = visits::get(c, id).await? else { return Ok(None) };
    let Some(client) = visit.client.clone() else { return Ok(None) };
    let hers = member.practitioner.as_ref() == Some(&visit.practitioner) && clients::get(c, &client).await?.is_some();
    let seen = hers || may_see(c, member, &client).await?;
    Ok(seen.then_some((visit, client)))
}

/// A visit with its client, if this member may see her record with it: one that was called off opens none.
///
/// # Errors
/// When the file can't be read.
pub async fn case_for(c: &mut Connection, member: &Member, id: &VisitId) -> Stored<Option<(Visit, ClientId)>> {
    let Some((visit, client)) = visit_for(c, member, id).await? else { return Ok(None) };
    let seen = may_see(c, member, &client).await?;
    Ok(seen.then_some((visit, client)))
}

/// A record with its visit, if this member may see it.
///
/// # Errors
/// When the file can't be read.
pub async fn record_for(c: &mut Connection, member: &Member, id: &TreatmentId) -> Stored<Option<(Treatment, Visit)>> {
    let Some(treatment) = treatments::get(c, id).await? else { return Ok(None) };
    let visit = visit_for(c, member, &treatment.visit).await?;
    Ok(visit.map(|(visit, _)| (treatment, visit)))
}

async fn found(c: &mut Connection, member: &Member, id: &VisitId) -> Result<(Visit, ClientId), Refused> {
    visit_for(c, member, id).await?.ok_or(Refused::NotFound)
}

/// She has come.
///
/// # Errors
/// [`Refused`]
pub async fn arrive(app: &App, studio: &Studio, member: &Member, id: &VisitId) -> Result<(), Refused> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let (mut visit, client) = found(&mut tx, member, id).await?;
    visit.state = visit.state.arrive()?;
    if studio.zone.date_at(now) != visit.civil.date() {
        return Err(Refused::OtherDay(visit.civil.date()));
    }
    visits::update(&mut tx, &visit, now).await?;
    log(&mut tx, member, "visit.arrived", &client, id.as_str(), "", now).await?;
    Ok(tx.commit().await?)
}

/// She did not come.
///
/// # Errors
/// [`Refused`]
pub async fn no_show(app: &App, member: &Member, id: &VisitId) -> Result<(), Refused> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let (mut visit, client) = found(&mut tx, member, id).await?;
    visit.state = visit.state.no_show(now, visit.starts_at)?;
    visits::update(&mut tx, &visit, now).await?;
    log(&mut tx, member, "visit.no-show", &client, id.as_str(), "", now).await?;
    Ok(tx.commit().await?)
}

/// She is not here after all, or came after all: the visit is booked as before, if its time is still free.
///
/// # Errors
/// [`Refused`]
pub async fn put_back(app: &App, member: &Member, id: &VisitId) -> Result<(), Refused> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let (mut visit, client) = found(&mut tx, member, id).await?;
    let was = visit.state;
    visit.state = was.put_back()?;
    visits::update(&mut tx, &visit, now)
        .await
        .map_err(|error| if error.is_overlap() { Refused::Taken } else { error.into() })?;
    log(&mut tx, member, "visit.put-back", &client, id.as_str(), was.as_str(), now).await?;
    Ok(tx.commit().await?)
}

/// What a page shows of when a visit is, and with whom.
pub fn mark(visit: &Visit) -> Mark {
    Mark::of(&(visit.sequence, visit.starts_at.unix_timestamp(), &visit.practitioner))
}

/// The studio cancels the visit as it was shown; the client is told by mail.
///
/// # Errors
/// [`Refused`]
pub async fn cancel(app: &App, member: &Member, id: &VisitId, shown: &Mark) -> Result<(), Refused> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let (visit, _) = found(&mut tx, member, id).await?;
    shown.holds(&mark(&visit))?;
    let state = visit.state.cancel_by_studio()?;
    take_off(app, &mut tx, &Actor::Member(member.clone()), Visit { state, ..visit }, "by the studio", now).await?;
    Ok(tx.commit().await?)
}

/// What the practitioner says when she starts.
#[derive(Debug, Clone)]
pub struct Beginning {
    /// The reasons that stood on the page.
    pub shown: Mark,
    /// Why she starts against the verdict, or nothing.
    pub reason: String,
    /// Whether she read the notes.
    pub notes_read: bool,
    /// What she looked at before.
    pub looked_at: Option<LookedAt>,
}

/// The treatment begins: judged anew at this moment, and the verdict is kept as it stood.
///
/// # Errors
/// [`Refused`]; nothing is changed then.
pub async fn start(app: &App, studio: &Studio, member: &Member, id: &VisitId, said: Beginning) -> Result<(), Refused> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let (mut visit, client) = found(&mut tx, member, id).await?;
    if visit.purpose != Purpose::Treatment {
        return Err(Refused::OtherPurpose);
    }
    let before = visit.clone();
    visit.state = visit.state.start()?;
    if studio.zone.date_at(now) != visit.civil.date() {
        return Err(Refused::OtherDay(visit.civil.date()));
    }
    let readiness = Known::of_visit(&mut tx, studio, &before).await?.readiness(now, now);
    said.shown.holds(&readiness.mark())?;
    let reason = permit(&readiness, &said)?.to_owned();
    let json = serde_json::to_string(&readiness).map_err(|_| impossible("visit_start", "readiness", id.as_str()))?;
    let begun = treatments::Start {
        verdict: readiness.verdict.as_str().to_owned(),
        readiness: json,
        reason: reason.clone(),
        started_by: member.name.clone(),
        started_at: now,
    };
    treatments::add_start(&mut tx, id, &begun).await?;
    if let Some(seen) = said.looked_at {
        chair::keep_check(&mut tx, member, &visit, seen, now).await?;
    }
    visits::update(&mut tx, &visit, now).await?;
    // The verdict and the reason speak of her health: they stay with the record, since the log outlives it.
    let detail = if reason.is_empty() { "" } else { "against the verdict, with a written reason" };
    log(&mut tx, member, "treatment.started", &client, id.as_str(), detail, now).await?;
    Ok(tx.commit().await?)
}

/// The reason that counts, or why the start is refused. A reason for what needs none is not kept.
fn permit<'a>(readiness: &Readiness, said: &'a Beginning) -> Result<&'a str, Refused> {
    let reason = said.reason.trim();
    let notes = readiness.reasons.iter().any(|reason| reason.verdict == Verdict::Note);
    match readiness.may_start() {
        Start::No => Err(Refused::MayNotStart),
        Start::WithReason if reason.is_empty() => Err(Refused::WantsReason),
        Start::Yes | Start::WithReason if notes && !said.notes_read => Err(Refused::WantsNotes),
        Start::WithReason => Ok(reason),
        Start::Yes => Ok(""),
    }
}

/// Writes the first version of a record; the visit is done. `shown` is what the form showed of the chair. The same record
/// sent again changes nothing.
///
/// # Errors
/// [`Refused`]; nothing is changed then.
pub async fn record(
    app: &App,
    member: &Member,
    id: &VisitId,
    record: Record,
    shown: &Mark,
) -> Result<TreatmentId, Refused> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let (mut visit, client) = found(&mut tx, member, id).await?;
    let by = member.practitioner.clone().unwrap_or_else(|| visit.practitioner.clone());
    if let Some(written) = treatments::of_visit(&mut tx, id).await? {
        let again = checked(&mut tx, &visit, &client, record, &[], now).await;
        let again = again.map(|record| record.version(1, &by, member, "", now));
        let same = again.is_ok_and(|again| written.versions.iter().any(|version| version.says(&again)));
        return if same { Ok(written.id) } else { Err(Refused::Written) };
    }
    visit.state = visit.state.finish()?;
    shown.holds(&chair::mark(&mut tx, id, &client).await?)?;
    let record = checked(&mut tx, &visit, &client, record, &[], now).await?;
    let treatment = TreatmentId::from_random(app.random.id());
    treatments::insert(&mut tx, &treatment, &client, id, now).await?;
    let mail_aftercare = record.mail_aftercare;
    treatments::add_version(&mut tx, &treatment, &record.version(1, &by, member, "", now)).await?;
    if mail_aftercare && let Some(person) = clients::get(&mut tx, &client).await? {
        enqueue(app, &mut tx, &person.mail, &Pending::Aftercare { visit: id.clone() }, now).await?;
    }
    visits::update(&mut tx, &visit, now).await?;
    log(&mut tx, member, "treatment.recorded", &client, treatment.as_str(), "", now).await?;
    tx.commit().await?;
    Ok(treatment)
}

async fn checked(
    c: &mut Connection,
    visit: &Visit,
    client: &ClientId,
    record: Record,
    used: &[(ProductId, String)],
    now: OffsetDateTime,
) -> Result<Record, Refused> {
    let studio = studio::get(c).await?.ok_or_else(|| impossible("studio", "id", "1"))?;
    let known = Known::load(c, &studio, Some(client), &record.service).await?;
    Ok(record.checked(&Shelf::load(c, visit.civil.date()).await?, &known, &visit.id, used, now)?)
}

/// Why a record is corrected, and what was read before.
#[derive(Debug, Clone)]
pub struct Correction<'a> {
    /// Why.
    pub reason: &'a str,
    /// The version that stood on the page.
    pub of: u32,
    /// What the form showed of the chair.
    pub shown: Mark,
}

/// Adds a version to a record; those before it stay. The same correction sent again changes nothing.
///
/// # Errors
/// [`Refused`]; nothing is changed then.
pub async fn correct(
    app: &App,
    member: &Member,
    id: &TreatmentId,
    record: Record,
    said: Correction<'_>,
) -> Result<VisitId, Refused> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let (treatment, visit) = record_for(&mut tx, member, id).await?.ok_or(Refused::NotFound)?;
    let reason = said.reason.trim();
    if reason.is_empty() {
        return Err(Refused::WantsReason);
    }
    let last = treatment.current().ok_or_else(|| impossible("treatment_version", "version", id.as_str()))?;
    if last.version != said.of {
        let again = checked(&mut tx, &visit, &treatment.client, record, &last.products, now).await;
        let again = again.map(|record| record.version(last.version, &last.practitioner, member, reason, now));
        return if again.is_ok_and(|again| last.says(&again)) { Ok(visit.id) } else { Err(Refused::Corrected) };
    }
    said.shown.holds(&chair::mark(&mut tx, &visit.id, &treatment.client).await?)?;
    let record = checked(&mut tx, &visit, &treatment.client, record, &last.products, now).await?;
    let next = record.version(last.version + 1, &last.practitioner, member, reason, now);
    treatments::add_version(&mut tx, id, &next).await?;
    let detail = format!("version {}", next.version);
    log(&mut tx, member, "treatment.corrected", &treatment.client, id.as_str(), &detail, now).await?;
    tx.commit().await?;
    Ok(visit.id)
}

/// Whether a visit's treatment can be recorded now.
pub fn can_record(visit: &Visit) -> bool {
    visit.purpose == Purpose::Treatment && visit.state == VisitState::InTreatment
}

async fn log(
    c: &mut Connection,
    member: &Member,
    action: &'static str,
    client: &ClientId,
    object: &str,
    detail: &str,
    now: OffsetDateTime,
) -> Stored<()> {
    let event = Event { action, client: Some(client), object, detail };
    audit::append(c, &Actor::Member(member.clone()), event, now).await
}
