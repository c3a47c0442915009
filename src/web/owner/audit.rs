//! `GET /owner/audit`: who saw or changed what, the newest first, of everybody or of one client (`client`), on pages
//! (`before`). Template: `owner/audit.html`.

use std::collections::HashMap;

use askama::Template;
use axum::extract::{Query, State};
use axum::response::IntoResponse;
use serde::Deserialize;
use time::OffsetDateTime;

use super::{id, there};
use crate::app::App;
use crate::domain::ids::ClientId;
use crate::domain::zone::Zone;
use crate::store::audit::{self, Entry};
use crate::store::{Connection, Stored, clients};
use crate::web::page::{Answer, Ctx, Page};
use crate::web::words;

/// Rows on a page.
const ROWS: i64 = 50;

struct Row {
    when: String,
    who: String,
    what: String,
    client: Option<(ClientId, String)>,
    detail: String,
}

#[derive(Template)]
#[template(path = "owner/audit.html")]
struct AuditPage {
    ctx: Ctx,
    of: Option<(ClientId, String)>,
    rows: Vec<Row>,
    /// The page after this one: its `before`.
    older: Option<i64>,
}

/// Which rows.
#[derive(Deserialize)]
pub struct Which {
    client: Option<String>,
    before: Option<i64>,
}

/// What clients are called, each looked up once.
#[derive(Default)]
struct Names(HashMap<String, Option<(ClientId, String)>>);

impl Names {
    async fn of(&mut self, c: &mut Connection, text: &str) -> Stored<Option<(ClientId, String)>> {
        if let Some(known) = self.0.get(text) {
            return Ok(known.clone());
        }
        let client = match ClientId::parse(text) {
            Ok(id) => clients::get(c, &id).await?,
            Err(_) => None,
        };
        let named = client.map(|client| (client.id, client.name.as_str().to_owned()));
        self.0.insert(text.to_owned(), named.clone());
        Ok(named)
    }
}

async fn row(c: &mut Connection, zone: &Zone, names: &mut Names, entry: Entry) -> Stored<Row> {
    let at = OffsetDateTime::from_unix_timestamp(entry.at).unwrap_or(OffsetDateTime::UNIX_EPOCH);
    let who = match entry.actor_kind.as_str() {
        "client" => names.of(c, &entry.actor_id).await?.map_or("A client".to_owned(), |(_, name)| name),
        kind => words::actor(kind, &entry.actor_name),
    };
    Ok(Row {
        when: words::moment(zone.to_civil(at)),
        who,
        what: words::done(&entry.action),
        client: names.of(c, &entry.client_id).await?,
        detail: entry.detail,
    })
}

/// Shows a page of them.
pub async fn get(State(app): State<App>, ctx: Ctx, Query(which): Query<Which>) -> Answer {
    let mut c = app.db.read().await?;
    let mut names = Names::default();
    let of = match &which.client {
        Some(text) => Some(there(names.of(&mut c, id(ClientId::parse(text))?.as_str()).await?)?),
        None => None,
    };
    let client = of.as_ref().map(|(id, _)| id);
    let mut entries = audit::list(&mut c, client, which.before, ROWS + 1).await?;
    let more = entries.len() > usize::try_from(ROWS).unwrap_or(usize::MAX);
    if more {
        entries.pop();
    }
    let older = entries.last().filter(|_| more).map(|entry| entry.seq);
    let zone = ctx.studio()?.zone.clone();
    let mut rows = Vec::with_capacity(entries.len());
    for entry in entries {
        rows.push(row(&mut c, &zone, &mut names, entry).await?);
    }
    Ok(Page::ok(AuditPage { ctx, of, rows, older }).into_response())
}
