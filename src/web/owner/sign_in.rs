//! `POST /owner/practitioners/{id}/sign-in`, `…/password`, `…/second-factor`, `…/access` and `…/me`: what a practitioner signs in with.
//! Refused, they show `owner/practitioner.html`.

use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::practitioner::{Typed, page};
use super::{done, id, there};
use crate::actions::second_factor;
use crate::actions::team::{self, SignInRefused};
use crate::app::App;
use crate::domain::ids::PractitionerId;
use crate::domain::person::Mail;
use crate::password;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::team::proof::Proven;
use crate::web::words;

async fn refused(app: &App, ctx: Ctx, team: &Team, id: &PractitionerId, fields: Fields, errors: Errors) -> Answer {
    let typed = Typed { sign_in: fields, ..Typed::default() };
    Ok(Page::refused(page(app, ctx, &team.0, id, typed, errors).await?).into_response())
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
    let mail = errors.take("mail", Mail::parse(fields.get("mail")), words::mail);
    let password = errors.take("password", password::check(fields.get("password")), words::password);
    if let (Some(mail), Some(())) = (mail, password) {
        let secret = fields.get("password").to_owned();
        match team::give_sign_in(&app, &team.actor(), &id, &mail, secret).await? {
            Ok(()) => return Ok(back(&id)),
            Err(SignInRefused::Unknown) => return Err(Fault::NotFound),
            Err(SignInRefused::HasOne) => return Err(Fault::Conflict),
            Err(SignInRefused::MailTaken) => errors.add("mail", words::MAIL_TAKEN),
        }
    }
    refused(&app, ctx, &team, &id, fields, errors).await
}

/// Sets a new first password and ends her sessions.
pub async fn renew(
    State(app): State<App>,
    ctx: Ctx,
    team: Team,
    Path(path): Path<String>,
    Proven(fields): Proven,
) -> Answer {
    let id = id(PractitionerId::parse(&path))?;
    let mut errors = Errors::new();
    if errors.take("password", password::check(fields.get("password")), words::password).is_none() {
        return refused(&app, ctx, &team, &id, fields, errors).await;
    }
    let done = team::renew_password(&app, &team.actor(), &id, fields.get("password").to_owned()).await?;
    there(done.then(|| back(&id)))
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
