//! `GET` and `POST /sign-in`: a client asks for a link. Template: `public/sign_in.html`.

use askama::Template;
use axum::extract::{ConnectInfo, Query, State};
use axum::response::IntoResponse;
use serde::Deserialize;

use std::net::SocketAddr;

use crate::actions::people;
use crate::app::App;
use crate::domain::ids::DraftId;
use crate::domain::person::Mail;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::limits::{What, neighbourhood};
use crate::web::page::{Answer, Ctx, Page};
use crate::web::words;

#[derive(Template)]
#[template(path = "public/sign_in.html")]
struct SignInPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    /// The link is on its way, if the address is known: the page says the same for every address.
    asked: bool,
}

/// The booking that she goes on with once she is signed in.
#[derive(Deserialize)]
pub struct Draft {
    draft: Option<String>,
}

/// Shows the form.
pub async fn get(ctx: Ctx, Query(Draft { draft }): Query<Draft>) -> Answer {
    let draft = draft.and_then(|id| DraftId::parse(&id).ok());
    let fields = Fields::of(draft.map(|id| ("draft".to_owned(), id.to_string())).into_iter().collect());
    Ok(Page::ok(SignInPage { ctx, fields, errors: Errors::new(), asked: false }).into_response())
}

/// Puts a link on its way.
pub async fn post(
    State(app): State<App>,
    ConnectInfo(from): ConnectInfo<SocketAddr>,
    ctx: Ctx,
    fields: Fields,
) -> Answer {
    let mut errors = Errors::new();
    let Some(mail) = errors.take("mail", Mail::parse(fields.get("mail")), words::mail) else {
        return Ok(Page::refused(SignInPage { ctx, fields, errors, asked: false }).into_response());
    };
    let now = app.clock.now();
    app.limits.count(What::LinkByAddress, &neighbourhood(from.ip()), now).map_err(Fault::TooMany)?;
    // Over a mailbox's own limit the answer stays the same, so that it tells nobody who is a client here.
    if app.limits.count(What::LinkByMailbox, mail.as_str(), now).is_ok() {
        let draft = DraftId::parse(fields.get("draft")).ok();
        people::ask_for_link(&app, &mail, draft.as_ref(), &ctx.seen.visit_hash()).await?;
    }
    Ok(Page::ok(SignInPage { ctx, fields, errors, asked: true }).into_response())
}
