//! `GET` and `POST /sign-in`: a client asks for a link. Template: `public/sign_in.html`.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::IntoResponse;
use serde::Deserialize;

use crate::actions::people;
use crate::app::App;
use crate::domain::ids::DraftId;
use crate::domain::person::Mail;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::limits::What;
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
    /// Where she asks for another one.
    again: String,
}

impl SignInPage {
    fn new(ctx: Ctx, fields: Fields, errors: Errors, asked: bool) -> Self {
        let draft = DraftId::parse(fields.get("draft")).ok();
        let again = draft.map_or_else(|| "/sign-in".to_owned(), |id| format!("/sign-in?draft={id}"));
        Self { ctx, fields, errors, asked, again }
    }
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
    Ok(Page::ok(SignInPage::new(ctx, fields, Errors::new(), false)).into_response())
}

/// Puts a link on its way.
pub async fn post(State(app): State<App>, ctx: Ctx, fields: Fields) -> Answer {
    let mut errors = Errors::new();
    let Some(mail) = errors.take("mail", Mail::parse(fields.get("mail")), words::mail) else {
        return Ok(Page::refused(SignInPage::new(ctx, fields, errors, false)).into_response());
    };
    let now = app.clock.now();
    app.limits.count(What::LinkByAddress, &ctx.seen.from, now).map_err(Fault::TooMany)?;
    // Over a mailbox's own limit the answer stays the same, so that it tells nobody who is a client here.
    let here = format!("{} {}", ctx.seen.from, mail.as_str());
    // What is over the limit of one address doesn't use up what all of them have.
    let count = |what, whom: &str| app.limits.count(what, whom, now).is_ok();
    if count(What::LinkHere, &here) && count(What::LinkAnywhere, mail.as_str()) {
        let draft = DraftId::parse(fields.get("draft")).ok();
        people::ask_for_link(&app, &mail, draft.as_ref(), &ctx.seen.visit_hash()).await?;
    }
    Ok(Page::ok(SignInPage::new(ctx, fields, errors, true)).into_response())
}
