//! A client moves or cancels her own visit.

use time::{Duration, OffsetDateTime};

use super::booking::{Choice, Spot};
use super::case::Known;
use super::diary::{Between, Diary};
use super::{Pending, enqueue, verdicts, wishes};
use crate::app::App;
use crate::domain::ids::{ClientId, VisitId};
use crate::domain::role::Actor;
use crate::domain::schedule::{FreeTime, Occupation, still_free};
use crate::domain::visit::{VisitState, may_client_change};
use crate::store::audit::Event;
use crate::store::catalogue::Service;
use crate::store::studio::Studio;
use crate::store::types::impossible;
use crate::store::visits::{Purpose, Visit};
use crate::store::{Connection, Stored, Tx, audit, clients, readable, visits};

/// How a change ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Change {
    /// It is done.
    Done,
    /// It is too late for her to do it by herself, or nothing is left to change.
    TooLate,
    /// The new time is not free: the old one stands.
    Taken,
}

/// A visit of hers with those that it belongs with: a treatment's skin test, or the treatments that a skin test is for.
pub struct Own {
    /// The visit.
    pub visit: Visit,
    /// The others, as long as they are still to come.
    pub partners: Vec<Visit>,
    /// Whether another treatment that is still to come needs the same skin test.
    pub test_is_shared: bool,
}

impl Own {
    /// Loads a visit, if it is hers.
    ///
    /// # Errors
    /// When the database can't.
    pub async fn load(c: &mut Connection, client: &ClientId, id: &VisitId) -> Stored<Option<Self>> {
        let all = visits::of_client(c, client).await?;
        let Some(visit) = all.iter().find(|visit| visit.id == *id).cloned() else { return Ok(None) };
        let belongs = |other: &&Visit| {
            other.paired_test.as_ref() == Some(&visit.id) || visit.paired_test.as_ref() == Some(&other.id)
        };
        let booked = |other: &&Visit| other.state == VisitState::Booked;
        let partners = all.iter().filter(booked).filter(belongs).cloned().collect();
        let shares = |other: &Visit| other.id != visit.id && other.paired_test == visit.paired_test;
        let test_is_shared = visit.paired_test.is_some() && all.iter().filter(booked).any(shares);
        Ok(Some(Self { visit, partners, test_is_shared }))
    }

    /// The visits that make no sense without this one, and are cancelled with it.
    pub fn go_along(&self) -> &[Visit] {
        if self.test_is_shared { &[] } else { &self.partners }
    }

    /// What is known of her for it.
    ///
    /// # Errors
    /// When the database can't.
    pub async fn known(&self, c: &mut Connection, studio: &Studio) -> Stored<Known> {
        let known = Known::load(c, studio, self.visit.client.as_ref(), &self.visit.service).await?;
        Ok(known.leave_out(&self.visit.id))
    }

    /// Whether it may start at a moment, as far as her skin tests go.
    pub fn fits_tests(&self, known: &Known, at: OffsetDateTime, now: OffsetDateTime) -> bool {
        match self.visit.purpose {
            Purpose::Treatment => !known.tests_forbid_move(self.visit.starts_at, at, now),
            Purpose::SkinTest => known.may_test_at(at, now),
        }
    }

    /// The days to which it may be moved.
    pub fn between(&self, known: &Known, now: OffsetDateTime) -> Between {
        match self.visit.purpose {
            Purpose::Treatment => known.between(now),
            Purpose::SkinTest => known.test_between(now),
        }
    }

    /// Whether she may still change it by herself.
    pub fn may_change(&self, now: OffsetDateTime, studio: &Studio) -> bool {
        let hours = u16::try_from(studio.cancel_limit_hours).unwrap_or(u16::MAX);
        self.visit.state == VisitState::Booked && may_client_change(now, self.visit.starts_at, hours)
    }

    /// How long it takes, in the diary's terms.
    pub fn length(&self, diary: &Diary) -> Occupation {
        match self.visit.purpose {
            Purpose::Treatment => diary.service,
            Purpose::SkinTest => diary.test,
        }
    }

    /// Whether another time still fits the visits that it belongs with: the test first, and long enough before.
    pub fn fits_partners(&self, diary: &Diary, time: &FreeTime<'_>) -> bool {
        self.fits_partners_at(diary, time.starts_at(), time.ends_at())
    }

    /// The same of a start and an end.
    pub fn fits_partners_at(&self, diary: &Diary, starts_at: OffsetDateTime, ends_at: OffsetDateTime) -> bool {
        let floor = Duration::hours(i64::from(diary.pair.floor_hours));
        let valid = Duration::days(i64::from(diary.pair.valid_days));
        self.partners.iter().all(|partner| match self.visit.purpose {
            Purpose::Treatment => starts_at >= partner.ends_at + floor && starts_at <= partner.starts_at + valid,
            Purpose::SkinTest => ends_at + floor <= partner.starts_at && starts_at + valid >= partner.starts_at,
        })
    }
}

/// Cancels a visit, and with it those that make no sense without it.
///
/// # Errors
/// When the database can't.
pub async fn cancel(app: &App, studio: &Studio, client: &ClientId, id: &VisitId) -> Stored<Change> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let Some(own) = Own::load(&mut tx, client, id).await? else { return Ok(Change::TooLate) };
    if !own.may_change(now, studio) {
        return Ok(Change::TooLate);
    }
    let along = own.go_along().to_vec();
    let actor = Actor::Client(client.clone());
    for visit in std::iter::once(own.visit).chain(along) {
        let Ok(state) = visit.state.cancel_by_client() else { continue };
        take_off(app, &mut tx, &actor, Visit { state, ..visit }, "", now).await?;
    }
    tx.commit().await?;
    Ok(Change::Done)
}

/// Stores that a visit is cancelled, tells the client, and lets those know who wished for its time.
///
/// # Errors
/// When the database can't.
pub(super) async fn take_off(
    app: &App,
    tx: &mut Tx,
    actor: &Actor,
    mut visit: Visit,
    detail: &str,
    now: OffsetDateTime,
) -> Stored<()> {
    visit.sequence += 1;
    visits::update(tx, &visit, now).await?;
    let client = visit.client.as_ref();
    let event = Event { action: "visit.cancelled", client, object: visit.id.as_str(), detail };
    audit::append(tx, actor, event, now).await?;
    let person = match client {
        Some(client) => clients::get(tx, client).await?,
        None => None,
    };
    if let Some(person) = person {
        enqueue(app, tx, &person.mail, &Pending::Cancelled { visit: visit.id.clone() }, now).await?;
    }
    wishes::visit_is_off(app, tx, &visit.id, now).await?;
    wishes::opened(app, tx, (visit.starts_at, visit.busy_until), now).await
}

/// Moves a visit to another time. The old time is given up only with the new one taken, in one step.
///
/// # Errors
/// When the database can't.
pub async fn relocate(
    app: &App,
    studio: &Studio,
    service: &Service,
    client: &ClientId,
    id: &VisitId,
    to: &Choice,
) -> Stored<Change> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let Some(own) = Own::load(&mut tx, client, id).await? else { return Ok(Change::TooLate) };
    if !own.may_change(now, studio) {
        return Ok(Change::TooLate);
    }
    visits::expire_holds(&mut tx, now).await?;
    let day = studio.zone.date_at(to.starts_at);
    let diary = Diary::of_days(&mut tx, (studio, service), now, Some(id), (day, day)).await?;
    let known = own.known(&mut tx, studio).await?;
    let between = own.between(&known, now);
    let spot = diary.search(own.length(&diary), &between, |search| {
        let time = still_free(search, to.starts_at, &to.practitioner)?;
        let fits = own.fits_partners(&diary, &time) && own.fits_tests(&known, to.starts_at, now);
        if fits { Spot::of(&time) } else { None }
    });
    let Some(spot) = spot else { return Ok(Change::Taken) };
    let change = put_at(app, &mut tx, studio, &Actor::Client(client.clone()), own.visit, spot, now).await?;
    if change == Change::Done {
        tx.commit().await?;
    }
    Ok(change)
}

/// Puts a visit at another time, tells the client, judges what that changes, and lets those know who wished for the time
/// that it leaves. Nothing may be committed unless it is [`Change::Done`].
///
/// # Errors
/// When the database can't.
pub(super) async fn put_at(
    app: &App,
    tx: &mut Tx,
    studio: &Studio,
    actor: &Actor,
    mut visit: Visit,
    spot: Spot,
    now: OffsetDateTime,
) -> Stored<Change> {
    let Ok(state) = visit.state.move_to_other_time() else { return Ok(Change::TooLate) };
    let left = (visit.starts_at, visit.busy_until);
    visit.state = state;
    (visit.starts_at, visit.ends_at, visit.busy_until, visit.civil) =
        (spot.starts_at, spot.ends_at, spot.busy_until, spot.civil);
    (visit.practitioner, visit.room) = (spot.practitioner, spot.room);
    visit.zone = studio.zone.name().to_owned();
    visit.sequence += 1;
    match visits::update(tx, &visit, now).await {
        Ok(()) => {}
        Err(error) if error.is_overlap() => return Ok(Change::Taken),
        Err(error) => return Err(error),
    }
    let client = visit.client.clone().ok_or_else(|| impossible("visit", "client_id", visit.id.as_str()))?;
    let known = clients::get(tx, &client).await?;
    let known = known.ok_or_else(|| impossible("visit", "client_id", visit.id.as_str()))?;
    let event = Event { action: "visit.moved", client: Some(&client), object: visit.id.as_str(), detail: "" };
    audit::append(tx, actor, event, now).await?;
    enqueue(app, tx, &known.mail, &Pending::Moved { visit: visit.id.clone() }, now).await?;
    for other in visits::of_client(tx, &client).await? {
        if other.id == visit.id || other.paired_test.as_ref() == Some(&visit.id) {
            // A record that can't be read says nothing, and keeps nobody from another time.
            let _ = readable(verdicts::settle(app, tx, studio, &other, now).await)?;
        }
    }
    wishes::opened(app, tx, left, now).await?;
    Ok(Change::Done)
}
