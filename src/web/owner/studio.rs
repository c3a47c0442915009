//! `GET` and `POST /owner/studio`: everything that holds for the whole house. Template: `owner/studio.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use super::{Done, done, filled, read, tick};
use crate::actions::studio::{self, SettingsRefused};
use crate::app::App;
use crate::domain::accent::Colour;
use crate::domain::age::{AgePolicy, Jurisdiction, Under16};
use crate::domain::money::Currency;
use crate::domain::person::{HomeDial, Mail, Phone};
use crate::domain::zone::{self, Zone};
use crate::language::Language;
use crate::msg;
use crate::store;
use crate::store::studio::Studio;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::words;

/// A setting that is a whole number.
struct Number {
    field: &'static str,
    label: &'static str,
    unit: &'static str,
    hint: &'static str,
    least: i64,
    most: i64,
    get: fn(&Studio) -> i64,
    set: fn(&mut Studio, i64),
}

macro_rules! number {
    ($field:ident, $label:expr, $unit:expr, $least:literal to $most:literal, $hint:expr) => {
        Number {
            field: stringify!($field),
            label: $label,
            unit: $unit,
            hint: $hint,
            least: $least,
            most: $most,
            get: |studio| studio.$field,
            set: |studio, value| studio.$field = value,
        }
    };
}

const BOOKING: &[Number] = &[
    number!(hold_minutes, msg("A chosen time is kept for"), msg("minutes"), 5 to 240,
        msg("While the client fills in the forms. Every step and a button renew it.")),
    number!(notice_minutes, msg("Latest booking before a visit"), msg("minutes"), 0 to 20160,
        msg("120 means that nobody books a time that begins in less than two hours.")),
    number!(horizon_days, msg("How far ahead clients may book"), msg("days"), 7 to 400, ""),
    number!(cancel_limit_hours, msg("Clients may move or cancel until"), msg("hours before"), 0 to 336,
        msg("After that they have to call. 0 lets them until the visit begins.")),
    number!(shortest_gap_minutes, msg("Avoid leaving gaps shorter than"), msg("minutes"), 0 to 240,
        msg("Of the times in a free stretch only those are then offered that leave the least of it in shorter gaps. 0 offers all.")),
    number!(claim_minutes, msg("An earlier time is kept for"), msg("minutes"), 5 to 1440,
        msg("When a visit is cancelled, the clients who wished for an earlier time are told one after the other. Each has this long to take it.")),
];

const LETTERS: &[Number] = &[
    number!(remind_first_hours, msg("Remind clients first"), msg("hours before"), 0 to 336, msg("0 for never.")),
    number!(remind_second_hours, msg("Remind them again"), msg("hours before"), 0 to 336, msg("0 for never.")),
    number!(invite_again_days, msg("After an invitation, leave a client in peace for"), msg("days"), 1 to 365,
        msg("Three weeks to begin with: a design choice.")),
];

const SKIN_TEST: &[Number] = &[
    number!(skin_test_minutes, msg("A skin-test visit takes"), msg("minutes"), 5 to 60, ""),
    number!(skin_test_floor_hours, msg("Fewest hours between skin test and treatment"), msg("hours"), 24 to 72,
        msg("48 is the advice of a UK trade body. Where a label asks for more, the label counts.")),
    number!(skin_test_valid_days, msg("A clear skin test holds for"), msg("days"), 30 to 366,
        msg("Six months is common practice; no official figure exists. Your insurer may ask for less.")),
];

const NUMBERS: [&[Number]; 3] = [BOOKING, LETTERS, SKIN_TEST];

const GRIDS: [i64; 6] = [5, 10, 15, 20, 30, 60];

#[derive(Template)]
#[template(path = "owner/studio.html")]
pub(super) struct StudioPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    zones: Vec<String>,
    before: Studio,
    booked: i64,
}

pub(super) async fn page(
    app: &App,
    ctx: Ctx,
    fields: Option<Fields>,
    errors: Errors,
) -> Result<StudioPage, crate::web::error::Fault> {
    let before = ctx.studio()?.clone();
    let mut c = app.db.read().await?;
    let booked = store::studio::booked_ahead(&mut c, app.clock.now()).await?;
    let fields = fields.unwrap_or_else(|| stored(&before));
    Ok(StudioPage { ctx, fields, errors, zones: zone::names(), before, booked })
}

fn stored(s: &Studio) -> Fields {
    let texts = filled([
        ("name", s.name.clone()),
        ("address", s.address.clone()),
        ("phone", s.phone.clone()),
        ("mail", s.mail.clone()),
        ("zone", s.zone.name().to_owned()),
        ("currency", s.currency.as_str().to_owned()),
        ("home_dial", format!("+{}", s.home_dial.digits())),
        ("jurisdiction", s.jurisdiction.as_str().to_owned()),
        ("under_16", s.age_policy.under_16.as_str().to_owned()),
        ("guardian_under_18", tick(s.age_policy.guardian_under_18)),
        ("grid_minutes", s.grid_minutes.to_string()),
        ("late_policy", s.late_policy.clone()),
        ("accent", s.accent.to_string()),
        ("language", s.language.code().to_owned()),
    ]);
    let numbers = NUMBERS.into_iter().flatten().map(|number| (number.field.to_owned(), (number.get)(s).to_string()));
    Fields::of(texts.pairs().into_iter().chain(numbers).collect())
}

/// Shows the settings.
pub async fn get(State(app): State<App>, ctx: Ctx, Done(said): Done) -> Answer {
    Ok(Page::ok(page(&app, ctx.saying(said), None, Errors::new()).await?).into_response())
}

fn optional<T, E>(text: &str, parse: impl Fn(&str) -> Result<T, E>) -> Result<Option<T>, E> {
    if text.is_empty() { Ok(None) } else { parse(text).map(Some) }
}

fn read_contact(before: &Studio, fields: &Fields, errors: &mut Errors) -> Option<Studio> {
    let name = read::label(errors, fields, "name");
    let address = read::note(errors, fields, "address", 400);
    let late_policy = read::note(errors, fields, "late_policy", 600);
    let home_dial = errors.take("home_dial", HomeDial::parse(fields.get("home_dial")), |_| words::DIAL.to_owned());
    let home = home_dial.as_ref().unwrap_or(&before.home_dial);
    let accent = errors.take("accent", Colour::parse(fields.get("accent")), |_| words::COLOUR.to_owned());
    let phone = errors.take("phone", optional(fields.trimmed("phone"), |text| Phone::parse(text, home)), words::phone);
    let mail = errors.take("mail", optional(fields.trimmed("mail"), Mail::parse), words::mail);
    let language = read::choice(errors, "language", Language::parse(fields.trimmed("language")));
    Some(Studio {
        name: name?,
        address: address?,
        late_policy: late_policy?,
        phone: phone?.map(|phone| phone.as_str().to_owned()).unwrap_or_default(),
        mail: mail?.map(|mail| mail.as_str().to_owned()).unwrap_or_default(),
        home_dial: home_dial?,
        accent: accent?,
        language: language?,
        ..before.clone()
    })
}

fn read_all(before: &Studio, fields: &Fields) -> Result<Studio, Errors> {
    let mut errors = Errors::new();
    let contact = read_contact(before, fields, &mut errors);
    let zone = errors.take("zone", Zone::parse(fields.trimmed("zone")), |_| words::ZONE.to_owned());
    let currency = errors.take("currency", Currency::parse(fields.get("currency")), |_| words::CURRENCY.to_owned());
    let jurisdiction = read::choice(&mut errors, "jurisdiction", Jurisdiction::parse(fields.trimmed("jurisdiction")));
    let under_16 = read::choice(&mut errors, "under_16", Under16::parse(fields.trimmed("under_16")));
    let grid = fields.trimmed("grid_minutes").parse().ok().filter(|minutes| GRIDS.contains(minutes));
    let grid = read::choice(&mut errors, "grid_minutes", grid);
    let mut new = contact.unwrap_or_else(|| before.clone());
    for number in NUMBERS.into_iter().flatten() {
        if let Some(value) = read::whole(&mut errors, fields, number.field, number.least..=number.most) {
            (number.set)(&mut new, value);
        }
    }
    if let (Some(zone), Some(currency), Some(jurisdiction), Some(under_16), Some(grid)) =
        (zone, currency, jurisdiction, under_16, grid)
    {
        let age_policy = AgePolicy { under_16, guardian_under_18: fields.ticked("guardian_under_18") };
        let moves = zone != before.zone || currency != before.currency;
        if moves && !fields.ticked("sure") {
            errors.add(
                "sure",
                crate::t(
                    "Another time zone or currency is a large change. Please read what it means and tick the box.",
                ),
            );
        }
        new = Studio { zone, currency, jurisdiction, age_policy, grid_minutes: grid, ..new };
    }
    if errors.is_empty() { Ok(new) } else { Err(errors) }
}

/// Stores them.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, fields: Fields) -> Answer {
    let errors = match read_all(ctx.studio()?, &fields) {
        Err(errors) => errors,
        Ok(new) => match studio::save(&app, &team.actor(), &new).await? {
            Ok(()) => return Ok(done("/owner/studio", "saved")),
            Err(SettingsRefused::Price { service }) => {
                let mut errors = Errors::new();
                errors.add("currency", words::price_too_fine(&service, new.currency.as_str()));
                errors
            }
        },
    };
    Ok(Page::refused(page(&app, ctx, Some(fields), errors).await?).into_response())
}
