//! The studio's own papers: kept, removed, and warned of before they end.

use time::Date;

use super::{Pending, enqueue};
use crate::app::App;
use crate::documents::upload::Checked;
use crate::domain::fingerprint::Fingerprint;
use crate::domain::ids::{PaperId, PractitionerId, ServiceId};
use crate::domain::paper::WARNED_BEFORE;
use crate::domain::person::Mail;
use crate::domain::role::{Actor, Member};
use crate::store::audit::Event;
use crate::store::papers::{self, Paper};
use crate::store::{Stored, audit, studio};

/// A paper that is to be kept.
pub struct NewPaper {
    /// Whose certificate; nobody's, when it is the insurance policy.
    pub practitioner: Option<PractitionerId>,
    /// The number on it.
    pub number: String,
    /// Who gave it out.
    pub issuer: String,
    /// The services that it covers.
    pub services: Vec<ServiceId>,
    /// The last day on which it holds.
    pub expires_on: Option<Date>,
    /// The file.
    pub file: Checked,
}

/// Keeps a paper.
///
/// # Errors
/// When the database can't.
pub async fn add(app: &App, by: &Member, new: NewPaper) -> Stored<PaperId> {
    let now = app.clock.now();
    let paper = Paper {
        id: PaperId::from_random(app.random.id()),
        practitioner: new.practitioner,
        number: new.number,
        issuer: new.issuer,
        services: new.services,
        expires_on: new.expires_on,
        kind: new.file.kind,
        sha256: Fingerprint::of(&new.file.bytes),
        added_by: by.name.clone(),
        added_at: now,
        removed_at: None,
    };
    let mut tx = app.db.write().await?;
    papers::insert(&mut tx, &paper, &new.file.bytes).await?;
    let event = Event { action: "paper.added", object: paper.id.as_str(), detail: &paper.number, ..Event::default() };
    audit::append(&mut tx, &Actor::Member(by.clone()), event, now).await?;
    tx.commit().await?;
    Ok(paper.id)
}

/// A paper counts no more. `false` when it didn't before.
///
/// # Errors
/// When the database can't.
pub async fn remove(app: &App, by: &Member, id: &PaperId) -> Stored<bool> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    if !papers::remove(&mut tx, id, now).await? {
        return Ok(false);
    }
    let event = Event { action: "paper.removed", object: id.as_str(), ..Event::default() };
    audit::append(&mut tx, &Actor::Member(by.clone()), event, now).await?;
    tx.commit().await?;
    Ok(true)
}

/// Whether bookings follow the certificates. A studio says so itself: one that has not sent its certificates in yet would
/// find nobody bookable.
///
/// # Errors
/// When the database can't.
pub async fn set_keeps(app: &App, by: &Member, keeps: bool) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    papers::set_keeps(&mut tx, keeps).await?;
    let detail = if keeps { "on" } else { "off" };
    let event = Event { action: "certificates.asked-for", detail, ..Event::default() };
    audit::append(&mut tx, &Actor::Member(by.clone()), event, now).await?;
    tx.commit().await
}

/// Writes to the studio about papers that end soon, once for each. Whether a letter was written.
///
/// # Errors
/// When the database can't.
pub async fn warn(app: &App) -> Stored<bool> {
    let now = app.clock.now();
    let mut c = app.db.read().await?;
    let Some(studio) = studio::get(&mut c).await? else { return Ok(false) };
    let Ok(mail) = Mail::parse(&studio.mail) else { return Ok(false) };
    let by = studio.zone.date_at(now).saturating_add(WARNED_BEFORE);
    let any = papers::to_warn(&mut c, by).await?;
    drop(c);
    if !any {
        return Ok(false);
    }
    let mut tx = app.db.write().await?;
    let any = papers::warn(&mut tx, by).await? > 0;
    if any {
        enqueue(app, &mut tx, &mail, &Pending::PapersEnd, now).await?;
    }
    tx.commit().await?;
    Ok(any)
}
