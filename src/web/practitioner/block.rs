//! `GET` and `POST /desk/blocks/new`, `POST /desk/blocks/{id}/remove`: a stretch in which nothing is booked.
//! Template: `practitioner/block.html`.

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::IntoResponse;
use serde::Deserialize;

use super::calendar::visible;
use super::read;
use crate::actions::hours::{self, Blocking};
use crate::app::App;
use crate::domain::ids::{BlockId, PractitionerId, RoomId};
use crate::domain::role::Role;
use crate::store::calendar::Blocked;
use crate::store::practitioners::{self, Practitioner, Room};
use crate::t;
use crate::web::day;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::words::CHOOSE;

/// The most characters of a reason.
const REASON: usize = 120;
/// How the form marks a room.
const ROOM: &str = "room-";

#[derive(Template)]
#[template(path = "practitioner/block.html")]
struct BlockPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    team: Vec<Practitioner>,
    rooms: Vec<Room>,
}

/// What stands in the form at first.
#[derive(Deserialize)]
pub struct Asked {
    day: Option<String>,
    who: Option<String>,
    from: Option<String>,
    to: Option<String>,
}

async fn page(app: &App, ctx: Ctx, team: &Team, fields: Fields, errors: Errors) -> Result<BlockPage, Fault> {
    let mut c = app.db.read().await?;
    let everybody = visible(&team.0, practitioners::all(&mut c).await?);
    let rooms = if team.0.role == Role::Owner { practitioners::rooms(&mut c).await? } else { Vec::new() };
    Ok(BlockPage { ctx, fields, errors, team: everybody, rooms })
}

/// Shows the form.
pub async fn get(State(app): State<App>, ctx: Ctx, team: Team, Query(asked): Query<Asked>) -> Answer {
    let own = || team.0.practitioner.as_ref().map(ToString::to_string).unwrap_or_default();
    let fields = [
        ("day", asked.day.unwrap_or_default()),
        ("what", asked.who.filter(|who| !who.is_empty()).unwrap_or_else(own)),
        ("from", asked.from.unwrap_or_default()),
        ("to", asked.to.unwrap_or_default()),
    ];
    let fields = Fields::of(fields.map(|(name, value)| (name.to_owned(), value)).to_vec());
    Ok(Page::ok(page(&app, ctx, &team, fields, Errors::new()).await?).into_response())
}

fn what(text: &str) -> Option<Blocked> {
    match text.strip_prefix(ROOM) {
        Some(id) => RoomId::parse(id).ok().map(Blocked::Room),
        None => PractitionerId::parse(text).ok().map(Blocked::Practitioner),
    }
}

/// Blocks it.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, fields: Fields) -> Answer {
    let mut errors = Errors::new();
    let what = what(fields.trimmed("what"));
    if what.is_none() {
        errors.add("what", t(CHOOSE));
    }
    let zone = ctx.studio()?.zone.clone();
    let day = day::field(&mut errors, &fields, "day");
    let from = read::moment(&mut errors, &fields, "from", day, &zone);
    let to = read::moment(&mut errors, &fields, "to", day, &zone);
    let reason = read::text(&mut errors, &fields, "reason", REASON, false);
    if let (Some(from), Some(to)) = (from, to)
        && to <= from
    {
        errors.add("to", t("It has to end after it begins."));
    }
    if let (true, Some(what), Some(day), Some(from), Some(to), Some(reason)) =
        (errors.is_empty(), what, day, from, to, reason)
    {
        match hours::block(&app, &team.0, what, (from, to), reason).await? {
            Blocking::Done => return Ok(see_other(&format!("/desk/calendar?day={day}"))),
            Blocking::Taken => {
                errors.add("from", t("A visit is booked or being booked then. Move or cancel it first."))
            }
            Blocking::NotHers => errors.add("what", t(CHOOSE)),
        }
    }
    Ok(Page::refused(page(&app, ctx, &team, fields, errors).await?).into_response())
}

/// Takes it away.
pub async fn remove(State(app): State<App>, ctx: Ctx, team: Team, Path(path): Path<String>, _: Fields) -> Answer {
    let id = BlockId::parse(&path).map_err(|_| Fault::NotFound)?;
    let block = hours::unblock(&app, &team.0, &id).await?.ok_or(Fault::NotFound)?;
    Ok(see_other(&format!("/desk/calendar?day={}", ctx.studio()?.zone.date_at(block.starts_at))))
}
