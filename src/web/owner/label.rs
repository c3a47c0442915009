//! `GET` and `POST /owner/products/{id}/label`: what a product's label says against the published limits.
//! Template: `owner/label.html`.

use std::collections::{BTreeMap, BTreeSet};

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::{done, id, seen, there, tick};
use crate::actions::catalogue;
use crate::actions::seen::Saved;
use crate::app::App;
use crate::domain::age::Jurisdiction;
use crate::domain::catalogue::{Area, Chemistry};
use crate::domain::ids::ProductId;
use crate::domain::limits::{self, Ingredient, Label};
use crate::domain::mark::Mark;
use crate::domain::steps::Part;
use crate::msg;
use crate::store;
use crate::store::catalogue::Product;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::words;

const AREAS: [(Area, &str, &str); 2] = [(Area::Lash, "lash", msg("Lashes")), (Area::Brow, "brow", msg("Brows"))];

const STEPS: [(Part, &str); 2] =
    [(Part::LotionOne, msg("The first, which opens the hair")), (Part::LotionTwo, msg("The second, which sets it"))];

/// What a label says, in words, and what doesn't fit.
pub(super) struct LabelView {
    pub(super) known: bool,
    pub(super) facts: Vec<(&'static str, String)>,
    /// With what each rests on.
    pub(super) warnings: Vec<(String, String)>,
    /// Whether no rules are known for the place.
    pub(super) silent: bool,
}

impl LabelView {
    pub(super) fn of(product: &Product, place: Jurisdiction) -> Self {
        let silent = place == Jurisdiction::Other;
        let Some(label) = &product.label else {
            return Self { known: false, facts: Vec::new(), warnings: Vec::new(), silent };
        };
        let share = |share: &Option<u16>| {
            share.map_or(String::new(), |share| format!(", {} %", words::decimal(&words::parts(share, 100))))
        };
        let held =
            label.holds.iter().map(|(held, declared)| format!("{}{}", words::ingredient(*held), share(declared)));
        let held: Vec<String> = held.collect();
        let areas: Vec<&str> = label.areas.iter().map(|area| words::area(*area)).collect();
        let said = |number: Option<u8>, of| {
            number.map_or_else(
                || crate::t("Not named").to_owned(),
                |number| words::decimal(&words::parts(number.into(), of)),
            )
        };
        let areas = match areas[..] {
            [] => crate::t("Nothing named").to_owned(),
            [one, other] => crate::tf("{one} and {other}").with("one", one).with("other", other).to_string(),
            _ => areas.join(", "),
        };
        let professional = if label.professional_only { crate::t("Yes") } else { crate::t("No") };
        let held =
            if held.is_empty() { crate::t("None of the flagged ingredients").to_owned() } else { held.join("; ") };
        let mut facts = vec![
            (crate::t("May be used on"), areas),
            (crate::t("For professional use only"), professional.to_owned()),
            (crate::tc("a product", "Holds"), held),
            ("pH", said(label.ph, 10)),
            (crate::t("Not for anyone under"), said(label.age, 1)),
        ];
        let step = STEPS.into_iter().find(|(step, _)| label.step == Some(*step));
        facts.extend(step.map(|(_, words)| (crate::t("Which lotion is it?"), crate::t(words).to_owned())));
        let warnings = limits::warnings(place, label);
        let warnings = warnings.iter().map(|warning| (words::misfit(warning), warning.basis.to_string())).collect();
        Self { known: true, facts, warnings, silent }
    }
}

#[derive(Template)]
#[template(path = "owner/label.html")]
struct LabelPage {
    ctx: Ctx,
    product: Product,
    fields: Fields,
    errors: Errors,
}

impl LabelPage {
    fn ticked(&self, name: &str, value: &str) -> bool {
        self.fields.many(name).any(|one| one == value)
    }

    fn share_field(&self, ingredient: &Ingredient) -> String {
        share_field(*ingredient)
    }
}

fn share_field(ingredient: Ingredient) -> String {
    format!("share_{}", ingredient.as_str())
}

fn stored(label: Option<&Label>) -> Fields {
    let mut pairs = vec![("seen".to_owned(), Mark::of(&label).as_str().to_owned())];
    let Some(label) = label else { return Fields::of(pairs) };
    pairs.push(("professional_only".to_owned(), tick(label.professional_only)));
    let ph = label.ph.map(|ph| words::parts(ph.into(), 10));
    pairs.extend(ph.map(|ph| ("ph".to_owned(), ph)));
    pairs.extend(label.age.map(|age| ("age".to_owned(), age.to_string())));
    pairs.extend(label.step.map(|step| ("step".to_owned(), step.as_str().to_owned())));
    for (_, word, _) in AREAS.iter().filter(|(area, _, _)| label.areas.contains(area)) {
        pairs.push(("many-areas".to_owned(), (*word).to_owned()));
    }
    for (held, share) in &label.holds {
        pairs.push(("many-holds".to_owned(), held.as_str().to_owned()));
        pairs.extend(share.map(|share| (share_field(*held), words::parts(share, 100))));
    }
    Fields::of(pairs)
}

/// A number of at most so many decimals, in parts of its unit.
fn decimal(text: &str, decimals: usize) -> Option<u16> {
    let text = text.replace(',', ".");
    let (whole, rest) = text.split_once('.').unwrap_or((&text, ""));
    let digits = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
    if whole.is_empty() || whole.len() > 3 || rest.len() > decimals || !digits(whole) || !digits(rest) {
        return None;
    }
    format!("{whole}{rest:0<decimals$}").parse().ok()
}

fn read_label(fields: &Fields) -> Result<Label, Errors> {
    let mut errors = Errors::new();
    let areas: BTreeSet<Area> = AREAS
        .iter()
        .filter(|(_, word, _)| fields.many("many-areas").any(|one| one == *word))
        .map(|(area, _, _)| *area)
        .collect();
    if areas.is_empty() {
        errors.add("many-areas", words::CHOOSE);
    }
    let mut holds = BTreeMap::new();
    for ingredient in Ingredient::ALL {
        let field = share_field(ingredient);
        let ticked = fields.many("many-holds").any(|one| one == ingredient.as_str());
        let share = match fields.trimmed(&field) {
            "" => None,
            text => {
                let share = decimal(text, 2).filter(|share| (1..=10_000).contains(share));
                if share.is_none() {
                    let words =
                        crate::t("Write a share in percent, above 0 and at most 100, with at most two decimals.");
                    errors.add(&field, words);
                } else if !ticked {
                    errors.add(&field, crate::t("Tick the ingredient too, or leave its share empty."));
                }
                share
            }
        };
        if ticked {
            holds.insert(ingredient, share);
        }
    }
    let ph = match fields.trimmed("ph") {
        "" => None,
        text => {
            let ph = decimal(text, 1).and_then(|ph| u8::try_from(ph).ok()).filter(|ph| *ph <= 140);
            if ph.is_none() {
                errors.add("ph", crate::t("Write a pH from 0 to 14, with at most one decimal."));
            }
            ph
        }
    };
    let age = match fields.trimmed("age") {
        "" => None,
        _ => super::read::whole(&mut errors, fields, "age", 1..=99_u8),
    };
    let step = STEPS.into_iter().find(|(step, _)| step.as_str() == fields.trimmed("step")).map(|(step, _)| step);
    let label = Label { holds, areas, professional_only: fields.ticked("professional_only"), ph, age, step };
    if errors.is_empty() { Ok(label) } else { Err(errors) }
}

/// Shows what is written down.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(path): Path<String>) -> Answer {
    let id = id(ProductId::parse(&path))?;
    let product = there(store::catalogue::product(&mut *app.db.read().await?, &id).await?)?;
    let fields = stored(product.label.as_ref());
    Ok(Page::ok(LabelPage { ctx, product, fields, errors: Errors::new() }).into_response())
}

/// Writes it down.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, Path(path): Path<String>, fields: Fields) -> Answer {
    let id = id(ProductId::parse(&path))?;
    let product = there(store::catalogue::product(&mut *app.db.read().await?, &id).await?)?;
    match read_label(&fields) {
        Ok(label) => match catalogue::save_label(&app, &team.actor(), &id, Some(&seen(&fields)), &label).await? {
            Saved::Done(()) => Ok(done(&format!("/owner/products/{id}"), "saved")),
            Saved::Unknown => Err(Fault::NotFound),
            Saved::Overtaken => {
                let page = LabelPage { ctx: ctx.overtaken(), product, fields, errors: Errors::new() };
                Ok(Page::conflict(page).into_response())
            }
        },
        Err(errors) => Ok(Page::refused(LabelPage { ctx, product, fields, errors }).into_response()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_are_read_to_the_hundredth_and_written_back() {
        for (text, wanted) in [("11", 1100), ("1,25", 125), ("0.5", 50), ("100", 10_000)] {
            assert_eq!(decimal(text, 2), Some(wanted), "{text}");
            assert_eq!(words::parts(wanted, 100), text.replace(',', "."));
        }
        for bad in ["", ".5", "1.255", "-1", "1e1", "1000", "eleven"] {
            assert_eq!(decimal(bad, 2), None, "{bad}");
        }
    }

    #[test]
    fn what_is_stored_fills_the_form_and_reads_back() {
        let label = Label {
            holds: [(Ingredient::Thioglycolate, Some(1050)), (Ingredient::Latex, None)].into(),
            areas: [Area::Lash].into(),
            professional_only: true,
            ph: Some(92),
            age: Some(16),
            step: Some(Part::LotionTwo),
        };
        assert_eq!(read_label(&stored(Some(&label))).unwrap(), label);
    }
}
