//! A client books: a time is held, kept while forms are filled, taken back or booked.

use std::collections::BTreeSet;

use time::{Duration, OffsetDateTime};

use super::diary::{Between, Diary};
use super::{Pending, enqueue};
use crate::app::App;
use crate::domain::consent::{ConsentRecord, Signed};
use crate::domain::ids::{AnswersId, ClientId, ConsentId, DraftId, PractitionerId, VisitId};
use crate::domain::person::{BirthDate, Mail, PersonName, Phone};
use crate::domain::questionnaire::AnswerSet;
use crate::domain::role::Actor;
use crate::domain::schedule::{FreeTime, still_free};
use crate::domain::visit::VisitState;
use crate::store::audit::Event;
use crate::store::catalogue::Service;
use crate::store::clients::Client;
use crate::store::drafts::Draft;
use crate::store::health::{StoredAnswers, StoredConsent};
use crate::store::studio::Studio;
use crate::store::visits::{Purpose, Visit};
use crate::store::{Connection, Stored, Tx, audit, clients, drafts, health, visits};

/// A time that somebody chose: when, and with whom.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Choice {
    /// When it begins.
    pub starts_at: OffsetDateTime,
    /// With whom.
    pub practitioner: PractitionerId,
}

impl Choice {
    /// Of a time on offer.
    pub fn of(time: &FreeTime<'_>) -> Self {
        Self { starts_at: time.starts_at(), practitioner: time.practitioner.clone() }
    }

    /// As a form carries it.
    pub fn text(&self) -> String {
        format!("{}.{}", self.starts_at.unix_timestamp(), self.practitioner)
    }

    /// Reads [`Self::text`] back.
    pub fn parse(text: &str) -> Option<Self> {
        let (when, whom) = text.split_once('.')?;
        let starts_at = OffsetDateTime::from_unix_timestamp(when.parse().ok()?).ok()?;
        Some(Self { starts_at, practitioner: PractitionerId::parse(whom).ok()? })
    }
}

/// The times of a booking: the treatment, with the skin test before it where one is needed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wanted {
    /// The skin test.
    pub test: Option<Choice>,
    /// The treatment.
    pub treatment: Choice,
}

/// How many bookings one browser may hold times for at once; an older one gives its times back.
const MOST_HELD: usize = 2;

/// Who begins a booking.
pub struct Beginner<'a> {
    /// The hash of her browser's token.
    pub owner_hash: &'a str,
    /// Herself, when she is signed in.
    pub client: Option<&'a ClientId>,
}

/// Begins a booking and holds its times. `None` when one of them is no longer free: then nothing is held.
///
/// # Errors
/// When the database can't.
pub async fn begin(
    app: &App,
    studio: &Studio,
    service: &Service,
    who: Beginner<'_>,
    wanted: &Wanted,
    between: Between,
) -> Stored<Option<DraftId>> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    visits::expire_holds(&mut tx, now).await?;
    release_older(&mut tx, who.owner_hash, now).await?;
    let draft = Draft {
        id: DraftId::from_random(app.random.id()),
        service: service.id.clone(),
        client: who.client.cloned(),
        booked: false,
        details: None,
        answers: "{}".to_owned(),
        sections: "[]".to_owned(),
        consent: None,
    };
    drafts::insert(&mut tx, &draft, who.owner_hash, now).await?;
    if !hold(app, &mut tx, studio, service, &draft.id, wanted, between).await? {
        return Ok(None);
    }
    tx.commit().await?;
    Ok(Some(draft.id))
}

async fn release_older(tx: &mut Tx, owner_hash: &str, now: OffsetDateTime) -> Stored<()> {
    let held = drafts::holding(tx, owner_hash).await?;
    for draft in held.iter().skip(MOST_HELD - 1) {
        release(tx, draft, now).await?;
    }
    Ok(())
}

async fn release(tx: &mut Tx, draft: &DraftId, now: OffsetDateTime) -> Stored<()> {
    for mut visit in visits::of_draft(tx, draft).await? {
        if let Ok(released) = visit.state.release() {
            visit.state = released;
            visit.hold_until = None;
            visits::update(tx, &visit, now).await?;
        }
    }
    Ok(())
}

/// Puts visits on hold for a booking, if their times are free and fit each other.
async fn hold(
    app: &App,
    tx: &mut Tx,
    studio: &Studio,
    service: &Service,
    draft: &DraftId,
    wanted: &Wanted,
    between: Between,
) -> Stored<bool> {
    let now = app.clock.now();
    let diary = Diary::load(tx, studio, service, now, None).await?;
    let Some((test, treatment)) = fits(&diary, wanted, between) else { return Ok(false) };
    let hold_until = Some(now + Duration::minutes(studio.hold_minutes));
    let visit = |purpose, spot: Spot, paired_test| Visit {
        id: VisitId::from_random(app.random.id()),
        purpose,
        state: VisitState::Held,
        service: service.id.clone(),
        practitioner: spot.practitioner,
        room: spot.room,
        client: None,
        draft: Some(draft.clone()),
        paired_test,
        starts_at: spot.starts_at,
        ends_at: spot.ends_at,
        busy_until: spot.busy_until,
        civil: spot.civil,
        zone: studio.zone.name().to_owned(),
        hold_until,
        price_minor: if purpose == Purpose::Treatment { service.price_minor } else { 0 },
        currency: studio.currency.as_str().to_owned(),
        sequence: 0,
    };
    let test = test.map(|spot| visit(Purpose::SkinTest, spot, None));
    let treatment = visit(Purpose::Treatment, treatment, test.as_ref().map(|test| test.id.clone()));
    for visit in test.iter().chain([&treatment]) {
        match visits::insert(tx, visit, now).await {
            Ok(()) => {}
            // The schema has the last word on overlaps.
            Err(error) if error.is_overlap() => return Ok(false),
            Err(error) => return Err(error),
        }
    }
    Ok(true)
}

/// Where and when a visit lies.
pub(super) struct Spot {
    pub(super) practitioner: PractitionerId,
    pub(super) room: crate::domain::ids::RoomId,
    pub(super) starts_at: OffsetDateTime,
    pub(super) ends_at: OffsetDateTime,
    pub(super) busy_until: OffsetDateTime,
    pub(super) civil: time::PrimitiveDateTime,
}

impl Spot {
    pub(super) fn of(time: &FreeTime<'_>) -> Option<Self> {
        Some(Self {
            practitioner: time.practitioner.clone(),
            room: time.room?.clone(),
            starts_at: time.starts_at(),
            ends_at: time.ends_at(),
            busy_until: time.chair_free_at(),
            civil: time.civil,
        })
    }
}

fn fits(diary: &Diary, wanted: &Wanted, between: Between) -> Option<(Option<Spot>, Spot)> {
    diary.search(diary.service, between, |search| {
        let treatment = still_free(search, wanted.treatment.starts_at, &wanted.treatment.practitioner)?;
        let Some(test) = &wanted.test else { return Some((None, Spot::of(&treatment)?)) };
        diary.search(diary.test, Between::default(), |search| {
            let test = still_free(search, test.starts_at, &test.practitioner)?;
            if diary.pair.fits(&test, &treatment) {
                Some((Some(Spot::of(&test)?), Spot::of(&treatment)?))
            } else {
                None
            }
        })
    })
}

/// How the held times of a booking stand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Held {
    /// Until then.
    Until(OffsetDateTime),
    /// No longer, and somebody else has one of them or it has passed.
    Gone,
}

/// Keeps the times of a booking for another while: those that are held are renewed, those whose hold ran out are taken
/// again if they are still free.
///
/// # Errors
/// When the database can't.
pub async fn keep(app: &App, studio: &Studio, service: &Service, draft: &DraftId, between: Between) -> Stored<Held> {
    let now = app.clock.now();
    let until = now + Duration::minutes(studio.hold_minutes);
    let mut tx = app.db.write().await?;
    let held = visits::of_draft(&mut tx, draft).await?;
    let running = !held.is_empty() && held.iter().all(|visit| visit.hold_until.is_some_and(|end| end > now));
    if running {
        for mut visit in held {
            visit.hold_until = Some(until);
            visits::update(&mut tx, &visit, now).await?;
        }
        tx.commit().await?;
        return Ok(Held::Until(until));
    }
    let Some(wanted) = last_wanted(&mut tx, draft).await? else { return Ok(Held::Gone) };
    visits::expire_holds(&mut tx, now).await?;
    release(&mut tx, draft, now).await?;
    let again = hold(app, &mut tx, studio, service, draft, &wanted, between).await?;
    if again {
        tx.commit().await?;
        Ok(Held::Until(until))
    } else {
        Ok(Held::Gone)
    }
}

/// The times that a booking was last held for.
///
/// # Errors
/// When the database can't.
pub async fn last_wanted(c: &mut Connection, draft: &DraftId) -> Stored<Option<Wanted>> {
    let all = visits::ever_of_draft(c, draft).await?;
    let choice = |visit: &Visit| Choice { starts_at: visit.starts_at, practitioner: visit.practitioner.clone() };
    let Some(treatment) = all.iter().find(|visit| visit.purpose == Purpose::Treatment) else { return Ok(None) };
    let test = all.iter().find(|visit| Some(&visit.id) == treatment.paired_test.as_ref());
    Ok(Some(Wanted { test: test.map(choice), treatment: choice(treatment) }))
}

/// Holds other times for a booking, and gives the ones before back.
///
/// # Errors
/// When the database can't.
pub async fn choose_again(
    app: &App,
    studio: &Studio,
    service: &Service,
    draft: &DraftId,
    wanted: &Wanted,
    between: Between,
) -> Stored<bool> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    visits::expire_holds(&mut tx, now).await?;
    release(&mut tx, draft, now).await?;
    let held = hold(app, &mut tx, studio, service, draft, wanted, between).await?;
    if held {
        tx.commit().await?;
    }
    Ok(held)
}

/// Everything that a booking needs besides its times.
pub struct Complete {
    /// Who books, as she gave it; of a signed-in client, as it is known.
    pub person: Person,
    /// Her answers.
    pub answers: AnswerSet,
    /// What she signed.
    pub signed: Signed,
    /// The version of the text that she signed.
    pub text_version: u32,
    /// Whether somebody has to talk to her before she is treated, so that the audit shows it was known.
    pub verdict: &'static str,
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
}

/// Books: client, answers, consent and visits in one transaction, or nothing of it.
///
/// # Errors
/// When the database can't.
pub async fn book(
    app: &App,
    studio: &Studio,
    service: &Service,
    draft: &Draft,
    complete: Complete,
    between: Between,
) -> Stored<Booked> {
    if keep(app, studio, service, &draft.id, between).await? == Held::Gone {
        return Ok(Booked::TimeGone);
    }
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let client = find_or_add(app, &mut tx, complete.person, now).await?;
    let given = StoredAnswers {
        id: AnswersId::from_random(app.random.id()),
        set: complete.answers,
        given_by: "client".to_owned(),
        given_at: now,
    };
    health::add_answers(&mut tx, &client.id, &given).await?;
    let mut booked = Vec::new();
    for mut visit in visits::of_draft(&mut tx, &draft.id).await? {
        let Some(end) = visit.hold_until else { return Ok(Booked::TimeGone) };
        let Ok(state) = visit.state.book(now, end) else { return Ok(Booked::TimeGone) };
        visit.state = state;
        visit.hold_until = None;
        visit.client = Some(client.id.clone());
        visits::update(&mut tx, &visit, now).await?;
        booked.push(visit.id);
    }
    let consent = StoredConsent {
        id: complete.signed.id.clone(),
        client: client.id.clone(),
        visit: booked.last().cloned(),
        text_version: complete.text_version,
        answers: Some(given.id),
        record: ConsentRecord::Signed(Box::new(complete.signed)),
        given_at: now,
    };
    health::add_consent(&mut tx, &consent).await?;
    drafts::booked(&mut tx, &draft.id, now).await?;
    let actor = draft.client.clone().map_or(Actor::Visitor, Actor::Client);
    for visit in &booked {
        let event = Event {
            action: "visit.booked",
            client: Some(&client.id),
            object: visit.as_str(),
            detail: complete.verdict,
        };
        audit::append(&mut tx, &actor, event, now).await?;
    }
    enqueue(app, &mut tx, &client.mail, &Pending::Booked { visits: booked }, now).await?;
    tx.commit().await?;
    Ok(Booked::Done)
}

/// The client whose mail, name and birth date are the ones given, or a new one. Nobody is told which.
async fn find_or_add(app: &App, tx: &mut Tx, person: Person, now: OffsetDateTime) -> Stored<Client> {
    let (name, mail, phone, born) = match person {
        Person::Known(id) => {
            let known = clients::get(tx, &id).await?;
            return known.ok_or_else(|| crate::store::types::impossible("draft", "client_id", id.as_str()));
        }
        Person::Given { name, mail, phone, born } => (name, mail, phone, born),
    };
    let same_name = |other: &PersonName| other.as_str().to_lowercase() == name.as_str().to_lowercase();
    let known =
        clients::by_mail(tx, &mail).await?.into_iter().find(|client| client.born == born && same_name(&client.name));
    if let Some(mut client) = known {
        if client.phone != phone {
            clients::update_contact(tx, &client.id, &phone).await?;
            client.phone = phone;
        }
        return Ok(client);
    }
    let client = Client { id: ClientId::from_random(app.random.id()), name, mail, phone, born };
    clients::insert(tx, &client, now).await?;
    let event = Event { action: "client.added", client: Some(&client.id), ..Event::default() };
    audit::append(tx, &Actor::Client(client.id.clone()), event, now).await?;
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
pub async fn products_of(c: &mut Connection, service: &Service) -> Stored<BTreeSet<crate::domain::ids::ProductId>> {
    Ok(crate::store::catalogue::tests_for(c, &service.id).await?.into_iter().map(|product| product.id).collect())
}
