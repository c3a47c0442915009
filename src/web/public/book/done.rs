//! `GET /book/{id}/done`: it is booked. Template: `public/book/done.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::VisitView;
use crate::app::App;
use crate::domain::ids::DraftId;
use crate::store::{catalogue, drafts, visits};
use crate::web::error::Fault;
use crate::web::page::{Answer, Ctx, Page};

#[derive(Template)]
#[template(path = "public/book/done.html")]
struct DonePage {
    ctx: Ctx,
    visits: Vec<VisitView>,
    address: String,
    cancel_hours: i64,
}

/// Shows what is booked, to the browser that booked it.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(id): Path<String>) -> Answer {
    let id = DraftId::parse(&id).map_err(|_| Fault::NotFound)?;
    let studio = ctx.studio()?.clone();
    let mut c = app.db.read().await?;
    let draft = drafts::get(&mut c, &id, drafts::By::Browser(&ctx.seen.visit_hash(), ctx.seen.client_id()))
        .await?
        .ok_or(Fault::NotFound)?;
    if !draft.booked {
        return Err(Fault::SeeOther(format!("/book/{id}")));
    }
    let service = catalogue::service(&mut c, &draft.service).await?.ok_or(Fault::NotFound)?;
    let booked = visits::of_draft(&mut c, &id).await?;
    let views = booked.iter().map(|visit| VisitView::of(visit, &service)).collect();
    Ok(Page::ok(DonePage {
        ctx,
        visits: views,
        address: studio.address.replace('\n', ", "),
        cancel_hours: studio.cancel_limit_hours,
    })
    .into_response())
}
