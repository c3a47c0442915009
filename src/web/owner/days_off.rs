//! `GET` and `POST /owner/days-off`, `POST /owner/days-off/{id}/remove`: days off of one practitioner, and days on
//! which the studio is closed. Template: `owner/days_off.html`.

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::IntoResponse;
use serde::Deserialize;
use time::{Date, Duration};

use super::read::{choice, note};
use super::{Done, done, filled, id, there, today};
use crate::actions::studio;
use crate::app::App;
use crate::domain::hours::{DateRange, DateRangeRefused};
use crate::domain::ids::{PractitionerId, TimeOffId};
use crate::domain::visit::VisitState;
use crate::domain::zone::Zone;
use crate::store::practitioners::{self, Practitioner, TimeOff};
use crate::store::{Connection, Stored, visits};
use crate::web::day;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::words;

/// How the form says that the studio is closed.
pub(super) const STUDIO: &str = "studio";
/// The most characters of a reason.
pub(super) const REASON: usize = 120;
/// A day further ahead than this is a slip.
pub(super) const AHEAD: Duration = Duration::days(3 * 366);

struct Row {
    off: TimeOff,
    who: String,
    booked: usize,
}

#[derive(Template)]
#[template(path = "owner/days_off.html")]
struct DaysOffPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    team: Vec<Practitioner>,
    rows: Vec<Row>,
}

/// How many visits are booked on days off.
async fn booked(c: &mut Connection, zone: &Zone, off: &TimeOff) -> Stored<usize> {
    let after = off.to.next_day().unwrap_or(off.to);
    let visits = visits::between(c, zone.day_start(off.from), zone.day_start(after)).await?;
    let hers = |practitioner| off.practitioner.as_ref().is_none_or(|hers| hers == practitioner);
    Ok(visits.iter().filter(|visit| visit.state == VisitState::Booked && hers(&visit.practitioner)).count())
}

async fn page(app: &App, ctx: Ctx, fields: Fields, errors: Errors) -> Result<DaysOffPage, Fault> {
    let studio = ctx.studio()?;
    let mut c = app.db.read().await?;
    let team = practitioners::all(&mut c).await?;
    let mut rows = Vec::new();
    for off in practitioners::time_off(&mut c, today(app, studio)).await? {
        let booked = booked(&mut c, &studio.zone, &off).await?;
        let who = match &off.practitioner {
            Some(id) => team.iter().find(|she| she.id == *id).map(|she| she.name.clone()).unwrap_or_default(),
            None => crate::t("The whole studio").to_owned(),
        };
        rows.push(Row { off, who, booked });
    }
    Ok(DaysOffPage { ctx, fields, errors, team, rows })
}

/// Whose days off are to be added.
#[derive(Deserialize)]
pub struct For {
    #[serde(rename = "for")]
    who: Option<String>,
}

/// Shows all that are ahead.
pub async fn get(State(app): State<App>, ctx: Ctx, Done(said): Done, Query(whose): Query<For>) -> Answer {
    let fields = filled([("who", whose.who.unwrap_or_default())]);
    Ok(Page::ok(page(&app, ctx.saying(said), fields, Errors::new()).await?).into_response())
}

fn range(errors: &mut Errors, fields: &Fields, today: Date) -> Option<DateRange> {
    let from = day::field(errors, fields, "from");
    let to = if fields.trimmed("to").is_empty() { from } else { day::field(errors, fields, "to") };
    let range = DateRange::parse(from?, to?);
    let range = errors.take("to", range, |refusal| match refusal {
        DateRangeRefused::Reversed { .. } => crate::t("The last day comes before the first.").to_owned(),
        DateRangeRefused::TooLong { most } => crate::tf("At most {most} days at once.").with("most", most).to_string(),
    })?;
    if range.last() < today {
        errors.add(if fields.trimmed("to").is_empty() { "from" } else { "to" }, crate::t("That day has passed."));
    } else if range.last() - today > AHEAD {
        errors.add("from", crate::t("That is more than three years ahead. Please check the year."));
    }
    Some(range)
}

/// Whose, when and why.
type DaysOff = (Option<PractitionerId>, DateRange, String);

fn read(team: &[Practitioner], fields: &Fields, today: Date) -> Result<DaysOff, Errors> {
    let mut errors = Errors::new();
    let who = match fields.trimmed("who") {
        STUDIO => Some(None),
        text => PractitionerId::parse(text).ok().filter(|id| team.iter().any(|she| she.id == *id)).map(Some),
    };
    let who = choice(&mut errors, "who", who);
    let range = range(&mut errors, fields, today);
    let reason = note(&mut errors, fields, "reason", REASON);
    match (who, range, reason) {
        (Some(who), Some(range), Some(reason)) if errors.is_empty() => Ok((who, range, reason)),
        _ => Err(errors),
    }
}

/// Adds days off.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, fields: Fields) -> Answer {
    let everybody = practitioners::all(&mut *app.db.read().await?).await?;
    match read(&everybody, &fields, today(&app, ctx.studio()?)) {
        Ok((who, days, reason)) => {
            studio::add_days_off(&app, &team.actor(), who, days, reason).await?;
            Ok(done("/owner/days-off", "added"))
        }
        Err(errors) => Ok(Page::refused(page(&app, ctx, fields, errors).await?).into_response()),
    }
}

/// Takes days off back.
pub async fn remove(State(app): State<App>, ctx: Ctx, team: Team, Path(path): Path<String>, _: Fields) -> Answer {
    let id = id(TimeOffId::parse(&path))?;
    let removed = studio::remove_days_off(&app, &team.actor(), &id, today(&app, ctx.studio()?)).await?;
    there(removed.then(|| done("/owner/days-off", "removed")))
}
