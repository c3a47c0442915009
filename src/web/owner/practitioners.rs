//! `GET` and `POST /owner/practitioners`: who treats, and somebody new; `POST …/sign-outs` signs everybody out. Template: `owner/practitioners.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use super::{Done, done};
use crate::actions::{people, team};
use crate::app::App;
use crate::domain::hours::WeeklyHours;
use crate::domain::person::PersonName;
use crate::domain::role::Role;
use crate::msg;
use crate::store::practitioners::{self, Practitioner};
use crate::store::types::{impossible, sha256_hex};
use crate::store::{Connection, Stored, accounts};
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::team::proof::Proven;
use crate::web::words;

struct Row {
    she: Practitioner,
    days: Vec<&'static str>,
    sign_in: &'static str,
}

#[derive(Template)]
#[template(path = "owner/practitioners.html")]
struct PractitionersPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    rows: Vec<Row>,
}

/// The seven days, Monday first, with the number that the store gives them.
pub(super) const DAYS: [(time::Weekday, &str); 7] = [
    (time::Weekday::Monday, msg("Monday")),
    (time::Weekday::Tuesday, msg("Tuesday")),
    (time::Weekday::Wednesday, msg("Wednesday")),
    (time::Weekday::Thursday, msg("Thursday")),
    (time::Weekday::Friday, msg("Friday")),
    (time::Weekday::Saturday, msg("Saturday")),
    (time::Weekday::Sunday, msg("Sunday")),
];

/// Her week.
pub(super) async fn week(c: &mut Connection, she: &Practitioner) -> Stored<WeeklyHours> {
    let rows = practitioners::hours(c, &she.id).await?;
    WeeklyHours::parse(rows).map_err(|_| impossible("hours", "opens_minute", she.id.as_str()))
}

async fn page(app: &App, ctx: Ctx, fields: Fields, errors: Errors) -> Result<PractitionersPage, Fault> {
    let mut c = app.db.read().await?;
    let mut rows = Vec::new();
    for she in practitioners::all(&mut c).await? {
        let week = week(&mut c, &she).await?;
        let days =
            DAYS.iter().filter(|(day, _)| !week.on(*day).spans().is_empty()).map(|(_, name)| crate::t(name)).collect();
        let sign_in = match accounts::of_practitioner(&mut c, &she.id).await? {
            None => crate::t("None yet"),
            Some(account) if account.member.role == Role::Owner => crate::t("Yours"),
            Some(account) if account.enabled => crate::t("Yes"),
            Some(_) => crate::t("Switched off"),
        };
        rows.push(Row { she, days, sign_in });
    }
    Ok(PractitionersPage { ctx, fields, errors, rows })
}

/// Shows the list.
pub async fn get(State(app): State<App>, ctx: Ctx, Done(said): Done) -> Answer {
    Ok(Page::ok(page(&app, ctx.saying(said), Fields::default(), Errors::new()).await?).into_response())
}

/// Adds somebody.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, fields: Fields) -> Answer {
    let mut errors = Errors::new();
    match errors.take("name", PersonName::parse(fields.get("name")), words::name) {
        Some(name) => {
            let id = team::add(&app, &team.actor(), &name).await?;
            Ok(done(&format!("/owner/practitioners/{id}"), "added"))
        }
        None => Ok(Page::refused(page(&app, ctx, fields, errors).await?).into_response()),
    }
}

/// Signs everybody out but herself.
pub async fn sign_everybody_out(State(app): State<App>, ctx: Ctx, team: Team, _proven: Proven) -> Answer {
    let own = ctx.seen.team_token.as_deref().map(sha256_hex).unwrap_or_default();
    people::sign_everybody_out(&app, &team.actor(), &own).await?;
    Ok(done("/owner/practitioners", "signed-out"))
}
