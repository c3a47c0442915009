//! Pages of the owner.

use std::fmt::Display;

use axum::extract::FromRequestParts;
use axum::http::request::Parts;
use axum::response::Response;
use time::Date;

use crate::apart::Broke;
use crate::app::App;
use crate::domain::mark::Mark;
use crate::language::Language;
use crate::msg;
use crate::store::studio::Studio;
use crate::web::error::Fault;
use crate::web::form::Fields;
use crate::web::page::see_other;

pub mod audit;
pub mod backups;
pub mod consent_text;
pub mod cycle;
pub mod days_off;
pub mod exports;
pub mod home;
pub mod keeping;
pub mod label;
pub mod lists;
pub mod logo;
pub mod mail;
pub mod other_hours;
pub mod package;
pub mod papers;
pub mod practitioner;
pub mod practitioners;
pub mod product;
pub mod products;
mod read;
pub mod retouch;
pub mod rooms;
pub mod rule;
pub mod rules;
pub mod service;
pub mod services;
pub mod sign_in;
pub mod steps;
pub mod studio;
pub mod takeover;
pub mod takings;
pub mod trace;
pub mod verify;

/// What has just been done, as the address of the page after it says: `?saved`.
pub struct Done(pub Option<&'static str>);

const DONE: [(&str, &str); 10] = [
    ("backed-up", msg("The backup is made and checked.")),
    ("saved", msg("Saved.")),
    ("added", msg("Added.")),
    ("removed", msg("Removed.")),
    ("listed", msg("The list is made anew.")),
    ("gone", msg("It is done.")),
    ("under-way", msg("It takes a while, and goes on by itself. Load this page again in a minute.")),
    ("erased", msg("It is done, and she is told by mail.")),
    ("signed-out", msg("Everybody else is signed out.")),
    ("again", msg("It will be tried again in a moment.")),
];

impl FromRequestParts<App> for Done {
    type Rejection = Fault;
    async fn from_request_parts(parts: &mut Parts, _: &App) -> Result<Self, Fault> {
        let query = parts.uri.query();
        Ok(Self(DONE.iter().find(|(word, _)| query == Some(word)).map(|(_, words)| crate::t(words))))
    }
}

/// On to a page that says what was done: one of [`DONE`].
fn done(path: &str, what: &str) -> Response {
    see_other(&format!("{path}?{what}"))
}

/// How long a page waits for work that goes on without it.
const WAIT: std::time::Duration = std::time::Duration::from_secs(20);

/// What came of work, if it came while the page could wait. It goes on when it takes longer, and when the browser has gone.
async fn in_time<T: Send + 'static, E: Display + Send + 'static>(
    what: &'static str,
    work: impl Future<Output = Result<T, E>> + Send + 'static,
) -> Result<Option<Result<T, E>>, Fault> {
    let mut work = tokio::spawn(Language::spoken().scope(work));
    match tokio::time::timeout(WAIT, &mut work).await {
        Ok(Ok(ended)) => Ok(Some(ended)),
        Ok(Err(broken)) => Err(Fault::internal(Broke::from(broken))),
        Err(_) => {
            tokio::spawn(async move {
                if let Ok(Err(error)) = work.await {
                    tracing::error!(%error, "not done: {what}");
                }
            });
            Ok(None)
        }
    }
}

/// An id out of a path: one that can't be is as unknown as one that isn't there.
fn id<T, E>(parsed: Result<T, E>) -> Result<T, Fault> {
    parsed.map_err(|_| Fault::NotFound)
}

/// What a path names, or the page that says that there is nothing.
fn there<T>(found: Option<T>) -> Result<T, Fault> {
    found.ok_or(Fault::NotFound)
}

/// What a form shows before anything was typed into it.
fn filled<const N: usize>(pairs: [(&str, String); N]) -> Fields {
    Fields::of(pairs.map(|(name, value)| (name.to_owned(), value)).to_vec())
}

/// What a form was filled from, as it says itself.
fn seen(fields: &Fields) -> Mark {
    Mark::sent(fields.get("seen"))
}

fn tick(on: bool) -> String {
    if on { "yes".to_owned() } else { String::new() }
}

fn today(app: &App, studio: &Studio) -> Date {
    studio.zone.date_at(app.clock.now())
}
