//! `GET` and `POST /owner/other-hours`, `POST /owner/other-hours/{id}/remove`: days on which somebody works at other
//! times, or on which the studio closes early. Template: `owner/other_hours.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;
use time::Date;

use super::days_off::{AHEAD, REASON, STUDIO};
use super::read::{choice, note};
use super::{Done, done, id, there, today};
use crate::actions::hours;
use crate::app::App;
use crate::domain::hours::DayHours;
use crate::domain::ids::{DayHoursId, PractitionerId};
use crate::store::calendar::{self, OtherHours};
use crate::store::practitioners::{self, Practitioner};
use crate::web::day;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::words;

struct Row {
    other: OtherHours,
    who: String,
    hours: String,
}

#[derive(Template)]
#[template(path = "owner/other_hours.html")]
struct OtherHoursPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    team: Vec<Practitioner>,
    rows: Vec<Row>,
}

async fn page(app: &App, ctx: Ctx, fields: Fields, errors: Errors) -> Result<OtherHoursPage, Fault> {
    let mut c = app.db.read().await?;
    let team = practitioners::all(&mut c).await?;
    let other = calendar::other_hours(&mut c, today(app, ctx.studio()?)).await?;
    let row = |other: OtherHours| {
        let who = match &other.practitioner {
            Some(id) => team.iter().find(|she| she.id == *id).map(|she| she.name.clone()).unwrap_or_default(),
            None => crate::t("The whole studio").to_owned(),
        };
        let hours = if other.hours.spans().is_empty() { crate::t("Free").to_owned() } else { other.hours.to_string() };
        Row { other, who, hours }
    };
    let rows = other.into_iter().map(row).collect();
    Ok(OtherHoursPage { ctx, fields, errors, team, rows })
}

/// Shows those ahead.
pub async fn get(State(app): State<App>, ctx: Ctx, Done(said): Done) -> Answer {
    Ok(Page::ok(page(&app, ctx.saying(said), Fields::default(), Errors::new()).await?).into_response())
}

type Read = (Option<PractitionerId>, Date, DayHours, String);

fn read(team: &[Practitioner], fields: &Fields, today: Date) -> Result<Read, Errors> {
    let mut errors = Errors::new();
    let who = match fields.trimmed("who") {
        STUDIO => Some(None),
        text => PractitionerId::parse(text).ok().filter(|id| team.iter().any(|she| she.id == *id)).map(Some),
    };
    let who = choice(&mut errors, "who", who);
    let day = day::field(&mut errors, fields, "day");
    match day {
        Some(day) if day < today => errors.add("day", crate::t("That day has passed.")),
        Some(day) if day - today > AHEAD => {
            errors.add("day", crate::t("That is more than three years ahead. Please check the year."));
        }
        _ => {}
    }
    let hours = errors.take("hours", DayHours::parse_text(fields.get("hours")), words::hours);
    let reason = note(&mut errors, fields, "reason", REASON);
    match (who, day, hours, reason) {
        (Some(who), Some(day), Some(hours), Some(reason)) if errors.is_empty() => Ok((who, day, hours, reason)),
        _ => Err(errors),
    }
}

/// Sets the hours of a day.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, fields: Fields) -> Answer {
    let everybody = practitioners::all(&mut *app.db.read().await?).await?;
    match read(&everybody, &fields, today(&app, ctx.studio()?)) {
        Ok((who, day, other, reason)) => {
            hours::set_other_hours(&app, &team.actor(), who, day, other, reason).await?;
            Ok(done("/owner/other-hours", "added"))
        }
        Err(errors) => Ok(Page::refused(page(&app, ctx, fields, errors).await?).into_response()),
    }
}

/// The usual hours hold again.
pub async fn remove(State(app): State<App>, ctx: Ctx, team: Team, Path(path): Path<String>, _: Fields) -> Answer {
    let id = id(DayHoursId::parse(&path))?;
    let removed = hours::remove_other_hours(&app, &team.actor(), &id, today(&app, ctx.studio()?)).await?;
    there(removed.then(|| done("/owner/other-hours", "removed")))
}
