//! `GET` and `POST /book/{id}/time`: the held time is gone, or another one is wished for; all that was typed stays.
//! Template: `public/book/time.html`.

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::IntoResponse;
use serde::Deserialize;
use time::{Date, Duration};

use super::Booking;
use super::slots::{self, NotHeldView, Slots};
use crate::actions::booking::{self, Choice, Wanted};
use crate::actions::diary::{Between, Diary};
use crate::app::App;
use crate::domain::age;
use crate::domain::schedule::{FreeTime, free_times};
use crate::domain::screening::TestPermission;
use crate::web::error::Fault;
use crate::web::form::Fields;
use crate::web::limits::What;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::when;

#[derive(Template)]
#[template(path = "public/book/time.html")]
struct TimePage {
    ctx: Ctx,
    service: String,
    /// The hold that is gone, in words.
    gone: Option<String>,
    /// The skin test that goes with the times on offer: as a form carries it, and in words.
    test: Option<(String, String)>,
    /// Whether skin tests are on offer, since the one before is gone too.
    choosing_test: bool,
    slots: Slots,
    /// Whether another visit of hers keeps days out.
    near: bool,
    path: String,
    /// The time that she chose isn't held.
    refused: Option<NotHeldView>,
}

/// Where in the calendar, and which skin test was chosen.
#[derive(Deserialize)]
pub struct Ask {
    from: Option<String>,
    test: Option<String>,
}

fn day(text: Option<&str>) -> Option<Date> {
    text.and_then(|text| crate::store::types::day("", "", "", text).ok())
}

/// Offers the nearest free times.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(id): Path<String>, Query(ask): Query<Ask>) -> Answer {
    let booking = Booking::open(&app, &ctx, &id).await?;
    let page = show(&app, ctx, &booking, ask.test.as_deref(), day(ask.from.as_deref()), None).await?;
    Ok(Page::ok(page).into_response())
}

async fn show(
    app: &App,
    ctx: Ctx,
    booking: &Booking,
    test: Option<&str>,
    from: Option<Date>,
    refused: Option<NotHeldView>,
) -> Result<TimePage, Fault> {
    let mut c = app.db.read().await?;
    let before = booking::last_wanted(&mut c, &booking.draft.id).await?;
    let diary = Diary::load(&mut c, &booking.studio, &booking.service, booking.now, None).await?;
    let diary = diary.without(&slots::spent(app, &ctx, &booking.studio))?;
    drop(c);
    let known = booking.known(app).await?;
    let (needs_test, between) = booking.leaves_by(app, booking.draft.client.as_ref().map(|_| &known)).await?;
    let between = Between { earliest: between.earliest.max(from), ..between };
    let zone = &booking.studio.zone;
    let moment = |choice: &Choice| when::moment(zone.to_civil(choice.starts_at));
    // Nearest to the time before: from two days ahead of it, unless another day was asked for.
    let near =
        from.or_else(|| before.as_ref().map(|wanted| zone.date_at(wanted.treatment.starts_at - Duration::days(2))));
    let chosen = test.and_then(Choice::parse).or_else(|| before.as_ref().and_then(|wanted| wanted.test.clone()));
    // Nobody is tested under 16, and a client turns 16 on the way; and her answers may ask for a wait.
    let waits = match known.may_test(booking.today()) {
        TestPermission::NotBefore(day) => Some(day),
        _ => None,
    };
    let test_from = booking.born().map(|born| age::turns(born, age::TINT_FROM)).max(waits);
    let old_enough = |time: &&FreeTime<'_>| test_from.is_none_or(|from| time.civil.date() >= from);
    let others = !between.but.is_empty();
    let (slots, test, choosing_test) = if needs_test {
        diary.pairs(&between, |pairs| {
            let found = chosen
                .as_ref()
                .and_then(|choice| pairs.tests().iter().find(|time| time.starts_at() == choice.starts_at))
                .filter(old_enough);
            match found {
                Some(time) => (Slots::of(pairs.treatments_for(time), near), Some(Choice::of(time)), false),
                None => (Slots::of(pairs.tests(), test_from), None, true),
            }
        })
    } else {
        (diary.search(diary.service, &between, |search| Slots::of(&free_times(search), near)), None, false)
    };
    let held = booking.visits.iter().any(|visit| visit.hold_until.is_some_and(|end| end > booking.now));
    Ok(TimePage {
        service: booking.service.name.clone(),
        gone: before.as_ref().filter(|_| !held).map(|wanted| moment(&wanted.treatment)),
        test: test.map(|choice| (choice.text(), moment(&choice))),
        choosing_test,
        slots,
        near: others && !choosing_test,
        path: booking.path("time"),
        refused,
        ctx,
    })
}

/// Holds another time and goes on where the forms were left.
pub async fn post(State(app): State<App>, ctx: Ctx, Path(id): Path<String>, fields: Fields) -> Answer {
    app.limits.count(What::Hold, &ctx.seen.from, app.clock.now()).map_err(Fault::TooMany)?;
    let booking = Booking::open(&app, &ctx, &id).await?;
    let treatment = Choice::parse(fields.get("time")).ok_or(Fault::BadRequest)?;
    let (needs_test, between) = booking.leaves(&app).await?;
    let test = Choice::parse(fields.get("test"));
    if needs_test && test.is_none() {
        return Err(Fault::BadRequest);
    }
    let wanted = Wanted { test: test.filter(|_| needs_test), treatment };
    match booking::choose_again(&app, &booking.terms((needs_test, between)), &booking.draft.id, &wanted).await? {
        Ok(()) => Ok(see_other(&booking.next())),
        Err(why) => {
            let refused = NotHeldView::new(why, &booking.studio.zone);
            let page = show(&app, ctx, &booking, None, None, Some(refused)).await?;
            Ok(NotHeldView::answer(why, booking.now, page))
        }
    }
}
