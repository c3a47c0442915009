//! `GET /desk/calendar?view=week&day=2026-03-02&who=…`: a day or a week, with what is booked, blocked and free, and how
//! the rooms are used. A practitioner sees hers, the owner all. Template: `practitioner/calendar.html`.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::IntoResponse;
use serde::Deserialize;
use time::{Date, Duration, Weekday};

use super::view::Names;
use crate::actions::health;
use crate::actions::hours::may_arrange;
use crate::app::App;
use crate::domain::ids::PractitionerId;
use crate::domain::role::{Member, Role};
use crate::store::practitioners::{self, Practitioner};
use crate::tf;
use crate::web::day;
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::when;

mod plan;

use plan::{Days, Plan, RoomUse};

#[derive(Template)]
#[template(path = "practitioner/calendar.html")]
struct CalendarPage {
    ctx: Ctx,
    title: String,
    day: String,
    who: String,
    week: bool,
    before: String,
    after: String,
    is_now: bool,
    team: Vec<Practitioner>,
    all: bool,
    /// The plans of one day.
    plans: Vec<Plan>,
    rooms: Vec<RoomUse>,
    /// The days of a week, each with the plans of those who are at work or have something on.
    days: Vec<WeekDay>,
}

struct WeekDay {
    href: String,
    label: String,
    is_today: bool,
    plans: Vec<Plan>,
}

/// Which day or week, and whose.
#[derive(Deserialize)]
pub struct Asked {
    day: Option<String>,
    who: Option<String>,
    view: Option<String>,
}

/// Whom a member may look at here.
pub(super) fn visible(member: &Member, all: Vec<Practitioner>) -> Vec<Practitioner> {
    all.into_iter().filter(|she| may_arrange(member, &she.id)).collect()
}

fn monday(day: Date) -> Date {
    if day.weekday() == Weekday::Monday { day } else { day.prev_occurrence(Weekday::Monday) }
}

/// Shows it.
pub async fn get(State(app): State<App>, ctx: Ctx, team: Team, Query(asked): Query<Asked>) -> Answer {
    let (studio, now) = (ctx.studio()?.clone(), app.clock.now());
    let today = studio.zone.date_at(now);
    let day = asked.day.as_deref().and_then(day::read).unwrap_or(today);
    let week = asked.view.as_deref() == Some("week");
    let mut c = app.db.read().await?;
    let everybody = visible(&team.0, practitioners::all(&mut c).await?);
    let who = asked.who.as_deref().and_then(|id| PractitionerId::parse(id).ok());
    let who = who.filter(|id| everybody.iter().any(|she| she.id == *id));
    let chosen: Vec<_> = everybody.iter().filter(|she| who.as_ref().is_none_or(|id| she.id == *id)).cloned().collect();
    let (first, count) = if week { (monday(day), 7) } else { (day, 1) };
    let names = Names::load(&mut c, &studio).await?;
    let loaded = Days::load(&mut c, &studio, &names, (first, count), now).await?;
    drop(c);
    let owner = team.0.role == Role::Owner;
    let seen = loaded.clients(&chosen);
    if seen > 0 {
        health::looked(&app, &team.0, "calendar.seen", None, &format!("{first}, days: {count}, clients: {seen}"))
            .await?;
    }
    let step = Duration::days(i64::from(count));
    let plans = |date: Date| chosen.iter().map(|she| loaded.plan(she, date, now)).filter(Plan::matters).collect();
    let days = crate::domain::zone::days(first, count).map(|date| WeekDay {
        href: link(date, who.as_ref(), false),
        label: when::short_day(date),
        is_today: date == today,
        plans: if week { plans(date) } else { Vec::new() },
    });
    Ok(Page::ok(CalendarPage {
        title: if week { tf("Week of {day}").with("day", when::day(first)).to_string() } else { when::day(day) },
        day: day.to_string(),
        before: link(first - step, who.as_ref(), week),
        after: link(first + step, who.as_ref(), week),
        is_now: (first..first + step).contains(&today),
        week,
        all: owner && who.is_none(),
        team: if everybody.len() > 1 { everybody.clone() } else { Vec::new() },
        plans: if week { Vec::new() } else { plans(day) },
        rooms: if week { Vec::new() } else { loaded.rooms(day) },
        days: days.collect(),
        who: who.map(|id| id.to_string()).unwrap_or_default(),
        ctx,
    })
    .into_response())
}

fn link(date: Date, who: Option<&PractitionerId>, week: bool) -> String {
    let view = if week { "&view=week" } else { "" };
    let who = who.map(|id| format!("&who={id}")).unwrap_or_default();
    format!("/desk/calendar?day={date}{view}{who}")
}
