//! `GET /desk/clients?q=`: clients by name or mail; a practitioner sees hers. Template: `practitioner/clients.html`.

use askama::Template;
use axum::extract::{Query, State};
use axum::response::IntoResponse;
use serde::Deserialize;

use crate::app::App;
use crate::domain::role::Role;
use crate::store::clients;
use crate::store::clients::Client;
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};

/// The most clients on one page.
const MOST: i64 = 50;
/// The longest text that is looked for, in characters.
const LONGEST: usize = 100;

#[derive(Template)]
#[template(path = "practitioner/clients.html")]
struct ClientsPage {
    ctx: Ctx,
    asked: String,
    found: Vec<Client>,
    /// There are more than are shown.
    more: bool,
}

/// What is looked for.
#[derive(Deserialize)]
pub struct Asked {
    q: Option<String>,
}

/// Shows them.
pub async fn get(State(app): State<App>, ctx: Ctx, team: Team, Query(asked): Query<Asked>) -> Answer {
    let asked: String = asked.q.unwrap_or_default().trim().chars().take(LONGEST).collect();
    let mut c = app.db.read().await?;
    let mut found = match (team.0.role, &team.0.practitioner) {
        (Role::Owner, _) => clients::search(&mut c, &asked, MOST + 1).await?,
        (Role::Practitioner, Some(own)) => clients::search_of(&mut c, own, &asked, MOST + 1).await?,
        (Role::Practitioner, None) => Vec::new(),
    };
    let most = usize::try_from(MOST).unwrap_or(usize::MAX);
    let more = found.len() > most;
    found.truncate(most);
    Ok(Page::ok(ClientsPage { ctx, asked, found, more }).into_response())
}
