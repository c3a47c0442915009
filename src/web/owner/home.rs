//! `GET /owner`: what is set up and what is still missing. Template: `owner/home.html`.

use askama::Template;
use axum::response::IntoResponse;

use crate::web::page::{Answer, Ctx, Page};

#[derive(Template)]
#[template(path = "owner/home.html")]
struct HomePage {
    ctx: Ctx,
}

/// Shows it.
pub async fn get(ctx: Ctx) -> Answer {
    Ok(Page::ok(HomePage { ctx }).into_response())
}
