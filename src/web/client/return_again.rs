//! `GET /me/return`: when she may come again, in plain words. Template: `client/return_again.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use time::OffsetDateTime;

use crate::actions::case::Known;
use crate::actions::diary::is_given;
use crate::app::App;
use crate::domain::ids::ClientId;
use crate::domain::retouch::{Done, returns};
use crate::domain::verdict::Verdict;
use crate::domain::window::WindowState;
use crate::store::catalogue::{self, Service};
use crate::store::studio::Studio;
use crate::store::visits::{self, Purpose};
use crate::store::{Connection, Stored, treatments};
use crate::web::guard::SignedIn;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::why;
use crate::when;

struct Coming {
    service: String,
    last: String,
    may_come: String,
    good_time: Option<String>,
    why: Option<String>,
    /// The day of her next visit for it.
    booked: Option<String>,
    /// The studio wants a word with her first.
    talk: bool,
    /// Where to book it, while it is offered.
    book: Option<String>,
}

#[derive(Template)]
#[template(path = "client/return_again.html")]
struct ReturnPage {
    ctx: Ctx,
    coming: Vec<Coming>,
}

async fn coming(
    c: &mut Connection,
    studio: &Studio,
    client: &ClientId,
    (service, done): (&Service, Done),
    now: OffsetDateTime,
) -> Stored<Option<Coming>> {
    let today = studio.zone.date_at(now);
    let known = Known::load(c, studio, Some(client), &service.id).await?;
    let Some(window) = known.window(now, &known.waits(now)) else { return Ok(None) };
    let first = studio.zone.day_start(window.opens()).max(now);
    let verdict = known.readiness(first, now).verdict;
    let theirs = visits::of_client(c, client).await?.into_iter();
    let next = theirs.filter(|visit| {
        visit.service == service.id
            && visit.purpose == Purpose::Treatment
            && !visit.state.is_over()
            && visit.ends_at > now
    });
    let given = is_given(c, &service.id, today).await?;
    Ok(Some(Coming {
        service: service.name.clone(),
        last: when::day(done.on),
        may_come: why::may_come(&window, today),
        good_time: why::good_time(&window, today),
        why: (window.state(today) == WindowState::NotYet).then(|| why::for_client(&window.binding().reason)),
        booked: next.min_by_key(|visit| visit.starts_at).map(|visit| when::moment(visit.civil)),
        talk: verdict >= Verdict::LetterNeeded,
        book: (service.active && given).then(|| format!("/services/{}", service.id)),
    }))
}

/// Shows it.
pub async fn get(State(app): State<App>, ctx: Ctx, who: SignedIn) -> Answer {
    let (studio, now) = (ctx.studio()?.clone(), app.clock.now());
    let mut c = app.db.read().await?;
    let services = catalogue::services(&mut c).await?;
    let past = treatments::past(&mut c, Some(&who.0)).await?;
    let place = |one: &treatments::Past| services.iter().position(|service| service.id == one.service);
    let done: Vec<Done> =
        past.iter().filter_map(|one| Some(Done { service: place(one)?, kind: one.kind, on: one.on })).collect();
    let mut all = Vec::new();
    for one in returns(&done) {
        if let Some(service) = services.get(one.service) {
            all.extend(coming(&mut c, &studio, &who.0, (service, one), now).await?);
        }
    }
    Ok(Page::ok(ReturnPage { ctx, coming: all }).into_response())
}
