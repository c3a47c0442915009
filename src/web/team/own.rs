//! `GET /desk/sign-in`, `POST /desk/sign-in/codes` and `…/end`: one's own sign-in. Template: `team/own.html`.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::IntoResponse;
use serde::Deserialize;

use super::proof::Proven;
use super::second_factor::CodesPage;
use crate::actions::{second_factor, sign_in};
use crate::app::{App, SecondFactor};
use crate::domain::role::Stay;
use crate::domain::zone::Zone;
use crate::store::second_factor as stored;
use crate::store::sessions::{self, Listed};
use crate::store::types::sha256_hex;
use crate::t;
use crate::web::error::Fault;
use crate::web::form::Fields;
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::words;

/// Her second factor.
enum Factor {
    /// The demo has none.
    Off,
    /// Not set up yet.
    Missing,
    /// Since when, and how many recovery codes are left.
    There { since: String, left: i64 },
}

/// A session, as the list shows it.
struct Row {
    hash: String,
    device: String,
    began: String,
    used: String,
    here: bool,
}

#[derive(Template)]
#[template(path = "team/own.html")]
struct OwnPage {
    ctx: Ctx,
    factor: Factor,
    rows: Vec<Row>,
}

/// What has just been done.
#[derive(Deserialize)]
pub struct Said {
    ended: Option<String>,
}

fn row(listed: Listed, zone: &Zone, own: &str) -> Row {
    Row {
        here: listed.token_hash == own,
        hash: listed.token_hash,
        device: if listed.device.is_empty() { t("a device").to_owned() } else { t(&listed.device).to_owned() },
        began: words::moment(zone.to_civil(listed.created_at)),
        used: words::moment(zone.to_civil(listed.seen_at)),
    }
}

/// Shows it.
pub async fn get(State(app): State<App>, ctx: Ctx, team: Team, Query(said): Query<Said>) -> Answer {
    let (zone, now, account) = (ctx.studio()?.zone.clone(), app.clock.now(), &team.0.account);
    let mut c = app.db.read().await?;
    let factor = match (app.second_factor, stored::get(&mut c, account).await?) {
        (SecondFactor::Off, _) => Factor::Off,
        (SecondFactor::Asked, None) => Factor::Missing,
        (SecondFactor::Asked, Some(factor)) => Factor::There {
            since: words::day(zone.date_at(factor.made_at)),
            left: stored::recovery_left(&mut c, account).await?,
        },
    };
    let own = ctx.seen.team_token.as_deref().map(sha256_hex).unwrap_or_default();
    let listed = sessions::of_account(&mut c, account, now, now - Stay::TEAM.idle).await?;
    let rows = listed.into_iter().map(|listed| row(listed, &zone, &own)).collect();
    let ctx = ctx.saying(said.ended.map(|_| t("That session is ended.")));
    Ok(Page::ok(OwnPage { ctx, factor, rows }).into_response())
}

/// Makes new recovery codes and shows them once.
pub async fn codes(State(app): State<App>, ctx: Ctx, team: Team, _proven: Proven) -> Answer {
    let codes = second_factor::renew_codes(&app, &team.0).await?;
    if codes.is_empty() {
        return Err(Fault::Conflict);
    }
    Ok(Page::ok(CodesPage { ctx, codes, next: "/desk/sign-in" }).into_response())
}

/// Ends one of her own sessions.
pub async fn end(State(app): State<App>, team: Team, fields: Fields) -> Answer {
    if sign_in::end_session(&app, &team.0, fields.trimmed("session")).await? {
        Ok(see_other("/desk/sign-in?ended="))
    } else {
        Err(Fault::NotFound)
    }
}
