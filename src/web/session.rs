//! Who is asking: cookies in, a [`Seen`] for the handlers, cookies out.
//!
//! Two cookies, so that a practitioner who follows a link from her mail stays signed in: the *visit*
//! cookie (`SameSite=Lax`) belongs to a visitor or a signed-in client, the *team* cookie
//! (`SameSite=Strict`) to a practitioner or the owner. A visitor's token is stored nowhere; its hash only
//! marks the bookings that she is filling in.

use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, header};
use axum::middleware::Next;
use axum::response::Response;
use time::Duration;

use crate::app::App;
use crate::domain::ids::ClientId;
use crate::domain::role::{Actor, Member, Stay};
use crate::store::sessions::{self, Holder};
use crate::store::studio::Studio;
use crate::store::types::sha256_hex;
use crate::store::{Stored, accounts, clients, studio};
use crate::web::error;

/// The id of a request, in its log lines and on error pages.
#[derive(Clone, Debug)]
pub struct RequestId(pub String);

/// What is known of whoever asks.
#[derive(Clone)]
pub struct Seen {
    /// The browser's own token: a visitor's or a client's.
    pub visit_token: String,
    /// The token of a signed-in practitioner or owner.
    pub team_token: Option<String>,
    /// The signed-in client.
    pub client: Option<(ClientId, String)>,
    /// The signed-in practitioner or owner.
    pub member: Option<Member>,
    /// The studio, once it is set up.
    pub studio: Option<Arc<Studio>>,
    /// The request's id.
    pub request_id: String,
    /// The path that was asked for.
    pub path: String,
}

impl Seen {
    /// The hash that marks this browser's unfinished bookings.
    pub fn visit_hash(&self) -> String {
        sha256_hex(&self.visit_token)
    }

    /// The form token of a page; the same for all forms of one session.
    pub fn form_token(&self, team: bool) -> String {
        let token = match (&self.team_token, team) {
            (Some(token), true) => token,
            _ => &self.visit_token,
        };
        form_token(token)
    }

    /// Whether a posted form token is of this browser.
    pub fn owns_form(&self, posted: &str) -> bool {
        let same = |token: &String| {
            let ours = form_token(token);
            bool::from(subtle::ConstantTimeEq::ct_eq(ours.as_bytes(), posted.as_bytes()))
        };
        same(&self.visit_token) | self.team_token.as_ref().is_some_and(same)
    }

    /// The signed-in client.
    pub fn client_id(&self) -> Option<&ClientId> {
        self.client.as_ref().map(|(id, _)| id)
    }

    /// Whom the audit names for a change on a page for clients and visitors.
    pub fn visitor_or_client(&self) -> Actor {
        self.client.as_ref().map_or(Actor::Visitor, |(id, _)| Actor::Client(id.clone()))
    }
}

fn form_token(token: &str) -> String {
    sha256_hex(&format!("form of {token}"))
}

/// Gives each request an id.
pub async fn name_request(State(app): State<App>, mut request: Request, next: Next) -> Response {
    let id = data_encoding::HEXLOWER.encode(&app.random.bytes::<8>());
    request.extensions_mut().insert(RequestId(id.clone()));
    let mut response = next.run(request).await;
    if let Ok(value) = HeaderValue::from_str(&id) {
        response.headers_mut().insert("x-request-id", value);
    }
    response
}

/// Finds out who asks, and dresses errors as pages.
pub async fn see(State(app): State<App>, mut request: Request, next: Next) -> Response {
    let path = request.uri().path().to_owned();
    if path == "/healthz" || path.starts_with("/static/") {
        return next.run(request).await;
    }
    let request_id = request.extensions().get::<RequestId>().map(|id| id.0.clone()).unwrap_or_default();
    let (seen, new_visitor) = match look(&app, request.headers(), request_id.clone(), path).await {
        Ok(found) => found,
        Err(error) => return error::bare(&error, &request_id),
    };
    let seen = Arc::new(seen);
    request.extensions_mut().insert(seen.clone());
    let response = next.run(request).await;
    let mut response = error::dress(&app, &seen, response);
    if new_visitor && !response.headers().contains_key(header::SET_COOKIE) && is_page(&response) {
        set_cookie(response.headers_mut(), &visit_cookie(&app, &seen.visit_token));
    }
    if !response.headers().contains_key(header::CACHE_CONTROL) {
        response.headers_mut().insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    }
    response
}

fn is_page(response: &Response) -> bool {
    response.headers().get(header::CONTENT_TYPE).is_some_and(|kind| kind.as_bytes().starts_with(b"text/html"))
}

async fn look(app: &App, headers: &HeaderMap, request_id: String, path: String) -> Stored<(Seen, bool)> {
    let now = app.clock.now();
    let visit = cookie(headers, &name(app, "visit"));
    let team = cookie(headers, &name(app, "team"));
    let new_visitor = visit.is_none();
    let mut seen = Seen {
        visit_token: visit.unwrap_or_else(|| app.random.token()),
        team_token: None,
        client: None,
        member: None,
        studio: None,
        request_id,
        path,
    };
    let mut c = app.db.read().await?;
    seen.studio = studio::get(&mut c).await?.map(Arc::new);
    let mut stale = Vec::new();
    let client_session = if new_visitor { None } else { sessions::get(&mut c, &seen.visit_hash(), now).await? };
    if let Some(session) = client_session
        && let Holder::Client(id) = &session.holder
        && now - session.seen_at < Stay::CLIENT.idle
        && let Some(client) = clients::get(&mut c, id).await?
    {
        seen.client = Some((client.id, client.name.as_str().to_owned()));
        if now - session.seen_at >= Duration::MINUTE {
            stale.push(seen.visit_hash());
        }
    }
    if let Some(token) = team
        && let hash = sha256_hex(&token)
        && let Some(session) = sessions::get(&mut c, &hash, now).await?
        && let Holder::Account(id) = &session.holder
        && now - session.seen_at < Stay::TEAM.idle
        && let Some(account) = accounts::by_id(&mut c, id).await?
        && account.enabled
    {
        seen.member = Some(account.member);
        seen.team_token = Some(token);
        if now - session.seen_at >= Duration::MINUTE {
            stale.push(hash);
        }
    }
    drop(c);
    if !stale.is_empty() {
        let mut tx = app.db.write().await?;
        for hash in &stale {
            sessions::touch(&mut tx, hash, now).await?;
        }
        tx.commit().await?;
    }
    Ok((seen, new_visitor))
}

fn name(app: &App, which: &str) -> String {
    if app.address.https { format!("__Host-{which}") } else { which.to_owned() }
}

/// A token in a cookie: only what we ourselves could have set.
fn cookie(headers: &HeaderMap, name: &str) -> Option<String> {
    let all = headers.get_all(header::COOKIE).into_iter().filter_map(|value| value.to_str().ok());
    let mut pairs = all.flat_map(|line| line.split(';')).filter_map(|pair| pair.trim().split_once('='));
    let value = pairs.find(|(key, _)| *key == name)?.1;
    let ours = value.len() == 43 && value.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_');
    ours.then(|| value.to_owned())
}

fn set(app: &App, which: &str, token: &str, site: &str) -> String {
    let secure = if app.address.https { "; Secure" } else { "" };
    format!("{}={token}; Path=/; HttpOnly; SameSite={site}{secure}", name(app, which))
}

/// Sets the browser's visit token.
pub fn visit_cookie(app: &App, token: &str) -> String {
    set(app, "visit", token, "Lax")
}

/// Sets the token of a signed-in practitioner or owner.
pub fn team_cookie(app: &App, token: &str) -> String {
    set(app, "team", token, "Strict")
}

/// Takes a cookie away.
pub fn no_cookie(app: &App, which: &str) -> String {
    format!("{}; Max-Age=0", set(app, which, "", if which == "team" { "Strict" } else { "Lax" }))
}

/// Adds a `Set-Cookie`.
pub fn set_cookie(headers: &mut HeaderMap, cookie: &str) {
    if let Ok(value) = HeaderValue::from_str(cookie) {
        headers.append(header::SET_COOKIE, value);
    }
}
