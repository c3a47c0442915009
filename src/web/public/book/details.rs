//! `GET` and `POST /book/{id}/details`: who books. Template: `public/book/details.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::{Booking, HoldView, VisitView, pairs_text, read_person};
use crate::app::App;
use crate::web::form::{Errors, Fields};
use crate::web::page::{Answer, Ctx, Page, see_other};

#[derive(Template)]
#[template(path = "public/book/details.html")]
struct DetailsPage {
    ctx: Ctx,
    draft: String,
    steps: usize,
    visits: Vec<VisitView>,
    fields: Fields,
    errors: Errors,
    hold: Option<HoldView>,
}

impl DetailsPage {
    fn new(ctx: Ctx, booking: &Booking, fields: Fields, errors: Errors) -> Self {
        Self {
            ctx,
            draft: booking.draft.id.to_string(),
            steps: booking.steps(),
            visits: booking.visit_views(),
            hold: booking.hold_view(),
            fields,
            errors,
        }
    }
}

/// Shows the form.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(id): Path<String>) -> Answer {
    let booking = Booking::open(&app, &ctx, &id).await?;
    if booking.client.is_some() {
        return Ok(see_other(&booking.next()));
    }
    let fields = booking.typed();
    Ok(Page::ok(DetailsPage::new(ctx, &booking, fields, Errors::new())).into_response())
}

/// Keeps what was typed, renews the hold, goes on when all is well.
pub async fn post(State(app): State<App>, ctx: Ctx, Path(id): Path<String>, fields: Fields) -> Answer {
    let mut booking = Booking::open(&app, &ctx, &id).await?;
    booking.draft.details = pairs_text(&fields);
    booking.save(&app).await?;
    booking.keep(&app).await?;
    if let Some(there) = booking.stays(&app, &fields, "details").await? {
        return Ok(see_other(&there));
    }
    match read_person(&fields, &booking.studio, booking.today()) {
        Ok(_) => Ok(see_other(&booking.next())),
        Err(errors) => Ok(Page::refused(DetailsPage::new(ctx, &booking, fields, errors)).into_response()),
    }
}
