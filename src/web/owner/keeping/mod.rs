//! `GET /owner/keeping`: how long records are kept, and what holds them longer. Template: `owner/keeping/home.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use super::{Done, done, filled, id, in_time, read, there, today};
use crate::app::App;
use crate::domain::ids::ClientId;
use crate::domain::retention::{Class, answer_due};
use crate::store::clients::Client;
use crate::store::{clients, holds, readable, restriction, retention};
use crate::t;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::words::unread;
use crate::when;

pub mod client;
pub mod hold;
pub mod list;
pub mod processing;
pub mod term;
mod words;

/// The most characters of a reason or a basis.
const WORDS_MOST: usize = 500;

struct ClassView {
    title: &'static str,
    holds: &'static str,
    term: String,
    basis: String,
    href: String,
}

struct HoldView {
    client: ClientId,
    name: String,
    why: String,
    set: String,
}

#[derive(Template)]
#[template(path = "owner/keeping/home.html")]
struct KeepingPage {
    ctx: Ctx,
    classes: Vec<ClassView>,
    holds: Vec<HoldView>,
    /// Who asked to be erased, with by when she has to be answered.
    requests: Vec<(ClientId, String, String)>,
    /// Whose record is locked away, with since when.
    restricted: Vec<(ClientId, String, String)>,
}

/// Shows it.
pub async fn get(State(app): State<App>, ctx: Ctx, Done(said): Done) -> Answer {
    let zone = ctx.studio()?.zone.clone();
    let mut c = app.db.read().await?;
    let mut classes = Vec::new();
    for class in Class::ALL {
        let newest = retention::newest(&mut c, class).await?;
        classes.push(ClassView {
            title: words::title(class),
            holds: words::holds(class),
            term: words::term(class, newest.term),
            basis: t(&newest.basis).to_owned(),
            href: format!("/owner/keeping/terms/{}", class.as_str()),
        });
    }
    let mut held = Vec::new();
    for (id, client, set_at, set_by) in holds::open(&mut c).await? {
        let name = clients::even_restricted(&mut c, &client).await?.map(|client| client.name.as_str().to_owned());
        let why = match readable(holds::get(&mut c, &id).await)? {
            Ok(hold) => hold.map(|hold| hold.why).unwrap_or_default(),
            Err(why) => unread(why).to_owned(),
        };
        held.push(HoldView {
            name: name.unwrap_or_default(),
            client,
            why,
            set: format!("{}, {}", when::day(zone.date_at(set_at)), set_by),
        });
    }
    let name = |client: Option<Client>| client.map(|client| client.name.as_str().to_owned()).unwrap_or_default();
    let (mut requests, mut restricted) = (Vec::new(), Vec::new());
    for (client, at) in restriction::requests(&mut c).await? {
        let named = name(clients::even_restricted(&mut c, &client).await?);
        requests.push((client, named, when::day(answer_due(zone.date_at(at)))));
    }
    for (client, at) in restriction::all(&mut c).await? {
        let named = name(clients::even_restricted(&mut c, &client).await?);
        restricted.push((client, named, when::day(zone.date_at(at))));
    }
    let ctx = ctx.saying(said);
    Ok(Page::ok(KeepingPage { ctx, classes, holds: held, requests, restricted }).into_response())
}
