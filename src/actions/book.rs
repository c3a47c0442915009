//! A client books: who she is, her answers, her signature and her visits, all of it or nothing.

use std::collections::BTreeSet;

use time::OffsetDateTime;

use super::case::Known;
use super::diary::wants_test;
use super::{Pending, enqueue, verdicts};
use crate::app::App;
use crate::domain::consent::{ConsentRecord, Signed};
use crate::domain::ids::{AnswersId, ClientId, ConsentId, ProductId, ServiceId};
use crate::domain::person::{BirthDate, Mail, PersonName, Phone};
use crate::domain::questionnaire::AnswerSet;
use crate::domain::role::Actor;
use crate::store::audit::Event;
use crate::store::catalogue::Service;
use crate::store::clients::Client;
use crate::store::drafts::Draft;
use crate::store::health::{StoredAnswers, StoredConsent};
use crate::store::studio::Studio;
use crate::store::types::impossible;
use crate::store::visits::{Purpose, Visit};
use crate::store::{Connection, Stored, Tx, audit, catalogue, clients, drafts, health, visits};

/// Everything that a booking needs besides its times.
pub struct Complete {
    /// Who books, as she gave it; of a signed-in client, as it is known.
    pub person: Person,
    /// Her answers.
    pub answers: AnswerSet,
    /// What she signed; nothing when an earlier signature holds.
    pub signed: Option<Signed>,
    /// The version of the text that she signed.
    pub text_version: u32,
}

/// Who books.
pub enum Person {
    /// A client who is signed in.
    Known(ClientId),
    /// Somebody who gave her details.
    Given {
        /// Her name.
        name: PersonName,
        /// Her mail.
        mail: Mail,
        /// Her phone.
        phone: Phone,
        /// Her date of birth.
        born: BirthDate,
    },
}

/// How booking ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Booked {
    /// It is booked: all of it.
    Done,
    /// A time was taken meanwhile: none of it is booked, and all that was typed is kept.
    TimeGone,
    /// The questions or the text are others than those that she answered and signed: none of it is booked.
    Changed,
}

/// Books: client, answers, consent and visits in one transaction, or nothing of it. The times have to be held.
///
/// # Errors
/// When the database can't.
pub async fn book(app: &App, studio: &Studio, draft: &Draft, complete: Complete) -> Stored<Booked> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let in_force = health::in_force(&mut tx).await?;
    if complete.answers.questionnaire != in_force.questionnaire.version()
        || complete.text_version != in_force.consent.version()
    {
        return Ok(Booked::Changed);
    }
    let actor = draft.client.clone().map_or(Actor::Visitor, Actor::Client);
    let client = find_or_add(app, &mut tx, complete.person, &actor, now).await?;
    let given = StoredAnswers {
        id: AnswersId::from_random(app.random.id()),
        set: complete.answers,
        taken: None,
        given_at: now,
    };
    health::add_answers(&mut tx, &client.id, &given).await?;
    let mut booked = Vec::new();
    let tested = tested_before(&mut tx, studio, &client.id, &draft.service, now).await?;
    for mut visit in visits::of_draft(&mut tx, &draft.id).await? {
        let Some(end) = visit.hold_until else { return Ok(Booked::TimeGone) };
        let Ok(state) = visit.state.book(now, end) else { return Ok(Booked::TimeGone) };
        visit.state = state;
        visit.hold_until = None;
        visit.client = Some(client.id.clone());
        // A skin test that was booked for another visit serves this one too, and stays while either needs it.
        let without = visit.purpose == Purpose::Treatment && visit.paired_test.is_none();
        let before = tested.as_ref().filter(|test| without && test.ends_at <= visit.starts_at);
        visit.paired_test = before.map(|test| test.id.clone()).or(visit.paired_test);
        visits::update(&mut tx, &visit, now).await?;
        booked.push(visit.id);
    }
    if booked.is_empty() {
        return Ok(Booked::TimeGone);
    }
    if let Some(signed) = complete.signed {
        let consent = StoredConsent {
            id: signed.id.clone(),
            client: client.id.clone(),
            visit: booked.last().cloned(),
            text_version: complete.text_version,
            answers: Some(given.id),
            record: ConsentRecord::Signed(Box::new(signed)),
            given_at: now,
        };
        health::add_consent(&mut tx, &consent).await?;
    }
    for visit in &booked {
        if let Some(visit) = visits::get(&mut tx, visit).await? {
            verdicts::booked(&mut tx, studio, &visit, now).await?;
        }
    }
    drafts::booked(&mut tx, &draft.id, now).await?;
    for visit in &booked {
        let event = Event { action: "visit.booked", client: Some(&client.id), object: visit.as_str(), detail: "" };
        audit::append(&mut tx, &actor, event, now).await?;
    }
    enqueue(app, &mut tx, &client.mail, &Pending::Booked { visits: booked }, now).await?;
    tx.commit().await?;
    Ok(Booked::Done)
}

/// The skin test that she has booked for another visit, where this service needs one as well.
async fn tested_before(
    c: &mut Connection,
    studio: &Studio,
    client: &ClientId,
    service: &ServiceId,
    now: OffsetDateTime,
) -> Stored<Option<Visit>> {
    if !wants_test(c, service).await? {
        return Ok(None);
    }
    let known = Known::load(c, studio, Some(client), service).await?;
    Ok(known.test_ahead(now).filter(|_| known.needs_test(now, now)).cloned())
}

/// The client whose mail, name and birth date are the ones given, or a new one. Nobody is told which.
pub(super) async fn find_or_add(
    app: &App,
    tx: &mut Tx,
    person: Person,
    actor: &Actor,
    now: OffsetDateTime,
) -> Stored<Client> {
    let (name, mail, phone, born) = match person {
        Person::Known(id) => {
            let known = clients::get(tx, &id).await?;
            return known.ok_or_else(|| impossible("draft", "client_id", id.as_str()));
        }
        Person::Given { name, mail, phone, born } => (name, mail, phone, born),
    };
    let known = clients::by_mail(tx, &mail)
        .await?
        .into_iter()
        .find(|client| client.born == born && client.name.key() == name.key());
    if let Some(mut client) = known {
        if client.phone != phone {
            clients::update_contact(tx, &client.id, &phone).await?;
            client.phone = phone;
            let event = Event { action: "client.phone-changed", client: Some(&client.id), ..Event::default() };
            audit::append(tx, actor, event, now).await?;
        }
        return Ok(client);
    }
    let client = Client { id: ClientId::from_random(app.random.id()), name, mail, phone, born };
    clients::insert(tx, &client, now).await?;
    let event = Event { action: "client.added", client: Some(&client.id), ..Event::default() };
    audit::append(tx, actor, event, now).await?;
    Ok(client)
}

/// A new id for the consent of a booking.
pub fn consent_id(app: &App) -> ConsentId {
    ConsentId::from_random(app.random.id())
}

/// The products that a consent for this service names: those it wants tested.
///
/// # Errors
/// When the database can't.
pub async fn products_of(c: &mut Connection, service: &Service) -> Stored<BTreeSet<ProductId>> {
    Ok(catalogue::tests_for(c, &service.id).await?.into_iter().map(|product| product.id).collect())
}
