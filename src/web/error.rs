//! What a person sees when a page can't be given: what happened and ways back, never the cause.

use std::fmt::Display;
use std::sync::Arc;

use askama::Template;
use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use tower_http::csrf::ProtectionError;

use crate::actions::people::PeopleError;
use crate::app::App;
use crate::language::Language;
use crate::password::Unavailable;
use crate::store::{StoreError, Trouble, Unread};
use crate::web::page::{Ctx, Page};
use crate::web::session::Seen;
use crate::{msg, t, tm};

/// Why a handler gives no page.
#[derive(Debug)]
pub enum Fault {
    /// Go there instead.
    SeeOther(String),
    /// Nothing there, or nothing that this person may know of.
    NotFound,
    /// Signed in, but not for this.
    Forbidden,
    /// Not a form of ours.
    BadRequest,
    /// A form that another page or session made.
    ForeignForm,
    /// A body of another kind.
    WrongKind,
    /// Too long.
    TooLarge,
    /// Too often; try again after so many seconds.
    TooMany(i64),
    /// Something else was there first.
    Conflict,
    /// Somebody's records can't be read.
    Unreadable(Unread),
    /// The database or a helper can't just now.
    Unavailable,
    /// Our fault; already logged.
    Internal,
}

impl Fault {
    /// A fault of the program: logged here, once.
    pub fn internal(cause: impl Display) -> Self {
        tracing::error!(%cause, "fault");
        Self::Internal
    }

    fn status(&self) -> StatusCode {
        match self {
            Self::SeeOther(_) => StatusCode::SEE_OTHER,
            Self::NotFound => StatusCode::NOT_FOUND,
            Self::Forbidden | Self::ForeignForm => StatusCode::FORBIDDEN,
            Self::BadRequest => StatusCode::BAD_REQUEST,
            Self::WrongKind => StatusCode::UNSUPPORTED_MEDIA_TYPE,
            Self::TooLarge => StatusCode::PAYLOAD_TOO_LARGE,
            Self::TooMany(_) => StatusCode::TOO_MANY_REQUESTS,
            Self::Conflict => StatusCode::CONFLICT,
            Self::Unreadable(Unread::Erased) => StatusCode::GONE,
            Self::Unreadable(Unread::NoKey) | Self::Unavailable => StatusCode::SERVICE_UNAVAILABLE,
            Self::Unreadable(Unread::Changed) | Self::Internal => StatusCode::INTERNAL_SERVER_ERROR,
        }
    }
}

impl From<StoreError> for Fault {
    fn from(error: StoreError) -> Self {
        if let Some(why) = error.unread() {
            tracing::error!(%error, "a record can't be read");
            return Self::Unreadable(why);
        }
        match error.trouble() {
            Trouble::Busy | Trouble::Full | Trouble::Disk | Trouble::ReadOnly | Trouble::NotOpened => {
                tracing::error!(%error, "the database can't just now");
                Self::Unavailable
            }
            Trouble::Overlap => Self::Conflict,
            Trouble::Damaged
            | Trouble::Older
            | Trouble::Newer
            | Trouble::Keys
            | Trouble::Unreadable
            | Trouble::Fault => Self::internal(error),
        }
    }
}

impl From<PeopleError> for Fault {
    fn from(error: PeopleError) -> Self {
        match error {
            PeopleError::Store(error) => error.into(),
            PeopleError::Passwords(error) => error.into(),
        }
    }
}

impl From<Unavailable> for Fault {
    fn from(_: Unavailable) -> Self {
        Self::Unavailable
    }
}

impl IntoResponse for Fault {
    fn into_response(self) -> Response {
        if let Self::SeeOther(path) = &self {
            return Redirect::to(path).into_response();
        }
        let mut response = self.status().into_response();
        let wait = match self {
            Self::TooMany(seconds) => Some(seconds),
            Self::Unavailable => Some(10),
            _ => None,
        };
        if let Some(value) = wait.and_then(|seconds| HeaderValue::from_str(&seconds.to_string()).ok()) {
            response.headers_mut().insert(header::RETRY_AFTER, value);
        }
        let refusal = match self {
            Self::Forbidden => Some(Refusal::Role),
            Self::ForeignForm => Some(Refusal::Form),
            Self::TooMany(_) => Some(Refusal::Limit),
            Self::Unreadable(why) => {
                response.extensions_mut().insert(why);
                None
            }
            _ => None,
        };
        if let Some(refusal) = refusal {
            response.extensions_mut().insert(refusal);
        }
        response
    }
}

/// A page of its own for somebody who has to wait so many seconds.
pub fn over_limit(page: impl IntoResponse, seconds: i64) -> Response {
    let mut response = page.into_response();
    let wait = Fault::TooMany(seconds).into_response();
    *response.status_mut() = wait.status();
    response
        .headers_mut()
        .extend(wait.headers().get(header::RETRY_AFTER).map(|value| (header::RETRY_AFTER, value.clone())));
    response.extensions_mut().insert(Refusal::Limit);
    response
}

/// Why somebody was not let do something, for the log.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Refusal {
    /// It isn't for whoever asks.
    Role,
    /// The form was made for another session, or forged.
    Form,
    /// It comes from another site's page.
    Site,
    /// Too often.
    Limit,
}

impl Refusal {
    /// Why this response refuses, if it does.
    pub fn of(response: &Response) -> Option<Self> {
        let site = || response.extensions().get::<ProtectionError>().map(|_| Self::Site);
        response.extensions().get().copied().or_else(site)
    }

    /// As the log has it.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Role => "role",
            Self::Form => "form",
            Self::Site => "site",
            Self::Limit => "limit",
        }
    }
}

/// No such page.
pub async fn not_found() -> Fault {
    Fault::NotFound
}

/// The page is there, but not for this method.
pub async fn wrong_method() -> StatusCode {
    StatusCode::METHOD_NOT_ALLOWED
}

#[derive(Template)]
#[template(path = "public/error.html")]
struct ErrorPage {
    ctx: Ctx,
    title: &'static str,
    text: &'static str,
}

/// Texts for [`t`].
fn words(status: StatusCode, foreign: bool) -> (&'static str, &'static str) {
    match status.as_u16() {
        403 if foreign => (
            msg("This form is out of date"),
            msg(
                "It was opened before you signed in or out, or in another window. Nothing was changed. Go back, reload the page and send it again.",
            ),
        ),
        403 => (msg("This page isn't for you"), msg("You are signed in, but not for this page. Nothing was changed.")),
        404 => (msg("There is nothing here"), msg("The address may be mistyped, or what was here is gone.")),
        405 => {
            (msg("That can't be done here"), msg("The page doesn't take this kind of request. Nothing was changed."))
        }
        409 => (
            msg("Something else was first"),
            msg("What you sent no longer fits what is there. Nothing was changed. Go back and look again."),
        ),
        413 => (msg("That is too long"), msg("What you sent is larger than this form takes. Nothing was changed.")),
        415 => (msg("That isn't a form"), msg("The server takes only its own forms here. Nothing was changed.")),
        429 => (msg("Too many tries"), msg("Please wait a little and try again. Nothing is lost.")),
        503 => (
            msg("Not just now"),
            msg("The server can't do this at the moment. Nothing was changed. Please try again in a minute."),
        ),
        500..=599 => {
            (msg("That went wrong"), msg("The fault is ours and has been written down. Nothing half done was kept."))
        }
        _ => (
            msg("That can't be read"),
            msg("What was sent isn't complete or isn't in the form expected. Nothing was changed."),
        ),
    }
}

/// What is said of records that can't be read, to the team or to a client.
fn unreadable(why: Unread, team: bool) -> (&'static str, &'static str) {
    match why {
        Unread::Erased => (
            msg("This record was erased"),
            msg(
                "Whoever it belongs to was erased, and with her the key that opens her health records. Nobody can read them any more. Nothing was changed.",
            ),
        ),
        Unread::NoKey if team => (
            msg("This record can’t be read"),
            msg(
                "The key that opens it is missing. It is back as soon as the newest copy of the keys is put back: whoever looks after the server sees with “palpebra doctor” whose keys are missing. Nothing was changed.",
            ),
        ),
        Unread::Changed if team => (
            msg("This record can’t be read"),
            msg(
                "Something other than this program changed or moved it in the database, so it isn’t believed. A backup may hold it as it was. Nothing was changed now.",
            ),
        ),
        Unread::NoKey | Unread::Changed => (
            msg("Your records can’t be read just now"),
            msg("The studio has to put this right: please call or write to it. Nothing was changed."),
        ),
    }
}

/// Gives a bare error response its page.
pub fn dress(_: &App, seen: &Arc<Seen>, response: Response) -> Response {
    let status = response.status();
    let has_page =
        response.headers().get(header::CONTENT_TYPE).is_some_and(|kind| kind.as_bytes().starts_with(b"text/html"));
    if !(status.is_client_error() || status.is_server_error()) || has_page {
        return response;
    }
    let ctx = Ctx::new(seen.clone());
    let (title, text) = match response.extensions().get::<Unread>() {
        Some(why) => unreadable(*why, matches!(ctx.area, "practitioner" | "owner")),
        None => words(status, Refusal::of(&response) == Some(Refusal::Form)),
    };
    let mut page = Page(status, ErrorPage { ctx, title, text }).into_response();
    if let Some(refusal) = Refusal::of(&response) {
        page.extensions_mut().insert(refusal);
    }
    for name in [header::RETRY_AFTER, header::ALLOW] {
        if let Some(value) = response.headers().get(&name) {
            page.headers_mut().insert(name, value.clone());
        }
    }
    page
}

/// The page when not even the studio's name can be read.
pub fn bare(error: &StoreError, request_id: &str) -> Response {
    tracing::error!(%error, request_id, "the database can't just now");
    let (title, text) = words(StatusCode::SERVICE_UNAVAILABLE, false);
    let (title, text, lang) = (t(title), t(text), Language::spoken().code());
    let request = tm("Request {id}").with("id", request_id);
    let body = format!(
        "<!doctype html><html lang=\"{lang}\"><head><meta charset=\"utf-8\"><title>{title}</title></head>\
         <body><main><h1>{title}</h1><p>{text}</p><p>{request}</p></main></body></html>"
    );
    let mut response = (StatusCode::SERVICE_UNAVAILABLE, axum::response::Html(body)).into_response();
    response.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from_static("10"));
    response
}
