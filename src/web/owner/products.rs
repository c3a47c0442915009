//! `GET /owner/products`: lotions, tints and glues, with their batches. Template: `owner/products.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;
use time::Date;

use super::{Done, today};
use crate::app::App;
use crate::store::catalogue::{self, Batch, Product};
use crate::web::page::{Answer, Ctx, Page};
use crate::web::words;

struct Row {
    product: Product,
    good: usize,
    expired: usize,
}

#[derive(Template)]
#[template(path = "owner/products.html")]
struct ProductsPage {
    ctx: Ctx,
    rows: Vec<Row>,
}

/// Whether the last day of a batch is over.
pub(super) fn is_expired(batch: &Batch, today: Date) -> bool {
    batch.expires_on.is_some_and(|last| last < today)
}

/// Shows the list.
pub async fn get(State(app): State<App>, ctx: Ctx, Done(said): Done) -> Answer {
    let today = today(&app, ctx.studio()?);
    let mut c = app.db.read().await?;
    let batches = catalogue::batches(&mut c).await?;
    let rows = catalogue::products(&mut c).await?.into_iter().map(|product| {
        let hers = batches.iter().filter(|batch| batch.product == product.id);
        let (expired, good): (Vec<_>, Vec<_>) = hers.partition(|batch| is_expired(batch, today));
        Row { product, good: good.len(), expired: expired.len() }
    });
    Ok(Page::ok(ProductsPage { rows: rows.collect(), ctx: ctx.saying(said) }).into_response())
}
