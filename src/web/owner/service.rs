//! `GET` and `POST /owner/services/new` and `/owner/services/{id}`: one service. Template: `owner/service.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::rule::{Edges, edges};
use super::{Done, done, filled, id, read, seen, there, tick};
use crate::actions::catalogue::{self, ServiceFacts};
use crate::actions::seen::Saved;
use crate::app::App;
use crate::domain::catalogue::ServiceKind;
use crate::domain::ids::{PractitionerId, ProductId, ServiceId};
use crate::domain::mark::Mark;
use crate::domain::money::{Currency, Money};
use crate::store;
use crate::store::catalogue::{Product, Service};
use crate::store::practitioners::{self, Practitioner};
use crate::store::{Connection, Stored};
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::words;

/// The boxes of practitioners and of products.
const BY: &str = "many-by";
const TESTS: &str = "many-tests";

#[derive(Template)]
#[template(path = "owner/service.html")]
struct ServicePage {
    ctx: Ctx,
    /// With the days of its retouch rule.
    service: Option<(Service, Edges)>,
    currency: Currency,
    choices: Choices,
    fields: Fields,
    errors: Errors,
}

/// Who and what a service may name.
struct Choices {
    team: Vec<Practitioner>,
    products: Vec<Product>,
}

impl Choices {
    async fn load(c: &mut Connection) -> Stored<Self> {
        let (team, products) = (practitioners::all(c).await?, store::catalogue::products(c).await?);
        Ok(Self { team, products })
    }
}

impl ServicePage {
    fn new(
        ctx: Ctx,
        service: Option<Service>,
        choices: Choices,
        fields: Fields,
        errors: Errors,
    ) -> Result<Self, Fault> {
        let currency = ctx.studio()?.currency.clone();
        let service = service.map(|service| (edges(&service.retouch), service)).map(|(days, service)| (service, days));
        Ok(Self { ctx, service, currency, choices, fields, errors })
    }

    fn ticked(&self, name: &str, id: &str) -> bool {
        self.fields.many(name).any(|value| value == id)
    }
}

fn stored(s: &ServiceFacts, currency: &Currency) -> Fields {
    let one = filled([
        ("seen", Mark::of(s).as_str().to_owned()),
        ("name", s.name.clone()),
        ("description", s.description.clone()),
        ("minutes", s.minutes.to_string()),
        ("turnaround_minutes", s.turnaround_minutes.to_string()),
        ("price", Money::of(s.price_minor, currency.clone()).plain()),
        ("active", tick(s.active)),
    ]);
    let by = s.by.iter().map(|id| (BY.to_owned(), id.as_str().to_owned()));
    let tests = s.tests.iter().map(|id| (TESTS.to_owned(), id.as_str().to_owned()));
    Fields::of(one.pairs().into_iter().chain(by).chain(tests).collect())
}

fn read_service(fields: &Fields, currency: &Currency, choices: &Choices) -> Result<ServiceFacts, Errors> {
    let mut errors = Errors::new();
    let name = read::label(&mut errors, fields, "name");
    let description = read::note(&mut errors, fields, "description", 600);
    let minutes = read::whole(&mut errors, fields, "minutes", 5..=480_u16);
    let turnaround = read::whole(&mut errors, fields, "turnaround_minutes", 0..=120_u16);
    let price = errors.take("price", Money::parse(fields.get("price"), currency.clone()), words::money);
    let by: Option<Vec<_>> = fields
        .many(BY)
        .map(|text| PractitionerId::parse(text).ok().filter(|id| choices.team.iter().any(|she| she.id == *id)))
        .collect();
    let by = read::choice(&mut errors, BY, by);
    let tests: Option<Vec<_>> = fields
        .many(TESTS)
        .map(|text| ProductId::parse(text).ok().filter(|id| choices.products.iter().any(|one| one.id == *id)))
        .collect();
    let tests = read::choice(&mut errors, TESTS, tests);
    match (name, description, minutes, turnaround, price, by, tests) {
        (
            Some(name),
            Some(description),
            Some(minutes),
            Some(turnaround_minutes),
            Some(price),
            Some(by),
            Some(tests),
        ) if errors.is_empty() => {
            let (price_minor, active) = (price.minor(), fields.ticked("active"));
            Ok(ServiceFacts { name, description, minutes, turnaround_minutes, price_minor, active, by, tests })
        }
        _ => Err(errors),
    }
}

/// Shows the empty form.
pub async fn get_new(State(app): State<App>, ctx: Ctx) -> Answer {
    let choices = Choices::load(&mut *app.db.read().await?).await?;
    let fields = filled([("turnaround_minutes", "10".to_owned()), ("active", tick(true))]);
    Ok(Page::ok(ServicePage::new(ctx, None, choices, fields, Errors::new())?).into_response())
}

/// Adds a service.
pub async fn post_new(State(app): State<App>, ctx: Ctx, team: Team, fields: Fields) -> Answer {
    let choices = Choices::load(&mut *app.db.read().await?).await?;
    let mut errors = Errors::new();
    let kind = read::choice(&mut errors, "kind", ServiceKind::parse(fields.trimmed("kind")));
    match (kind, read_service(&fields, &ctx.studio()?.currency, &choices)) {
        (Some(kind), Ok(facts)) => {
            let id = catalogue::add_service(&app, &team.actor(), kind, facts).await?;
            Ok(done(&format!("/owner/services/{id}"), "added"))
        }
        (_, read) => {
            for (field, words) in read.err().iter().flat_map(Errors::list) {
                errors.add(field, words);
            }
            Ok(Page::refused(ServicePage::new(ctx, None, choices, fields, errors)?).into_response())
        }
    }
}

/// Shows a service.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(path): Path<String>, Done(said): Done) -> Answer {
    let id = id(ServiceId::parse(&path))?;
    let mut c = app.db.read().await?;
    let service = there(store::catalogue::service(&mut c, &id).await?)?;
    let choices = Choices::load(&mut c).await?;
    let fields = stored(&ServiceFacts::stored(&mut c, &service).await?, &ctx.studio()?.currency);
    Ok(Page::ok(ServicePage::new(ctx.saying(said), Some(service), choices, fields, Errors::new())?).into_response())
}

/// Changes a service.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, Path(path): Path<String>, fields: Fields) -> Answer {
    let id = id(ServiceId::parse(&path))?;
    let mut c = app.db.read().await?;
    let service = there(store::catalogue::service(&mut c, &id).await?)?;
    let choices = Choices::load(&mut c).await?;
    drop(c);
    match read_service(&fields, &ctx.studio()?.currency, &choices) {
        Ok(facts) => match catalogue::save_service(&app, &team.actor(), &id, Some(&seen(&fields)), facts).await? {
            Saved::Done(()) => Ok(done(&format!("/owner/services/{id}"), "saved")),
            Saved::Unknown => Err(Fault::NotFound),
            Saved::Overtaken => {
                let page = ServicePage::new(ctx.overtaken(), Some(service), choices, fields, Errors::new())?;
                Ok(Page::conflict(page).into_response())
            }
        },
        Err(errors) => {
            Ok(Page::refused(ServicePage::new(ctx, Some(service), choices, fields, errors)?).into_response())
        }
    }
}
