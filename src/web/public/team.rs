//! `GET` and `POST /team/sign-in`: the owner and practitioners sign in with a password. Template: `public/team.html`.

use askama::Template;
use axum::extract::{ConnectInfo, State};
use axum::response::IntoResponse;

use std::net::SocketAddr;

use crate::actions::people;
use crate::app::App;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::limits::{What, neighbourhood};
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::session;

#[derive(Template)]
#[template(path = "public/team.html")]
struct TeamPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
}

/// Shows the form.
pub async fn get(ctx: Ctx) -> Answer {
    Ok(Page::ok(TeamPage { ctx, fields: Fields::default(), errors: Errors::new() }).into_response())
}

/// Signs in, with a new token.
pub async fn post(
    State(app): State<App>,
    ConnectInfo(from): ConnectInfo<SocketAddr>,
    ctx: Ctx,
    fields: Fields,
) -> Answer {
    let mail = fields.trimmed("mail").to_lowercase();
    let (here, now) = (neighbourhood(from.ip()), app.clock.now());
    // Counted alike for addresses that have an account and for those that don't.
    app.limits.count(What::SignIn, &here, now).map_err(Fault::TooMany)?;
    app.limits.count(What::SignInHere, &format!("{here} {mail}"), now).map_err(Fault::TooMany)?;
    app.limits.count(What::SignInAnywhere, &mail, now).map_err(Fault::TooMany)?;
    let old = ctx.seen.team_token.clone();
    match people::sign_in(&app, &mail, fields.get("password").to_owned(), old.as_deref()).await? {
        Some(token) => {
            let mut response = see_other("/desk");
            session::set_cookie(response.headers_mut(), &session::team_cookie(&app, &token));
            Ok(response)
        }
        None => {
            let mut errors = Errors::new();
            errors.add("mail", "Mail and password don't go together.");
            Ok(Page::refused(TeamPage { ctx, fields, errors }).into_response())
        }
    }
}
