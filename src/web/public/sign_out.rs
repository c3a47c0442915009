//! `POST /sign-out` for clients; `POST /team/sign-out` and `POST /team/sign-out-everywhere` for the team.

use axum::extract::State;
use axum::http::{HeaderValue, header};
use axum::response::Response;

use crate::actions::people;
use crate::app::App;
use crate::domain::role::Actor;
use crate::store::sessions::Holder;
use crate::store::types::sha256_hex;
use crate::web::form::Fields;
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, see_other};
use crate::web::session::{self, Door};

fn gone(app: &App, cookie: &str, to: &str) -> Response {
    let mut response = see_other(to);
    session::set_cookie(response.headers_mut(), &session::no_cookie(app, cookie));
    response
        .headers_mut()
        .insert(header::HeaderName::from_static("clear-site-data"), HeaderValue::from_static("\"cache\""));
    response
}

/// A client signs out of this browser.
pub async fn post(State(app): State<App>, ctx: Ctx, _fields: Fields) -> Answer {
    people::sign_out(&app, &ctx.seen.visit_hash(), &ctx.seen.visitor_or_client()).await?;
    Ok(gone(&app, "visit", "/"))
}

/// A practitioner or the owner signs out of this browser.
pub async fn team(State(app): State<App>, door: Door, _fields: Fields) -> Answer {
    people::sign_out(&app, &sha256_hex(&door.token), &Actor::Member(door.member)).await?;
    Ok(gone(&app, "team", "/team/sign-in"))
}

/// … and out of every other one.
pub async fn everywhere(State(app): State<App>, team: Team, _fields: Fields) -> Answer {
    people::sign_out_everywhere(&app, &Holder::Account(team.0.account.clone()), &team.actor()).await?;
    Ok(gone(&app, "team", "/team/sign-in"))
}
