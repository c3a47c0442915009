//! The bottles: a batch is typed or scanned before it is used, and refused when it may not be.

use axum::extract::{Path, State};

use super::{Typed, found, under_way};
use crate::actions::chair::{self as at_chair, BottleRefused};
use crate::app::App;
use crate::domain::bottle::wrong_step;
use crate::domain::catalogue::Chemistry;
use crate::domain::ids::ProductId;
use crate::domain::label::Label;
use crate::domain::steps::Part;
use crate::store::visits::Visit;
use crate::store::{Connection, Stored, chair};
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, see_other};
use crate::web::practitioner::view::Names;
use crate::web::practitioner::words;
use crate::{t, tf};

/// The bottles of a visit, as the page shows them.
pub(super) struct Bottles {
    /// What was taken, in words.
    pub(super) taken: Vec<String>,
    /// What was typed and refused.
    pub(super) typed: String,
    /// Of the lotions that were taken: the step that each is said to be for, and its words.
    lotions: Vec<(Option<Part>, String)>,
}

impl Bottles {
    pub(super) async fn load(c: &mut Connection, names: &Names, visit: &Visit, typed: Option<&Fields>) -> Stored<Self> {
        let taken = chair::bottles(c, &visit.id).await?;
        let words = |(id, number): &(_, String)| words::bottle(names.product(id), number);
        let lotion = |bottle: &(ProductId, String)| {
            let product = names.products.iter().find(|product| product.id == bottle.0)?;
            let step = product.label.as_ref().and_then(|label| label.step);
            (product.chemistry == Chemistry::Lotion).then(|| (step, words(bottle)))
        };
        Ok(Self {
            lotions: taken.iter().filter_map(lotion).collect(),
            taken: taken.iter().map(words).collect(),
            typed: typed.map_or_else(String::new, |fields| fields.get("batch").to_owned()),
        })
    }
}

impl Bottles {
    /// The bottles for a step.
    pub(super) fn of_step(&self, step: Part) -> Vec<&str> {
        self.lotions.iter().filter(|(one, _)| *one == Some(step)).map(|(_, words)| words.as_str()).collect()
    }

    /// Whether a step's lotion is still to be checked, and all that were are the other one.
    pub(super) fn lacks(&self, step: Part) -> bool {
        let lotions: Vec<_> = self.lotions.iter().map(|(one, _)| *one).collect();
        matches!(step, Part::LotionOne | Part::LotionTwo) && wrong_step(step, &lotions)
    }
}

/// Takes a bottle.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, Path(id): Path<String>, fields: Fields) -> Answer {
    let mut c = app.db.read().await?;
    let (visit, client) = found(&mut c, &team, &id).await?;
    drop(c);
    let mut errors = Errors::new();
    let number = errors.take("batch", Label::parse(fields.get("batch"), Label::MOST_OF_BATCH), crate::web::words::text);
    if let Some(number) = number {
        let words = match at_chair::take_bottle(&app, &team.0, &visit.id, number.as_str()).await {
            Ok(()) => return Ok(see_other(&format!("/desk/visits/{id}/chair#bottles"))),
            Err(BottleRefused::Visit(refused)) => return Err(refused.into()),
            Err(BottleRefused::Unknown) => {
                t("The register doesn’t know this batch. Compare it with the bottle; the owner adds new batches.")
                    .to_owned()
            }
            Err(BottleRefused::Several) => {
                t("Several products have a batch with this number. Choose yours in the record.").to_owned()
            }
            Err(BottleRefused::Unfit(name, why)) => {
                tf("{product}: don’t use it. {why}").with("product", name).with("why", words::unfit(&why)).to_string()
            }
        };
        errors.add("batch", words);
    }
    let mut c = app.db.read().await?;
    under_way(&mut c, ctx, &visit, &client, Typed::Bottle(&fields), errors).await
}
