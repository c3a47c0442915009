//! What clients agree to: signed for a booked visit, refused, taken back; and the owner's texts.

use super::booking;
use super::case::Known;
use crate::app::App;
use crate::domain::consent::{ConsentRecord, ConsentText, Offer, Signed, Subject, Tick, TickMissing};
use crate::domain::ids::{ClientId, ConsentId, VisitId};
use crate::domain::role::{Actor, Member};
use crate::store::audit::Event;
use crate::store::drafts::Draft;
use crate::store::health::{PublishedBy, StoredConsent};
use crate::store::studio::Studio;
use crate::store::visits::Visit;
use crate::store::{StoreError, Stored, audit, health};

/// She doesn't sign, so nothing is booked: her times are given back. Of whoever is no client yet nothing is kept.
///
/// # Errors
/// When the database can't.
pub async fn refuse_booking(app: &App, draft: &Draft, subject: Subject, text_version: u32) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    booking::release(&mut tx, &draft.id, now).await?;
    let actor = draft.client.clone().map_or(Actor::Visitor, Actor::Client);
    if let Some(client) = &draft.client {
        let refused = StoredConsent {
            id: ConsentId::from_random(app.random.id()),
            client: client.clone(),
            visit: None,
            text_version,
            answers: None,
            record: ConsentRecord::Refused { subject, at: now },
            given_at: now,
        };
        health::add_consent(&mut tx, &refused).await?;
    }
    let event = Event { action: "consent.refused", client: draft.client.as_ref(), ..Event::default() };
    audit::append(&mut tx, &actor, event, now).await?;
    tx.commit().await
}

/// What she did with the consent for a visit that is booked.
pub enum Given {
    /// She signed.
    Signed(Box<Offer>),
    /// She refused.
    Refused,
}

/// Why it was not stored.
#[derive(Debug, thiserror::Error)]
pub enum NotSigned {
    /// The database can't.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A needed tick is missing.
    #[error(transparent)]
    Tick(#[from] TickMissing),
    /// What she saw is no longer what would be signed: the text, her answers or the products changed meanwhile.
    #[error("what was shown has changed since")]
    Changed,
}

/// Signs or refuses the consent for a visit of hers.
///
/// # Errors
/// [`NotSigned`]; nothing is changed then.
pub async fn give(app: &App, studio: &Studio, visit: &Visit, client: &ClientId, given: Given) -> Result<(), NotSigned> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let known = Known::load(&mut tx, studio, Some(client), &visit.service).await?;
    let answers = health::answers(&mut tx, client).await?.into_iter().next().map(|given| given.id);
    let (record, action) = match given {
        Given::Signed(offer) if offer.subject != known.subject() => return Err(NotSigned::Changed),
        Given::Signed(offer) => (ConsentRecord::Signed(Box::new(Signed::sign(*offer, now)?)), "consent.signed"),
        Given::Refused => (ConsentRecord::Refused { subject: known.subject(), at: now }, "consent.refused"),
    };
    let id = match &record {
        ConsentRecord::Signed(signed) => signed.id.clone(),
        ConsentRecord::Refused { .. } => ConsentId::from_random(app.random.id()),
    };
    let stored = StoredConsent {
        id,
        client: client.clone(),
        visit: Some(visit.id.clone()),
        text_version: known.in_force.consent.version(),
        answers,
        record,
        given_at: now,
    };
    health::add_consent(&mut tx, &stored).await?;
    log(&mut tx, client, action, &visit.id, now).await?;
    tx.commit().await?;
    Ok(())
}

async fn log(
    tx: &mut crate::store::Tx,
    client: &ClientId,
    action: &'static str,
    visit: &VisitId,
    now: time::OffsetDateTime,
) -> Stored<()> {
    let event = Event { action, client: Some(client), object: visit.as_str(), detail: "" };
    audit::append(tx, &Actor::Client(client.clone()), event, now).await
}

/// She takes one agreement back. Without the two that a visit needs, every signature so far has ended.
///
/// # Errors
/// When the database can't.
pub async fn withdraw(app: &App, client: &ClientId, tick: Tick) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    health::withdraw(&mut tx, client, tick, now).await?;
    let event = Event { action: "consent.withdrawn", client: Some(client), object: "", detail: tick.as_str() };
    audit::append(&mut tx, &Actor::Client(client.clone()), event, now).await?;
    tx.commit().await
}

/// The owner publishes a new text. `false` when another one was published since she began to write.
///
/// # Errors
/// When the database can't.
pub async fn publish(app: &App, member: &Member, text: &ConsentText, reviewed_by: &str, reason: &str) -> Stored<bool> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    if health::in_force(&mut tx).await?.consent.version() + 1 != text.version() {
        return Ok(false);
    }
    let by = PublishedBy { name: member.name.clone(), reviewed_by: reviewed_by.to_owned(), reason: reason.to_owned() };
    health::publish_consent_text(&mut tx, text, &by, now).await?;
    let version = text.version().to_string();
    let event = Event { action: "consent-text.published", client: None, object: &version, detail: "" };
    audit::append(&mut tx, &Actor::Member(member.clone()), event, now).await?;
    tx.commit().await?;
    Ok(true)
}
