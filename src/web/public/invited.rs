//! `GET` and `POST /invited/{token}`: the link of a letter that asks a client back. It knows the service and the first day
//! of her window; her date of birth signs her in, since such letters are passed on to friends.
//! Template: `public/invited.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use time::Date;

use super::book::date_text;
use crate::actions::invite;
use crate::app::App;
use crate::domain::person::BirthDate;
use crate::store::clients;
use crate::store::invitations::{Invitation, Link};
use crate::t;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::limits::What;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::{session, words};

#[derive(Template)]
#[template(path = "public/invited.html")]
struct InvitedPage {
    ctx: Ctx,
    token: String,
    good: bool,
    fields: Fields,
    errors: Errors,
}

fn ended(ctx: Ctx, token: String) -> Response {
    let page = InvitedPage { ctx, token, good: false, fields: Fields::default(), errors: Errors::new() };
    Page(StatusCode::GONE, page).into_response()
}

async fn find(app: &App, token: &str) -> Result<Option<Invitation>, Fault> {
    let now = app.clock.now();
    let good = |(link, _): &(Link, Invitation)| link.fresh && now - link.made_at < invite::LINK_LASTS;
    Ok(invite::find(&mut *app.db.read().await?, token).await?.filter(good).map(|(_, invitation)| invitation))
}

/// The free times of what it is about, from the day that her window opens.
fn times(invitation: &Invitation, today: Date) -> String {
    format!("/services/{}?from={}", invitation.service, invitation.opens.max(today))
}

/// Asks for the date of birth, or goes on at once with whoever is signed in.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(token): Path<String>) -> Answer {
    let Some(invitation) = find(&app, &token).await? else { return Ok(ended(ctx, token)) };
    if ctx.seen.client.as_ref().is_some_and(|(id, _)| *id == invitation.client) {
        let today = ctx.studio()?.zone.date_at(app.clock.now());
        return Ok(see_other(&times(&invitation, today)));
    }
    let page = InvitedPage { ctx, token, good: true, fields: Fields::default(), errors: Errors::new() };
    Ok(Page::ok(page).into_response())
}

/// Signs her in and shows the free times.
pub async fn post(State(app): State<App>, ctx: Ctx, Path(token): Path<String>, fields: Fields) -> Answer {
    app.limits.count(What::LinkUse, &ctx.seen.from, app.clock.now()).map_err(Fault::TooMany)?;
    let Some(invitation) = find(&app, &token).await? else { return Ok(ended(ctx, token)) };
    let today = ctx.studio()?.zone.date_at(app.clock.now());
    let client = clients::get(&mut *app.db.read().await?, &invitation.client).await?.ok_or(Fault::NotFound)?;
    let mut errors = Errors::new();
    let given = errors.take("born", BirthDate::parse(&date_text(&fields, "born"), today), words::birth);
    if given.is_some() && given != Some(client.born) {
        invite::wrong(&app, &token, &invitation.id).await?;
        errors.add("born", t("That is not the date of birth that we know. Please look again."));
    }
    if !errors.is_empty() {
        if find(&app, &token).await?.is_none() {
            return Ok(ended(ctx, token));
        }
        return Ok(Page::refused(InvitedPage { ctx, token, good: true, fields, errors }).into_response());
    }
    let Some(new_token) =
        invite::open(&app, &token, &client.id, &ctx.seen.visit_hash(), &ctx.seen.browser.device).await?
    else {
        return Ok(ended(ctx, token));
    };
    let mut response = see_other(&times(&invitation, today));
    session::set_cookie(response.headers_mut(), &session::visit_cookie(&app, &new_token));
    Ok(response)
}
