//! A client asks to be erased: what may go goes at once, the rest is restricted until its time is over.

use time::{Date, OffsetDateTime};

use super::{Pending, enqueue, erasure};
use crate::app::App;
use crate::domain::consent::{Agreement, Tick};
use crate::domain::file::Purpose;
use crate::domain::ids::{ClientId, MailId};
use crate::domain::retention::{self, Fate, OnRequest};
use crate::domain::role::{Actor, Member};
use crate::store::audit::Event;
use crate::store::clients::Client;
use crate::store::erasure::{Ground, Part, erase, forget_letters};
use crate::store::files::StoredFile;
use crate::store::studio::Studio;
use crate::store::{Connection, Stored, audit, clients, files, health, restriction, retention as kept};

/// What is taken back with it, where she had agreed.
const TAKEN_BACK: [Tick; 3] = [Tick::RecordPhotos, Tick::PublicityPhotos, Tick::Marketing];

/// She asks; the owner sees it on her page.
///
/// # Errors
/// When the database can't.
pub async fn ask(app: &App, client: &ClientId) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    if restriction::ask(&mut tx, client, now).await? {
        let event = Event { action: "erasure.asked-for", client: Some(client), ..Event::default() };
        audit::append(&mut tx, &Actor::Client(client.clone()), event, now).await?;
    }
    tx.commit().await
}

/// She doesn't ask any more.
///
/// # Errors
/// When the database can't.
pub async fn unask(app: &App, client: &ClientId) -> Stored<()> {
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    if restriction::unask(&mut tx, client).await? {
        let event = Event { action: "erasure.not-asked-for", client: Some(client), ..Event::default() };
        audit::append(&mut tx, &Actor::Client(client.clone()), event, now).await?;
    }
    tx.commit().await
}

/// What becomes of her record if it is done now; nothing when there is no such client.
///
/// # Errors
/// When the file can't be read.
pub async fn answer(
    c: &mut Connection,
    studio: &Studio,
    client: &ClientId,
    now: OffsetDateTime,
) -> Stored<Option<OnRequest>> {
    let standing = kept::standing(c, Some(client), &studio.zone, now).await?;
    let terms = kept::terms(c).await?;
    let today = studio.zone.date_at(now);
    Ok(standing.first().map(|one| retention::on_request(&one.records, &terms, today)))
}

/// Does what she asks, and tells her. What is restricted already is left as it is. Gives what was done; nothing when there
/// is nobody to be erased.
///
/// # Errors
/// When the database can't.
pub async fn carry_out(app: &App, studio: &Studio, member: &Member, client: &ClientId) -> Stored<Option<OnRequest>> {
    let now = app.clock.now();
    let actor = Actor::Member(member.clone());
    let mut tx = app.db.write().await?;
    let Some(she) = clients::get(&mut tx, client).await? else { return Ok(None) };
    let Some(answer) = answer(&mut tx, studio, client, now).await? else { return Ok(None) };
    let letters = match answer {
        OnRequest::VisitAhead => return Ok(Some(answer)),
        OnRequest::Erase => {
            let ground = Ground { actor: &actor, object: "", detail: "on request" };
            let letters = erase(&mut tx, client, Part::Record, &ground, now).await?;
            enqueue(app, &mut tx, &she.mail, &Pending::Erased, now).await?;
            letters
        }
        OnRequest::Restrict(fate) => restrict(app, &mut tx, &actor, &she, fate, now).await?,
    };
    app.db.owe_scrub();
    tx.commit().await?;
    erasure::clear_up(app, &letters).await;
    Ok(Some(answer))
}

async fn restrict(
    app: &App,
    tx: &mut Connection,
    actor: &Actor,
    she: &Client,
    fate: Fate,
    now: OffsetDateTime,
) -> Stored<Vec<MailId>> {
    let client = &she.id;
    let ground = Ground { actor, object: "", detail: "on request" };
    let letters = lock_away(tx, &ground, client, matches!(fate, Fate::Blocked(_)), now).await?;
    let (to, detail) = match fate {
        Fate::Stays { to, .. } | Fate::Goes { kept_to: to, .. } => (Some(to), format!("on request; kept to {to}")),
        Fate::Blocked(_) => (None, "on request; held".to_owned()),
    };
    let event = Event { action: "record.restricted", client: Some(client), object: "", detail: &detail };
    audit::append(tx, actor, event, now).await?;
    let to = to.map(|day: Date| day.to_string());
    enqueue(app, tx, &she.mail, &Pending::Restricted { client: client.clone(), to }, now).await?;
    Ok(letters)
}

/// Restricts a record, and takes out what no claim rests on unless the record is held: then it stays as it is. Gives the
/// letters that went.
pub(super) async fn lock_away(
    tx: &mut Connection,
    ground: &Ground<'_>,
    client: &ClientId,
    held: bool,
    now: OffsetDateTime,
) -> Stored<Vec<MailId>> {
    let mut letters = Vec::new();
    if !held {
        let photo = |file: &StoredFile| matches!(file.purpose, Purpose::Before | Purpose::After);
        if files::of_client(tx, client).await?.iter().any(photo) {
            erase(tx, client, Part::Photos, ground, now).await?;
        }
        letters = forget_letters(tx, client).await?;
        restriction::forget_invitations(tx, client).await?;
    }
    for (tick, agreement) in health::agreements(tx, client).await? {
        if TAKEN_BACK.contains(&tick) && matches!(agreement, Agreement::Given { .. }) {
            health::withdraw(tx, client, tick, now).await?;
        }
    }
    restriction::unask(tx, client).await?;
    restriction::restrict(tx, client, now).await?;
    Ok(letters)
}
