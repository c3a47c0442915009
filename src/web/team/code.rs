//! `GET` and `POST /team/code`: the code after the password. Template: `team/code.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use crate::actions::sign_in;
use crate::app::App;
use crate::second_factor::recovery_hash;
use crate::store::second_factor::knows_browser_of;
use crate::store::sessions::Stage;
use crate::store::types::sha256_hex;
use crate::t;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::limits::What;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::session::{self, Door};

#[derive(Template)]
#[template(path = "team/code.html")]
struct CodePage {
    ctx: Ctx,
    errors: Errors,
}

/// Somebody who is asked for nothing, or for something else, goes on to that.
fn asked(door: &Door) -> Result<(), Fault> {
    match door.stage {
        Stage::Code => Ok(()),
        Stage::SetUp | Stage::Open => Err(Fault::SeeOther(door.first().unwrap_or("/desk").to_owned())),
    }
}

/// Shows the form.
pub async fn get(ctx: Ctx, door: Door) -> Answer {
    asked(&door)?;
    Ok(Page::ok(CodePage { ctx, errors: Errors::new() }).into_response())
}

/// Signs in, with a new token.
pub async fn post(State(app): State<App>, ctx: Ctx, door: Door, fields: Fields) -> Answer {
    asked(&door)?;
    let (typed, now) = (fields.trimmed("code"), app.clock.now());
    app.limits.count(What::Code, &sha256_hex(&door.token), now).map_err(Fault::TooMany)?;
    // Nobody guesses a recovery code, and whoever guesses at six digits holds nobody back whose browser is known.
    let known = ctx.seen.browser.known_as.as_deref().map(sha256_hex).unwrap_or_default();
    let known = knows_browser_of(&mut *app.db.read().await?, &door.member.account, &known).await?;
    if !known && recovery_hash(typed).is_none() {
        app.limits.count(What::CodeAnywhere, door.member.account.as_str(), now).map_err(Fault::TooMany)?;
    }
    let Some(signed_in) = sign_in::with_code(&app, &door.member, &door.token, typed, &ctx.seen.browser).await? else {
        let mut errors = Errors::new();
        errors.add("code", t("That code isn’t right, or was used before. Wait for the next one in your app."));
        return Ok(Page::refused(CodePage { ctx, errors }).into_response());
    };
    let mut response = see_other("/desk");
    session::let_in(&app, response.headers_mut(), &signed_in);
    Ok(response)
}
