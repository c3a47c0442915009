//! `GET /book/{id}`: on to the page that is next to be filled in. `POST`: the same, and the time is held again; when
//! somebody else has it by now, on to the nearest free ones.

use axum::extract::{Path, State};

use super::Booking;
use crate::app::App;
use crate::web::form::Fields;
use crate::web::page::{Answer, Ctx, see_other};

/// Leads to the next page.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(id): Path<String>) -> Answer {
    let booking = Booking::open(&app, &ctx, &id).await?;
    Ok(see_other(&booking.next()))
}

/// Goes on with a booking that was left.
pub async fn post(State(app): State<App>, ctx: Ctx, Path(id): Path<String>, _fields: Fields) -> Answer {
    let booking = Booking::open(&app, &ctx, &id).await?;
    booking.keep(&app).await?;
    Ok(see_other(&booking.next()))
}
