//! `POST /owner/practitioners/{id}/sign-in`, `…/password`, `…/second-factor`, `…/access` and `…/me`: what a practitioner signs in with.
//! Refused, they show `owner/practitioner.html`; a first password is shown by `owner/first_password.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::practitioner::{Typed, page};
use super::{done, id, there};
use crate::actions::second_factor;
use crate::actions::team::{self, FirstPassword, SignInRefused};
use crate::app::App;
use crate::domain::ids::PractitionerId;
use crate::domain::person::Mail;
use crate::store::practitioners;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::team::proof::Proven;
use crate::web::words;
use crate::when;

async fn refused(app: &App, ctx: Ctx, team: &Team, id: &PractitionerId, fields: Fields, errors: Errors) -> Answer {
    let typed = Typed { sign_in: fields, ..Typed::default() };
    Ok(Page::refused(page(app, ctx, &team.0, id, typed, errors).await?).into_response())
}

#[derive(Template)]
#[template(path = "owner/first_password.html")]
struct FirstPasswordPage {
    ctx: Ctx,
    id: PractitionerId,
    name: String,
    secret: String,
    until: String,
}

async fn shown_once(app: &App, ctx: Ctx, id: PractitionerId, first: FirstPassword) -> Answer {
    let she = there(practitioners::get(&mut *app.db.read().await?, &id).await?)?;
    let until = when::moment(ctx.studio()?.zone.to_civil(first.until));
    Ok(Page::ok(FirstPasswordPage { ctx, id, name: she.name, secret: first.secret, until }).into_response())
}

fn back(id: &PractitionerId) -> axum::response::Response {
    done(&format!("/owner/practitioners/{id}"), "saved")
}

/// Gives her a mail and a first password.
pub async fn give(
    State(app): State<App>,
    ctx: Ctx,
    team: Team,
    Path(path): Path<String>,
    Proven(fields): Proven,
) -> Answer {
    let id = id(PractitionerId::parse(&path))?;
    let mut errors = Errors::new();
    if let Some(mail) = errors.take("mail", Mail::parse(fields.get("mail")), words::mail) {
        match team::give_sign_in(&app, &team.actor(), &id, &mail).await? {
            Ok(first) => return shown_once(&app, ctx, id, first).await,
            Err(SignInRefused::Unknown) => return Err(Fault::NotFound),
            Err(SignInRefused::HasOne) => return Err(Fault::Conflict),
            Err(SignInRefused::MailTaken) => errors.add("mail", words::MAIL_TAKEN),
        }
    }
    refused(&app, ctx, &team, &id, fields, errors).await
}

/// Sets a new first password and ends her sessions.
pub async fn renew(State(app): State<App>, ctx: Ctx, team: Team, Path(path): Path<String>, _proven: Proven) -> Answer {
    let id = id(PractitionerId::parse(&path))?;
    let first = there(team::renew_password(&app, &team.actor(), &id).await?)?;
    shown_once(&app, ctx, id, first).await
}

/// Takes her second factor away, when she lost phone and codes.
pub async fn forget_factor(State(app): State<App>, team: Team, Path(path): Path<String>, _proven: Proven) -> Answer {
    let id = id(PractitionerId::parse(&path))?;
    let account = team::own_account(&app, &id).await?;
    let forgotten = match account {
        Some(account) => second_factor::forget(&app, &team.actor(), &account).await?,
        None => false,
    };
    there(forgotten.then(|| back(&id)))
}

/// Switches her sign-in off or on.
pub async fn access(State(app): State<App>, team: Team, Path(path): Path<String>, Proven(fields): Proven) -> Answer {
    let id = id(PractitionerId::parse(&path))?;
    let enabled = match fields.trimmed("access") {
        "on" => true,
        "off" => false,
        _ => return Err(Fault::BadRequest),
    };
    there(team::set_enabled(&app, &team.actor(), &id, enabled).await?.then(|| back(&id)))
}

/// The owner is this practitioner, or no longer.
pub async fn me(State(app): State<App>, team: Team, Path(path): Path<String>, Proven(fields): Proven) -> Answer {
    let id = id(PractitionerId::parse(&path))?;
    let done = match fields.trimmed("me") {
        "yes" => team::treat_as(&app, &team.0, &id).await?,
        "no" => team::treat_no_longer(&app, &team.0, &id).await?,
        _ => return Err(Fault::BadRequest),
    };
    if done { Ok(back(&id)) } else { Err(Fault::Conflict) }
}
