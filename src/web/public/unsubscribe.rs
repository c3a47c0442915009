//! `GET` and `POST /unsubscribe/{token}`: ends the letters that ask a client back. A mail program that knows RFC 8058
//! posts by itself, without a cookie; people see a button first, since some programs open links by themselves.
//! Template: `public/unsubscribe.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use crate::actions::invite;
use crate::app::App;
use crate::web::error::Fault;
use crate::web::limits::What;
use crate::web::page::{Answer, Ctx, Page};

#[derive(Template)]
#[template(path = "public/unsubscribe.html")]
struct UnsubscribePage {
    ctx: Ctx,
    token: String,
    done: bool,
}

/// Shows the button.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(token): Path<String>) -> Answer {
    invite::find(&mut *app.db.read().await?, &token).await?.ok_or(Fault::NotFound)?;
    Ok(Page::ok(UnsubscribePage { ctx, token, done: false }).into_response())
}

/// Ends them. The token alone is asked for: nothing else can be done with it, and a mail program has nothing more.
pub async fn post(State(app): State<App>, ctx: Ctx, Path(token): Path<String>) -> Answer {
    app.limits.count(What::LinkUse, &ctx.seen.from, app.clock.now()).map_err(Fault::TooMany)?;
    let found = invite::find(&mut *app.db.read().await?, &token).await?;
    let (_, invitation) = found.ok_or(Fault::NotFound)?;
    invite::stop(&app, &invitation.client).await?;
    Ok(Page::ok(UnsubscribePage { ctx, token, done: true }).into_response())
}
