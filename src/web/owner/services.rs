//! `GET /owner/services`: what the studio offers. Template: `owner/services.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use super::Done;
use crate::app::App;
use crate::domain::money::Money;
use crate::store::catalogue::{self, Service};
use crate::store::practitioners;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::words;

struct Row {
    service: Service,
    price: Money,
    by: Vec<String>,
    tests: Vec<String>,
}

#[derive(Template)]
#[template(path = "owner/services.html")]
struct ServicesPage {
    ctx: Ctx,
    rows: Vec<Row>,
}

/// Shows the list.
pub async fn get(State(app): State<App>, ctx: Ctx, Done(said): Done) -> Answer {
    let currency = ctx.studio()?.currency.clone();
    let mut c = app.db.read().await?;
    let team = practitioners::all(&mut c).await?;
    let mut rows = Vec::new();
    for service in catalogue::services(&mut c).await? {
        let by = catalogue::practitioners_for(&mut c, &service.id).await?;
        let by = team.iter().filter(|she| by.contains(&she.id)).map(|she| she.name.clone()).collect();
        let tests = catalogue::tests_for(&mut c, &service.id).await?.into_iter().map(|product| product.name).collect();
        rows.push(Row { price: Money::of(service.price_minor, currency.clone()), service, by, tests });
    }
    Ok(Page::ok(ServicesPage { ctx: ctx.saying(said), rows }).into_response())
}
