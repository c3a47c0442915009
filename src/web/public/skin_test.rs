//! `GET` and `POST /tell-us/{token}` and `/me/skin-tests/{id}`: the client reports what she sees of her skin test, and
//! below `/photo` shows it. The link in the mail can do this and nothing else: what she told before stands on her own page
//! alone. Template: `public/skin_test.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::IntoResponse;
use time::OffsetDateTime;

use crate::actions::case::test_rules;
use crate::actions::test_reports::{self, Report};
use crate::app::App;
use crate::documents::upload::Takes;
use crate::domain::ids::{ClientId, SkinTestId};
use crate::domain::label::Note;
use crate::domain::skin_test::{NOT_DIAGNOSTIC, ReadBy, TestResult};
use crate::store::skin_tests::StoredTest;
use crate::store::types::sha256_hex;
use crate::store::{catalogue, skin_tests};
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields, FormWithFile};
use crate::web::guard::SignedIn;
use crate::web::limits::What;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::words;
use crate::when;
use crate::{msg, t};

/// What she may choose: the words that the studio uses.
const SEEN: [(TestResult, &str); 6] = [
    (TestResult::NoVisibleChange, msg("Your skin looks and feels as before.")),
    (TestResult::FaintPink, msg("Unclear: we will look at it with you.")),
    (TestResult::ItchOrRaised, ""),
    (TestResult::SwellingOrBlister, ""),
    (TestResult::EyeOrBreathing, msg("Red or swollen eyes, a tight chest, hard breathing.")),
    (TestResult::RemovedEarly, msg("The drop was washed or wiped off before it was meant to be.")),
];

/// One place where a product was put on the skin.
struct Spot {
    field: String,
    note_field: String,
    product: String,
    site: String,
    applied: String,
    /// From when a clear result counts, as long as that is to come.
    counts_from: Option<String>,
    /// What she told so far: when, and what.
    told: Vec<(String, String)>,
    /// When she told something last, where whoever has the link sees the page.
    told_on: Option<String>,
}

/// What is to be done after a report.
#[derive(PartialEq, Eq, Clone, Copy)]
enum Next {
    /// Nothing: it was clear.
    Clear,
    /// Clear so far, and too early to count.
    TooEarly,
    /// It has to be looked at or repeated.
    Unclear,
    /// A reaction.
    Reaction,
    /// A reaction that can't wait.
    Urgent,
}

#[derive(Template)]
#[template(path = "public/skin_test.html")]
struct TestPage {
    ctx: Ctx,
    path: String,
    spots: Vec<Spot>,
    choices: Vec<(&'static str, String, &'static str)>,
    next: Option<Next>,
    /// A photo has just been added.
    photo_kept: bool,
    fields: Fields,
    errors: Errors,
    not_diagnostic: &'static str,
}

#[derive(Template)]
#[template(path = "public/skin_test_gone.html")]
struct GonePage {
    ctx: Ctx,
}

fn capital(result: TestResult) -> String {
    let words = result.to_string();
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// The tests of one page, with whose they are.
struct Found {
    client: ClientId,
    tests: Vec<StoredTest>,
    path: String,
    /// She has signed in.
    is_own: bool,
}

impl Found {
    async fn of(app: &App, id: &SkinTestId, path: String) -> Result<Option<Self>, Fault> {
        let mut c = app.db.read().await?;
        let Some(client) = skin_tests::client_of(&mut c, id).await? else { return Ok(None) };
        let tests = test_reports::together(&mut c, &client, id).await?;
        Ok((!tests.is_empty()).then_some(Self { client, tests, path, is_own: false }))
    }

    async fn by_token(app: &App, token: &str) -> Result<Option<Self>, Fault> {
        let hash = sha256_hex(token);
        let id = skin_tests::by_link(&mut *app.db.read().await?, &hash, app.clock.now()).await?;
        match id {
            Some(id) => Self::of(app, &id, format!("/tell-us/{token}")).await,
            None => Ok(None),
        }
    }

    async fn own(app: &App, who: &SignedIn, id: &str) -> Result<Self, Fault> {
        let id = SkinTestId::parse(id).map_err(|_| Fault::NotFound)?;
        let found = Self::of(app, &id, format!("/me/skin-tests/{id}")).await?;
        let found = found.filter(|found| found.client == who.0).ok_or(Fault::NotFound)?;
        Ok(Self { is_own: true, ..found })
    }

    async fn page(&self, app: &App, ctx: Ctx, fields: Fields, errors: Errors) -> Result<TestPage, Fault> {
        let studio = ctx.studio()?.clone();
        let (rules, now) = (test_rules(&studio)?, app.clock.now());
        let products = catalogue::products(&mut *app.db.read().await?).await?;
        let moment = |at: OffsetDateTime| when::moment(studio.zone.to_civil(at));
        let spots = self.tests.iter().map(|one| {
            let product = products.iter().find(|product| product.id == one.test.product);
            let from = one.test.applied_at + rules.floor(product.and_then(|product| product.label_test_hours));
            let told = one.test.readings.iter().filter(|reading| reading.by == ReadBy::Client);
            let mut told: Vec<_> = told.map(|reading| (moment(reading.at), capital(reading.result))).collect();
            let told_on = if self.is_own { None } else { std::mem::take(&mut told).pop().map(|(when, _)| when) };
            Spot {
                field: field(one),
                note_field: format!("{}-note", field(one)),
                product: product.map(|product| product.name.clone()).unwrap_or_default(),
                site: one.site.clone(),
                applied: moment(one.test.applied_at),
                counts_from: (from > now).then(|| moment(from)),
                told,
                told_on,
            }
        });
        Ok(TestPage {
            path: self.path.clone(),
            spots: spots.collect(),
            choices: SEEN.map(|(result, hint)| (result.as_str(), capital(result), hint)).to_vec(),
            next: None,
            photo_kept: false,
            fields,
            errors,
            not_diagnostic: NOT_DIAGNOSTIC,
            ctx,
        })
    }

    fn read(&self, fields: &Fields) -> Result<Vec<Report>, Errors> {
        let mut errors = Errors::new();
        let mut reports = Vec::new();
        for one in &self.tests {
            let name = field(one);
            let chosen = TestResult::parse(fields.trimmed(&name));
            let chosen = chosen.filter(|result| SEEN.iter().any(|(seen, _)| seen == result));
            if chosen.is_none() {
                errors.add(&name, t("Please choose what is closest."));
            }
            let note_name = format!("{name}-note");
            let note = errors.take(&note_name, Note::parse(fields.get(&note_name), 300), words::text);
            if let (Some(result), Some(note)) = (chosen, note) {
                reports.push(Report { test: one.test.id.clone(), result, note: note.as_str().to_owned() });
            }
        }
        if errors.is_empty() { Ok(reports) } else { Err(errors) }
    }

    async fn post(&self, app: &App, ctx: Ctx, fields: Fields) -> Answer {
        let reports = match self.read(&fields) {
            Ok(reports) => reports,
            Err(errors) => return Ok(Page::refused(self.page(app, ctx, fields, errors).await?).into_response()),
        };
        if !test_reports::report(app, &self.client, &reports).await? {
            let mut errors = Errors::new();
            for one in &self.tests {
                errors.add(
                    &field(one),
                    t("You have told us much about this today. Please call the studio: the number is below."),
                );
            }
            return Ok(Page::refused(self.page(app, ctx, fields, errors).await?).into_response());
        }
        let mut page = self.page(app, ctx, Fields::default(), Errors::new()).await?;
        let early = page.spots.iter().any(|spot| spot.counts_from.is_some());
        page.next = Some(next(&reports, early));
        Ok(Page::ok(page).into_response())
    }
}

impl Found {
    async fn post_photo(&self, app: &App, ctx: Ctx, mut form: FormWithFile) -> Answer {
        let mut errors = Errors::new();
        if form.has_file() && app.limits.count(What::Upload, self.client.as_str(), app.clock.now()).is_err() {
            errors.add("photo", words::enough_files_today());
            return Ok(Page::refused(self.page(app, ctx, Fields::default(), errors).await?).into_response());
        }
        let photo = errors.take("photo", form.take(Takes::Photo).await, words::upload).flatten();
        if let (Some(photo), Some(first)) = (&photo, self.tests.first()) {
            if test_reports::add_photo(app, &self.client, &first.test.id, photo).await? {
                let page = self.page(app, ctx, Fields::default(), Errors::new()).await?;
                return Ok(Page::ok(TestPage { photo_kept: true, ..page }).into_response());
            }
            errors.add("photo", words::no_room_for_files());
        }
        if errors.is_empty() {
            errors.add("photo", t("Choose a photo."));
        }
        Ok(Page::refused(self.page(app, ctx, Fields::default(), errors).await?).into_response())
    }
}

fn next(reports: &[Report], early: bool) -> Next {
    let any = |wanted: fn(TestResult) -> bool| reports.iter().any(|report| wanted(report.result));
    if any(|result| result == TestResult::EyeOrBreathing) {
        Next::Urgent
    } else if any(TestResult::fails) {
        Next::Reaction
    } else if any(|result| result != TestResult::NoVisibleChange) {
        Next::Unclear
    } else if early {
        Next::TooEarly
    } else {
        Next::Clear
    }
}

fn field(test: &StoredTest) -> String {
    format!("seen-{}", test.test.id)
}

fn gone(ctx: Ctx) -> Answer {
    Ok(Page(StatusCode::GONE, GonePage { ctx }).into_response())
}

/// Asks what she sees.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(token): Path<String>) -> Answer {
    let Some(found) = Found::by_token(&app, &token).await? else { return gone(ctx) };
    Ok(Page::ok(found.page(&app, ctx, Fields::default(), Errors::new()).await?).into_response())
}

/// Takes her report.
pub async fn post(State(app): State<App>, ctx: Ctx, Path(token): Path<String>, fields: Fields) -> Answer {
    app.limits.count(What::LinkUse, &ctx.seen.from, app.clock.now()).map_err(Fault::TooMany)?;
    let Some(found) = Found::by_token(&app, &token).await? else { return gone(ctx) };
    found.post(&app, ctx, fields).await
}

/// Takes a photo of what she sees.
pub async fn post_photo(State(app): State<App>, ctx: Ctx, Path(token): Path<String>, form: FormWithFile) -> Answer {
    app.limits.count(What::LinkUse, &ctx.seen.from, app.clock.now()).map_err(Fault::TooMany)?;
    let Some(found) = Found::by_token(&app, &token).await? else { return gone(ctx) };
    found.post_photo(&app, ctx, form).await
}

/// Asks a signed-in client what she sees.
pub async fn get_own(State(app): State<App>, ctx: Ctx, who: SignedIn, Path(id): Path<String>) -> Answer {
    let found = Found::own(&app, &who, &id).await?;
    Ok(Page::ok(found.page(&app, ctx, Fields::default(), Errors::new()).await?).into_response())
}

/// Takes the report of a signed-in client.
pub async fn post_own(
    State(app): State<App>,
    ctx: Ctx,
    who: SignedIn,
    Path(id): Path<String>,
    fields: Fields,
) -> Answer {
    Found::own(&app, &who, &id).await?.post(&app, ctx, fields).await
}

/// Takes a photo of a signed-in client.
pub async fn post_own_photo(
    State(app): State<App>,
    ctx: Ctx,
    who: SignedIn,
    Path(id): Path<String>,
    form: FormWithFile,
) -> Answer {
    Found::own(&app, &who, &id).await?.post_photo(&app, ctx, form).await
}
