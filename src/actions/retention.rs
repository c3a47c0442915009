//! How long records are kept, and what holds them longer.

use crate::app::App;
use crate::domain::ids::{ClientId, HoldId};
use crate::domain::retention::{Class, Term};
use crate::domain::role::{Actor, Member};
use crate::store::audit::Event;
use crate::store::holds::Hold;
use crate::store::retention::Version;
use crate::store::{Stored, audit, clients, holds, retention};

/// The owner gives a class another term. `false` when another version was written since she began.
///
/// # Errors
/// When the database can't.
pub async fn change(
    app: &App,
    member: &Member,
    class: Class,
    seen: u32,
    term: Term,
    basis: &str,
    reason: &str,
) -> Stored<bool> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let before = retention::newest(&mut tx, class).await?;
    if before.version != seen {
        return Ok(false);
    }
    let next = Version {
        version: before.version + 1,
        term,
        basis: basis.to_owned(),
        reason: reason.to_owned(),
        written_by: member.name.clone(),
        written_at: Some(now),
    };
    retention::add(&mut tx, class, &next, now).await?;
    let age = |term: Term| term.until_age.map_or_else(String::new, |age| format!(", minors to {age}"));
    let detail = format!(
        "{}: {} months{} → {} months{}",
        class.as_str(),
        before.term.months,
        age(before.term),
        term.months,
        age(term)
    );
    let event = Event { action: "retention.changed", client: None, object: class.as_str(), detail: &detail };
    audit::append(&mut tx, &Actor::Member(member.clone()), event, now).await?;
    tx.commit().await?;
    Ok(true)
}

/// Holds a client's records: nothing of hers leaves until it is lifted. `None` when there is no such client. The reason
/// stays out of the audit, since it may tell of somebody's health.
///
/// # Errors
/// When the database can't.
pub async fn hold(app: &App, member: &Member, client: &ClientId, why: &str) -> Stored<Option<HoldId>> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    if clients::even_restricted(&mut tx, client).await?.is_none() {
        return Ok(None);
    }
    let hold = Hold {
        id: HoldId::from_random(app.random.id()),
        client: client.clone(),
        why: why.to_owned(),
        set_by: member.name.clone(),
        set_at: now,
        lifted: None,
    };
    holds::set(&mut tx, &hold).await?;
    let event = Event { action: "hold.set", client: Some(client), object: hold.id.as_str(), detail: "" };
    audit::append(&mut tx, &Actor::Member(member.clone()), event, now).await?;
    tx.commit().await?;
    Ok(Some(hold.id))
}

/// Lifts a hold: whose it was, or `None` when none of that id is open.
///
/// # Errors
/// When the database can't.
pub async fn lift(app: &App, member: &Member, id: &HoldId, why: &str) -> Stored<Option<ClientId>> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let lifted = holds::lift(&mut tx, id, &member.name, why, now).await?;
    if let Some(client) = &lifted {
        let event = Event { action: "hold.lifted", client: Some(client), object: id.as_str(), detail: "" };
        audit::append(&mut tx, &Actor::Member(member.clone()), event, now).await?;
    }
    tx.commit().await?;
    Ok(lifted)
}
