//! `POST /owner/studio/logo` and `/owner/studio/logo/remove`: the picture at the top of each page. Its form stands on the page
//! of the studio.

use axum::extract::State;
use axum::response::IntoResponse;

use super::{done, studio};
use crate::actions::studio as actions;
use crate::app::App;
use crate::documents::upload::Takes;
use crate::web::form::{Errors, Fields, FormWithFile};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::words;

/// Shows the picture from now on.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, mut form: FormWithFile) -> Answer {
    let mut errors = Errors::new();
    match errors.take("file", form.take(Takes::Logo).await, words::logo) {
        Some(Some(picture)) => {
            actions::set_logo(&app, &team.actor(), &picture).await?;
            return Ok(done("/owner/studio", "saved"));
        }
        Some(None) => errors.add("file", crate::t("Choose a picture: JPEG, PNG or WebP.")),
        None => {}
    }
    Ok(Page::refused(studio::page(&app, ctx, None, errors).await?).into_response())
}

/// Shows none.
pub async fn remove(State(app): State<App>, team: Team, _fields: Fields) -> Answer {
    actions::remove_logo(&app, &team.actor()).await?;
    Ok(done("/owner/studio", "saved"))
}
