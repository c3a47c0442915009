//! `GET /me/data`: what she can do with her data. `POST /me/data/erase` asks to be erased, `POST /me/data/keep` takes that back,
//! `POST /me/data/end` ends one of her sessions.
//! Template: `client/data.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use super::copy;
use crate::actions::{people, restriction as changes};
use crate::app::App;
use crate::domain::retention::{Fate, OnRequest, answer_due};
use crate::domain::role::Actor;
use crate::store::restriction;
use crate::store::sessions::Holder;
use crate::web::error::Fault;
use crate::web::form::Fields;
use crate::web::guard::SignedIn;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::sign_ins;
use crate::when;

#[derive(Template)]
#[template(path = "client/data.html")]
struct DataPage {
    ctx: Ctx,
    /// When she asked to be erased, and by when that is answered.
    asked: Option<(String, String)>,
    visit_ahead: bool,
    /// Copies that she made and can still fetch: where, and to when.
    copies: Vec<(String, String)>,
    /// To which day the rest is kept; empty when it is kept and no day is known, nothing when nothing is.
    rest: Option<String>,
    rows: Vec<sign_ins::Row>,
}

/// Shows it.
pub async fn get(State(app): State<App>, ctx: Ctx, who: SignedIn) -> Answer {
    let studio = ctx.studio()?.clone();
    let mut c = app.db.read().await?;
    let answer = changes::answer(&mut c, &studio, &who.0, app.clock.now()).await?.ok_or(Fault::NotFound)?;
    let asked = restriction::asked_at(&mut c, &who.0).await?.map(|at| {
        let day = studio.zone.date_at(at);
        (when::day(day), when::day(answer_due(day)))
    });
    let rest = match answer {
        OnRequest::VisitAhead | OnRequest::Erase => None,
        OnRequest::Restrict(Fate::Stays { to, .. } | Fate::Goes { kept_to: to, .. }) => Some(when::day(to)),
        OnRequest::Restrict(Fate::Blocked(_)) => Some(String::new()),
    };
    let copies = copy::kept(&app, &mut c, &studio.zone, &who.0).await?;
    let visit_ahead = answer == OnRequest::VisitAhead;
    let own = ctx.seen.visit_hash();
    let rows = sign_ins::rows(&app, &mut c, &Holder::Client(who.0), &studio.zone, &own).await?;
    Ok(Page::ok(DataPage { ctx, asked, visit_ahead, copies, rest, rows }).into_response())
}

/// Ends one of her sessions.
pub async fn end(State(app): State<App>, who: SignedIn, fields: Fields) -> Answer {
    let (holder, actor) = (Holder::Client(who.0.clone()), Actor::Client(who.0));
    if people::end_session(&app, &holder, &actor, fields.trimmed("session")).await? {
        Ok(see_other("/me/data"))
    } else {
        Err(Fault::NotFound)
    }
}

/// She asks to be erased.
pub async fn erase(State(app): State<App>, who: SignedIn, _: Fields) -> Answer {
    changes::ask(&app, &who.0).await?;
    Ok(see_other("/me/data"))
}

/// She doesn't ask any more.
pub async fn keep(State(app): State<App>, who: SignedIn, _: Fields) -> Answer {
    changes::unask(&app, &who.0).await?;
    Ok(see_other("/me/data"))
}
