//! `GET /privacy`: what is kept, why, for how long, and a client's rights. Template: `public/privacy.html`.

use askama::Template;
use axum::response::IntoResponse;

use crate::web::page::{Answer, Ctx, Page};

#[derive(Template)]
#[template(path = "public/privacy.html")]
struct PrivacyPage {
    ctx: Ctx,
}

/// Shows the notice.
pub async fn get(ctx: Ctx) -> Answer {
    Ok(Page::ok(PrivacyPage { ctx }).into_response())
}
