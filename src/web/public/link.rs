//! `GET` and `POST /sign-in/{token}`: the link from the mail. Opening it shows a button; only the button signs in,
//! since mail programs open links by themselves. Template: `public/link.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use crate::actions::people;
use crate::app::App;
use crate::store::sessions;
use crate::store::types::sha256_hex;
use crate::web::error::Fault;
use crate::web::form::Fields;
use crate::web::limits::What;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::session;

#[derive(Template)]
#[template(path = "public/link.html")]
struct LinkPage {
    ctx: Ctx,
    token: String,
    good: bool,
}

/// Shows the button.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(token): Path<String>) -> Answer {
    let mut c = app.db.read().await?;
    let good = sessions::link_is_good(&mut c, &sha256_hex(&token), app.clock.now()).await?;
    Ok(Page::ok(LinkPage { ctx, token, good }).into_response())
}

/// Uses the link up and signs in.
pub async fn post(State(app): State<App>, ctx: Ctx, Path(token): Path<String>, _fields: Fields) -> Answer {
    app.limits.count(What::LinkUse, &ctx.seen.from, app.clock.now()).map_err(Fault::TooMany)?;
    let Some((new_token, draft)) =
        people::use_link(&app, &token, &ctx.seen.visit_hash(), &ctx.seen.browser.device).await?
    else {
        if app.limits.count(What::LinkRefused, &ctx.seen.from, app.clock.now()).is_ok() {
            people::refused_link(&app).await?;
        }
        return Ok(Page(axum::http::StatusCode::GONE, LinkPage { ctx, token, good: false }).into_response());
    };
    let mut response = see_other(&draft.map_or_else(|| "/me".to_owned(), |id| format!("/book/{id}")));
    session::set_cookie(response.headers_mut(), &session::visit_cookie(&app, &new_token));
    Ok(response)
}
