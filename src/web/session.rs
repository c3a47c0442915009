//! Who is asking: cookies in, a [`Seen`] for the handlers, cookies out.
//!
//! Three cookies. Two, so that a practitioner who follows a link from her mail stays signed in: the *visit*
//! cookie (`SameSite=Lax`) belongs to a visitor or a signed-in client, the *team* cookie
//! (`SameSite=Strict`) to a practitioner or the owner. A visitor's token is stored nowhere; its hash only
//! marks the bookings that she is filling in. The third, *known*, stays with a browser that somebody of the team has
//! signed in with: it opens nothing, but tells it from a new one.

use std::net::SocketAddr;
use std::sync::Arc;

use axum::extract::{ConnectInfo, Request, State};
use axum::http::{HeaderMap, HeaderValue, header};
use axum::middleware::Next;
use axum::response::Response;
use time::{Duration, OffsetDateTime};

use crate::actions::sign_in::{Browser, SignedIn};
use crate::app::App;
use crate::domain::ids::ClientId;
use crate::domain::role::{Actor, Member, Stay};
use crate::language::Language;
use crate::msg;
use crate::store::sessions::{self, CLOCK_SLIPS, Holder, Session, Stage};
use crate::store::studio::Studio;
use crate::store::types::sha256_hex;
use crate::store::{Stored, accounts, clients, studio};
use crate::web::error;
use crate::web::limits::neighbourhood;

/// The id of a request, in its log lines and on error pages.
#[derive(Clone, Debug)]
pub struct RequestId(pub String);

/// Somebody of the team who has given her password.
#[derive(Clone)]
pub struct Door {
    /// Who it is.
    pub member: Member,
    /// How far her session has come.
    pub stage: Stage,
    /// Whether her password is a first one, which she replaces before anything else.
    pub first_password: bool,
    /// Whether she gave a password or a code so lately that it is enough for what is grave.
    pub proved: bool,
    /// The session's token.
    pub token: String,
}

impl Door {
    /// Where she has to go first, when not everything is open to her yet.
    pub fn first(&self) -> Option<&'static str> {
        match self.stage {
            Stage::Code => Some("/team/code"),
            Stage::SetUp | Stage::Open if self.first_password => Some("/team/password"),
            Stage::SetUp => Some("/team/second-factor"),
            Stage::Open => None,
        }
    }
}

/// What is known of whoever asks.
#[derive(Clone)]
pub struct Seen {
    /// The browser's own token: a visitor's or a client's.
    pub visit_token: String,
    /// The token of a signed-in practitioner or owner.
    pub team_token: Option<String>,
    /// The signed-in client.
    pub client: Option<(ClientId, String)>,
    /// The signed-in practitioner or owner, to whom everything is open.
    pub member: Option<Member>,
    /// The same, or one who is still asked for something.
    pub door: Option<Door>,
    /// What her browser is.
    pub browser: Browser,
    /// What her household or office shares, as limits count it.
    pub from: String,
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

    /// Who asks, for the log: of the team by account; who a client is stands in no log.
    fn who(&self) -> &str {
        match (&self.door, &self.client) {
            (Some(door), _) => door.member.account.as_str(),
            (None, Some(_)) => "client",
            (None, None) => "visitor",
        }
    }

    /// Who holds times, as limits count it: a signed-in client, whatever network she is in, or else what her household or
    /// office shares.
    pub fn holder(&self) -> String {
        self.client_id().map_or_else(|| self.from.clone(), |id| format!("client {id}"))
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

/// The form token of a session.
pub fn form_token(token: &str) -> String {
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
    let from = request.extensions().get::<ConnectInfo<SocketAddr>>().map(|from| neighbourhood(from.ip()));
    let from = from.unwrap_or_default();
    let (seen, new_visitor) = match look(&app, request.headers(), from, request_id.clone(), path).await {
        Ok(found) => found,
        Err(error) => return error::bare(&error, &request_id),
    };
    tracing::Span::current().record("who", seen.who());
    let seen = Arc::new(seen);
    request.extensions_mut().insert(seen.clone());
    let language = spoken(&seen, request.headers());
    let mut response = language.scope(async { error::dress(&app, &seen, next.run(request).await) }).await;
    if new_visitor && !response.headers().contains_key(header::SET_COOKIE) && is_page(&response) {
        set_cookie(response.headers_mut(), &visit_cookie(&app, &seen.visit_token));
    }
    if !response.headers().contains_key(header::CACHE_CONTROL) {
        response.headers_mut().insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
    }
    response
}

/// The studio's language; an empty server answers in the browser's, as far as it can.
fn spoken(seen: &Seen, headers: &HeaderMap) -> Language {
    let accepted = || headers.get(header::ACCEPT_LANGUAGE).and_then(|line| line.to_str().ok()).map(Language::accepted);
    seen.studio.as_ref().map(|studio| studio.language).or_else(accepted).unwrap_or_default()
}

fn is_page(response: &Response) -> bool {
    response.headers().get(header::CONTENT_TYPE).is_some_and(|kind| kind.as_bytes().starts_with(b"text/html"))
}

async fn look(app: &App, headers: &HeaderMap, from: String, request_id: String, path: String) -> Stored<(Seen, bool)> {
    let now = app.clock.now();
    let visit = cookie(headers, &name(app, "visit"));
    let team = cookie(headers, &name(app, "team"));
    let new_visitor = visit.is_none();
    let browser = Browser { device: device(headers).to_owned(), known_as: cookie(headers, &name(app, "known")) };
    let mut seen = Seen {
        door: None,
        browser,
        from,
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
        && is_awake(&session, Stay::CLIENT, now)
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
        && is_awake(&session, Stay::TEAM, now)
        && let Some(account) = accounts::by_id(&mut c, id).await?
        && account.enabled
    {
        let proved = (-CLOCK_SLIPS..Stay::PROOF).contains(&(now - session.proved_at));
        let first_password = account.first_until.is_some();
        let door = Door { member: account.member, stage: session.stage, first_password, proved, token: token.clone() };
        seen.member = door.first().is_none().then(|| door.member.clone());
        seen.door = Some(door);
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

/// Whether a session was used lately. One that was used in the future tells of a clock that was set back: it ends, since
/// it could otherwise last for as long as the clock was wrong.
fn is_awake(session: &Session, stay: Stay, now: OffsetDateTime) -> bool {
    (-CLOCK_SLIPS..stay.idle).contains(&(now - session.seen_at))
}

/// The kind of device, as far as it tells: enough to know one's own phone in a list. It is stored in English.
fn device(headers: &HeaderMap) -> &'static str {
    let agent = headers.get(header::USER_AGENT).and_then(|value| value.to_str().ok()).unwrap_or_default();
    match agent {
        _ if !agent.starts_with("Mozilla/") => msg("a program"),
        _ if agent.contains("Tablet") => msg("a tablet"),
        _ if agent.contains("Mobi") => msg("a phone"),
        _ => msg("a computer"),
    }
}

fn name(app: &App, which: &str) -> String {
    if app.address.https { format!("__Host-{which}") } else { which.to_owned() }
}

fn cookie(headers: &HeaderMap, name: &str) -> Option<String> {
    let lines = headers.get_all(header::COOKIE).into_iter().filter_map(|value| value.to_str().ok());
    token(lines, name).map(str::to_owned)
}

/// The token that `Cookie` lines carry under a name: only what we ourselves could have set.
pub fn token<'a>(lines: impl IntoIterator<Item = &'a str>, name: &str) -> Option<&'a str> {
    let mut pairs = lines.into_iter().flat_map(|line| line.split(';')).filter_map(|pair| pair.trim().split_once('='));
    let value = pairs.find(|(key, _)| *key == name)?.1;
    let ours = value.len() == 43 && value.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'-' || b == b'_');
    ours.then_some(value)
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

/// Sets what a browser is known by. 400 days is the longest that browsers keep a cookie.
fn known_cookie(app: &App, token: &str) -> String {
    format!("{}; Max-Age={}", set(app, "known", token, "Strict"), Duration::days(400).whole_seconds())
}

/// Sets the cookies of a session that has begun.
pub fn let_in(app: &App, headers: &mut HeaderMap, signed_in: &SignedIn) {
    set_cookie(headers, &team_cookie(app, &signed_in.token));
    if let Some(token) = &signed_in.known_as {
        set_cookie(headers, &known_cookie(app, token));
    }
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
