//! `GET` and `POST /me/visits/{id}/cancel`. Template: `client/cancel.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::visits::{own, view};
use crate::actions::own_visits::{self, Change};
use crate::app::App;
use crate::web::form::Fields;
use crate::web::guard::SignedIn;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::public::book::VisitView;

#[derive(Template)]
#[template(path = "client/cancel.html")]
struct CancelPage {
    ctx: Ctx,
    visit: VisitView,
    /// The visits that go with it, and are cancelled too.
    along: Vec<VisitView>,
    /// Its skin test stays, since another visit needs it.
    test_stays: bool,
    may_change: bool,
    /// What the studio says about cancelling late.
    policy: String,
}

/// Asks whether she means it.
pub async fn get(State(app): State<App>, ctx: Ctx, who: SignedIn, Path(id): Path<String>) -> Answer {
    let mut c = app.db.read().await?;
    let own = own(&mut c, &who, &id).await?;
    let may_change = own.may_change(app.clock.now(), ctx.studio()?);
    let visit = view(&mut c, &own.visit).await?.0;
    let mut along = Vec::new();
    for other in own.go_along() {
        along.push(view(&mut c, other).await?.0);
    }
    let test_stays = own.test_is_shared && !own.partners.is_empty();
    let policy = ctx.studio()?.late_policy.clone();
    Ok(Page::ok(CancelPage { ctx, visit, along, test_stays, may_change, policy }).into_response())
}

/// Cancels.
pub async fn post(State(app): State<App>, ctx: Ctx, who: SignedIn, Path(id): Path<String>, _fields: Fields) -> Answer {
    let mut c = app.db.read().await?;
    let own = own(&mut c, &who, &id).await?;
    let visit = view(&mut c, &own.visit).await?.0;
    drop(c);
    match own_visits::cancel(&app, ctx.studio()?, &who.0, &own.visit.id).await? {
        Change::Done => Ok(see_other("/me")),
        Change::TooLate | Change::Taken => {
            let policy = ctx.studio()?.late_policy.clone();
            let page = CancelPage { ctx, visit, along: Vec::new(), test_stays: false, may_change: false, policy };
            Ok(Page::conflict(page).into_response())
        }
    }
}
