//! Lets through whom the route's row names, and sends the others where they can sign in.

use std::sync::Arc;

use axum::extract::{Request, State};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use axum::extract::FromRequestParts;
use axum::http::request::Parts;

use crate::app::App;
use crate::domain::ids::ClientId;
use crate::domain::role::{Actor, Member, Role, Who};
use crate::web::error::Fault;
use crate::web::session::{Door, Seen};

/// The middleware of one route.
pub async fn guard(State((_, who)): State<(App, Who)>, request: Request, next: Next) -> Response {
    if matches!(who, Who::Anyone) {
        // Nobody is looked up for assets and health.
        return next.run(request).await;
    }
    let Some(seen) = request.extensions().get::<Arc<Seen>>().cloned() else {
        return Fault::internal("no session layer").into_response();
    };
    match admit(who, &seen) {
        Ok(()) => next.run(request).await,
        Err(fault) => fault.into_response(),
    }
}

fn admit(who: Who, seen: &Seen) -> Result<(), Fault> {
    let sign_in = |path: &str| Err(Fault::SeeOther(path.to_owned()));
    match (who, &seen.client, &seen.door) {
        (Who::Anyone, _, _) | (Who::Client, Some(_), _) | (Who::AtTheDoor, _, Some(_)) => Ok(()),
        (Who::Client, None, _) => sign_in("/sign-in"),
        (Who::AtTheDoor | Who::Practitioner | Who::Owner, _, None) => sign_in("/team/sign-in"),
        (Who::Practitioner | Who::Owner, _, Some(door)) => match door.first() {
            Some(first) => sign_in(first),
            None if who == Who::Owner && door.member.role != Role::Owner => Err(Fault::Forbidden),
            None => Ok(()),
        },
    }
}

impl FromRequestParts<App> for Door {
    type Rejection = Fault;
    async fn from_request_parts(parts: &mut Parts, _: &App) -> Result<Self, Fault> {
        let seen = parts.extensions.get::<Arc<Seen>>().cloned();
        seen.and_then(|seen| seen.door.clone()).ok_or(Fault::Forbidden)
    }
}

/// The signed-in practitioner or owner, for handlers behind a route that lets only such through.
pub struct Team(pub Member);

impl Team {
    /// Whom the audit names.
    pub fn actor(&self) -> Actor {
        Actor::Member(self.0.clone())
    }
}

impl FromRequestParts<App> for Team {
    type Rejection = Fault;
    async fn from_request_parts(parts: &mut Parts, _: &App) -> Result<Self, Fault> {
        let seen = parts.extensions.get::<Arc<Seen>>().cloned();
        seen.and_then(|seen| seen.member.clone()).map(Self).ok_or(Fault::Forbidden)
    }
}

/// The signed-in client, for handlers behind a route that lets only such through.
pub struct SignedIn(pub ClientId);

impl FromRequestParts<App> for SignedIn {
    type Rejection = Fault;
    async fn from_request_parts(parts: &mut Parts, _: &App) -> Result<Self, Fault> {
        let seen = parts.extensions.get::<Arc<Seen>>().cloned();
        seen.and_then(|seen| seen.client.clone()).map(|(id, _)| Self(id)).ok_or(Fault::Forbidden)
    }
}
