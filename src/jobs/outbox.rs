//! Lets mail out: one letter a step, so that a test can drain it.

use time::{Duration, OffsetDateTime};

use crate::actions::{Pending, going_on, invite, people, steps, test_reports, wishes};
use crate::app::App;
use crate::documents::ics::{Calendar, Event, Method, Party, visit_at};
use crate::domain::catalogue::Area;
use crate::domain::checklist::ListName;
use crate::domain::ids::{AccountId, ClientId, DraftId, VisitId};
use crate::domain::role::News;
use crate::domain::visit::VisitState;
use crate::domain::zone::Zone;
use crate::language::Language;
use crate::mail::messages::{CalendarPart, Frame, Message};
use crate::mail::transport::{NotSent, Outgoing};
use crate::store::clients::Client;
use crate::store::drafts::{self, By};
use crate::store::outbox::{self, Due};
use crate::store::studio::Studio;
use crate::store::types::day;
use crate::store::{Connection, Stored, accounts, catalogue, clients, invitations, practitioners, studio, visits};
use crate::{t, tc, when};

/// What a step did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// A letter left.
    Sent,
    /// A letter didn't leave; it will be tried again, or was given up.
    Failed,
    /// A wish for links became one letter for each client whom it concerns, or none.
    Sorted,
    /// A letter had nothing to say any more, and was taken out.
    Withdrawn,
    /// Nothing is due.
    Empty,
}

/// After so many tries, almost six days with the gaps doubling, a letter is given up.
const MOST_TRIES: i64 = 14;

/// Sends the letter that is due next.
///
/// # Errors
/// When the database can't; the letter stays due.
pub async fn step(app: &App) -> Stored<Step> {
    let mut c = app.db.read().await?;
    let Some(due) = outbox::next(&mut c, app.clock.now()).await? else { return Ok(Step::Empty) };
    let pending = serde_json::from_str::<Pending>(&due.body).ok();
    if let Some(pending) = &pending
        && !still_wanted(&mut c, pending, app.clock.now()).await?
    {
        drop(c);
        let mut tx = app.db.write().await?;
        if let Pending::Invitation { invitation } = &pending {
            invitations::remove(&mut tx, invitation).await?;
        }
        outbox::remove(&mut tx, &due.id).await?;
        tx.commit().await?;
        return Ok(Step::Withdrawn);
    }
    drop(c);
    let last = matches!(pending, Some(Pending::Erased));
    if let Some(Pending::SignInLinks { draft }) = &pending {
        people::spread_links(app, &due.id, &due.to_mail, draft.as_ref()).await?;
        return Ok(Step::Sorted);
    }
    let result = match compose(app, &due, pending).await? {
        Some(out) => sent(app.clone(), out).await,
        None => Err(NotSent::Never(t("what it tells of is gone").to_owned())),
    };
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let step = match result {
        // Nothing stays of whoever was erased, and so not that this letter went to her.
        Ok(()) if last => {
            outbox::remove(&mut tx, &due.id).await?;
            Step::Sent
        }
        Ok(()) => {
            outbox::sent(&mut tx, &due.id, now).await?;
            Step::Sent
        }
        Err(error) => {
            let minutes = 1_i64.checked_shl(u32::try_from(due.tries).unwrap_or(30).min(30)).unwrap_or(1 << 30);
            let again = match &error {
                NotSent::Later(_) if due.tries + 1 < MOST_TRIES => Some(now + Duration::minutes(minutes)),
                _ => None,
            };
            tracing::warn!(mail = %due.id, tries = due.tries + 1, given_up = again.is_none(), "mail did not leave");
            outbox::failed(&mut tx, &due.id, &error.to_string(), again).await?;
            Step::Failed
        }
    };
    tx.commit().await?;
    Ok(step)
}

/// Sends in a task of its own: a letter that breaks the sending is given up, and holds up no other.
async fn sent(app: App, out: Outgoing) -> Result<(), NotSent> {
    let sending = tokio::spawn(Language::spoken().scope(async move { app.transport.send(out).await }));
    sending.await.unwrap_or_else(|_| Err(NotSent::Never(t("sending broke: the log says where").to_string())))
}

/// Whether a letter still has something to say: what it would remind of may be over or elsewhere by now.
async fn still_wanted(c: &mut Connection, pending: &Pending, now: OffsetDateTime) -> Stored<bool> {
    match pending {
        Pending::Reminder { visit, starts_at } => Ok(visits::get(c, visit).await?.is_some_and(|visit| {
            visit.state == VisitState::Booked && visit.starts_at.unix_timestamp() == *starts_at && visit.starts_at > now
        })),
        Pending::Invitation { invitation } => invite::still_wanted(c, invitation, now).await,
        _ => Ok(true),
    }
}

async fn compose(app: &App, due: &Due, pending: Option<Pending>) -> Stored<Option<Outgoing>> {
    let Some(pending) = pending else { return Ok(None) };
    let mut c = app.db.read().await?;
    let Some(studio) = studio::get(&mut c).await? else { return Ok(None) };
    let invited = invited(&pending);
    let (name, message, client) = match pending {
        Pending::GoOn { draft } => {
            let Some(found) = go_on(app, &mut c, &draft).await? else { return Ok(None) };
            (found.0, found.1, None)
        }
        Pending::LookAtReport { client } => {
            let link = format!("{}/desk/clients/{client}", app.address.base_url);
            (studio.name.clone(), Message::LookAtReport { link }, None)
        }
        Pending::SignIn { account, news, at } => {
            let Some(found) = of_team(&mut c, &studio.zone, &account, news, at).await? else { return Ok(None) };
            (found.0, found.1, None)
        }
        Pending::PapersEnd => (studio.name.clone(), Message::PapersEnd, None),
        Pending::ExportReady { account } => {
            let Some(account) = accounts::by_id(&mut c, &account).await? else { return Ok(None) };
            (account.member.name, Message::ExportReady, None)
        }
        Pending::Erased => (tc("Hello there", "there").to_owned(), Message::Erased, None),
        Pending::Restricted { client, to } => {
            let Some(client) = clients::even_restricted(&mut c, &client).await? else { return Ok(None) };
            let to = to.map(|to| day("outbox", "body", due.id.as_str(), &to)).transpose()?;
            let to = to.map(when::day).unwrap_or_default();
            (client.name.as_str().to_owned(), Message::Restricted { to }, None)
        }
        pending => {
            let Some((client, message)) = message(app, &mut c, pending).await? else { return Ok(None) };
            let Some(client) = clients::get(&mut c, &client).await? else { return Ok(None) };
            (client.name.as_str().to_owned(), message, Some(client))
        }
    };
    let frame = Frame {
        studio: studio.name.clone(),
        phone: studio.phone.clone(),
        base_url: app.address.base_url.clone(),
        name: name.split_whitespace().next().unwrap_or_default().to_owned(),
    };
    let Ok(mut letter) = message.write(&frame) else { return Ok(None) };
    if let (Some((method, visits)), Some(client)) = (invited, &client) {
        letter.calendar = calendar(&mut c, &studio, client, method, &visits, app.clock.now()).await?;
    }
    let from = if studio.mail.is_empty() { "studio@localhost".to_owned() } else { studio.mail };
    Ok(Some(Outgoing {
        id: due.id.as_str().to_owned(),
        from,
        from_name: studio.name,
        to: due.to_mail.clone(),
        at: app.clock.now(),
        letter,
    }))
}

/// What a letter does to her calendar.
fn invited(pending: &Pending) -> Option<(Method, Vec<VisitId>)> {
    match pending {
        Pending::Booked { visits } => Some((Method::Request, visits.clone())),
        Pending::Moved { visit } => Some((Method::Request, vec![visit.clone()])),
        Pending::Cancelled { visit } => Some((Method::Cancel, vec![visit.clone()])),
        _ => None,
    }
}

/// The file that does it. An invitation has an organiser, so without the studio's mail there is none.
async fn calendar(
    c: &mut Connection,
    studio: &Studio,
    client: &Client,
    method: Method,
    ids: &[VisitId],
    now: OffsetDateTime,
) -> Stored<Option<CalendarPart>> {
    if studio.mail.is_empty() {
        return Ok(None);
    }
    let mut events = Vec::new();
    for id in ids {
        let Some(visit) = visits::get(c, id).await? else { continue };
        events.push(Event {
            visit: visit.id,
            sequence: visit.sequence,
            starts: visit.starts_at,
            ends: visit.ends_at,
            cancelled: method == Method::Cancel,
            summary: visit_at(&studio.name),
        });
    }
    let calendar = Calendar {
        method,
        zone: studio.zone.clone(),
        address: studio.address.clone(),
        organizer: Some(Party { name: studio.name.clone(), mail: studio.mail.clone() }),
        attendee: Some(Party { name: client.name.as_str().to_owned(), mail: client.mail.as_str().to_owned() }),
        stamp: now,
        events,
    };
    Ok(Some(CalendarPart { method: method.as_str(), ics: calendar.to_ics() }))
}

/// To whoever began a booking. A client whom we know signs in as always and finds it among her visits.
async fn go_on(app: &App, c: &mut Connection, id: &DraftId) -> Stored<Option<(String, Message)>> {
    let Some(draft) = drafts::get(c, id, By::Link).await?.filter(|draft| !draft.booked) else { return Ok(None) };
    let known = match &draft.client {
        Some(client) => clients::get(c, client).await?,
        None => None,
    };
    Ok(Some(match known {
        Some(client) => {
            let link = format!("{}/me", app.address.base_url);
            (client.name.as_str().to_owned(), Message::GoOn { link, once: false })
        }
        None => {
            let link = going_on::mint_link(app, id).await?;
            (draft.typed("name"), Message::GoOn { link, once: true })
        }
    }))
}

async fn of_team(
    c: &mut Connection,
    zone: &Zone,
    account: &AccountId,
    news: News,
    at: i64,
) -> Stored<Option<(String, Message)>> {
    let Some(she) = accounts::by_id(c, account).await? else { return Ok(None) };
    let at = OffsetDateTime::from_unix_timestamp(at).unwrap_or(OffsetDateTime::UNIX_EPOCH);
    Ok(Some((she.member.name, Message::SignIn { news, time: when::moment(zone.to_civil(at)) })))
}

async fn message(app: &App, c: &mut Connection, pending: Pending) -> Stored<Option<(ClientId, Message)>> {
    match pending {
        Pending::SignInLinks { .. } | Pending::SignIn { .. } => Ok(None),
        Pending::SignInLink { client, draft } => {
            let link = people::mint_link(app, &client, draft.as_ref()).await?;
            Ok(Some((client, Message::SignInLink { link, minutes: people::LINK_LASTS.whole_minutes() })))
        }
        // Their readers are no clients, not yet or not any more.
        Pending::GoOn { .. }
        | Pending::LookAtReport { .. }
        | Pending::PapersEnd
        | Pending::ExportReady { .. }
        | Pending::Erased
        | Pending::Restricted { .. } => Ok(None),
        Pending::Invitation { invitation } => {
            let (Some(one), Some(studio)) = (invitations::get(c, &invitation).await?, studio::get(c).await?) else {
                return Ok(None);
            };
            let from = Some(one.opens).filter(|day| *day > studio.zone.date_at(app.clock.now()));
            let from = from.map(when::day).unwrap_or_default();
            let token = invite::mint(app, &invitation).await?;
            Ok(Some((one.client, Message::Invitation { token, from })))
        }
        Pending::Reminder { visit, .. } => {
            let address = studio::get(c).await?.map(|studio| studio.address).unwrap_or_default();
            Ok(about(c, &visit).await?.map(|(client, time)| (client, Message::Reminder { time, address })))
        }
        Pending::SkinTestPrompt { client, test } => {
            let link = test_reports::mint_link(app, &test).await?;
            Ok(Some((client, Message::SkinTest { link })))
        }
        Pending::Booked { visits } => {
            let mut found = Vec::new();
            for id in &visits {
                found.extend(visits::get(c, id).await?);
            }
            let Some(client) = found.first().and_then(|visit| visit.client.clone()) else { return Ok(None) };
            let times = found.iter().map(|visit| when::moment(visit.civil)).collect();
            Ok(Some((client, Message::Booked { times })))
        }
        Pending::Moved { visit } => Ok(about(c, &visit).await?.map(|(client, time)| (client, Message::Moved { time }))),
        Pending::Earlier { offer } => {
            let Some(told) = wishes::mint_link(app, &offer).await? else { return Ok(None) };
            let with = practitioners::get(c, &told.held.practitioner).await?.map(|she| she.name).unwrap_or_default();
            let until = studio::get(c).await?.map(|studio| when::moment(studio.zone.to_civil(told.until)));
            let (time, until) = (when::moment(told.held.civil), until.unwrap_or_default());
            Ok(Some((told.client, Message::Earlier { time, with, until, link: told.link })))
        }
        Pending::Aftercare { visit } => {
            let Some(visit) = visits::get(c, &visit).await? else { return Ok(None) };
            let Some(service) = catalogue::service(c, &visit.service).await? else { return Ok(None) };
            let list = match service.kind.area() {
                Area::Lash => ListName::AftercareLash,
                Area::Brow => ListName::AftercareBrow,
            };
            let lines = steps::list(c, list).await?;
            Ok(visit.client.map(|client| (client, Message::Aftercare { lines })))
        }
        Pending::VerdictChanged { visit } => {
            let link = format!("{}/me/visits/{visit}/needs", app.address.base_url);
            let about = about(c, &visit).await?;
            Ok(about.map(|(client, time)| (client, Message::VerdictChanged { time, link })))
        }
        Pending::Cancelled { visit } => {
            Ok(about(c, &visit).await?.map(|(client, time)| (client, Message::Cancelled { time })))
        }
    }
}

/// Whose visit it is, and when.
async fn about(c: &mut Connection, visit: &VisitId) -> Stored<Option<(ClientId, String)>> {
    let visit = visits::get(c, visit).await?;
    Ok(visit.and_then(|visit| Some((visit.client?, when::moment(visit.civil)))))
}
