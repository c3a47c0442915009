//! `GET` and `POST /book/{id}/sign`: everything at a glance, the consent, the signature; then it is booked. Where an
//! earlier signature holds, nothing is signed. Template: `public/book/sign.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::decide::{Judged, to_know};
use super::review::answered;
use super::{Booking, HoldView, VisitView, pairs_text};
use crate::actions::{book, consents};
use crate::app::App;
use crate::domain::consent::{Signed, Subject, TickMissing};
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::limits::What;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::signing::{self, ConsentForm, Wanted};
use crate::web::words;
use crate::when;

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
    to_know: Vec<String>,
    form: ConsentForm,
    /// The earlier signature that holds: when, and where to read it.
    held: Option<(String, String)>,
    hold: Option<HoldView>,
    /// The text is another one than she had before her.
    changed: bool,
}

#[derive(Template)]
#[template(path = "public/book/refused.html")]
struct RefusedPage {
    ctx: Ctx,
    sign: String,
}

/// Leads back when an earlier page isn't filled in yet.
async fn open(app: &App, ctx: &Ctx, id: &str) -> Result<Booking, Fault> {
    let booking = Booking::open(app, ctx, id).await?;
    let next = booking.next();
    if next == booking.path("sign") { Ok(booking) } else { Err(Fault::SeeOther(next)) }
}

fn show(ctx: Ctx, booking: &Booking, judged: &Judged, fields: Fields, errors: Errors) -> SignPage {
    let person = booking.person().ok();
    let known = booking.client.as_ref();
    let (name, mail, phone) = match (known, &person) {
        (Some(c), _) => (c.name.as_str().to_owned(), c.mail.as_str().to_owned(), c.phone.as_str().to_owned()),
        (None, Some(p)) => (p.name.as_str().to_owned(), p.mail.as_str().to_owned(), p.phone.as_str().to_owned()),
        (None, None) => Default::default(),
    };
    SignPage {
        step: booking.steps(),
        steps: booking.steps(),
        visits: booking.visit_views(),
        price: booking.price(),
        name,
        mail,
        phone,
        born: booking.born().map(|born| when::day(born.date())).unwrap_or_default(),
        details: known.is_none().then(|| booking.path("details")),
        questions: booking.before_answers(),
        to_know: to_know(&judged.readiness),
        form: ConsentForm::new(
            &booking.in_force.consent,
            answered(&booking.sections, &booking.answers()),
            judged.wanted,
            fields,
            errors,
        ),
        held: booking.held(judged),
        hold: booking.hold_view(),
        changed: false,
        ctx,
    }
}

/// Shows everything, to be checked and signed.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(id): Path<String>) -> Answer {
    let booking = open(&app, &ctx, &id).await?;
    let judged = booking.judge(&app, booking.answers()).await?;
    if let Some(page) = booking.not_yet(&ctx, &judged) {
        return Ok(Page::ok(page).into_response());
    }
    let fields = booking.consent_typed();
    Ok(Page::ok(show(ctx, &booking, &judged, fields, Errors::new())).into_response())
}

/// Keeps what was typed; when all is signed, books.
pub async fn post(State(app): State<App>, ctx: Ctx, Path(id): Path<String>, fields: Fields) -> Answer {
    let mut booking = open(&app, &ctx, &id).await?;
    booking.draft.consent = pairs_text(&fields);
    booking.save(&app).await?;
    booking.keep(&app).await?;
    if let Some(there) = booking.stays(&app, &fields, "sign").await? {
        return Ok(see_other(&there));
    }
    if fields.ticked("back") {
        return Ok(see_other(&booking.before_sign()));
    }
    let judged = booking.judge(&app, booking.answers()).await?;
    let other_words = !signing::shows(&fields, &booking.in_force.consent);
    if fields.ticked("refuse") && !other_words {
        app.limits.count(What::Refusal, &ctx.seen.from, booking.now).map_err(Fault::TooMany)?;
        consents::refuse_booking(&app, &booking.draft, subject(&app, &booking).await?, booking.text_version()).await?;
        return Ok(Page::ok(RefusedPage { ctx, sign: booking.path("sign") }).into_response());
    }
    if let Some(page) = booking.not_yet(&ctx, &judged) {
        return Ok(Page::conflict(page).into_response());
    }
    if judged.signed.is_some() {
        return booking.finish(&app, None).await;
    }
    if other_words {
        let page = show(ctx, &booking, &judged, Fields::default(), Errors::new());
        return Ok(Page::conflict(SignPage { changed: true, ..page }).into_response());
    }
    match sign(&app, &booking, judged.wanted, &fields).await? {
        Ok(signed) => booking.finish(&app, Some(signed)).await,
        Err(errors) => Ok(Page::refused(show(ctx, &booking, &judged, fields, errors)).into_response()),
    }
}

async fn subject(app: &App, booking: &Booking) -> Result<Subject, Fault> {
    let mut c = app.db.read().await?;
    Ok(Subject {
        text: booking.in_force.consent.fingerprint(),
        answers: booking.answers().fingerprint(),
        products: book::products_of(&mut c, &booking.service).await?,
        service: Some(booking.service.id.clone()),
    })
}

async fn sign(app: &App, booking: &Booking, wanted: Wanted, fields: &Fields) -> Result<Result<Signed, Errors>, Fault> {
    let offer = match signing::read(fields, wanted, book::consent_id(app), subject(app, booking).await?) {
        Ok(offer) => offer,
        Err(errors) => return Ok(Err(errors)),
    };
    Ok(Signed::sign(offer, booking.now).map_err(|TickMissing(tick)| {
        let mut errors = Errors::new();
        errors.add(tick.as_str(), words::CHOOSE);
        errors
    }))
}
