//! `GET` and `POST /team/passkey`: a passkey is added. `POST /team/passkey/new` and `…/known`: what `static/passkey.js` asks
//! her device for, as JSON. `POST /desk/sign-in/passkeys`: one is removed. Templates: `team/passkey.html`,
//! `parts/passkey.html`.

use askama::Template;
use axum::extract::State;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};

use super::proof::Proven;
use super::second_factor::{CodesPage, home, may_set_up};
use crate::actions::passkeys::{self, AddRefused, Added, MOST_OF_NAME, RemoveRefused};
use crate::app::{App, SecondFactor};
use crate::domain::ids::PasskeyId;
use crate::domain::label::Label;
use crate::domain::role::Member;
use crate::store::passkeys as stored;
use crate::store::sessions::Stage;
use crate::store::types::sha256_hex;
use crate::t;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::limits::What;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::session::{self, Door};
use crate::web::{assets, words};

/// What a page needs on which a passkey serves as well as what is typed.
pub(super) struct Button {
    pub(super) script: String,
}

impl Button {
    /// For somebody who has a passkey, where one can be used.
    pub(super) async fn of(app: &App, member: &Member) -> Result<Option<Self>, Fault> {
        if passkeys::none_here(app).is_some() {
            return Ok(None);
        }
        let any = !stored::of_account(&mut *app.db.read().await?, &member.account).await?.is_empty();
        Ok(any.then(|| Self { script: assets::href("passkey.js") }))
    }
}

#[derive(Template)]
#[template(path = "team/passkey.html")]
struct PasskeyPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    /// Why there can be none.
    none: Option<&'static str>,
    /// She can't go anywhere else before there is a second factor.
    first: bool,
    script: String,
}

fn page(app: &App, ctx: Ctx, door: &Door, fields: Fields, errors: Errors) -> PasskeyPage {
    let none = match app.second_factor {
        SecondFactor::Off => Some(t("In this demonstration there are none: its passwords are printed.")),
        SecondFactor::Asked => passkeys::none_here(app).map(words::no_passkeys),
    };
    PasskeyPage { ctx, fields, errors, none, first: door.stage == Stage::SetUp, script: assets::href("passkey.js") }
}

/// Whether she may add one now: on her way in, after the code if one is asked for, or else with a fresh proof.
fn may_add(door: &Door) -> Result<(), Fault> {
    may_set_up(door)?;
    if door.stage == Stage::Open && !door.proved {
        return Err(Fault::SeeOther("/team/prove?next=/team/passkey".to_owned()));
    }
    Ok(())
}

/// Shows the form.
pub async fn get(State(app): State<App>, ctx: Ctx, door: Door) -> Answer {
    may_add(&door)?;
    Ok(Page::ok(page(&app, ctx, &door, Fields::default(), Errors::new())).into_response())
}

fn name(fields: &Fields, errors: &mut Errors) -> Option<Label> {
    errors.take("name", Label::parse(fields.get("name"), MOST_OF_NAME), words::text)
}

fn said(refused: AddRefused) -> &'static str {
    match refused {
        AddRefused::NoPlace(none) => words::no_passkeys(none),
        AddRefused::Most => t("You have as many passkeys as there can be. Remove one that you don’t use."),
        AddRefused::Wrong => t("No passkey was made. Try again; it has to be done within five minutes."),
    }
}

/// Adds what her device made.
pub async fn post(State(app): State<App>, ctx: Ctx, door: Door, fields: Fields) -> Answer {
    may_add(&door)?;
    if app.second_factor == SecondFactor::Off {
        return Err(Fault::Conflict);
    }
    let mut errors = Errors::new();
    if let Some(name) = name(&fields, &mut errors) {
        let answer = fields.get("made");
        match passkeys::add(&app, &door.member, &door.token, &name, answer, &ctx.seen.browser).await? {
            Ok(Added::Another) => return Ok(see_other("/desk/sign-in?added=")),
            Ok(Added::First(signed_in, codes)) => {
                let next = home(&door.member);
                let page = CodesPage { ctx: ctx.renewed(&signed_in.token), codes, next };
                let mut response = Page::ok(page).into_response();
                session::let_in(&app, response.headers_mut(), &signed_in);
                return Ok(response);
            }
            Err(refused) => errors.add("make", said(refused)),
        }
    }
    Ok(Page::refused(page(&app, ctx, &door, fields.without("made"), errors)).into_response())
}

fn json(text: String) -> Response {
    ([(header::CONTENT_TYPE, "application/json")], text).into_response()
}

/// Tells the script what to ask her device for, so that it makes one. Whatever is wrong is told by [`post`], to which the
/// script sends the form then.
pub async fn new(State(app): State<App>, door: Door, fields: Fields) -> Answer {
    may_add(&door)?;
    if app.second_factor == SecondFactor::Off {
        return Err(Fault::Conflict);
    }
    if name(&fields, &mut Errors::new()).is_none() {
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, json("null".to_owned())).into_response());
    }
    app.limits.count(What::Passkey, &sha256_hex(&door.token), app.clock.now()).map_err(Fault::TooMany)?;
    passkeys::ask_new(&app, &door.member, &door.token).await?.map(json).map_err(|_| Fault::Conflict)
}

/// Tells the script what to ask her device for, so that it answers with one that she has.
pub async fn known(State(app): State<App>, door: Door, _fields: Fields) -> Answer {
    app.limits.count(What::Passkey, &sha256_hex(&door.token), app.clock.now()).map_err(Fault::TooMany)?;
    passkeys::ask_known(&app, &door.member, &door.token).await?.map(json).ok_or(Fault::Conflict)
}

/// Removes one of hers.
pub async fn remove(State(app): State<App>, team: Team, door: Door, Proven(fields): Proven) -> Answer {
    let id = PasskeyId::parse(fields.trimmed("key")).map_err(|_| Fault::NotFound)?;
    match passkeys::remove(&app, &team.0, &door.token, &id).await? {
        Ok(()) => Ok(see_other("/desk/sign-in?removed=")),
        Err(RemoveRefused::Unknown) => Err(Fault::NotFound),
        Err(RemoveRefused::Last) => Err(Fault::Conflict),
    }
}
