//! `GET` and `POST /desk/password`: one's own password. Template: `practitioner/password.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use crate::actions::people;
use crate::app::App;
use crate::password;
use crate::t;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::limits::What;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::{session, words};

#[derive(Template)]
#[template(path = "practitioner/password.html")]
struct PasswordPage {
    ctx: Ctx,
    errors: Errors,
}

/// Shows the form.
pub async fn get(ctx: Ctx, _team: Team) -> Answer {
    Ok(Page::ok(PasswordPage { ctx, errors: Errors::new() }).into_response())
}

/// Changes it: every other session ends.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, fields: Fields) -> Answer {
    app.limits.count(What::SignIn, &ctx.seen.from, app.clock.now()).map_err(Fault::TooMany)?;
    let mut errors = Errors::new();
    let new = fields.get("new").to_owned();
    let about = [team.0.name.as_str(), &ctx.studio()?.name];
    if errors.take("new", password::check(&new, &about), words::password).is_none() {
        return Ok(Page::refused(PasswordPage { ctx, errors }).into_response());
    }
    let old = fields.get("old").to_owned();
    let Some(signed_in) = people::change_password(&app, &team.0, old, new, &ctx.seen.browser).await? else {
        errors.add("old", t("That isn’t your password."));
        return Ok(Page::refused(PasswordPage { ctx, errors }).into_response());
    };
    let mut response = see_other("/desk");
    session::let_in(&app, response.headers_mut(), &signed_in);
    Ok(response)
}
