//! Other hours on a day, and blocks.

use time::{Date, OffsetDateTime};

use super::wishes;
use crate::app::App;
use crate::domain::hours::DayHours;
use crate::domain::ids::{BlockId, DayHoursId, PractitionerId};
use crate::domain::role::{Actor, Member, Role};
use crate::store::audit::Event;
use crate::store::calendar::{self, Block, Blocked, OtherHours};
use crate::store::{Connection, Stored, audit, practitioners, visits};

/// Sets the hours of somebody, or cuts those of everybody, on one day. What is booked stays booked.
///
/// # Errors
/// When the database can't.
pub async fn set_other_hours(
    app: &App,
    actor: &Actor,
    practitioner: Option<PractitionerId>,
    day: Date,
    hours: DayHours,
    reason: String,
) -> Stored<()> {
    let now = app.clock.now();
    let id = DayHoursId::from_random(app.random.id());
    let new = OtherHours { id, practitioner, day, hours, reason };
    let mut tx = app.db.write().await?;
    calendar::set_other_hours(&mut tx, &new).await?;
    note(&mut tx, actor, "other-hours.set", &new, now).await?;
    tx.commit().await
}

/// The usual hours hold again on a day. `false` when they do already, or the day has passed.
///
/// # Errors
/// When the database can't.
pub async fn remove_other_hours(app: &App, actor: &Actor, id: &DayHoursId, today: Date) -> Stored<bool> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let old = calendar::other_hours(&mut tx, today).await?.into_iter().find(|one| one.id == *id);
    let Some(old) = old else { return Ok(false) };
    calendar::remove_other_hours(&mut tx, id).await?;
    note(&mut tx, actor, "other-hours.removed", &old, now).await?;
    tx.commit().await?;
    Ok(true)
}

async fn note(
    c: &mut Connection,
    actor: &Actor,
    action: &'static str,
    other: &OtherHours,
    now: OffsetDateTime,
) -> Stored<()> {
    let who = match &other.practitioner {
        Some(id) => practitioners::get(c, id).await?.map(|p| p.name).unwrap_or_default(),
        None => "the studio".to_owned(),
    };
    let hours = if other.hours.spans().is_empty() { "closed".to_owned() } else { other.hours.to_string() };
    let detail = format!("{who}: {}, {hours}", other.day);
    audit::append(c, actor, Event { action, object: other.id.as_str(), detail: &detail, ..Event::default() }, now).await
}

/// Whether a member may arrange this practitioner's day: the owner everybody's, a practitioner her own.
pub fn may_arrange(member: &Member, practitioner: &PractitionerId) -> bool {
    member.role == Role::Owner || member.practitioner.as_ref() == Some(practitioner)
}

fn may_block(member: &Member, what: &Blocked) -> bool {
    match what {
        Blocked::Practitioner(id) => may_arrange(member, id),
        Blocked::Room(_) => member.role == Role::Owner,
    }
}

/// How blocking ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Blocking {
    /// It is blocked.
    Done,
    /// A visit is booked or held there.
    Taken,
    /// Not hers to block.
    NotHers,
}

/// Blocks a stretch.
///
/// # Errors
/// When the database can't.
pub async fn block(
    app: &App,
    member: &Member,
    what: Blocked,
    (starts_at, ends_at): (OffsetDateTime, OffsetDateTime),
    reason: String,
) -> Stored<Blocking> {
    if !may_block(member, &what) {
        return Ok(Blocking::NotHers);
    }
    let now = app.clock.now();
    let id = BlockId::from_random(app.random.id());
    let block = Block { id, what, starts_at, ends_at, reason, made_by: member.name.clone() };
    let mut tx = app.db.write().await?;
    visits::expire_holds(&mut tx, now).await?;
    match calendar::add_block(&mut tx, &block, now).await {
        Ok(()) => {}
        Err(error) if error.is_overlap() => return Ok(Blocking::Taken),
        Err(error) => return Err(error),
    }
    log(&mut tx, member, "block.added", &block, now).await?;
    tx.commit().await?;
    Ok(Blocking::Done)
}

/// Takes a block away. Gives it, or nothing when it is gone or not hers.
///
/// # Errors
/// When the database can't.
pub async fn unblock(app: &App, member: &Member, id: &BlockId) -> Stored<Option<Block>> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let block = calendar::block(&mut tx, id).await?.filter(|block| may_block(member, &block.what));
    let Some(block) = block else { return Ok(None) };
    calendar::remove_block(&mut tx, id).await?;
    log(&mut tx, member, "block.removed", &block, now).await?;
    wishes::opened(app, &mut tx, (block.starts_at, block.ends_at), now).await?;
    tx.commit().await?;
    Ok(Some(block))
}

async fn log(
    c: &mut Connection,
    member: &Member,
    action: &'static str,
    block: &Block,
    now: OffsetDateTime,
) -> Stored<()> {
    let detail = format!("{} to {}", block.starts_at, block.ends_at);
    let event = Event { action, object: block.id.as_str(), detail: &detail, ..Event::default() };
    audit::append(c, &Actor::Member(member.clone()), event, now).await
}
