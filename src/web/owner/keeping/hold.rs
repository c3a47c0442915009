//! `GET` and `POST /owner/holds/{id}/lift`: lifts a hold on a client's records. Template: `owner/keeping/hold.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::client::path;
use super::{WORDS_MOST, done, id, read, there};
use crate::actions::retention as changes;
use crate::app::App;
use crate::domain::ids::HoldId;
use crate::store::clients::{self, Client};
use crate::store::holds::{self, Hold};
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};

#[derive(Template)]
#[template(path = "owner/keeping/hold.html")]
struct LiftPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    hold: Hold,
    client: Client,
}

impl LiftPage {
    async fn new(app: &App, ctx: Ctx, id: &HoldId, fields: Fields, errors: Errors) -> Result<Self, Fault> {
        let mut c = app.db.read().await?;
        let hold = there(holds::get(&mut c, id).await?.filter(|hold| hold.lifted.is_none()))?;
        let client = there(clients::even_restricted(&mut c, &hold.client).await?)?;
        Ok(Self { ctx, fields, errors, hold, client })
    }
}

/// Shows the form.
pub async fn get(State(app): State<App>, ctx: Ctx, Path(hold): Path<String>) -> Answer {
    let hold = id(HoldId::parse(&hold))?;
    Ok(Page::ok(LiftPage::new(&app, ctx, &hold, Fields::default(), Errors::new()).await?).into_response())
}

/// Lifts it.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, Path(hold): Path<String>, fields: Fields) -> Answer {
    let hold = id(HoldId::parse(&hold))?;
    let mut errors = Errors::new();
    let why = read::needed(&mut errors, &fields, "why", WORDS_MOST);
    if !errors.is_empty() {
        return Ok(Page::refused(LiftPage::new(&app, ctx, &hold, fields, errors).await?).into_response());
    }
    let client = there(changes::lift(&app, &team.0, &hold, &why).await?)?;
    Ok(done(&path(&client), "saved"))
}
