//! `GET /desk/sign-in`, `POST /desk/sign-in/codes` and `…/end`: one's own sign-in. Template: `team/own.html`.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::IntoResponse;
use serde::Deserialize;

use super::proof::Proven;
use super::second_factor::CodesPage;
use crate::actions::{passkeys, people, second_factor};
use crate::app::{App, SecondFactor};
use crate::domain::ids::PasskeyId;
use crate::domain::zone::Zone;
use crate::store::passkeys::Passkey;
use crate::store::sessions::Holder;
use crate::store::types::sha256_hex;
use crate::store::{self, second_factor as stored};
use crate::t;
use crate::web::error::Fault;
use crate::web::form::Fields;
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::{sign_ins, words};

/// Her second factor.
enum Factor {
    /// The demo has none.
    Off,
    /// Not set up yet.
    Missing,
    /// Since when there is an app, and how many recovery codes are left.
    There { app: Option<String>, left: i64 },
}

/// A passkey, as the list shows it.
struct Key {
    id: PasskeyId,
    name: String,
    made: String,
    used: String,
    /// It may be removed.
    may_go: bool,
}

#[derive(Template)]
#[template(path = "team/own.html")]
struct OwnPage {
    ctx: Ctx,
    factor: Factor,
    keys: Vec<Key>,
    /// None of them may be removed.
    last: bool,
    /// Why there can be no passkeys.
    no_passkeys: Option<&'static str>,
    rows: Vec<sign_ins::Row>,
}

/// What has just been done.
#[derive(Deserialize)]
pub struct Said {
    ended: Option<String>,
    added: Option<String>,
    removed: Option<String>,
}

impl Said {
    fn words(&self) -> Option<&'static str> {
        match self {
            Self { ended: Some(_), .. } => Some(t("That session is ended.")),
            Self { added: Some(_), .. } => Some(t("The passkey is added.")),
            Self { removed: Some(_), .. } => Some(t("The passkey is removed. You are signed out everywhere else.")),
            _ => None,
        }
    }
}

fn key(one: Passkey, zone: &Zone, may_go: bool) -> Key {
    Key {
        id: one.id,
        name: one.name,
        made: words::day(zone.date_at(one.made_at)),
        used: one.used_at.map_or_else(|| t("Not yet").to_owned(), |at| words::moment(zone.to_civil(at))),
        may_go,
    }
}

/// Shows it.
pub async fn get(State(app): State<App>, ctx: Ctx, team: Team, Query(said): Query<Said>) -> Answer {
    let (zone, account) = (ctx.studio()?.zone.clone(), &team.0.account);
    let mut c = app.db.read().await?;
    let (found, keys) = (stored::get(&mut c, account).await?, store::passkeys::of_account(&mut c, account).await?);
    let may_go = passkeys::may_remove(found.is_some(), keys.len());
    let factor = match app.second_factor {
        SecondFactor::Off => Factor::Off,
        SecondFactor::Asked if found.is_none() && keys.is_empty() => Factor::Missing,
        SecondFactor::Asked => Factor::There {
            app: found.map(|found| words::day(zone.date_at(found.made_at))),
            left: stored::recovery_left(&mut c, account).await?,
        },
    };
    let last = !keys.is_empty() && !may_go;
    let keys = keys.into_iter().map(|one| key(one, &zone, may_go)).collect();
    let no_passkeys = passkeys::none_here(&app).map(words::no_passkeys);
    let own = ctx.seen.team_token.as_deref().map(sha256_hex).unwrap_or_default();
    let rows = sign_ins::rows(&app, &mut c, &Holder::Account(account.clone()), &zone, &own).await?;
    let ctx = ctx.saying(said.words());
    Ok(Page::ok(OwnPage { ctx, factor, keys, last, no_passkeys, rows }).into_response())
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
    let holder = Holder::Account(team.0.account.clone());
    if people::end_session(&app, &holder, &team.actor(), fields.trimmed("session")).await? {
        Ok(see_other("/desk/sign-in?ended="))
    } else {
        Err(Fault::NotFound)
    }
}
