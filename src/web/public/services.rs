//! `GET /`: what the studio offers. Template: `public/services.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use crate::actions::diary::offered;
use crate::app::App;
use crate::domain::money::Money;
use crate::store::catalogue;
use crate::tf;
use crate::web::page::{Answer, Ctx, Page};
use crate::when;

struct Offer {
    href: String,
    name: String,
    detail: String,
    price: String,
}

#[derive(Template)]
#[template(path = "public/services.html")]
struct ServicesPage {
    ctx: Ctx,
    offers: Vec<Offer>,
    address: String,
}

/// Shows the services that somebody gives and may.
pub async fn get(State(app): State<App>, ctx: Ctx) -> Answer {
    let studio = ctx.studio()?.clone();
    let today = studio.zone.date_at(app.clock.now());
    let mut c = app.db.read().await?;
    let mut offers = Vec::new();
    for service in offered(&mut c, today).await? {
        let tested = !catalogue::tests_for(&mut c, &service.id).await?.is_empty();
        let length = when::length(service.minutes);
        let length = if tested {
            tf("{length}, with a skin test at least two days before").with("length", length).to_string()
        } else {
            length
        };
        offers.push(Offer {
            href: format!("/services/{}", service.id),
            detail: format!("{} {length}", service.description).trim().to_owned(),
            price: Money::of(service.price_minor, studio.currency.clone()).to_string(),
            name: service.name,
        });
    }
    Ok(Page::ok(ServicesPage { ctx, offers, address: studio.address.replace('\n', ", ") }).into_response())
}
