//! `GET` and `POST /desk/visits/{id}/skin-test` and `/desk/clients/{id}/skin-test`: a test is applied, at its visit or to
//! a client who walked in. `GET` and `POST /desk/skin-tests/{id}/reading`: a test is read.
//! Templates: `practitioner/skin_test.html`, `practitioner/reading.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;
use time::Date;

use super::view::{Names, TestView, capital};
use super::{read, words};
use crate::actions::health::{self as actions, Applied};
use crate::actions::test_reports::{self, NotVoided};
use crate::actions::{steps, treating};
use crate::app::App;
use crate::domain::ids::{ClientId, ProductId, ServiceId, SkinTestId, VisitId};
use crate::domain::skin_test::{NOT_DIAGNOSTIC, TestResult, VoidCause, VoidRefused};
use crate::domain::steps::Step;
use crate::domain::zone::Zone;
use crate::store::files::{self, StoredFile};
use crate::store::studio::Studio;
use crate::store::visits::Purpose;
use crate::store::{Connection, Stored, catalogue, clients, reactions};
use crate::web::day;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::words::CHOOSE;
use crate::when;
use crate::{msg, t, tf};

#[derive(Template)]
#[template(path = "practitioner/skin_test.html")]
struct TestPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    place: Place,
}

/// Where a test is applied: at a visit or to a client who walked in.
struct Place {
    visit: Option<VisitId>,
    client: ClientId,
    who: String,
    day: Date,
    /// Service and product as the form sends them, and in words.
    choices: Vec<(String, String)>,
    batches: Vec<String>,
    steps: Vec<Step>,
    action: String,
    back: String,
    not_diagnostic: &'static str,
}

impl Place {
    fn day_words(&self) -> String {
        when::day(self.day)
    }

    async fn at_visit(app: &App, ctx: &Ctx, team: &Team, id: VisitId) -> Result<Self, Fault> {
        let mut c = app.db.read().await?;
        let found = treating::case_for(&mut c, &team.0, &id).await?;
        let (visit, client) = found.filter(|(v, _)| v.purpose == Purpose::SkinTest).ok_or(Fault::NotFound)?;
        let back = format!("/desk/visits/{id}");
        let action = format!("{back}/skin-test");
        let day = actions::day_of(&visit, ctx.studio()?, app.clock.now());
        let place = Self { visit: Some(id), ..Self::bare(client, day, action, back) };
        Ok(place.fill(&mut c, Some(&visit.service)).await?)
    }

    async fn walk_in(c: &mut Connection, team: &Team, client: ClientId, today: Date) -> Result<Self, Fault> {
        if !treating::may_see(c, &team.0, &client).await? {
            return Err(Fault::NotFound);
        }
        let back = format!("/desk/clients/{client}");
        let action = format!("{back}/skin-test");
        Ok(Self::bare(client, today, action, back).fill(c, None).await?)
    }

    fn bare(client: ClientId, day: Date, action: String, back: String) -> Self {
        let (choices, batches, steps) = (Vec::new(), Vec::new(), Vec::new());
        let (visit, who, not_diagnostic) = (None, String::new(), NOT_DIAGNOSTIC);
        Self { visit, client, who, day, choices, batches, steps, action, back, not_diagnostic }
    }

    /// With the name, and with the products that the service wants tested, or all services on offer.
    async fn fill(mut self, c: &mut Connection, service: Option<&ServiceId>) -> Stored<Self> {
        self.who = clients::get(c, &self.client).await?.map_or_else(String::new, |one| one.name.as_str().to_owned());
        self.steps = steps::skin_test(c).await?.1.into();
        let all = catalogue::batches(c).await?;
        for offered in catalogue::services(c).await? {
            if service.map_or(!offered.active, |only| *only != offered.id) {
                continue;
            }
            for product in catalogue::tests_for(c, &offered.id).await? {
                self.choices.push((
                    format!("{}.{}", offered.id, product.id),
                    tf("{product}, for {service}")
                        .with("product", &product.name)
                        .with("service", &offered.name)
                        .to_string(),
                ));
                let good = all.iter().filter(|b| b.product == product.id && b.days.over(self.day).is_none());
                self.batches.extend(good.map(|batch| format!("{} {}", product.name, batch.number)));
            }
        }
        self.batches.sort();
        self.batches.dedup();
        Ok(self)
    }

    fn read(&self, id: SkinTestId, fields: &Fields, zone: &Zone) -> Result<Applied, Errors> {
        let mut errors = Errors::new();
        let chosen = fields.trimmed("product");
        let chosen = chosen.split_once('.').filter(|_| self.choices.iter().any(|(value, _)| value == chosen));
        let chosen = chosen.and_then(|(s, p)| Some((ServiceId::parse(s).ok()?, ProductId::parse(p).ok()?)));
        if chosen.is_none() {
            errors.add("product", t(CHOOSE));
        }
        let batch = read::text(&mut errors, fields, "batch", 60, true);
        let site = read::text(&mut errors, fields, "site", 120, true);
        let at = read::moment(&mut errors, fields, "time", Some(self.day), zone);
        match (chosen, batch, site, at) {
            (Some((service, product)), Some(batch), Some(site), Some(at)) => {
                Ok(Applied { id, service, product, batch, site, at })
            }
            _ => Err(errors),
        }
    }
}

fn form(app: &App, studio: &Studio, place: &Place) -> Fields {
    let now = studio.zone.to_civil(app.clock.now());
    // The clock of one day says nothing of another.
    let now = if place.day == now.date() { when::clock(now) } else { String::new() };
    let only = place.choices.first().filter(|_| place.choices.len() == 1);
    let id = SkinTestId::from_random(app.random.id()).to_string();
    let mut pairs = vec![("id".to_owned(), id), ("time".to_owned(), now), ("site".to_owned(), String::new())];
    pairs.extend(only.map(|(value, _)| ("product".to_owned(), value.clone())));
    Fields::of(pairs)
}

fn refused(ctx: Ctx, fields: Fields, errors: Errors, place: Place) -> Answer {
    Ok(Page::refused(TestPage { ctx, fields, errors, place }).into_response())
}

/// Stores it, or says why not.
async fn apply(app: &App, ctx: Ctx, team: &Team, fields: Fields, place: Place) -> Answer {
    let studio = ctx.studio()?;
    let id = SkinTestId::parse(fields.get("id")).map_err(|_| Fault::BadRequest)?;
    let applied = match place.read(id, &fields, &studio.zone) {
        Ok(applied) => applied,
        Err(errors) => return refused(ctx, fields, errors, place),
    };
    let stored = match &place.visit {
        Some(visit) => actions::apply_at_visit(app, studio, &team.0, visit, applied).await,
        None => actions::apply_walk_in(app, studio, &team.0, &place.client, applied).await,
    };
    let Err(refusal) = stored else { return Ok(see_other(&place.back)) };
    let Some((field, said)) = words::test(&refusal) else { return Err(refusal.into()) };
    let mut errors = Errors::new();
    errors.add(field, said);
    refused(ctx, fields, errors, place)
}

/// Shows the form of a visit.
pub async fn get(State(app): State<App>, ctx: Ctx, team: Team, Path(id): Path<String>) -> Answer {
    let place = Place::at_visit(&app, &ctx, &team, VisitId::parse(&id).map_err(|_| Fault::NotFound)?).await?;
    let fields = form(&app, ctx.studio()?, &place);
    Ok(Page::ok(TestPage { ctx, fields, errors: Errors::new(), place }).into_response())
}

/// A test is applied at a visit.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, Path(id): Path<String>, fields: Fields) -> Answer {
    let place = Place::at_visit(&app, &ctx, &team, VisitId::parse(&id).map_err(|_| Fault::NotFound)?).await?;
    apply(&app, ctx, &team, fields, place).await
}

/// Shows the form for a client who walked in.
pub async fn get_walk_in(State(app): State<App>, ctx: Ctx, team: Team, Path(id): Path<String>) -> Answer {
    let client = ClientId::parse(&id).map_err(|_| Fault::NotFound)?;
    let today = ctx.studio()?.zone.date_at(app.clock.now());
    let mut c = app.db.read().await?;
    let place = Place::walk_in(&mut c, &team, client, today).await?;
    let fields = form(&app, ctx.studio()?, &place);
    Ok(Page::ok(TestPage { ctx, fields, errors: Errors::new(), place }).into_response())
}

/// A test is applied to a client who walked in.
pub async fn post_walk_in(
    State(app): State<App>,
    ctx: Ctx,
    team: Team,
    Path(id): Path<String>,
    fields: Fields,
) -> Answer {
    let client = ClientId::parse(&id).map_err(|_| Fault::NotFound)?;
    let today = ctx.studio()?.zone.date_at(app.clock.now());
    let mut c = app.db.read().await?;
    let place = Place::walk_in(&mut c, &team, client, today).await?;
    drop(c);
    apply(&app, ctx, &team, fields, place).await
}

#[derive(Template)]
#[template(path = "practitioner/reading.html")]
struct ReadingPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    who: String,
    client: String,
    test: TestView,
    /// The report that it opened, while that is not settled.
    report: Option<String>,
    results: Vec<(&'static str, String)>,
    causes: Vec<(&'static str, &'static str)>,
    /// Photos of what she saw: where each is, and when it came.
    photos: Vec<(String, String)>,
    not_diagnostic: &'static str,
}

async fn reading(
    app: &App,
    ctx: Ctx,
    team: &Team,
    id: &SkinTestId,
    fields: Fields,
    errors: Errors,
) -> Result<ReadingPage, Fault> {
    let mut c = app.db.read().await?;
    let stored = actions::test_for(&mut c, &team.0, id).await?.ok_or(Fault::NotFound)?;
    let names = Names::load(&mut c, ctx.studio()?).await?;
    let client = clients::get(&mut c, &stored.client).await?.ok_or(Fault::NotFound)?;
    let photos = files::about(&mut c, id.as_str()).await?;
    let report = reactions::of_skin_test(&mut c, id).await?.filter(|report| report.state.is_open());
    drop(c);
    let zone = &ctx.studio()?.zone;
    let moment = |photo: &StoredFile| when::moment(zone.to_civil(photo.added_at));
    let photos = photos.iter().map(|photo| (format!("/desk/files/{}", photo.id), moment(photo))).collect();
    actions::looked(app, &team.0, "skin-test.seen", Some(&client.id), id.as_str()).await?;
    let seen = TestResult::ALL.into_iter().filter(|result| *result != TestResult::NotYetRead);
    Ok(ReadingPage {
        test: TestView::of(&stored, &names, app.clock.now()),
        report: report.map(|report| report.id.to_string()),
        who: client.name.as_str().to_owned(),
        client: client.id.to_string(),
        results: seen.map(|result| (result.as_str(), capital(result))).collect(),
        causes: CAUSES.map(|(cause, words)| (cause.as_str(), t(words))).to_vec(),
        photos,
        not_diagnostic: NOT_DIAGNOSTIC,
        ctx,
        fields,
        errors,
    })
}

/// Shows what was applied, and the form for what is seen.
pub async fn get_reading(State(app): State<App>, ctx: Ctx, team: Team, Path(id): Path<String>) -> Answer {
    let id = SkinTestId::parse(&id).map_err(|_| Fault::NotFound)?;
    let now = ctx.studio()?.zone.to_civil(app.clock.now());
    let fields = Fields::of(vec![("day".to_owned(), now.date().to_string()), ("time".to_owned(), when::clock(now))]);
    Ok(Page::ok(reading(&app, ctx, &team, &id, fields, Errors::new()).await?).into_response())
}

/// A test is read.
pub async fn post_reading(
    State(app): State<App>,
    ctx: Ctx,
    team: Team,
    Path(id): Path<String>,
    fields: Fields,
) -> Answer {
    let id = SkinTestId::parse(&id).map_err(|_| Fault::NotFound)?;
    let mut errors = Errors::new();
    let stored = match read_look(&mut errors, &fields, &ctx.studio()?.zone) {
        Some((result, at, note)) => Some(actions::read_test(&app, &team.0, &id, result, at, &note).await),
        None => None,
    };
    match stored {
        Some(Ok(client)) => Ok(see_other(&format!("/desk/clients/{client}#skin-tests"))),
        Some(Err(refusal)) => {
            let Some((field, said)) = words::test(&refusal) else { return Err(refusal.into()) };
            errors.add(field, said);
            Ok(Page::refused(reading(&app, ctx, &team, &id, fields, errors).await?).into_response())
        }
        None => Ok(Page::refused(reading(&app, ctx, &team, &id, fields, errors).await?).into_response()),
    }
}

/// What a member of the team may void a test for; answers and reactions do it by themselves.
const CAUSES: [(VoidCause, &str); 5] = [
    (VoidCause::NewProduct, msg("Another product or shade is used now")),
    (VoidCause::FormulaChange, msg("The maker changed the formula")),
    (VoidCause::BlackHenna, msg("She had a dark temporary tattoo since")),
    (VoidCause::SuppressingMedicine, msg("A medicine may have hidden a reaction")),
    (VoidCause::Mistake, msg("It was recorded by mistake")),
];

/// A test no longer counts.
pub async fn post_void(State(app): State<App>, ctx: Ctx, team: Team, Path(id): Path<String>, fields: Fields) -> Answer {
    let id = SkinTestId::parse(&id).map_err(|_| Fault::NotFound)?;
    let stored = actions::test_for(&mut *app.db.read().await?, &team.0, &id).await?.ok_or(Fault::NotFound)?;
    let cause = VoidCause::parse(fields.trimmed("cause")).filter(|cause| CAUSES.iter().any(|(one, _)| one == cause));
    let mut errors = Errors::new();
    if cause.is_none() {
        errors.add("cause", t(CHOOSE));
    }
    let why = read::text(&mut errors, &fields, "why", 500, false);
    let Some((cause, why)) = cause.zip(why) else {
        return Ok(Page::refused(reading(&app, ctx, &team, &id, fields, errors).await?).into_response());
    };
    match test_reports::void(&app, &team.0, &stored.client, &id, cause, &why).await {
        Ok(()) => {}
        Err(NotVoided::Store(error)) => return Err(error.into()),
        Err(NotVoided::Refused(VoidRefused::WantsReason)) => {
            errors.add("why", t("It was not clear, so write why that says nothing of her and this product."));
            return Ok(Page::refused(reading(&app, ctx, &team, &id, fields, errors).await?).into_response());
        }
        Err(NotVoided::Refused(VoidRefused::Unsettled)) => {
            errors.add("main", t("Its reaction report is open. Settle that first."));
            return Ok(Page::conflict(reading(&app, ctx, &team, &id, fields, errors).await?).into_response());
        }
    }
    Ok(see_other(&format!("/desk/clients/{}#skin-tests", stored.client)))
}

fn read_look(errors: &mut Errors, fields: &Fields, zone: &Zone) -> Option<(TestResult, time::OffsetDateTime, String)> {
    let result = TestResult::parse(fields.trimmed("result")).filter(|result| *result != TestResult::NotYetRead);
    if result.is_none() {
        errors.add("result", t(CHOOSE));
    }
    let day = day::field(errors, fields, "day");
    let at = read::moment(errors, fields, "time", day, zone);
    let note = read::text(errors, fields, "note", 500, false);
    Some((result?, at?, note?))
}
