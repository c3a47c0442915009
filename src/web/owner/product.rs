//! `GET` and `POST /owner/products/new` and `/owner/products/{id}`, `POST /owner/products/{id}/batches`: one product.
//! Template: `owner/product.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::label::LabelView;
use super::{Done, done, filled, id, read, seen, there, tick, today};
use crate::actions::catalogue::{self, ProductFacts};
use crate::actions::seen::Saved;
use crate::actions::test_reports;
use crate::app::App;
use crate::domain::bottle::{Days, Unfit};
use crate::domain::catalogue::Chemistry;
use crate::domain::ids::ProductId;
use crate::domain::label::Label;
use crate::domain::mark::Mark;
use crate::store;
use crate::store::catalogue::{Batch, Product};
use crate::web::assets;
use crate::web::day;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::words;

#[derive(Template)]
#[template(path = "owner/product.html")]
struct ProductPage {
    ctx: Ctx,
    product: Option<Product>,
    /// With what became of each, where it may no longer be used.
    batches: Vec<(Batch, Option<Unfit>)>,
    label: Option<LabelView>,
    fields: Fields,
    batch: Fields,
    errors: Errors,
    scan_script: String,
}

fn stored(product: &Product) -> Fields {
    filled([
        ("seen", Mark::of(&ProductFacts::stored(product)).as_str().to_owned()),
        ("name", product.name.clone()),
        ("maker", product.maker.clone()),
        ("supplier", product.supplier.clone()),
        ("chemistry", product.chemistry.as_str().to_owned()),
        ("label_test_hours", product.label_test_hours.map(|hours| hours.to_string()).unwrap_or_default()),
        ("active", tick(product.active)),
    ])
}

/// The page of a product that is there, with what was typed into its forms.
async fn page(
    app: &App,
    ctx: Ctx,
    id: &ProductId,
    (fields, batch): (Option<Fields>, Fields),
    errors: Errors,
) -> Result<ProductPage, Fault> {
    let today = today(app, ctx.studio()?);
    let mut c = app.db.read().await?;
    let product = there(store::catalogue::product(&mut c, id).await?)?;
    let batches = store::catalogue::batches(&mut c).await?.into_iter().filter(|batch| batch.product == *id);
    let batches = batches.map(|batch| (batch.days.over(today), batch)).map(|(over, batch)| (batch, over)).collect();
    let fields = fields.unwrap_or_else(|| stored(&product));
    let label = Some(LabelView::of(&product, ctx.studio()?.jurisdiction));
    let scan_script = assets::href("scan.js");
    Ok(ProductPage { ctx, product: Some(product), batches, label, fields, batch, errors, scan_script })
}

fn empty(ctx: Ctx, fields: Fields, errors: Errors) -> ProductPage {
    let (batches, batch, scan_script) = (Vec::new(), Fields::default(), assets::href("scan.js"));
    ProductPage { ctx, product: None, batches, label: None, fields, batch, errors, scan_script }
}

fn read_product(fields: &Fields) -> Result<ProductFacts, Errors> {
    let mut errors = Errors::new();
    let name = read::label(&mut errors, fields, "name");
    let [maker, supplier] =
        ["maker", "supplier"].map(|field| read::note(&mut errors, fields, field, Label::MOST).unwrap_or_default());
    let chemistry = read::choice(&mut errors, "chemistry", Chemistry::parse(fields.trimmed("chemistry")));
    let label_test_hours = match fields.trimmed("label_test_hours") {
        "" => None,
        _ => read::whole(&mut errors, fields, "label_test_hours", 24..=168_u16),
    };
    match (name, chemistry) {
        (Some(name), Some(chemistry)) if errors.is_empty() => {
            let active = fields.ticked("active");
            Ok(ProductFacts { name, maker, supplier, chemistry, label_test_hours, active })
        }
        _ => Err(errors),
    }
}

/// Shows the empty form.
pub async fn get_new(ctx: Ctx) -> Answer {
    Ok(Page::ok(empty(ctx, filled([("active", tick(true))]), Errors::new())).into_response())
}

/// Adds a product.
pub async fn post_new(State(app): State<App>, ctx: Ctx, team: Team, fields: Fields) -> Answer {
    match read_product(&fields) {
        Ok(facts) => {
            let Saved::Done(id) = catalogue::save_product(&app, &team.actor(), None, None, facts).await? else {
                return Err(Fault::NotFound);
            };
            Ok(done(&format!("/owner/products/{id}"), "added"))
        }
        Err(errors) => Ok(Page::refused(empty(ctx, fields, errors)).into_response()),
    }
}

/// Shows a product.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(path): Path<String>, Done(said): Done) -> Answer {
    let id = id(ProductId::parse(&path))?;
    let typed = (None, Fields::default());
    Ok(Page::ok(page(&app, ctx.saying(said), &id, typed, Errors::new()).await?).into_response())
}

/// Changes a product.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, Path(path): Path<String>, fields: Fields) -> Answer {
    let id = id(ProductId::parse(&path))?;
    match read_product(&fields) {
        Ok(facts) => {
            let seen = seen(&fields);
            match catalogue::save_product(&app, &team.actor(), Some(id.clone()), Some(&seen), facts).await? {
                Saved::Done(id) => Ok(done(&format!("/owner/products/{id}"), "saved")),
                Saved::Unknown => Err(Fault::NotFound),
                Saved::Overtaken => {
                    let typed = (Some(fields), Fields::default());
                    let page = page(&app, ctx.overtaken(), &id, typed, Errors::new()).await?;
                    Ok(Page::conflict(page).into_response())
                }
            }
        }
        Err(errors) => {
            let typed = (Some(fields), Fields::default());
            Ok(Page::refused(page(&app, ctx, &id, typed, errors).await?).into_response())
        }
    }
}

fn read_batch(id: &ProductId, fields: &Fields) -> Result<Batch, Errors> {
    let mut errors = Errors::new();
    let number = errors.take("number", Label::parse(fields.get("number"), Label::MOST_OF_BATCH), words::text);
    let [expires_on, opened_on, discarded_on] =
        ["expires_on", "opened_on", "discarded_on"].map(|field| match fields.trimmed(field) {
            "" => None,
            _ => day::field(&mut errors, fields, field),
        });
    if opened_on.zip(discarded_on).is_some_and(|(opened, thrown)| thrown < opened) {
        errors.add("discarded_on", crate::t("That is before it was opened."));
    }
    match number {
        Some(number) if errors.is_empty() => {
            let days = Days { expires_on, opened_on, discarded_on };
            Ok(Batch { product: id.clone(), number: number.as_str().to_owned(), days })
        }
        _ => Err(errors),
    }
}

/// Adds a batch, or gives it other days.
pub async fn post_batch(
    State(app): State<App>,
    ctx: Ctx,
    team: Team,
    Path(path): Path<String>,
    fields: Fields,
) -> Answer {
    let id = id(ProductId::parse(&path))?;
    match read_batch(&id, &fields) {
        Ok(batch) => {
            let saved = catalogue::save_batch(&app, &team.actor(), &batch).await?;
            there(saved.then(|| done(&format!("/owner/products/{id}"), "saved")))
        }
        Err(errors) => Ok(Page::refused(page(&app, ctx, &id, (None, fields), errors).await?).into_response()),
    }
}

/// The maker changed the formula: no skin test of it counts any more.
pub async fn post_formula(
    State(app): State<App>,
    ctx: Ctx,
    team: Team,
    Path(path): Path<String>,
    fields: Fields,
) -> Answer {
    let id = id(ProductId::parse(&path))?;
    if !fields.ticked("formula") {
        let mut errors = Errors::new();
        errors.add("formula", crate::t("Tick this if the formula has changed."));
        return Ok(Page::refused(page(&app, ctx, &id, (None, fields), errors).await?).into_response());
    }
    page(&app, ctx, &id, (None, Fields::default()), Errors::new()).await?;
    test_reports::formula_changed(&app, &team.0, &id).await?;
    Ok(done(&format!("/owner/products/{id}"), "saved"))
}
