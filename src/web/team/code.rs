//! `GET` and `POST /team/code`: the code after the password. Template: `team/code.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use super::passkey::Button;
use crate::actions::sign_in::{self, Shown, Taken};
use crate::app::App;
use crate::second_factor::recovery_hash;
use crate::store::second_factor::{self, knows_browser_of};
use crate::store::sessions::Stage;
use crate::store::types::sha256_hex;
use crate::t;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::limits::What;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::session::{self, Door};
use crate::web::words;

#[derive(Template)]
#[template(path = "team/code.html")]
struct CodePage {
    ctx: Ctx,
    errors: Errors,
    /// She has an app that shows codes.
    app: bool,
    passkey: Option<Button>,
}

async fn page(app: &App, ctx: Ctx, door: &Door, errors: Errors) -> Result<CodePage, Fault> {
    let passkey = Button::of(app, &door.member).await?;
    let has_app = second_factor::get(&mut *app.db.read().await?, &door.member.account).await?.is_some();
    Ok(CodePage { ctx, errors, app: has_app, passkey })
}

/// Somebody who is asked for nothing, or for something else, goes on to that.
fn asked(door: &Door) -> Result<(), Fault> {
    match door.stage {
        Stage::Code => Ok(()),
        Stage::SetUp | Stage::Open => Err(Fault::SeeOther(door.first().unwrap_or("/desk").to_owned())),
    }
}

/// Shows the form.
pub async fn get(State(app): State<App>, ctx: Ctx, door: Door) -> Answer {
    asked(&door)?;
    Ok(Page::ok(page(&app, ctx, &door, Errors::new()).await?).into_response())
}

/// Signs in, with a new token.
pub async fn post(State(app): State<App>, ctx: Ctx, door: Door, fields: Fields) -> Answer {
    asked(&door)?;
    let (typed, answer, now) = (fields.trimmed("code"), fields.get("passkey"), app.clock.now());
    let shown = if answer.is_empty() { Shown::Typed(typed) } else { Shown::Passkey(answer) };
    app.limits.count(What::Code, &sha256_hex(&door.token), now).map_err(Fault::TooMany)?;
    // Nobody guesses a recovery code or a signature, and whoever guesses at six digits holds nobody back whose browser is known.
    let account = &door.member.account;
    if answer.is_empty() && recovery_hash(typed).is_none() {
        let browser = ctx.seen.browser.known_as.as_deref().map(sha256_hex).unwrap_or_default();
        let known = knows_browser_of(&mut *app.db.read().await?, account, &browser).await?;
        let counted = if known {
            app.limits.count(What::CodeKnown, &format!("{browser} {account}"), now)
        } else {
            app.limits.count(What::CodeAnywhere, account.as_str(), now)
        };
        counted.map_err(Fault::TooMany)?;
    }
    let signed_in = match sign_in::with_factor(&app, &door.member, &door.token, shown, &ctx.seen.browser).await? {
        Ok(signed_in) => signed_in,
        Err(taken) => {
            // Whoever has come here knows the password, so she hears of it: once a day, and not of a slip or two.
            if answer.is_empty()
                && app.limits.count(What::CodeWrong, account.as_str(), now).is_err()
                && app.limits.count(What::CodeTold, account.as_str(), now).is_ok()
            {
                sign_in::tell_of_wrong_codes(&app, account).await?;
            }
            let mut errors = Errors::new();
            errors.add("code", refused(taken, !answer.is_empty()));
            return Ok(Page::refused(page(&app, ctx, &door, errors).await?).into_response());
        }
    };
    let mut response = see_other("/desk");
    session::let_in(&app, response.headers_mut(), &signed_in);
    Ok(response)
}

fn refused(taken: Taken, passkey: bool) -> &'static str {
    match (taken, passkey) {
        (Taken::Copied, _) => words::copied_passkey(),
        (_, true) => t("That passkey wasn’t taken. Try again, or give a code."),
        (_, false) => t("That code isn’t right, or was used before. Wait for the next one in your app."),
    }
}
