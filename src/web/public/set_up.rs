//! `GET` and `POST /set-up`: the first page of an empty server, which closes for ever once there is an owner.
//! Template: `public/set_up.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use crate::actions::people::{self, NewOwner};
use crate::actions::sign_in;
use crate::app::App;
use crate::domain::money::Currency;
use crate::domain::person::{Mail, PersonName};
use crate::domain::zone::{self, Zone};
use crate::language::Language;
use crate::password;
use crate::t;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::{session, words};

#[derive(Template)]
#[template(path = "public/set_up.html")]
struct SetUpPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    zones: Vec<String>,
}

impl SetUpPage {
    fn new(ctx: Ctx, fields: Fields, errors: Errors) -> Self {
        Self { ctx, fields, errors, zones: zone::names() }
    }
}

async fn still_open(app: &App) -> Result<(), Fault> {
    let mut c = app.db.read().await?;
    if crate::store::accounts::has_owner(&mut c).await? { Err(Fault::NotFound) } else { Ok(()) }
}

/// Shows the form.
pub async fn get(State(app): State<App>, ctx: Ctx) -> Answer {
    still_open(&app).await?;
    let spoken = Fields::of(vec![("language".to_owned(), Language::spoken().code().to_owned())]);
    Ok(Page::ok(SetUpPage::new(ctx, spoken, Errors::new())).into_response())
}

fn read(app: &App, fields: &Fields) -> Result<NewOwner, Errors> {
    let mut errors = Errors::new();
    let code_is_right =
        app.set_up_code.lock().unwrap_or_else(std::sync::PoisonError::into_inner).as_ref().is_some_and(|code| {
            bool::from(subtle::ConstantTimeEq::ct_eq(code.as_bytes(), fields.trimmed("code").as_bytes()))
        });
    if !code_is_right {
        errors.add("code", t("This isn't the code that the server printed when it started."));
    }
    let language = Language::parse(fields.trimmed("language"));
    if language.is_none() {
        errors.add("language", words::CHOOSE);
    }
    let studio = errors.take("studio", PersonName::parse(fields.get("studio")), words::name);
    let zone = errors.take("zone", Zone::parse(fields.trimmed("zone")), |_| words::ZONE.to_owned());
    let currency = errors.take("currency", Currency::parse(fields.get("currency")), |_| words::CURRENCY.to_owned());
    let name = errors.take("name", PersonName::parse(fields.get("name")), words::name);
    let mail = errors.take("mail", Mail::parse(fields.get("mail")), words::mail);
    let about = ["studio", "name", "mail"].map(|field| fields.get(field));
    let password = errors.take("password", password::check(fields.get("password"), &about), words::password);
    match (language, studio, zone, currency, name, mail, password) {
        (Some(language), Some(studio), Some(zone), Some(currency), Some(name), Some(mail), Some(()))
            if errors.is_empty() =>
        {
            Ok(NewOwner {
                studio,
                zone,
                currency,
                language,
                name,
                mail,
                password: fields.get("password").to_owned(),
                demo: false,
            })
        }
        _ => Err(errors),
    }
}

/// Makes the studio and its owner, and signs her in.
pub async fn post(State(app): State<App>, ctx: Ctx, fields: Fields) -> Answer {
    still_open(&app).await?;
    let owner = match read(&app, &fields) {
        Ok(owner) => owner,
        Err(errors) => return Ok(Page::refused(SetUpPage::new(ctx, fields, errors)).into_response()),
    };
    let Some(owner) = people::create_owner(&app, owner).await? else { return Err(Fault::NotFound) };
    let signed_in = sign_in::at_set_up(&app, &owner, &ctx.seen.browser).await?;
    let mut response = see_other("/owner");
    session::let_in(&app, response.headers_mut(), &signed_in);
    Ok(response)
}
