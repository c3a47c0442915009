//! `GET /book/{id}`: on to the page that is next to be filled in.

use axum::extract::{Path, State};

use super::Booking;
use crate::app::App;
use crate::web::page::{Answer, Ctx, see_other};

/// Leads to the next page.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(id): Path<String>) -> Answer {
    let booking = Booking::open(&app, &ctx, &id).await?;
    Ok(see_other(&booking.next()))
}
