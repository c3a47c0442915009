//! `GET` and `POST /go-on/{token}`: the link from the mail to a booking that was left. Opening it asks for the date of
//! birth; only the button opens the booking, once. Template: `public/go_on.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};

use super::book::{Booking, date_text};
use crate::actions::going_on::{self, Browser};
use crate::app::App;
use crate::domain::person::BirthDate;
use crate::store::drafts::{self, By, Link};
use crate::store::types::sha256_hex;
use crate::t;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::limits::What;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::{session, words};

/// What the link is worth.
#[derive(PartialEq, Eq, Clone, Copy)]
enum Worth {
    Good,
    /// Its booking is there, and another link can be sent.
    Used,
    /// Another link is on its way.
    Again,
    Gone,
}

#[derive(Template)]
#[template(path = "public/go_on.html")]
struct GoOnPage {
    ctx: Ctx,
    token: String,
    worth: Worth,
    fields: Fields,
    errors: Errors,
}

fn show(ctx: Ctx, token: String, worth: Worth) -> Response {
    let status = if worth == Worth::Good || worth == Worth::Again { StatusCode::OK } else { StatusCode::GONE };
    Page(status, GoOnPage { ctx, token, worth, fields: Fields::default(), errors: Errors::new() }).into_response()
}

async fn find(app: &App, token: &str) -> Result<Option<Link>, Fault> {
    Ok(drafts::link(&mut *app.db.read().await?, &sha256_hex(token)).await?)
}

fn worth(link: Option<&Link>) -> Worth {
    link.map_or(Worth::Gone, |link| if link.good { Worth::Good } else { Worth::Used })
}

/// Asks for the date of birth.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(token): Path<String>) -> Answer {
    let link = find(&app, &token).await?;
    Ok(show(ctx, token, worth(link.as_ref())))
}

/// Opens the booking, or sends another link to the same mail.
pub async fn post(State(app): State<App>, ctx: Ctx, Path(token): Path<String>, fields: Fields) -> Answer {
    app.limits.count(What::LinkUse, &ctx.seen.from, app.clock.now()).map_err(Fault::TooMany)?;
    let Some(link) = find(&app, &token).await? else { return Ok(show(ctx, token, Worth::Gone)) };
    let draft = drafts::get(&mut *app.db.read().await?, &link.draft, By::Link).await?.ok_or(Fault::NotFound)?;
    let booking = Booking::of(&app, &ctx, draft).await?;
    if fields.get("send") == "again" {
        booking.stays(&app, &Fields::of(vec![("later".to_owned(), "1".to_owned())]), "later").await?;
        return Ok(show(ctx, token, Worth::Again));
    }
    if !link.good {
        return Ok(show(ctx, token, Worth::Used));
    }
    let mut errors = Errors::new();
    let parsed = BirthDate::parse(&date_text(&fields, "born"), booking.today());
    let given = errors.take("born", parsed, words::birth);
    if given.is_some() && given != booking.born() {
        going_on::wrong(&app, &token, &booking.draft.id).await?;
        errors.add("born", t("That is not the date of birth that you gave. Please look again."));
    }
    if !errors.is_empty() {
        let worth = worth(find(&app, &token).await?.as_ref());
        if worth != Worth::Good {
            return Ok(show(ctx, token, worth));
        }
        return Ok(Page::refused(GoOnPage { ctx, token, worth, fields, errors }).into_response());
    }
    open(&app, ctx, &token, &booking).await
}

async fn open(app: &App, ctx: Ctx, token: &str, booking: &Booking) -> Answer {
    let browser = Browser { token: &ctx.seen.visit_token, signed_in: ctx.seen.client.is_some() };
    let Some(new_token) = going_on::open(app, token, &booking.draft.id, browser).await? else {
        return Ok(show(ctx, token.to_owned(), Worth::Used));
    };
    // The time is taken again if it is still free; if not, the nearest ones are offered.
    let there = match booking.keep(app).await {
        Ok(()) => booking.next(),
        Err(Fault::SeeOther(there)) => there,
        // The link is used up by now, so she has to get in.
        Err(Fault::TooMany(_)) => booking.next(),
        Err(fault) => return Err(fault),
    };
    let mut response = see_other(&there);
    session::set_cookie(response.headers_mut(), &session::visit_cookie(app, &new_token));
    Ok(response)
}
