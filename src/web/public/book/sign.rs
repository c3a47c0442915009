//! `GET` and `POST /book/{id}/sign`: everything at a glance, the consent, the signature; then it is booked.
//! Where a rule says that this visit can't be, the page says so instead, and what can be done.
//! Templates: `public/book/sign.html`, `public/book/not_yet.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::{IntoResponse, Response};

use std::collections::BTreeSet;

use super::{Booking, HoldView, VisitView, pairs_text};
use crate::actions::book::{self, Booked, Complete, Person};
use crate::actions::case::{Asked, Drafted, Known};
use crate::app::App;
use crate::domain::consent::{Drawing, Guardian, Offer, Signed, Subject, Tick, TickMissing, TypedName};
use crate::domain::person::PersonNameRefused;
use crate::domain::questionnaire::AnswerSet;
use crate::domain::readiness::Readiness;
use crate::domain::verdict::{About, Verdict};
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::words;
use crate::when;

struct TickView {
    name: &'static str,
    text: String,
    ticked: bool,
    needed: bool,
}

#[derive(Template)]
#[template(path = "public/book/sign.html")]
struct SignPage {
    ctx: Ctx,
    step: usize,
    steps: usize,
    visits: Vec<VisitView>,
    price: String,
    name: String,
    mail: String,
    phone: String,
    born: String,
    details: Option<String>,
    questions: String,
    /// What she should know before she comes: reasons that don't forbid the booking.
    to_know: Vec<String>,
    paragraphs: Vec<(String, String)>,
    ticks: Vec<TickView>,
    guardian: Option<String>,
    fields: Fields,
    errors: Errors,
    hold: Option<HoldView>,
}

#[derive(Template)]
#[template(path = "public/book/not_yet.html")]
struct NotYetPage {
    ctx: Ctx,
    service: String,
    sentences: Vec<String>,
    /// Where a later time can be chosen, and from which day on.
    later: Option<(String, String)>,
    change: String,
}

/// What stands between this draft and a booking.
async fn judge(app: &App, booking: &Booking) -> Result<Readiness, Fault> {
    let treatment = booking.treatment().ok_or_else(|| Fault::SeeOther(booking.path("time")))?;
    let asked = Asked {
        client: booking.draft.client.as_ref(),
        service: &booking.service.id,
        at: treatment.starts_at,
        now: booking.now,
    };
    let test = booking.visits.iter().find(|visit| Some(&visit.id) == treatment.paired_test.as_ref());
    let drafted = Drafted {
        birth: booking.born(),
        answers: Some((answer_set(booking), booking.now)),
        consent: None,
        test_booked_at: test.map(|visit| visit.starts_at),
    };
    let mut c = app.db.read().await?;
    let mut known = Known::load(&mut c, &booking.studio, asked.client, asked.service).await?;
    known.add(drafted);
    Ok(known.readiness(asked.at, asked.now))
}

fn answer_set(booking: &Booking) -> AnswerSet {
    AnswerSet {
        questionnaire: booking.in_force.questionnaire.version(),
        given_on: booking.today(),
        returning: booking.last.is_some(),
        answers: booking.answers(),
    }
}

/// Leads back when an earlier page isn't filled in yet.
async fn open(app: &App, ctx: &Ctx, id: &str) -> Result<Booking, Fault> {
    let booking = Booking::open(app, ctx, id).await?;
    let next = booking.next();
    if next == booking.path("sign") { Ok(booking) } else { Err(Fault::SeeOther(next)) }
}

/// The page that says why not, when a rule says so. A missing signature, and a skin test that is booked along or talked
/// about on the day, are no reasons here.
fn not_yet(ctx: &Ctx, booking: &Booking, readiness: &Readiness) -> Option<NotYetPage> {
    let open = |about: &About| matches!(about, About::Consent | About::SkinTest(_));
    let visit_day = booking.treatment().map(|visit| visit.civil.date())?;
    let stops: Vec<_> = readiness
        .reasons
        .iter()
        .filter(|reason| {
            reason.verdict == Verdict::DoNotTreat || reason.verdict == Verdict::WaitUntil && !open(&reason.about)
        })
        .collect();
    if stops.is_empty() {
        return None;
    }
    let forbidden = stops.iter().any(|reason| reason.verdict == Verdict::DoNotTreat);
    let from =
        stops.iter().filter_map(|reason| reason.from).map(|from| from.day()).max().filter(|day| *day > visit_day);
    Some(NotYetPage {
        ctx: ctx.clone(),
        service: booking.service.name.clone(),
        sentences: stops.iter().map(|reason| reason.say.clone()).filter(|sentence| !sentence.is_empty()).collect(),
        later: from.filter(|_| !forbidden).map(|day| (format!("{}?from={day}", booking.path("time")), when::day(day))),
        change: booking.path(if booking.last.is_some() { "answers" } else { "health/1" }),
    })
}

fn show(ctx: Ctx, booking: &Booking, readiness: &Readiness, fields: Fields, errors: Errors) -> SignPage {
    let person = booking.person().ok();
    let known = booking.client.as_ref();
    let text = &booking.in_force.consent;
    let minor = booking.born().is_some_and(|born| born.age_on(booking.today()) < 18);
    let to_know =
        readiness.reasons.iter().filter(|reason| !matches!(reason.about, About::Consent) && !reason.say.is_empty());
    SignPage {
        step: booking.steps(),
        steps: booking.steps(),
        visits: booking.visit_views(),
        price: crate::domain::money::Money::of(booking.service.price_minor, booking.studio.currency.clone())
            .to_string(),
        name: known
            .map(|c| c.name.as_str().to_owned())
            .or_else(|| person.as_ref().map(|p| p.name.as_str().to_owned()))
            .unwrap_or_default(),
        mail: known
            .map(|c| c.mail.as_str().to_owned())
            .or_else(|| person.as_ref().map(|p| p.mail.as_str().to_owned()))
            .unwrap_or_default(),
        phone: known
            .map(|c| c.phone.as_str().to_owned())
            .or_else(|| person.as_ref().map(|p| p.phone.as_str().to_owned()))
            .unwrap_or_default(),
        born: booking.born().map(|born| when::day(born.date())).unwrap_or_default(),
        details: known.is_none().then(|| booking.path("details")),
        questions: booking.path(if booking.last.is_some() { "answers" } else { "health/1" }),
        to_know: to_know.map(|reason| reason.say.clone()).collect(),
        paragraphs: text.paragraphs().iter().map(|p| (p.title.clone(), p.text.clone())).collect(),
        ticks: text
            .ticks()
            .iter()
            .map(|tick| TickView {
                name: tick.tick.as_str(),
                text: tick.text.clone(),
                ticked: fields.ticked(tick.tick.as_str()),
                needed: tick.tick.is_needed(),
            })
            .collect(),
        guardian: minor.then(|| text.guardian().to_owned()),
        hold: booking.hold_view(),
        ctx,
        fields,
        errors,
    }
}

/// Shows everything, to be checked and signed.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(id): Path<String>) -> Answer {
    let booking = open(&app, &ctx, &id).await?;
    let readiness = judge(&app, &booking).await?;
    if let Some(page) = not_yet(&ctx, &booking, &readiness) {
        return Ok(Page::ok(page).into_response());
    }
    let fields = booking.consent_typed();
    Ok(Page::ok(show(ctx, &booking, &readiness, fields, Errors::new())).into_response())
}

/// Keeps what was typed; when all is signed, books.
pub async fn post(State(app): State<App>, ctx: Ctx, Path(id): Path<String>, fields: Fields) -> Answer {
    let mut booking = open(&app, &ctx, &id).await?;
    booking.draft.consent = pairs_text(&fields);
    booking.save(&app).await?;
    booking.keep(&app).await?;
    if fields.ticked("more_time") {
        return Ok(see_other(&booking.path("sign")));
    }
    let readiness = judge(&app, &booking).await?;
    if let Some(page) = not_yet(&ctx, &booking, &readiness) {
        return Ok(Page::conflict(page).into_response());
    }
    match sign(&app, &booking, &fields).await? {
        Ok(signed) => finish(&app, &booking, &readiness, signed).await,
        Err(errors) => Ok(Page::refused(show(ctx, &booking, &readiness, fields, errors)).into_response()),
    }
}

async fn finish(app: &App, booking: &Booking, readiness: &Readiness, signed: Signed) -> Result<Response, Fault> {
    let person = match (&booking.draft.client, booking.person()) {
        (Some(id), _) => Person::Known(id.clone()),
        (None, Ok(given)) => Person::Given { name: given.name, mail: given.mail, phone: given.phone, born: given.born },
        (None, Err(_)) => return Err(Fault::SeeOther(booking.path("details"))),
    };
    let complete = Complete {
        person,
        answers: answer_set(booking),
        signed,
        text_version: booking.in_force.consent.version(),
        verdict: readiness.verdict.as_str(),
    };
    match book::book(app, booking.terms(app).await?, &booking.draft, complete).await? {
        Booked::Done => Ok(see_other(&booking.path("done"))),
        Booked::TimeGone => Ok(see_other(&booking.path("time"))),
    }
}

async fn sign(app: &App, booking: &Booking, fields: &Fields) -> Result<Result<Signed, Errors>, Fault> {
    let mut errors = Errors::new();
    let text = &booking.in_force.consent;
    let ticks: BTreeSet<Tick> = Tick::ALL.into_iter().filter(|tick| fields.ticked(tick.as_str())).collect();
    for tick in Tick::ALL.into_iter().filter(|tick| tick.is_needed() && !ticks.contains(tick)) {
        errors.add(tick.as_str(), "Please tick this if you agree. Without it we can’t treat you.");
    }
    let name = errors.take("typed_name", TypedName::parse(fields.get("typed_name")), words::name);
    let drawing = drawing(fields.get("drawing"));
    let minor = booking.born().is_some_and(|born| born.age_on(booking.today()) < 18);
    let guardian = if minor { guardian(fields, &mut errors) } else { None };
    let (Some(name), true) = (name, errors.is_empty()) else { return Ok(Err(errors)) };
    let mut c = app.db.read().await?;
    let subject = Subject {
        text: text.fingerprint(),
        answers: booking.answers().fingerprint(),
        products: book::products_of(&mut c, &booking.service).await?,
    };
    let offer = Offer { id: book::consent_id(app), subject, ticks, name, drawing, guardian };
    Ok(Signed::sign(offer, booking.now).map_err(|TickMissing(tick)| {
        errors.add(tick.as_str(), words::CHOOSE);
        errors
    }))
}

/// A drawing that can't be read counts as none: the typed name alone is a signature.
fn drawing(text: &str) -> Option<Drawing> {
    Drawing::parse(text).ok().filter(|drawing| !drawing.strokes().is_empty())
}

fn guardian(fields: &Fields, errors: &mut Errors) -> Option<Guardian> {
    let why = |refusal: &PersonNameRefused| words::name(refusal);
    let name = errors.take("guardian_name", TypedName::parse(fields.get("guardian_name")), why);
    let relation = errors.take("guardian_relation", TypedName::parse(fields.get("guardian_relation")), why);
    Some(Guardian { name: name?, relation: relation?, present: fields.ticked("guardian_present"), drawing: None })
}
