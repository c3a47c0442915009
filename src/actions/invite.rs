//! Clients are asked back: who may be, the letters, and what their links do.

use std::collections::HashSet;

use time::{Date, Duration, OffsetDateTime};

use super::case::Barred;
use super::{Pending, diary, enqueue, people};
use crate::app::App;
use crate::domain::consent::Tick;
use crate::domain::ids::{ClientId, InvitationId, ServiceId};
use crate::domain::role::{Actor, Member};
use crate::store::audit::Event;
use crate::store::invitations::{self, Invitation, Link};
use crate::store::retouch::lines;
use crate::store::studio::Studio;
use crate::store::types::{impossible, sha256_hex};
use crate::store::{Connection, Stored, audit, catalogue, clients, health, readable, retouch, studio};

/// How long a letter's link leads to the free times. It ends the letters for good.
pub const LINK_LASTS: Duration = Duration::weeks(4);

/// Why a client gets no letter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotInvited {
    /// She has not said that she wants such letters, or took it back.
    NotWanted,
    /// She comes already.
    Booked,
    /// A reaction of hers is not settled.
    Unsettled,
    /// What did her harm leaves nothing to give her the service with.
    Blocked,
    /// Her answers forbid the service, and no day ends that.
    Forbidden,
    /// Her answers can't be read.
    Unread,
    /// She was invited on this day, which is not long ago.
    Lately(Date),
    /// She gets one already, for another service.
    Twice,
    /// The service is no longer offered, or nobody may give it.
    NotOffered,
}

/// One line of the list, and whether she gets a letter.
#[derive(Debug, Clone)]
pub struct Candidate {
    /// Who.
    pub client: ClientId,
    /// Her name.
    pub name: String,
    /// For what.
    pub service: ServiceId,
    /// What that is called.
    pub service_name: String,
    /// When her window opens.
    pub opens: Date,
    /// Whether she gets one.
    pub fit: Result<(), NotInvited>,
}

/// Looks at lines of the list, each once and in this order. One that is not in the list any more is left out.
///
/// # Errors
/// When the database can't.
pub async fn look(
    c: &mut Connection,
    studio: &Studio,
    now: OffsetDateTime,
    wanted: &[(ClientId, ServiceId)],
) -> Stored<Vec<Candidate>> {
    let services = catalogue::services(c).await?;
    let ids: Vec<&ClientId> = wanted.iter().map(|(client, _)| client).collect();
    let (names, may) = (retouch::names(c, &ids).await?, retouch::may_invite(c, &ids).await?);
    let (booked, told) = (retouch::booked(c, &ids, now).await?, invitations::told(c, &ids).await?);
    let (peace, today) = (Duration::days(studio.invite_again_days), studio.zone.date_at(now));
    let (barred, offered) = (Barred::load(c, studio, today, &ids).await?, diary::offered(c, today).await?);
    let (mut found, mut seen, mut chosen) = (Vec::new(), HashSet::new(), HashSet::new());
    for (client, id) in wanted.iter().filter(|one| seen.insert(*one)) {
        let Some(spot) = lines::get(c, client, id).await? else { continue };
        let Some(service) = services.iter().find(|service| service.id == *id) else { continue };
        let last = told.get(client).map(|(_, at)| *at).filter(|at| now - *at < peace);
        let fit = if !may.contains(client) {
            Err(NotInvited::NotWanted)
        } else if booked.contains_key(client) {
            Err(NotInvited::Booked)
        } else if barred.unsettled(client) {
            Err(NotInvited::Unsettled)
        } else if barred.stops(client, service) {
            Err(NotInvited::Blocked)
        } else if offered.iter().all(|given| given.id != *id) {
            Err(NotInvited::NotOffered)
        } else if let Some(at) = last {
            Err(NotInvited::Lately(studio.zone.date_at(at)))
        } else if chosen.contains(client) {
            Err(NotInvited::Twice)
        } else {
            match readable(barred.forbidden(c, client, service).await)? {
                Ok(false) => Ok(()),
                Ok(true) => Err(NotInvited::Forbidden),
                Err(_) => Err(NotInvited::Unread),
            }
        };
        if fit.is_ok() {
            chosen.insert(client);
        }
        found.push(Candidate {
            client: client.clone(),
            name: names.get(client).cloned().unwrap_or_default(),
            service: id.clone(),
            service_name: service.name.clone(),
            opens: spot.opens,
            fit,
        });
    }
    Ok(found)
}

/// Writes to those of these who may be invited at this moment: how many. Two who press at once write to nobody twice,
/// since the second looks after the first has written.
///
/// # Errors
/// When the database can't.
pub async fn send(app: &App, member: &Member, wanted: &[(ClientId, ServiceId)]) -> Stored<usize> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let studio = studio::get(&mut tx).await?.ok_or_else(|| impossible("studio", "id", "1"))?;
    let mut sent = 0;
    for one in look(&mut tx, &studio, now, wanted).await?.into_iter().filter(|one| one.fit.is_ok()) {
        let Some(person) = clients::get(&mut tx, &one.client).await? else { continue };
        let id = InvitationId::from_random(app.random.id());
        let invitation = Invitation { id: id.clone(), client: one.client, service: one.service, opens: one.opens };
        invitations::insert(&mut tx, &invitation, now).await?;
        enqueue(app, &mut tx, &person.mail, &Pending::Invitation { invitation: id.clone() }, now).await?;
        let event =
            Event { action: "invitation.written", client: Some(&invitation.client), object: id.as_str(), detail: "" };
        audit::append(&mut tx, &Actor::Member(member.clone()), event, now).await?;
        sent += 1;
    }
    tx.commit().await?;
    Ok(sent)
}

/// Whether a letter that waits may still leave: meanwhile she may have booked, taken her word back, reacted or answered
/// otherwise, or the last who gave the service may have left.
///
/// # Errors
/// When the database can't.
pub async fn still_wanted(c: &mut Connection, id: &InvitationId, now: OffsetDateTime) -> Stored<bool> {
    let Some(one) = invitations::get(c, id).await? else { return Ok(false) };
    let studio = studio::get(c).await?.ok_or_else(|| impossible("studio", "id", "1"))?;
    let (today, ids) = (studio.zone.date_at(now), [&one.client]);
    let offered = diary::offered(c, today).await?;
    let Some(service) = offered.iter().find(|service| service.id == one.service) else { return Ok(false) };
    let barred = Barred::load(c, &studio, today, &ids).await?;
    Ok(!barred.unsettled(&one.client)
        && !barred.stops(&one.client, service)
        && matches!(readable(barred.forbidden(c, &one.client, service).await)?, Ok(false))
        && retouch::may_invite(c, &ids).await?.contains(&one.client)
        && retouch::booked(c, &ids, now).await?.is_empty())
}

/// Makes the token of a letter that is being written, and stores its hash.
///
/// # Errors
/// When the database can't.
pub async fn mint(app: &App, id: &InvitationId) -> Stored<String> {
    let token = app.random.token();
    let mut tx = app.db.write().await?;
    invitations::add_link(&mut tx, &sha256_hex(&token), id, app.clock.now()).await?;
    tx.commit().await?;
    Ok(token)
}

/// The link and the letter behind a token.
///
/// # Errors
/// When the database can't.
pub async fn find(c: &mut Connection, token: &str) -> Stored<Option<(Link, Invitation)>> {
    let Some(link) = invitations::link(c, &sha256_hex(token)).await? else { return Ok(None) };
    Ok(invitations::get(c, &link.invitation).await?.map(|invitation| (link, invitation)))
}

/// A wrong date of birth was given with a link.
///
/// # Errors
/// When the database can't.
pub async fn wrong(app: &App, token: &str, invitation: &InvitationId) -> Stored<()> {
    let mut tx = app.db.write().await?;
    invitations::tried(&mut tx, &sha256_hex(token)).await?;
    let event = Event { action: "invitation.not-opened", object: invitation.as_str(), ..Event::default() };
    audit::append(&mut tx, &Actor::Visitor, event, app.clock.now()).await?;
    tx.commit().await
}

/// Uses a link up and signs her in, as a sign-in link does: the new session's token. `None` when somebody was quicker.
///
/// # Errors
/// When the database can't.
pub async fn open(app: &App, token: &str, client: &ClientId, old_hash: &str, device: &str) -> Stored<Option<String>> {
    let mut tx = app.db.write().await?;
    if !invitations::use_link(&mut tx, &sha256_hex(token), app.clock.now()).await? {
        return Ok(None);
    }
    tx.commit().await?;
    let link = people::mint_link(app, client, None).await?;
    let one_time = link.rsplit('/').next().unwrap_or_default();
    Ok(people::use_link(app, one_time, old_hash, device).await?.map(|(session, _)| session))
}

/// Ends these letters for a client, as if she had taken the agreement back on her own page. Ended is ended: a second
/// time changes nothing.
///
/// # Errors
/// When the database can't.
pub async fn stop(app: &App, client: &ClientId) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    if !retouch::may_invite(&mut tx, &[client]).await?.contains(client) {
        return Ok(());
    }
    health::withdraw(&mut tx, client, Tick::Marketing, now).await?;
    let detail = Tick::Marketing.as_str();
    let event = Event { action: "consent.withdrawn", client: Some(client), object: "", detail };
    audit::append(&mut tx, &Actor::Client(client.clone()), event, now).await?;
    tx.commit().await
}
