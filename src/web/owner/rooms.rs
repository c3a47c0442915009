//! `GET` and `POST /owner/rooms`, `GET` and `POST /owner/rooms/{id}`: rooms or chairs.
//! Templates: `owner/rooms.html`, `owner/room.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::{Done, done, filled, id, read, there, tick};
use crate::actions::studio;
use crate::app::App;
use crate::domain::ids::RoomId;
use crate::store::Stored;
use crate::store::practitioners::{self, Room};
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};

#[derive(Template)]
#[template(path = "owner/rooms.html")]
struct RoomsPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    /// Each with how many visits are booked in it from now on.
    rooms: Vec<(Room, usize)>,
}

#[derive(Template)]
#[template(path = "owner/room.html")]
struct RoomPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    /// It is out of use, and this many visits are booked in it.
    stranded: usize,
}

async fn all(app: &App) -> Stored<Vec<(Room, usize)>> {
    let mut c = app.db.read().await?;
    let booked = practitioners::booked_from(&mut c, app.clock.now()).await?;
    let rooms = practitioners::rooms(&mut c).await?.into_iter();
    Ok(rooms
        .map(|room| {
            let here = booked.iter().filter(|(_, place)| *place == room.id).count();
            (room, here)
        })
        .collect())
}

async fn one(app: &App, id: &RoomId) -> Result<(Room, usize), Fault> {
    let (room, booked) = there(all(app).await?.into_iter().find(|(room, _)| room.id == *id))?;
    let stranded = if room.active { 0 } else { booked };
    Ok((room, stranded))
}

/// Shows the list.
pub async fn get(State(app): State<App>, ctx: Ctx, Done(said): Done) -> Answer {
    let rooms = all(&app).await?;
    let page = RoomsPage { ctx: ctx.saying(said), fields: Fields::default(), errors: Errors::new(), rooms };
    Ok(Page::ok(page).into_response())
}

/// Adds a room.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, fields: Fields) -> Answer {
    let mut errors = Errors::new();
    if let Some(name) = read::label(&mut errors, &fields, "name") {
        studio::save_room(&app, &team.actor(), None, &name, true).await?;
        return Ok(done("/owner/rooms", "added"));
    }
    let rooms = all(&app).await?;
    Ok(Page::refused(RoomsPage { ctx, fields, errors, rooms }).into_response())
}

/// Shows one room.
pub async fn get_one(State(app): State<App>, ctx: Ctx, Path(path): Path<String>) -> Answer {
    let id = id(RoomId::parse(&path))?;
    let (room, stranded) = one(&app, &id).await?;
    let fields = filled([("name", room.name), ("active", tick(room.active))]);
    Ok(Page::ok(RoomPage { ctx, fields, errors: Errors::new(), stranded }).into_response())
}

/// Changes one room.
pub async fn post_one(
    State(app): State<App>,
    ctx: Ctx,
    team: Team,
    Path(path): Path<String>,
    fields: Fields,
) -> Answer {
    let id = id(RoomId::parse(&path))?;
    let mut errors = Errors::new();
    match read::label(&mut errors, &fields, "name") {
        Some(name) => {
            let saved =
                studio::save_room(&app, &team.actor(), Some(id.clone()), &name, fields.ticked("active")).await?;
            there(saved.then(|| done("/owner/rooms", "saved")))
        }
        None => {
            let (_, stranded) = one(&app, &id).await?;
            Ok(Page::refused(RoomPage { ctx, fields, errors, stranded }).into_response())
        }
    }
}
