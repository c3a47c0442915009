//! `GET` and `POST /earlier/{token}`: a time that is kept for somebody who wished to come earlier. The link is in her
//! mail; only its button takes the time, since mail programs open links by themselves. Template: `public/earlier.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use crate::actions::wishes::{self as wishing, Claim};
use crate::app::App;
use crate::store::types::sha256_hex;
use crate::store::wishes::OfferState;
use crate::store::{practitioners, visits, wishes};
use crate::web::error::Fault;
use crate::web::form::Fields;
use crate::web::page::{Answer, Ctx, Page};
use crate::when;

/// What became of it.
#[derive(PartialEq, Eq)]
enum Fate {
    Kept { until: String },
    Moved,
    LetGo,
    Gone,
}

#[derive(Template)]
#[template(path = "public/earlier.html")]
struct EarlierPage {
    ctx: Ctx,
    time: String,
    with: String,
    fate: Fate,
}

async fn page(app: &App, ctx: Ctx, token: &str) -> Result<EarlierPage, Fault> {
    let mut c = app.db.read().await?;
    let offer = wishes::offer_by_token(&mut c, &sha256_hex(token)).await?.ok_or(Fault::NotFound)?;
    let held = visits::get(&mut c, &offer.held).await?.ok_or(Fault::NotFound)?;
    let with = practitioners::get(&mut c, &held.practitioner).await?.map(|she| she.name).unwrap_or_default();
    let fate = match offer.state {
        OfferState::Open if app.clock.now() < offer.expires_at => {
            Fate::Kept { until: when::moment(ctx.studio()?.zone.to_civil(offer.expires_at)) }
        }
        OfferState::Claimed => Fate::Moved,
        OfferState::Declined => Fate::LetGo,
        OfferState::Open | OfferState::Lapsed => Fate::Gone,
    };
    Ok(EarlierPage { ctx, time: when::moment(held.civil), with, fate })
}

/// Shows it.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(token): Path<String>) -> Answer {
    Ok(Page::ok(page(&app, ctx, &token).await?).into_response())
}

/// Takes it, or lets it go.
pub async fn post(State(app): State<App>, ctx: Ctx, Path(token): Path<String>, fields: Fields) -> Answer {
    page(&app, ctx.clone(), &token).await?;
    if fields.get("answer") == "no" {
        wishing::decline(&app, &token).await?;
        return Ok(Page::ok(page(&app, ctx, &token).await?).into_response());
    }
    let claim = wishing::claim(&app, &token).await?;
    let page = page(&app, ctx, &token).await?;
    // Asked twice, it is still hers.
    let hers = claim == Claim::Moved || page.fate == Fate::Moved;
    Ok(if hers { Page::ok(page) } else { Page::conflict(page) }.into_response())
}
