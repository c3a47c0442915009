//! `GET` and `POST /team/sign-in`: the owner and practitioners sign in with a password. Template: `public/team.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use crate::actions::sign_in;
use crate::app::App;
use crate::store::second_factor;
use crate::store::sessions::Stage;
use crate::store::types::sha256_hex;
use crate::t;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::limits::What;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::session;

#[derive(Template)]
#[template(path = "public/team.html")]
struct TeamPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
}

/// Shows the form.
pub async fn get(ctx: Ctx) -> Answer {
    Ok(Page::ok(TeamPage { ctx, fields: Fields::default(), errors: Errors::new() }).into_response())
}

/// Signs in, with a new token.
pub async fn post(State(app): State<App>, ctx: Ctx, fields: Fields) -> Answer {
    let mail = fields.trimmed("mail").to_lowercase();
    let now = app.clock.now();
    // Counted alike for addresses that have an account and for those that don't.
    if let Some(browser) = known_browser(&app, &ctx, &mail).await? {
        app.limits.count(What::SignInKnown, &browser, now).map_err(Fault::TooMany)?;
    } else {
        let here = &ctx.seen.from;
        app.limits.count(What::SignIn, here, now).map_err(Fault::TooMany)?;
        app.limits.count(What::SignInHere, &format!("{here} {mail}"), now).map_err(Fault::TooMany)?;
        app.limits.count(What::SignInAnywhere, &mail, now).map_err(Fault::TooMany)?;
    }
    let (old, password) = (ctx.seen.team_token.clone(), fields.get("password").to_owned());
    let Some(signed_in) = sign_in::with_password(&app, &mail, password, old.as_deref(), &ctx.seen.browser).await?
    else {
        let mut errors = Errors::new();
        errors.add("mail", t("Mail and password don't go together."));
        return Ok(Page::refused(TeamPage { ctx, fields, errors }).into_response());
    };
    let mut response = see_other(match signed_in.stage {
        Stage::Code => "/team/code",
        Stage::SetUp => "/team/second-factor",
        // Whose password is a first one is sent on to replace it.
        Stage::Open => "/desk",
    });
    session::let_in(&app, response.headers_mut(), &signed_in);
    Ok(response)
}

/// The browser and the account together, when somebody has signed in to the account with the browser before.
async fn known_browser(app: &App, ctx: &Ctx, mail: &str) -> Result<Option<String>, Fault> {
    let hash = sha256_hex(ctx.seen.browser.known_as.as_deref().unwrap_or_default());
    let known = second_factor::knows_browser(&mut *app.db.read().await?, mail, &hash).await?;
    Ok(known.then(|| format!("{hash} {mail}")))
}
