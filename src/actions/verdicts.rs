//! A booked visit whose verdict changes afterwards: kept, shown to the practitioner, and told to the client once.

use time::OffsetDateTime;

use super::case::Known;
use super::{Pending, enqueue};
use crate::app::App;
use crate::domain::readiness::Readiness;
use crate::domain::role::Actor;
use crate::domain::verdict::Reason;
use crate::domain::visit::VisitState;
use crate::store::audit::Event;
use crate::store::studio::{self, Studio};
use crate::store::verdicts::{self, Judged};
use crate::store::visits::{Purpose, Visit};
use crate::store::{Connection, Stored, Tx, audit, clients, readable, visits};

/// Its client is asked for the reading by mails of their own.
const ASKED_ALREADY: &str = "skin_test_not_read";

/// Keeps what the rules say of a visit in the moment in which it is booked.
///
/// # Errors
/// When the database can't.
pub async fn booked(c: &mut Connection, studio: &Studio, visit: &Visit, now: OffsetDateTime) -> Stored<()> {
    if visit.purpose == Purpose::Treatment {
        let readiness = judge(c, studio, visit, now).await?;
        verdicts::keep(c, &visit.id, &first(readiness, now)).await?;
    }
    Ok(())
}

async fn judge(c: &mut Connection, studio: &Studio, visit: &Visit, now: OffsetDateTime) -> Stored<Readiness> {
    Ok(Known::of_visit(c, studio, visit).await?.readiness(visit.starts_at.max(now), now))
}

fn first(readiness: Readiness, now: OffsetDateTime) -> Judged {
    Judged { booked: readiness.clone(), latest: readiness, judged_at: now, changed_at: None }
}

/// Judges every booked visit anew. One that stands worse than it did is told: how many were.
///
/// # Errors
/// When the database can't.
pub async fn watch(app: &App) -> Stored<usize> {
    let now = app.clock.now();
    let mut c = app.db.read().await?;
    let Some(studio) = studio::get(&mut c).await? else { return Ok(0) };
    let mut differ = Vec::new();
    for id in verdicts::to_watch(&mut c, now).await? {
        let Some(visit) = visits::get(&mut c, &id).await? else { continue };
        // One record that can't be read doesn't keep the others from being looked at.
        if readable(differs(&mut c, &studio, &visit, now).await)?.unwrap_or(false) {
            differ.push(id);
        }
    }
    drop(c);
    let mut told = 0;
    for id in differ {
        let mut tx = app.db.write().await?;
        let Some(visit) = visits::get(&mut tx, &id).await? else { continue };
        if let Ok(mailed) = readable(settle(app, &mut tx, &studio, &visit, now).await)? {
            tx.commit().await?;
            told += usize::from(mailed);
        }
    }
    Ok(told)
}

async fn differs(c: &mut Connection, studio: &Studio, visit: &Visit, now: OffsetDateTime) -> Stored<bool> {
    let readiness = judge(c, studio, visit, now).await?;
    let known = verdicts::of_visit(c, &visit.id).await?;
    Ok(known.is_none_or(|known| !known.latest.says_the_same_as(&readiness)))
}

/// Judges one booked treatment in the transaction that keeps it, and tells of it when something new stands against it.
///
/// # Errors
/// When the database can't.
pub(super) async fn settle(
    app: &App,
    tx: &mut Tx,
    studio: &Studio,
    visit: &Visit,
    now: OffsetDateTime,
) -> Stored<bool> {
    if visit.state != VisitState::Booked || visit.purpose != Purpose::Treatment {
        return Ok(false);
    }
    let id = &visit.id;
    let latest = judge(tx, studio, visit, now).await?;
    let Some(known) = verdicts::of_visit(tx, id).await? else {
        verdicts::keep(tx, id, &first(latest, now)).await?;
        return Ok(false);
    };
    let new: Vec<&Reason> = latest.against_since(&known.latest).collect();
    let worse = latest.against_since(&known.booked).next().is_some();
    let tell = new.iter().any(|reason| reason.rule != ASKED_ALREADY);
    let changed_at = if !worse {
        None
    } else if new.is_empty() {
        known.changed_at.or(Some(now))
    } else {
        Some(now)
    };
    let client = visit.client.clone();
    if !new.is_empty() {
        let event = Event { action: "visit.verdict-changed", client: client.as_ref(), object: id.as_str(), detail: "" };
        audit::append(tx, &Actor::Program, event, now).await?;
    }
    let person = match &client {
        Some(client) if tell => clients::get(tx, client).await?,
        _ => None,
    };
    if let Some(person) = &person {
        enqueue(app, tx, &person.mail, &Pending::VerdictChanged { visit: id.clone() }, now).await?;
    }
    verdicts::keep(tx, id, &Judged { latest, judged_at: now, changed_at, ..known }).await?;
    Ok(person.is_some())
}
