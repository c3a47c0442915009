//! `GET /desk/clients/{id}/growth`: the numbers behind a client's windows, today and on a day of choice.
//! Template: `practitioner/growth.html`.

mod numbers;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::IntoResponse;
use serde::Deserialize;

use numbers::{Lifts, WindowView, load};

use crate::actions::{health as looks, treating};
use crate::app::App;
use crate::domain::growth::CAUTION;
use crate::domain::ids::ClientId;
use crate::store::clients;
use crate::t;
use crate::web::day;
use crate::web::error::Fault;
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::words;
use crate::when;

#[derive(Template)]
#[template(path = "practitioner/growth.html")]
struct GrowthPage {
    ctx: Ctx,
    client: ClientId,
    name: String,
    today: String,
    /// The day of choice as it was typed.
    typed: String,
    error: Option<&'static str>,
    windows: Vec<WindowView>,
    lifts: Option<Lifts>,
    caution: &'static str,
}

/// The day of choice.
#[derive(Deserialize)]
pub struct Ask {
    on: Option<String>,
}

/// Shows them.
pub async fn get(
    State(app): State<App>,
    ctx: Ctx,
    team: Team,
    Path(id): Path<String>,
    Query(ask): Query<Ask>,
) -> Answer {
    let id = ClientId::parse(&id).map_err(|_| Fault::NotFound)?;
    let (studio, now) = (ctx.studio()?.clone(), app.clock.now());
    let mut c = app.db.read().await?;
    let client = clients::get(&mut c, &id).await?.ok_or(Fault::NotFound)?;
    if !treating::may_see(&mut c, &team.0, &id).await? {
        return Err(Fault::NotFound);
    }
    let typed = ask.on.unwrap_or_default();
    let on = day::read(&typed);
    let error = (on.is_none() && !typed.is_empty()).then(|| t(words::DAY));
    let (windows, lifts) = load(&mut c, &studio, &id, now, on).await?;
    drop(c);
    looks::looked(&app, &team.0, "growth.seen", Some(&id), "").await?;
    let (name, today) = (client.name.as_str().to_owned(), when::day(studio.zone.date_at(now)));
    let page = GrowthPage { ctx, client: id, name, today, typed, error, windows, lifts, caution: CAUTION };
    Ok(if page.error.is_some() { Page::refused(page) } else { Page::ok(page) }.into_response())
}
