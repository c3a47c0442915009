//! `GET` and `POST /me/visits/{id}/earlier`: she would like to be told when an earlier time opens.
//! Template: `client/earlier.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;
use time::{Date, Weekday};

use super::visits::{own, view};
use crate::actions::wishes as wishing;
use crate::app::App;
use crate::domain::visit::VisitState;
use crate::domain::wish::{Part, Suits, SuitsRefused, WEEK};
use crate::store::wishes;
use crate::t;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::SignedIn;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::public::book::VisitView;
use crate::web::words;

const DAYS: &str = "many-days";
const PARTS: &str = "many-parts";

#[derive(Template)]
#[template(path = "client/earlier.html")]
struct EarlierPage {
    ctx: Ctx,
    visit: VisitView,
    fields: Fields,
    errors: Errors,
    wished: bool,
    claim_minutes: i64,
}

fn part(part: Part) -> (&'static str, &'static str) {
    match part {
        Part::Morning => ("morning", t("Before noon")),
        Part::Afternoon => ("afternoon", t("Noon to five")),
        Part::Evening => ("evening", t("From five on")),
    }
}

fn is_in(fields: &Fields, name: &str, value: &str) -> bool {
    fields.many(name).any(|one| one == value)
}

fn stored(suits: Suits) -> Fields {
    let mut pairs = vec![("from".to_owned(), suits.from().to_string())];
    let days = WEEK.into_iter().filter(|day| suits.on(*day));
    pairs.extend(days.map(|day| (DAYS.to_owned(), day.to_string())));
    let parts = Part::ALL.into_iter().filter(|part| suits.at(*part));
    pairs.extend(parts.map(|one| (PARTS.to_owned(), part(one).0.to_owned())));
    Fields::of(pairs)
}

async fn page(
    app: &App,
    ctx: Ctx,
    who: &SignedIn,
    id: &str,
    typed: Option<(Fields, Errors)>,
) -> Result<EarlierPage, Fault> {
    let mut c = app.db.read().await?;
    let own = own(&mut c, who, id).await?;
    let now = app.clock.now();
    if own.visit.state != VisitState::Booked || own.visit.starts_at <= now {
        return Err(Fault::NotFound);
    }
    let studio = ctx.studio()?.clone();
    let wish = wishes::of_visit(&mut c, &own.visit.id).await?;
    let always = || Suits::parse(studio.zone.date_at(now), WEEK, Part::ALL);
    let (fields, errors) = typed.unwrap_or_else(|| {
        let suits = wish.as_ref().map(|wish| wish.suits).or_else(|| always().ok());
        (suits.map(stored).unwrap_or_default(), Errors::new())
    });
    Ok(EarlierPage {
        visit: view(&mut c, &own.visit).await?.0,
        fields,
        errors,
        wished: wish.is_some(),
        claim_minutes: studio.claim_minutes,
        ctx,
    })
}

/// Asks what would suit her.
pub async fn get(State(app): State<App>, ctx: Ctx, who: SignedIn, Path(id): Path<String>) -> Answer {
    Ok(Page::ok(page(&app, ctx, &who, &id, None).await?).into_response())
}

fn read(fields: &Fields) -> Result<Suits, Errors> {
    let mut errors = Errors::new();
    let from: Option<Date> = crate::store::types::day("", "", "", fields.trimmed("from")).ok();
    if from.is_none() {
        errors.add("from", words::DAY);
    }
    let days: Vec<Weekday> = WEEK.into_iter().filter(|day| is_in(fields, DAYS, &day.to_string())).collect();
    let parts: Vec<Part> = Part::ALL.into_iter().filter(|one| is_in(fields, PARTS, part(*one).0)).collect();
    let suits = Suits::parse(from.unwrap_or(Date::MIN), days, parts);
    match suits {
        Err(SuitsRefused::NoDay) => errors.add(DAYS, t("Choose at least one day of the week.")),
        Err(SuitsRefused::NoPart) => errors.add(PARTS, t("Choose at least one part of the day.")),
        Ok(_) => {}
    }
    suits.ok().filter(|_| errors.is_empty()).ok_or(errors)
}

/// Stores the wish, or takes it back.
pub async fn post(State(app): State<App>, ctx: Ctx, who: SignedIn, Path(id): Path<String>, fields: Fields) -> Answer {
    let mut c = app.db.read().await?;
    let visit = own(&mut c, &who, &id).await?.visit.id;
    drop(c);
    if fields.ticked("withdraw") {
        wishing::withdraw(&app, &who.0, &visit).await?;
        return Ok(see_other("/me"));
    }
    match read(&fields) {
        Ok(suits) => {
            if !wishing::wish(&app, &who.0, &visit, suits).await? {
                return Err(Fault::NotFound);
            }
            Ok(see_other("/me"))
        }
        Err(errors) => Ok(Page::refused(page(&app, ctx, &who, &id, Some((fields, errors))).await?).into_response()),
    }
}
