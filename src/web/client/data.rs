//! `GET /me/data`: what she can do with her data. `POST /me/data/erase` asks to be erased, `POST /me/data/keep` takes that back.
//! Template: `client/data.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use super::copy;
use crate::actions::restriction as changes;
use crate::app::App;
use crate::domain::retention::{Fate, OnRequest, answer_due};
use crate::store::restriction;
use crate::web::error::Fault;
use crate::web::form::Fields;
use crate::web::guard::SignedIn;
use crate::web::page::{Answer, Ctx, Page, see_other};
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
    Ok(Page::ok(DataPage { ctx, asked, visit_ahead, copies, rest }).into_response())
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
