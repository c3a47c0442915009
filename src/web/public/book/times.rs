//! `GET /services/{id}`: the free times of a service. `POST /services/{id}/hold`: holds what was chosen.
//! Where a skin test is needed, `?test=` carries its time while the treatment's is chosen; both are held at once.
//! Template: `public/book/times.html`.

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use time::{Date, Duration, OffsetDateTime};

use super::slots::{self, NotHeldView, Slots};
use super::zone_words;
use crate::actions::booking::{self, Beginner, Choice, Terms, Wanted};
use crate::actions::case::Known;
use crate::actions::diary::{Between, Diary, is_given, wants_test};
use crate::app::App;
use crate::domain::ids::ServiceId;
use crate::domain::schedule::{free_times, still_free};
use crate::store::catalogue::{self, Service};
use crate::store::studio::Studio;
use crate::web::error::Fault;
use crate::web::form::Fields;
use crate::web::limits::What;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::when;

/// What is being chosen.
#[derive(PartialEq, Eq, Clone, Copy)]
enum Choosing {
    /// The one time of a service without a skin test.
    Only,
    /// The skin test.
    Test,
    /// The treatment after it.
    Treatment,
}

#[derive(Template)]
#[template(path = "public/book/times.html")]
struct TimesPage {
    ctx: Ctx,
    service: Service,
    length: String,
    choosing: Choosing,
    /// The skin test that was chosen: as a form carries it, and in words.
    test: Option<(String, String)>,
    slots: Slots,
    zone: String,
    /// The first day that a signed-in client's own window allows, in words.
    earliest: Option<String>,
    /// Whether another visit of hers keeps days out.
    near: bool,
    /// The last day that her skin test reaches, in words.
    latest: Option<String>,
    /// The time that she chose isn't held.
    refused: Option<NotHeldView>,
}

/// Where in the calendar, and which skin test was chosen.
#[derive(Deserialize)]
pub struct Ask {
    from: Option<String>,
    test: Option<String>,
    /// A new skin test is booked along, though the one before still counts.
    along: Option<String>,
}

struct Found {
    studio: Studio,
    service: Service,
    between: Between,
    needs_test: bool,
}

async fn find(app: &App, ctx: &Ctx, id: &str, along: bool) -> Result<Found, Fault> {
    let id = ServiceId::parse(id).map_err(|_| Fault::NotFound)?;
    let studio = ctx.studio()?.clone();
    let now = app.clock.now();
    let mut c = app.db.read().await?;
    let service = catalogue::service(&mut c, &id).await?.filter(|service| service.active).ok_or(Fault::NotFound)?;
    if !is_given(&mut c, &id, studio.zone.date_at(now)).await? {
        return Err(Fault::NotFound);
    }
    let known = match &ctx.seen.client {
        Some((client, _)) => Some(Known::load(&mut c, &studio, Some(client), &id).await?),
        None => None,
    };
    let tested = wants_test(&mut c, &id).await?;
    let (needs_test, between) = match leaves(known.as_ref(), tested, &studio, now) {
        (false, between) if tested && along => (true, Between { latest: None, ..between }),
        leaves => leaves,
    };
    Ok(Found { studio, service, between, needs_test })
}

/// Whether a skin test is booked along, where the service has one, and on which days the treatment may lie.
pub(super) fn leaves(known: Option<&Known>, tested: bool, studio: &Studio, now: OffsetDateTime) -> (bool, Between) {
    let Some(known) = known else { return (tested, Between::default()) };
    let between = known.between(now);
    if !tested {
        return (false, between);
    }
    if known.needs_test(now, now) {
        let Some(first) = known.tested_from(studio.horizon_days, now) else { return (true, between) };
        return (false, Between { earliest: between.earliest.max(Some(first)), ..between });
    }
    let latest = tested_until(known, studio.zone.date_at(now), studio.horizon_days, now);
    (false, Between { latest, ..between })
}

/// The last day within the horizon on which her tests still hold.
fn tested_until(known: &Known, today: Date, horizon: i64, now: OffsetDateTime) -> Option<Date> {
    let holds = |days: i64| !known.needs_test(now + Duration::days(days), now);
    let (mut good, mut bad) = (0, horizon + 1);
    while bad - good > 1 {
        let middle = (good + bad) / 2;
        if holds(middle) { good = middle } else { bad = middle }
    }
    today.checked_add(Duration::days(good))
}

/// Shows free times.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(id): Path<String>, Query(ask): Query<Ask>) -> Answer {
    let found = find(&app, &ctx, &id, ask.along.is_some() || ask.test.is_some()).await?;
    let page = show(&app, ctx, found, ask.test.as_deref(), ask.from.as_deref(), None).await?;
    Ok(Page::ok(page).into_response())
}

async fn show(
    app: &App,
    ctx: Ctx,
    found: Found,
    test: Option<&str>,
    from: Option<&str>,
    refused: Option<NotHeldView>,
) -> Result<TimesPage, Fault> {
    let now = app.clock.now();
    let from = from.and_then(|text| crate::store::types::day("", "", "", text).ok());
    let chosen = test.and_then(Choice::parse).filter(|_| found.needs_test);
    let (choosing, slots, test) = if found.needs_test {
        let mut c = app.db.read().await?;
        let diary = Diary::load(&mut c, &found.studio, &found.service, now, None).await?;
        let diary = diary.without(&slots::spent(app, &ctx, &found.studio))?;
        pair(&diary, &found.between, chosen, from)
    } else {
        (Choosing::Only, only(app, &ctx, &found, from).await?, None)
    };
    let Found { studio, service, between, .. } = found;
    let today = studio.zone.date_at(now);
    Ok(TimesPage {
        length: when::length(service.minutes),
        zone: zone_words(&studio.zone),
        near: choosing != Choosing::Test && !between.but.is_empty(),
        latest: between.latest.map(when::day),
        earliest: between.earliest.filter(|day| *day > today).map(when::day),
        ctx,
        service,
        choosing,
        test,
        slots,
        refused,
    })
}

/// How many days are looked at before more are.
const FIRST_DAYS: i64 = 14;

/// The first days with free times. Most studios have them soon, so few days are loaded, and more only when they are
/// too few.
async fn only(app: &App, ctx: &Ctx, found: &Found, from: Option<Date>) -> Result<Slots, Fault> {
    let Found { studio, service, between, .. } = found;
    let now = app.clock.now();
    let today = studio.zone.date_at(now);
    let end = today.saturating_add(Duration::days(studio.horizon_days));
    let first = from.max(between.earliest).map_or(today, |day| day.max(today));
    let mut c = app.db.read().await?;
    let spent = slots::spent(app, ctx, studio);
    let mut days = FIRST_DAYS;
    loop {
        let last = first.saturating_add(Duration::days(days)).min(end);
        let diary = Diary::of_days(&mut c, (studio, service), now, None, (first, last)).await?;
        let diary = diary.without(&spent)?;
        let slots = diary.search(diary.service, between, |search| Slots::of(&free_times(search), from));
        if slots.later.is_some() || last >= end {
            return Ok(slots);
        }
        days *= 4;
    }
}

fn pair(
    diary: &Diary,
    between: &Between,
    chosen: Option<Choice>,
    from: Option<Date>,
) -> (Choosing, Slots, Option<(String, String)>) {
    diary.pairs(between, |pairs| {
        let test = chosen.and_then(|choice| {
            let free = diary.search(diary.test, &Between::default(), |search| {
                still_free(search, choice.starts_at, &choice.practitioner).is_some()
            });
            let time = pairs.tests().iter().find(|time| time.starts_at() == choice.starts_at)?;
            free.then(|| (choice.text(), *time))
        });
        match test {
            Some((text, time)) => (
                Choosing::Treatment,
                Slots::of(pairs.treatments_for(&time), from),
                Some((text, when::moment(time.civil))),
            ),
            None => (Choosing::Test, Slots::of(pairs.tests(), from), None),
        }
    })
}

/// Holds what was chosen.
pub async fn post(State(app): State<App>, ctx: Ctx, Path(id): Path<String>, fields: Fields) -> Result<Response, Fault> {
    app.limits.count(What::Hold, &ctx.seen.from, app.clock.now()).map_err(Fault::TooMany)?;
    let test = Choice::parse(fields.get("test"));
    let found = find(&app, &ctx, &id, test.is_some()).await?;
    let treatment = Choice::parse(fields.get("time")).ok_or(Fault::BadRequest)?;
    if found.needs_test && test.is_none() {
        return Err(Fault::BadRequest);
    }
    let test_along = test.is_some();
    let wanted = Wanted { test: test.filter(|_| found.needs_test), treatment };
    let (hash, from) = (ctx.seen.visit_hash(), ctx.seen.holder());
    let who = Beginner { owner_hash: &hash, client: ctx.seen.client.as_ref().map(|(id, _)| id) };
    let terms = Terms { studio: &found.studio, service: &found.service, between: found.between.clone(), from: &from };
    match booking::begin(&app, &terms, who, &wanted).await? {
        Ok(draft) => Ok(see_other(&format!("/book/{draft}"))),
        Err(why) => {
            let found = find(&app, &ctx, &id, test_along).await?;
            let refused = NotHeldView::new(why, &found.studio.zone);
            let page = show(&app, ctx, found, Some(fields.get("test")), None, Some(refused)).await?;
            Ok(NotHeldView::answer(why, app.clock.now(), page))
        }
    }
}
