//! `GET` and `POST /me/visits/{id}/move`: another time for a visit. Template: `client/move.html`.

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::IntoResponse;
use serde::Deserialize;

use super::visits::{own, view};
use crate::actions::booking::Choice;
use crate::actions::diary::Diary;
use crate::actions::own_visits::{self, Change, Own};
use crate::app::App;
use crate::domain::schedule::free_times;
use crate::store::catalogue::{self, Service};
use crate::web::error::Fault;
use crate::web::form::Fields;
use crate::web::guard::SignedIn;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::public::book::VisitView;
use crate::web::public::book::slots::Slots;

#[derive(Template)]
#[template(path = "client/move.html")]
struct MovePage {
    ctx: Ctx,
    visit: VisitView,
    slots: Slots,
    /// Whether another visit of hers keeps days out.
    near: bool,
    may_change: bool,
    taken: bool,
}

/// Where in the calendar.
#[derive(Deserialize)]
pub struct Ask {
    from: Option<String>,
}

async fn service(app: &App, own: &Own) -> Result<Service, Fault> {
    let mut c = app.db.read().await?;
    catalogue::service(&mut c, &own.visit.service).await?.ok_or(Fault::NotFound)
}

async fn show(app: &App, ctx: Ctx, own: &Own, from: Option<&str>, taken: bool) -> Result<MovePage, Fault> {
    let service = service(app, own).await?;
    let from = from.and_then(|text| crate::store::types::day("", "", "", text).ok());
    let now = app.clock.now();
    let mut c = app.db.read().await?;
    let known = own.known(&mut c, ctx.studio()?).await?;
    let diary = Diary::load(&mut c, ctx.studio()?, &service, now, Some(&own.visit.id)).await?;
    let between = own.between(&known, now);
    let slots = diary.search(own.length(&diary), &between, |search| {
        let times = free_times(search);
        // Asked of one time after the other until the page is full: the rules are the slow part.
        Slots::of(
            times.iter().filter(|time| from.is_none_or(|from| time.civil.date() >= from)).filter(|time| {
                time.starts_at() != own.visit.starts_at
                    && own.fits_partners(&diary, time)
                    && own.fits_tests(&known, time.starts_at(), now)
            }),
            from,
        )
    });
    let may_change = own.may_change(now, ctx.studio()?);
    Ok(MovePage {
        visit: view(&mut c, &own.visit).await?.0,
        ctx,
        slots,
        near: !between.but.is_empty(),
        may_change,
        taken,
    })
}

/// Offers other times.
pub async fn get(
    State(app): State<App>,
    ctx: Ctx,
    who: SignedIn,
    Path(id): Path<String>,
    Query(ask): Query<Ask>,
) -> Answer {
    let mut c = app.db.read().await?;
    let own = own(&mut c, &who, &id).await?;
    drop(c);
    Ok(Page::ok(show(&app, ctx, &own, ask.from.as_deref(), false).await?).into_response())
}

/// Moves it.
pub async fn post(State(app): State<App>, ctx: Ctx, who: SignedIn, Path(id): Path<String>, fields: Fields) -> Answer {
    let mut c = app.db.read().await?;
    let own = own(&mut c, &who, &id).await?;
    drop(c);
    let to = Choice::parse(fields.get("time")).ok_or(Fault::BadRequest)?;
    let service = service(&app, &own).await?;
    match own_visits::relocate(&app, ctx.studio()?, &service, &who.0, &own.visit.id, &to).await? {
        Change::Done => Ok(see_other("/me")),
        change => Ok(Page::conflict(show(&app, ctx, &own, None, change == Change::Taken).await?).into_response()),
    }
}
