//! `GET` and `POST /desk/visits/{id}/price`: the price that was taken, and how. Template: `practitioner/price.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::arrange::how_words;
use super::view::Names;
use super::visit_id;
use crate::actions::takings::{self, Noted};
use crate::actions::treating;
use crate::app::App;
use crate::domain::ids::VisitId;
use crate::domain::money::Money;
use crate::store::deposits::{self, How};
use crate::store::takings as stored;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::words::{amount, money};
use crate::when;
use crate::{t, tf};

#[derive(Template)]
#[template(path = "practitioner/price.html")]
struct PricePage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    id: String,
    when: String,
    what: String,
    currency: String,
    /// The deposit that can be counted in, as an amount.
    deposit: Option<String>,
    /// When it was noted last, and by whom.
    noted: Option<String>,
    may: bool,
}

async fn page(
    app: &App,
    ctx: Ctx,
    team: &Team,
    id: &VisitId,
    typed: Option<Fields>,
    errors: Errors,
) -> Result<PricePage, Fault> {
    let studio = ctx.studio()?.clone();
    let mut c = app.db.read().await?;
    let (visit, _) = treating::visit_for(&mut c, &team.0, id).await?.ok_or(Fault::NotFound)?;
    let names = Names::load(&mut c, &studio).await?;
    let (taking, deposit) = (stored::of_visit(&mut c, id).await?, deposits::of_visit(&mut c, id).await?);
    let deposit = deposit.filter(|one| one.fate.may_count());
    let fields = typed.unwrap_or_else(|| {
        let (price, currency) = taking.as_ref().map_or((visit.price_minor, visit.currency.as_str()), |taking| {
            (taking.price.whole_minor, taking.price.currency.as_str())
        });
        let counts = taking.as_ref().map_or(deposit.is_some(), |taking| taking.price.counted_minor > 0);
        let pairs = [
            ("price", amount(price, currency)),
            ("how", taking.as_ref().map_or_else(String::new, |taking| taking.price.how.as_str().to_owned())),
            ("counts", if counts { "yes".to_owned() } else { String::new() }),
        ];
        Fields::of(pairs.map(|(name, value)| (name.to_owned(), value)).to_vec())
    });
    Ok(PricePage {
        id: id.to_string(),
        when: when::moment(visit.civil),
        what: names.service(&visit.service).to_owned(),
        currency: studio.currency.as_str().to_owned(),
        deposit: deposit.map(|one| format!("{} {}", amount(one.amount_minor, &one.currency), one.currency)),
        noted: taking.map(|one| {
            let when = names.moment(one.noted_at);
            tf("Noted {when} by {who}").with("when", when).with("who", one.noted_by).to_string()
        }),
        may: visit.state.may_have_price(),
        ctx,
        fields,
        errors,
    })
}

/// Shows the form.
pub async fn get(State(app): State<App>, ctx: Ctx, team: Team, Path(path): Path<String>) -> Answer {
    let page = page(&app, ctx, &team, &visit_id(&path)?, None, Errors::new()).await?;
    Ok(Page::ok(page).into_response())
}

/// Notes the price.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, Path(path): Path<String>, fields: Fields) -> Answer {
    let id = visit_id(&path)?;
    let mut errors = Errors::new();
    let price = errors.take("price", Money::parse(fields.get("price"), ctx.studio()?.currency.clone()), money);
    let how = How::parse(fields.get("how"));
    if how.is_none() {
        errors.add("how", t("Choose how it was paid."));
    }
    if let (Some(price), Some(how)) = (price, how) {
        match takings::note(&app, &team.0, &id, &price, how, fields.ticked("counts")).await? {
            Noted::Done => return Ok(see_other(&format!("/desk/visits/{id}"))),
            Noted::NotThere => return Err(Fault::NotFound),
            Noted::NotBegun => errors.add("price", t("Nothing was done at this visit, so there is no price to note.")),
            Noted::Deposit => {
                errors.add(
                    "counts",
                    t("The deposit can’t be counted: it is more than the price, or it was given back or kept."),
                );
            }
        }
    }
    Ok(Page::refused(page(&app, ctx, &team, &id, Some(fields), errors).await?).into_response())
}
