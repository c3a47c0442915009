//! The bottles: a batch is typed or scanned before it is used, and refused when it may not be.

use axum::extract::{Path, State};

use super::{Typed, found, under_way};
use crate::actions::chair::{self as at_chair, BottleRefused};
use crate::app::App;
use crate::domain::label::Label;
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
}

impl Bottles {
    pub(super) async fn load(c: &mut Connection, names: &Names, visit: &Visit, typed: Option<&Fields>) -> Stored<Self> {
        let taken = chair::bottles(c, &visit.id).await?;
        let words = |(id, number): &(_, String)| words::bottle(names.product(id), number);
        Ok(Self {
            taken: taken.iter().map(words).collect(),
            typed: typed.map_or_else(String::new, |fields| fields.get("batch").to_owned()),
        })
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
