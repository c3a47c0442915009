//! `GET /desk?day=2026-03-02`: the visits of a day in their order, each with its verdict. A practitioner sees hers, the
//! owner all. Template: `practitioner/today.html`.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::IntoResponse;
use serde::Deserialize;
use time::{Date, OffsetDateTime};

use super::view::{Names, topics};
use super::words;
use crate::actions::case::Known;
use crate::actions::health::{self, TestRefused};
use crate::actions::reactions;
use crate::app::App;
use crate::domain::role::{Member, Role};
use crate::domain::visit::VisitState;
use crate::store::clients::Client;
use crate::store::studio::Studio;
use crate::store::visits::{Purpose, Visit};
use crate::store::{Connection, Stored, clients, practitioners, readable, treatments, verdicts, visits};
use crate::web::day;
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::words::unread;
use crate::when;
use crate::{t, tf};

#[derive(Template)]
#[template(path = "practitioner/today.html")]
struct TodayPage {
    ctx: Ctx,
    title: String,
    day: String,
    before: Option<String>,
    after: Option<String>,
    is_today: bool,
    rows: Vec<Row>,
    /// Treatments of earlier days without a record: where it is written, and words.
    to_write: Vec<(String, String)>,
    /// Reports on which somebody should ask again today: id and words.
    ask_again: Vec<(String, String)>,
}

struct Row {
    href: String,
    time: String,
    who: String,
    what: String,
    /// `past`, `now` or nothing.
    place: &'static str,
    tag: &'static str,
    verdict: Option<(&'static str, String)>,
    topics: String,
    /// Whether it stands worse than it was booked.
    changed: bool,
}

/// Which day.
#[derive(Deserialize)]
pub struct Asked {
    day: Option<String>,
}

/// Shows it.
pub async fn get(State(app): State<App>, ctx: Ctx, team: Team, Query(asked): Query<Asked>) -> Answer {
    let (studio, now) = (ctx.studio()?.clone(), app.clock.now());
    let today = studio.zone.date_at(now);
    let day = asked.day.as_deref().map_or(Some(today), day::read);
    let ctx =
        if day.is_none() { ctx.saying(Some(t("That isn’t a day of the calendar; here is today."))) } else { ctx };
    let day = day.unwrap_or(today);
    let mut c = app.db.read().await?;
    let rows = rows(&mut c, &studio, &team.0, day, now).await?;
    let to_write = if day == today { to_write(&mut c, &studio, &team.0, day).await? } else { Vec::new() };
    let ask_again = if day == today { ask_again(&mut c, &studio, &team.0, day).await? } else { Vec::new() };
    drop(c);
    if !rows.is_empty() || !ask_again.is_empty() || !to_write.is_empty() {
        health::looked(&app, &team.0, "day.seen", None, &format!("{day}, clients: {}", rows.len())).await?;
    }
    Ok(Page::ok(TodayPage {
        ctx,
        title: if day == today { tf("Today, {day}").with("day", when::day(day)).to_string() } else { when::day(day) },
        day: day.to_string(),
        before: day.previous_day().map(|day| day.to_string()),
        after: day.next_day().map(|day| day.to_string()),
        to_write,
        ask_again,
        is_today: day == today,
        rows,
    })
    .into_response())
}

async fn to_write(c: &mut Connection, studio: &Studio, member: &Member, day: Date) -> Stored<Vec<(String, String)>> {
    let mut found = Vec::new();
    for id in treatments::unwritten(c, studio.zone.day_start(day)).await? {
        let Some(visit) = visits::get(c, &id).await?.filter(|visit| is_hers(member, visit)) else { continue };
        let Some(client) = &visit.client else { continue };
        let name = clients::get(c, client).await?.map_or_else(String::new, |one| one.name.as_str().to_owned());
        let words = tf("{client}, {when}").with("client", name).with("when", when::moment(visit.civil));
        found.push((format!("/desk/visits/{id}/treatment"), words.to_string()));
    }
    Ok(found)
}

fn is_hers(member: &Member, visit: &Visit) -> bool {
    member.role == Role::Owner || member.practitioner.as_ref() == Some(&visit.practitioner)
}

async fn ask_again(c: &mut Connection, studio: &Studio, member: &Member, day: Date) -> Stored<Vec<(String, String)>> {
    let ends = studio.zone.day_start(day.next_day().unwrap_or(day));
    let mut found = Vec::new();
    for reaction in reactions::due(c, member, ends).await? {
        let name =
            clients::get(c, &reaction.client).await?.map_or_else(String::new, |one| one.name.as_str().to_owned());
        let due = when::moment(studio.zone.to_civil(reaction.at));
        found.push((
            reaction.id.to_string(),
            tf("{client}, due {when}").with("client", name).with("when", due).to_string(),
        ));
    }
    Ok(found)
}

async fn rows(
    c: &mut Connection,
    studio: &Studio,
    member: &Member,
    day: Date,
    now: OffsetDateTime,
) -> Stored<Vec<Row>> {
    let names = Names::load(c, studio).await?;
    let rooms = practitioners::rooms(c).await?;
    let (from, to) = (studio.zone.day_start(day), studio.zone.day_start(day.next_day().unwrap_or(day)));
    let mut rows = Vec::new();
    for visit in visits::between(c, from, to).await? {
        let Some(id) = visit.client.as_ref().filter(|_| is_hers(member, &visit)) else { continue };
        let Some(client) = clients::get(c, id).await? else { continue };
        let room = rooms.iter().find(|room| room.id == visit.room).map_or("", |room| &room.name);
        let open = matches!(visit.state, VisitState::Booked | VisitState::Arrived);
        let changed = open && verdicts::stands_worse(c, &visit.id).await?;
        let judged = readable(judge(c, studio, &visit, &names, now).await)?;
        let (verdict, topics) = judged.unwrap_or_else(|why| (None, unread(why).to_owned()));
        rows.push(row(&visit, &client, room, member.role == Role::Owner, &names, now).with(verdict, topics, changed));
    }
    Ok(rows)
}

fn row(visit: &Visit, client: &Client, room: &str, all: bool, names: &Names, now: OffsetDateTime) -> Row {
    let what = names.visit(visit);
    let what = if all {
        let with = names.practitioner(&visit.practitioner);
        tf("{what}, {room}, with {practitioner}")
            .with("what", what)
            .with("room", room)
            .with("practitioner", with)
            .into()
    } else {
        format!("{what}, {room}")
    };
    let under_way = matches!(visit.state, VisitState::Arrived | VisitState::InTreatment);
    Row {
        href: format!("/desk/visits/{}", visit.id),
        time: words::from_to(names.clock(visit.starts_at), names.clock(visit.ends_at)),
        who: client.name.as_str().to_owned(),
        what,
        place: match visit.state {
            _ if under_way => "now",
            state if state.is_over() => "past",
            _ if visit.starts_at <= now && now < visit.ends_at => "now",
            _ => "",
        },
        tag: words::state(visit.state),
        verdict: None,
        topics: String::new(),
        changed: false,
    }
}

impl Row {
    fn with(self, verdict: Option<(&'static str, String)>, topics: String, changed: bool) -> Self {
        Self { verdict, topics, changed, ..self }
    }
}

/// What the rules say of a visit that is still to come, and about what.
async fn judge(
    c: &mut Connection,
    studio: &Studio,
    visit: &Visit,
    names: &Names,
    now: OffsetDateTime,
) -> Stored<(Option<(&'static str, String)>, String)> {
    if !matches!(visit.state, VisitState::Booked | VisitState::Arrived) {
        return Ok((None, String::new()));
    }
    let known = Known::of_visit(c, studio, visit).await?;
    if visit.purpose == Purpose::SkinTest {
        return Ok((Some(permission(&known, visit.civil.date(), now)), String::new()));
    }
    let readiness = known.readiness(judged_at(visit, now), now);
    Ok((Some(words::verdict(&readiness)), topics(&readiness, names).join(", ")))
}

/// For which moment a visit is judged: its start, and from then on, or once she is here, the present.
pub(super) fn judged_at(visit: &Visit, now: OffsetDateTime) -> OffsetDateTime {
    if visit.state == VisitState::Booked { visit.starts_at.max(now) } else { now }
}

/// Whether a skin test may be applied on a day, as shape and words.
pub(super) fn permission(known: &Known, on: Date, now: OffsetDateTime) -> (&'static str, String) {
    match health::permission(known, on, now) {
        Ok(true) => ("clear", t("Skin test may be applied").to_owned()),
        Ok(false) => ("ask", t("A clear skin test can’t be trusted now").to_owned()),
        Err(TestRefused::NotBefore(day)) => {
            ("wait", tf("No skin test before {day}").with("day", when::day(day)).into())
        }
        Err(TestRefused::AskFirst) => ("ask", t("Talk first, then test").to_owned()),
        Err(TestRefused::LetterFirst) => ("letter", t("Letter first, then test").to_owned()),
        Err(TestRefused::Guardian) => ("letter", t("Guardian signs first, then test").to_owned()),
        Err(TestRefused::ReactionOpen) => ("ask", t("Settle the reaction report first").to_owned()),
        Err(TestRefused::NoAnswers) => ("ask", t("Ask the health questions first").to_owned()),
        Err(_) => ("stop", t("No skin test").to_owned()),
    }
}
