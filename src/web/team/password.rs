//! `GET` and `POST /team/password`: one's own password in the place of the first one. Template: `team/password.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use super::second_factor::home;
use crate::actions::people::{self, Chosen};
use crate::app::App;
use crate::password;
use crate::store::sessions::Stage;
use crate::t;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::session::{self, Door};
use crate::web::words;

#[derive(Template)]
#[template(path = "team/password.html")]
struct PasswordPage {
    ctx: Ctx,
    errors: Errors,
}

/// Only who owes it: everybody else changes hers with the old one.
fn owes_it(door: &Door) -> Result<(), Fault> {
    match door.first() {
        Some("/team/password") => Ok(()),
        first => Err(Fault::SeeOther(first.unwrap_or_else(|| home(&door.member)).to_owned())),
    }
}

/// Shows the form.
pub async fn get(ctx: Ctx, door: Door) -> Answer {
    owes_it(&door)?;
    Ok(Page::ok(PasswordPage { ctx, errors: Errors::new() }).into_response())
}

/// Takes it.
pub async fn post(State(app): State<App>, ctx: Ctx, door: Door, fields: Fields) -> Answer {
    owes_it(&door)?;
    let mut errors = Errors::new();
    let new = fields.get("new").to_owned();
    let about = [door.member.name.as_str(), &ctx.studio()?.name];
    if errors.take("new", password::check(&new, &about), words::password).is_none() {
        return Ok(Page::refused(PasswordPage { ctx, errors }).into_response());
    }
    let signed_in = match people::choose_password(&app, &door.member, door.stage, new, &ctx.seen.browser).await? {
        Chosen::Taken(signed_in) => signed_in,
        Chosen::Overtaken => return Ok(see_other("/team/sign-in")),
        Chosen::FirstAgain => {
            errors.add("new", t("That is the first password. Yours is one that nobody told you."));
            return Ok(Page::refused(PasswordPage { ctx, errors }).into_response());
        }
    };
    let mut response =
        see_other(if signed_in.stage == Stage::SetUp { "/team/second-factor" } else { home(&door.member) });
    session::let_in(&app, response.headers_mut(), &signed_in);
    Ok(response)
}
