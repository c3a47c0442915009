//! `GET /owner/mail`: mail that didn't leave, and why. `POST /owner/mail/{id}/again` and `…/set-aside`: what becomes of
//! one that was given up. Template: `owner/mail.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::{Done, done, id, there};
use crate::actions::post;
use crate::app::App;
use crate::domain::ids::MailId;
use crate::store::outbox::{self, Standing};
use crate::web::form::Fields;
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::words;

struct Line {
    id: MailId,
    kind: &'static str,
    to: String,
    written: String,
    next: String,
    tries: i64,
    error: String,
    given_up: bool,
}

#[derive(Template)]
#[template(path = "owner/mail.html")]
struct MailPage {
    ctx: Ctx,
    mail: Standing,
    lines: Vec<Line>,
}

/// Shows it.
pub async fn get(State(app): State<App>, ctx: Ctx, Done(said): Done) -> Answer {
    let zone = &ctx.studio()?.zone;
    let mut c = app.db.read().await?;
    let mail = outbox::standing(&mut c).await?;
    let line = |one: outbox::Trouble| Line {
        kind: post::kind(&one.body),
        written: words::moment(zone.to_civil(one.created_at)),
        next: words::moment(zone.to_civil(one.due_at)),
        id: one.id,
        to: one.to_mail,
        tries: one.tries,
        error: one.error,
        given_up: one.given_up,
    };
    let lines = outbox::troubled(&mut c).await?.into_iter().map(line).collect();
    Ok(Page::ok(MailPage { ctx: ctx.saying(said), mail, lines }).into_response())
}

/// Tries one again.
pub async fn again(State(app): State<App>, team: Team, Path(path): Path<String>, _fields: Fields) -> Answer {
    let id = id(MailId::parse(&path))?;
    there(post::again(&app, &team.0, &id).await?.then(|| done("/owner/mail", "again")))
}

/// Takes one off the list.
pub async fn set_aside(State(app): State<App>, team: Team, Path(path): Path<String>, _fields: Fields) -> Answer {
    let id = id(MailId::parse(&path))?;
    there(post::set_aside(&app, &team.0, &id).await?.then(|| done("/owner/mail", "removed")))
}
