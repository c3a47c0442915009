//! `GET /me/visits/{id}/calendar.ics`: a visit for her own calendar.

use axum::extract::{Path, State};

use super::visits::own;
use crate::app::App;
use crate::documents::ics::{Calendar, Event, Method, visit_at};
use crate::web::guard::SignedIn;
use crate::web::page::{Answer, Ctx, attachment};

/// The file.
pub async fn get(State(app): State<App>, ctx: Ctx, who: SignedIn, Path(id): Path<String>) -> Answer {
    let studio = ctx.studio()?;
    let mut c = app.db.read().await?;
    let visit = own(&mut c, &who, &id).await?.visit;
    let event = Event {
        sequence: visit.sequence,
        starts: visit.starts_at,
        ends: visit.ends_at,
        cancelled: visit.state.is_over() && !matches!(visit.state, crate::domain::visit::VisitState::Done),
        visit: visit.id,
        summary: visit_at(&studio.name),
    };
    let calendar = Calendar {
        method: Method::Publish,
        zone: studio.zone.clone(),
        address: studio.address.clone(),
        organizer: None,
        attendee: None,
        stamp: app.clock.now(),
        events: vec![event],
    };
    Ok(attachment("text/calendar; charset=utf-8; method=PUBLISH", "visit.ics", calendar.to_ics()))
}
