//! `GET /desk/book?service=…&day=…&who=…&client=…`: free times as the desk sees them; `GET /desk/book/who`: for whom;
//! `POST /desk/book/time`: it is booked. Templates: `practitioner/book.html`, `practitioner/book_who.html`.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use time::Date;

use super::calendar::visible;
use super::words;
use crate::actions::book::Person;
use crate::actions::booking::Choice;
use crate::actions::desk::{self, Fit, Placed};
use crate::actions::diary::{Diary, wants_test};
use crate::actions::hours::may_arrange;
use crate::actions::treating;
use crate::app::App;
use crate::domain::ids::{ClientId, PractitionerId, ServiceId};
use crate::domain::role::{Member, Role};
use crate::domain::schedule::free_times;
use crate::store::catalogue::{self, Service};
use crate::store::clients::{self, Client};
use crate::store::practitioners::{self, Practitioner};
use crate::store::visits::Purpose;
use crate::store::{Connection, Stored};
use crate::web::day;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::public::book::slots::Slots;
use crate::web::public::book::{Given, read_person};
use crate::when;

/// How the form marks a skin test for a service.
const TEST: &str = ".test";
/// The most clients that a search shows.
const MOST: i64 = 20;

/// What can be booked: a service or the skin test before it.
struct What {
    value: String,
    words: String,
    service: Service,
    purpose: Purpose,
}

async fn offered(c: &mut Connection) -> Stored<Vec<What>> {
    let mut all = Vec::new();
    for service in catalogue::services(c).await?.into_iter().filter(|service| service.active) {
        let tested = wants_test(c, &service.id).await?;
        let (value, words) = (service.id.to_string(), service.name.clone());
        all.push(What { value, words, service: service.clone(), purpose: Purpose::Treatment });
        if tested {
            let (value, words) = (format!("{}{TEST}", service.id), words::skin_test_for(&service.name));
            all.push(What { value, words, service, purpose: Purpose::SkinTest });
        }
    }
    Ok(all)
}

#[derive(Template)]
#[template(path = "practitioner/book.html")]
struct BookPage {
    ctx: Ctx,
    what: Vec<What>,
    chosen: String,
    team: Vec<Practitioner>,
    who: String,
    day: String,
    client: Option<Client>,
    /// Once a service was chosen.
    found: Option<Found>,
    taken: bool,
}

struct Found {
    slots: Slots,
    /// The first day that suits her, in words.
    earliest: Option<String>,
    /// Whether another visit of hers keeps days out.
    near: bool,
    /// Where the skin test that she still needs is booked.
    test: Option<String>,
}

/// What is looked for.
#[derive(Deserialize, Default, Clone)]
pub struct Asked {
    service: Option<String>,
    day: Option<String>,
    from: Option<String>,
    who: Option<String>,
    at: Option<String>,
    client: Option<String>,
    time: Option<String>,
    q: Option<String>,
}

async fn client(c: &mut Connection, member: &Member, id: Option<&str>) -> Result<Option<Client>, Fault> {
    let Some(id) = id.filter(|id| !id.is_empty()) else { return Ok(None) };
    let id = ClientId::parse(id).map_err(|_| Fault::NotFound)?;
    if !treating::may_see(c, member, &id).await? {
        return Err(Fault::NotFound);
    }
    Ok(Some(clients::get(c, &id).await?.ok_or(Fault::NotFound)?))
}

/// Whom a time can be booked with: a practitioner's own id, or the one that the owner chose.
fn with_whom(member: &Member, asked: Option<&str>) -> Option<PractitionerId> {
    let chosen = asked.and_then(|id| PractitionerId::parse(id).ok()).filter(|id| may_arrange(member, id));
    match member.role {
        Role::Owner => chosen,
        Role::Practitioner => member.practitioner.clone(),
    }
}

async fn page(app: &App, ctx: Ctx, team: &Team, asked: &Asked, taken: bool) -> Result<BookPage, Fault> {
    let (studio, now) = (ctx.studio()?.clone(), app.clock.now());
    let today = studio.zone.date_at(now);
    let mut c = app.db.read().await?;
    let what = offered(&mut c).await?;
    let client = client(&mut c, &team.0, asked.client.as_deref()).await?;
    let who = with_whom(&team.0, asked.who.as_deref());
    let day = asked.from.as_deref().or(asked.day.as_deref()).and_then(day::read).unwrap_or(today);
    let chosen = what.iter().find(|what| Some(what.value.as_str()) == asked.service.as_deref());
    let mut found = None;
    if let Some(What { service, purpose, .. }) = chosen {
        let id = client.as_ref().map(|client| &client.id);
        let fit = Fit::load(&mut c, &studio, id, (service, *purpose), now).await?;
        let mut diary = Diary::load(&mut c, &studio, service, now, None).await?.at_the_desk();
        if let Some(who) = &who {
            diary = diary.with_only(who);
        }
        let length = if *purpose == Purpose::SkinTest { diary.test } else { diary.service };
        let at = asked.at.as_deref().and_then(|at| crate::domain::hours::parse_clock(at).ok()).unwrap_or(0);
        let slots = diary.search(length, &fit.between, |search| {
            let mut times = free_times(search);
            times.retain(|time| {
                let minute = u16::from(time.civil.hour()) * 60 + u16::from(time.civil.minute());
                fit.allows(time.starts_at()) && (time.civil.date() != day || minute >= at)
            });
            Slots::of(&times, Some(day))
        });
        let again = client.as_ref().map(|client| format!("&client={}", client.id)).unwrap_or_default();
        let earliest = fit.between.earliest.max(fit.not_before.map(|at| studio.zone.date_at(at)));
        found = Some(Found {
            slots,
            earliest: earliest.filter(|day| *day > today).map(when::day),
            near: !fit.between.but.is_empty(),
            test: fit.lacks_test.then(|| format!("/desk/book?service={}{TEST}{again}", service.id)),
        });
    }
    let chosen = chosen.map(|what| what.value.clone()).unwrap_or_default();
    Ok(BookPage {
        ctx,
        chosen,
        what,
        team: visible(&team.0, practitioners::all(&mut c).await?),
        who: who.map(|id| id.to_string()).unwrap_or_default(),
        day: day.to_string(),
        client,
        found,
        taken,
    })
}

/// Shows free times.
pub async fn get(State(app): State<App>, ctx: Ctx, team: Team, Query(asked): Query<Asked>) -> Answer {
    Ok(Page::ok(page(&app, ctx, &team, &asked, false).await?).into_response())
}

#[derive(Template)]
#[template(path = "practitioner/book_who.html")]
struct WhoPage {
    ctx: Ctx,
    what: String,
    when: String,
    with: String,
    service: String,
    time: String,
    asked: String,
    found: Vec<Client>,
    fields: Fields,
    errors: Errors,
}

async fn who_page(
    app: &App,
    ctx: Ctx,
    team: &Team,
    asked: &Asked,
    (fields, errors): (Fields, Errors),
) -> Result<WhoPage, Fault> {
    let zone = ctx.studio()?.zone.clone();
    let mut c = app.db.read().await?;
    let what = offered(&mut c).await?;
    let what = what.into_iter().find(|what| Some(what.value.as_str()) == asked.service.as_deref());
    let what = what.ok_or(Fault::NotFound)?;
    let time = asked.time.as_deref().and_then(Choice::parse).ok_or(Fault::NotFound)?;
    let q: String = asked.q.as_deref().unwrap_or_default().trim().chars().take(100).collect();
    let found = match (team.0.role, &team.0.practitioner) {
        _ if q.is_empty() => Vec::new(),
        (Role::Owner, _) => clients::search(&mut c, &q, MOST).await?,
        (Role::Practitioner, Some(own)) => clients::search_of(&mut c, own, &q, MOST).await?,
        (Role::Practitioner, None) => Vec::new(),
    };
    let with = practitioners::get(&mut c, &time.practitioner).await?.ok_or(Fault::NotFound)?.name;
    Ok(WhoPage {
        ctx,
        what: what.words,
        when: when::moment(zone.to_civil(time.starts_at)),
        with,
        service: what.value,
        time: time.text(),
        asked: q,
        found,
        fields,
        errors,
    })
}

/// Asks for whom.
pub async fn who(State(app): State<App>, ctx: Ctx, team: Team, Query(asked): Query<Asked>) -> Answer {
    // Without a time there is nothing to book.
    if asked.time.is_none() {
        return Ok(see_other("/desk/book"));
    }
    Ok(Page::ok(who_page(&app, ctx, &team, &asked, (Fields::default(), Errors::new())).await?).into_response())
}

/// Books it.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, fields: Fields) -> Answer {
    let studio = ctx.studio()?.clone();
    let today: Date = studio.zone.date_at(app.clock.now());
    let given = |name: &str| Some(fields.get(name).to_owned()).filter(|text| !text.is_empty());
    let asked = Asked { service: given("service"), time: given("time"), client: given("client"), ..Asked::default() };
    let choice = Choice::parse(fields.get("time")).ok_or(Fault::BadRequest)?;
    let mut c = app.db.read().await?;
    let what = offered(&mut c).await?.into_iter().find(|what| what.value == fields.get("service"));
    let what = what.ok_or(Fault::NotFound)?;
    let known = client(&mut c, &team.0, asked.client.as_deref()).await?;
    drop(c);
    let person = match known {
        Some(client) => Person::Known(client.id),
        None => match read_person(&fields, &studio, today) {
            Ok(Given { name, mail, phone, born }) => Person::Given { name, mail, phone, born },
            Err(errors) => {
                return Ok(Page::refused(who_page(&app, ctx, &team, &asked, (fields, errors)).await?).into_response());
            }
        },
    };
    match desk::book(&app, &studio, &team.0, (&what.service, what.purpose), person, &choice).await? {
        Placed::Booked(visit) => Ok(see_other(&format!("/desk/visits/{visit}"))),
        Placed::NotHers => Err(Fault::Forbidden),
        Placed::Taken => taken(&app, ctx, &team, asked, &choice).await,
    }
}

async fn taken(app: &App, ctx: Ctx, team: &Team, asked: Asked, choice: &Choice) -> Result<Response, Fault> {
    let day = ctx.studio()?.zone.date_at(choice.starts_at).to_string();
    let asked = Asked { day: Some(day), who: Some(choice.practitioner.to_string()), ..asked };
    Ok(Page::conflict(page(app, ctx, team, &asked, true).await?).into_response())
}

/// Where her next visit for a service is booked, on the day that is good for her.
pub(super) fn again(client: &ClientId, service: &ServiceId, who: &PractitionerId, day: Date) -> String {
    format!("/desk/book?client={client}&service={service}&who={who}&day={day}")
}
