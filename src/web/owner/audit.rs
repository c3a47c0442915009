//! `GET /owner/audit`: who saw or changed what, the newest first, of everybody, of one client (`client`, or part of her name in
//! `q`), by one person (`by`), up to a day (`to`), on pages (`before`). Template: `owner/audit.html`.

use std::collections::HashMap;

use askama::Template;
use axum::extract::{Query, State};
use axum::response::IntoResponse;
use serde::Deserialize;
use time::{Date, OffsetDateTime};

use super::{id, there};
use crate::app::App;
use crate::domain::ids::ClientId;
use crate::domain::zone::Zone;
use crate::store::audit::{self, Check, Entry, Found, Search};
use crate::store::{Connection, Stored, accounts, clients};
use crate::web::day;
use crate::web::form::Errors;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::words;
use crate::when;

/// Rows on a page.
const ROWS: i64 = 50;
/// Clients to choose from when several fit what was typed.
const CHOICE: i64 = 20;
/// Actors without an account: the kind, which is the value of the choice too.
const OTHERS: [&str; 3] = ["program", "command", "visitor"];

struct Row {
    when: String,
    who: String,
    what: String,
    client: Option<Named>,
    detail: String,
}

struct Person {
    value: String,
    name: String,
    chosen: bool,
}

#[derive(Template)]
#[template(path = "owner/audit.html")]
struct AuditPage {
    ctx: Ctx,
    errors: Errors,
    q: String,
    to: String,
    of: Option<Named>,
    people: Vec<Person>,
    /// Whom a part of a name may mean: address and name.
    choice: Vec<Pair>,
    rows: Vec<Row>,
    /// Where the page after this one is.
    older: Option<String>,
    /// What the last look at the chain found, and whether that is well.
    chain: Option<(bool, String)>,
}

/// Which rows.
#[derive(Deserialize)]
pub struct Which {
    client: Option<String>,
    #[serde(default)]
    q: String,
    #[serde(default)]
    by: String,
    #[serde(default)]
    to: String,
    before: Option<i64>,
}

impl Which {
    /// The address of the page for a client, with the rest as it is.
    fn href(&self, client: Option<&ClientId>, before: Option<i64>) -> String {
        let mut parts = Vec::new();
        parts.extend(client.map(|client| format!("client={client}")));
        let plain = |text: &&String| !text.is_empty() && text.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-');
        parts.extend(Some(&self.by).filter(plain).map(|by| format!("by={by}")));
        parts.extend(Some(&self.to).filter(plain).map(|to| format!("to={to}")));
        parts.extend(before.map(|before| format!("before={before}")));
        format!("/owner/audit{}{}", if parts.is_empty() { "" } else { "?" }, parts.join("&"))
    }
}

/// A client with her name.
type Named = (ClientId, String);
/// Two texts that belong together: where and what it says, or an actor's kind and id.
type Pair = (String, String);

/// What clients are called, each looked up once.
#[derive(Default)]
struct Names(HashMap<String, Option<Named>>);

impl Names {
    /// The client who is asked for, by the link of her record: also one whose record is locked away. In the rows of
    /// everybody such a client has no name.
    async fn asked_for(&mut self, c: &mut Connection, id: &ClientId) -> Stored<Option<Named>> {
        let client = clients::even_restricted(c, id).await?;
        let named = client.map(|client| (client.id, client.name.as_str().to_owned()));
        self.0.insert(id.to_string(), named.clone());
        Ok(named)
    }

    async fn of(&mut self, c: &mut Connection, text: &str) -> Stored<Option<Named>> {
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
        "client" => {
            names.of(c, &entry.actor_id).await?.map_or_else(|| crate::t("A client").to_owned(), |(_, name)| name)
        }
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

/// Everybody who may have done something, and the kind and id of whoever is chosen.
async fn people(c: &mut Connection, by: &str) -> Stored<(Vec<Person>, Option<Pair>)> {
    let mut all = Vec::new();
    let mut chosen = None;
    for account in accounts::all(c).await? {
        let id = account.member.account.as_str();
        if id == by {
            chosen = Some((account.member.role.as_str().to_owned(), id.to_owned()));
        }
        all.push(Person { value: id.to_owned(), name: account.member.name.clone(), chosen: id == by });
    }
    for kind in OTHERS {
        if kind == by {
            chosen = Some((kind.to_owned(), String::new()));
        }
        all.push(Person { value: kind.to_owned(), name: words::actor(kind, ""), chosen: kind == by });
    }
    Ok((all, chosen))
}

/// Clients whom a part of a name or mail may mean; with one, it is she.
async fn meant(c: &mut Connection, which: &Which) -> Stored<(Option<Named>, Vec<Pair>)> {
    let typed = which.q.trim();
    if typed.is_empty() {
        return Ok((None, Vec::new()));
    }
    let found = clients::search(c, typed, CHOICE).await?;
    if let [one] = &found[..] {
        return Ok((Some((one.id.clone(), one.name.as_str().to_owned())), Vec::new()));
    }
    let link = |one: &clients::Client| (which.href(Some(&one.id), None), one.name.as_str().to_owned());
    Ok((None, found.iter().map(link).collect()))
}

/// What a look at the chain found, in words.
pub(super) fn chain(check: &Check, zone: &Zone) -> (bool, String) {
    let at = when::moment(zone.to_civil(check.at));
    match check.found {
        Found::Holds(rows) => {
            let words = crate::tf("Looked at on {at}: all {rows} rows stand as they were written.");
            (true, words.with("at", at).with("rows", rows).to_string())
        }
        Found::Breaks(row) => {
            let words = crate::tf("Looked at on {at}: row {row} is not as it was written.");
            (false, words.with("at", at).with("row", row).to_string())
        }
        Found::CutOff(row) => {
            let words =
                crate::tf("Looked at on {at}: it once reached row {row}, and what was there is gone or another row.");
            (false, words.with("at", at).with("row", row).to_string())
        }
    }
}

/// Shows a page of them.
pub async fn get(State(app): State<App>, ctx: Ctx, Query(which): Query<Which>) -> Answer {
    let zone = ctx.studio()?.zone.clone();
    let mut c = app.db.read().await?;
    let mut names = Names::default();
    let mut errors = Errors::new();
    let (of, choice) = match &which.client {
        Some(text) if !text.is_empty() => {
            (Some(there(names.asked_for(&mut c, &id(ClientId::parse(text))?).await?)?), Vec::new())
        }
        _ => meant(&mut c, &which).await?,
    };
    if of.is_none() && choice.is_empty() && !which.q.trim().is_empty() {
        errors.add("q", crate::t("No client has this in her name or mail."));
    }
    let (people, by) = people(&mut c, &which.by).await?;
    let to: Option<Date> = day::read(&which.to);
    if to.is_none() && !which.to.is_empty() {
        errors.add("to", words::DAY);
    }
    let search = Search {
        client: of.as_ref().map(|(id, _)| id),
        actor: by.as_ref().map(|(kind, id)| (kind.as_str(), id.as_str())),
        until: to.and_then(Date::next_day).map(|next| zone.day_start(next)),
        before: which.before,
    };
    let unclear = of.is_none() && !which.q.trim().is_empty();
    let mut entries = if unclear { Vec::new() } else { audit::search(&mut c, &search, ROWS + 1).await? };
    let more = entries.len() > usize::try_from(ROWS).unwrap_or(usize::MAX);
    if more {
        entries.pop();
    }
    let last = entries.last().filter(|_| more).map(|entry| entry.seq);
    let older = last.map(|seq| which.href(search.client, Some(seq)));
    let mut rows = Vec::with_capacity(entries.len());
    for entry in entries {
        rows.push(row(&mut c, &zone, &mut names, entry).await?);
    }
    let chain = audit::last_check(&mut c).await?.map(|check| chain(&check, &zone));
    let (q, to) = (which.q, which.to);
    Ok(Page::ok(AuditPage { ctx, errors, q, to, of, people, choice, rows, older, chain }).into_response())
}
