//! `GET /owner/products`: lotions, tints and glues, with their batches. Template: `owner/products.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

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

/// Shows the list.
pub async fn get(State(app): State<App>, ctx: Ctx, Done(said): Done) -> Answer {
    let today = today(&app, ctx.studio()?);
    let mut c = app.db.read().await?;
    let batches = catalogue::batches(&mut c).await?;
    let rows = catalogue::products(&mut c).await?.into_iter().map(|product| {
        let kept = |batch: &&Batch| batch.product == product.id && batch.days.discarded_on.is_none();
        let hers = batches.iter().filter(kept);
        let (expired, good): (Vec<_>, Vec<_>) = hers.partition(|batch| batch.days.over(today).is_some());
        Row { product, good: good.len(), expired: expired.len() }
    });
    Ok(Page::ok(ProductsPage { rows: rows.collect(), ctx: ctx.saying(said) }).into_response())
}
