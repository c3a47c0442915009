//! `GET` and `POST /owner/rooms`, `GET` and `POST /owner/rooms/{id}`: rooms or chairs.
//! Templates: `owner/rooms.html`, `owner/room.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::{Done, done, filled, id, read, there, tick};
use crate::actions::studio;
use crate::app::App;
use crate::domain::ids::RoomId;
use crate::store::practitioners::{self, Room};
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};

#[derive(Template)]
#[template(path = "owner/rooms.html")]
struct RoomsPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    rooms: Vec<Room>,
}

#[derive(Template)]
#[template(path = "owner/room.html")]
struct RoomPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
}

/// Shows the list.
pub async fn get(State(app): State<App>, ctx: Ctx, Done(said): Done) -> Answer {
    let rooms = practitioners::rooms(&mut *app.db.read().await?).await?;
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
    let rooms = practitioners::rooms(&mut *app.db.read().await?).await?;
    Ok(Page::refused(RoomsPage { ctx, fields, errors, rooms }).into_response())
}

/// Shows one room.
pub async fn get_one(State(app): State<App>, ctx: Ctx, Path(path): Path<String>) -> Answer {
    let id = id(RoomId::parse(&path))?;
    let rooms = practitioners::rooms(&mut *app.db.read().await?).await?;
    let room = there(rooms.into_iter().find(|room| room.id == id))?;
    let fields = filled([("name", room.name), ("active", tick(room.active))]);
    Ok(Page::ok(RoomPage { ctx, fields, errors: Errors::new() }).into_response())
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
            let saved = studio::save_room(&app, &team.actor(), Some(id), &name, fields.ticked("active")).await?;
            there(saved.then(|| done("/owner/rooms", "saved")))
        }
        None => Ok(Page::refused(RoomPage { ctx, fields, errors }).into_response()),
    }
}
