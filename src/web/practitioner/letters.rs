//! `GET` and `POST /desk/clients/{id}/letters`: a client's letters from clinicians, and a form to add one.
//! `POST /desk/letters/{id}`: one was read, or is set aside. Template: `practitioner/letters.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::read;
use crate::actions::letters::{self as actions, By, Judged};
use crate::actions::{health::looked, treating};
use crate::app::App;
use crate::domain::ids::{ClientId, LetterId};
use crate::store::{clients, health, letters};
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields, FormWithFile};
use crate::web::guard::Team;
use crate::web::letters::{LetterView, Scope, refusal};
use crate::web::page::{Answer, Ctx, Page, see_other};

/// How long the reason for setting a letter aside may be.
const WHY_MOST: usize = 500;

#[derive(Template)]
#[template(path = "practitioner/letters.html")]
struct LettersPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    who: String,
    client: String,
    scope: Scope,
    letters: Vec<Judgeable>,
}

/// A letter with the name of the field that asks why it doesn't count.
struct Judgeable {
    why_field: String,
    view: LetterView,
}

impl std::ops::Deref for Judgeable {
    type Target = LetterView;
    fn deref(&self) -> &LetterView {
        &self.view
    }
}

fn why_field(id: &str) -> String {
    format!("why_{id}")
}

async fn page(
    app: &App,
    ctx: Ctx,
    team: &Team,
    client: &ClientId,
    fields: Fields,
    errors: Errors,
) -> Result<LettersPage, Fault> {
    let today = ctx.studio()?.zone.date_at(app.clock.now());
    let mut c = app.db.read().await?;
    if !treating::may_see(&mut c, &team.0, client).await? {
        return Err(Fault::NotFound);
    }
    let person = clients::get(&mut c, client).await?.ok_or(Fault::NotFound)?;
    let in_force = health::in_force(&mut c).await?;
    let all = letters::of_client(&mut c, client).await?;
    drop(c);
    looked(app, &team.0, "letters.seen", Some(client), "").await?;
    let view = |letter| {
        let view = LetterView::of(letter, &in_force.questionnaire, today);
        Judgeable { why_field: why_field(&view.id), view }
    };
    let letters = all.iter().map(view).collect();
    let who = person.name.as_str().to_owned();
    Ok(LettersPage { ctx, fields, errors, who, client: client.to_string(), scope: Scope::of(&in_force), letters })
}

/// Shows them.
pub async fn get(State(app): State<App>, ctx: Ctx, team: Team, Path(id): Path<String>) -> Answer {
    let client = ClientId::parse(&id).map_err(|_| Fault::NotFound)?;
    let page = page(&app, ctx, &team, &client, Fields::default(), Errors::new()).await?;
    Ok(Page::ok(page).into_response())
}

/// Adds one.
pub async fn post(
    State(app): State<App>,
    ctx: Ctx,
    team: Team,
    Path(id): Path<String>,
    mut form: FormWithFile,
) -> Answer {
    let client = ClientId::parse(&id).map_err(|_| Fault::NotFound)?;
    let scope = Scope::of(&health::in_force(&mut *app.db.read().await?).await?);
    let errors = match scope.read(&mut form, LetterId::from_random(app.random.id())).await {
        Ok((draft, file)) => match actions::add(&app, ctx.studio()?, By::Team(&team.0), &client, draft, &file).await {
            Ok(_) => return Ok(see_other(&format!("/desk/clients/{client}/letters"))),
            Err(refused) => refusal(refused)?,
        },
        Err(errors) => errors,
    };
    Ok(Page::refused(page(&app, ctx, &team, &client, form.fields, errors).await?).into_response())
}

/// One was read, or is set aside.
pub async fn judge(State(app): State<App>, ctx: Ctx, team: Team, Path(id): Path<String>, fields: Fields) -> Answer {
    let id = LetterId::parse(&id).map_err(|_| Fault::NotFound)?;
    let mut errors = Errors::new();
    let judged = match fields.get("said") {
        "read" => Judged::Read,
        "aside" => match read::text(&mut errors, &fields, &why_field(id.as_str()), WHY_MOST, true) {
            Some(_) => Judged::SetAside(fields.trimmed(&why_field(id.as_str()))),
            None => {
                let client = letters::client_of(&mut *app.db.read().await?, &id).await?.ok_or(Fault::NotFound)?;
                return Ok(Page::refused(page(&app, ctx, &team, &client, fields, errors).await?).into_response());
            }
        },
        _ => return Err(Fault::BadRequest),
    };
    match actions::judge(&app, &team.0, &id, judged).await {
        Ok(client) => Ok(see_other(&format!("/desk/clients/{client}/letters"))),
        Err(refused) => refusal(refused).and(Err(Fault::Conflict)),
    }
}
