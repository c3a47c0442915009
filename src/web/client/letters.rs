//! `GET` and `POST /me/letters`: her letters from clinicians, and a form to send one. Template: `client/letters.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use crate::actions::letters::{self as actions, By};
use crate::app::App;
use crate::domain::ids::LetterId;
use crate::store::{health, letters};
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields, FormWithFile};
use crate::web::guard::SignedIn;
use crate::web::letters::{LetterView, Scope, refusal};
use crate::web::limits::What;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::words;

#[derive(Template)]
#[template(path = "client/letters.html")]
struct LettersPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    scope: Scope,
    letters: Vec<LetterView>,
}

async fn page(app: &App, ctx: Ctx, who: &SignedIn, fields: Fields, errors: Errors) -> Result<LettersPage, Fault> {
    let today = ctx.studio()?.zone.date_at(app.clock.now());
    let mut c = app.db.read().await?;
    let in_force = health::in_force(&mut c).await?;
    let all = letters::of_client(&mut c, &who.0).await?;
    let letters = all.iter().map(|letter| LetterView::of(letter, &in_force.questionnaire, today)).collect();
    Ok(LettersPage { ctx, fields, errors, scope: Scope::of(&in_force), letters })
}

/// Shows them.
pub async fn get(State(app): State<App>, ctx: Ctx, who: SignedIn) -> Answer {
    let page = page(&app, ctx, &who, Fields::default(), Errors::new()).await?;
    Ok(Page::ok(page).into_response())
}

/// Takes one.
pub async fn post(State(app): State<App>, ctx: Ctx, who: SignedIn, mut form: FormWithFile) -> Answer {
    if form.has_file() && app.limits.count(What::Upload, who.0.as_str(), app.clock.now()).is_err() {
        let mut errors = Errors::new();
        errors.add("file", words::enough_files_today());
        return Ok(Page::refused(page(&app, ctx, &who, form.fields, errors).await?).into_response());
    }
    let scope = Scope::of(&health::in_force(&mut *app.db.read().await?).await?);
    let errors = match scope.read(&mut form, LetterId::from_random(app.random.id())).await {
        Ok((draft, file)) => match actions::add(&app, ctx.studio()?, By::Client, &who.0, draft, &file).await {
            Ok(_) => return Ok(see_other("/me/letters")),
            Err(refused) => refusal(refused)?,
        },
        Err(errors) => errors,
    };
    Ok(Page::refused(page(&app, ctx, &who, form.fields, errors).await?).into_response())
}
