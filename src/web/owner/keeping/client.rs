//! `GET /owner/clients/{id}/data`: how long a client's records stay, and what holds them. `POST …/hold` holds them, `POST
//! …/erase` erases her on her request. Template: `owner/keeping/client.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::{Done, done, id, in_time, read, there, today, words};
use crate::actions::{restriction as requests, retention as changes};
use crate::app::App;
use crate::domain::ids::{ClientId, HoldId};
use crate::domain::retention::{self, OnRequest, answer_due};
use crate::domain::zone::Zone;
use crate::store::clients::{self, Client};
use crate::store::holds::{self, Hold};
use crate::store::{restriction, retention as kept};
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::team::proof::Proven;
use crate::when;

struct HoldRow {
    id: HoldId,
    why: String,
    set: String,
    lifted: Option<String>,
}

impl HoldRow {
    fn of(hold: Hold, zone: &Zone) -> Self {
        let said = |by: &str, at| format!("{}, {by}", when::moment(zone.to_civil(at)));
        Self {
            set: said(&hold.set_by, hold.set_at),
            lifted: hold.lifted.map(|(by, at, why)| format!("{}: {why}", said(&by, at))),
            id: hold.id,
            why: hold.why,
        }
    }
}

#[derive(Template)]
#[template(path = "owner/keeping/client.html")]
struct ClientPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    client: Client,
    fate: String,
    holds: Vec<HoldRow>,
    /// Since when her record is only kept for claims.
    restricted: Option<String>,
    /// By when she has to be answered, if she asked.
    due: Option<String>,
    /// What happens when she is erased now.
    on_request: String,
    visit_ahead: bool,
}

impl ClientPage {
    async fn new(app: &App, ctx: Ctx, id: &ClientId, fields: Fields, errors: Errors) -> Result<Self, Fault> {
        let studio = ctx.studio()?.clone();
        let mut c = app.db.read().await?;
        let client = there(clients::even_restricted(&mut c, id).await?)?;
        let standing = kept::standing(&mut c, Some(id), &studio.zone, app.clock.now()).await?;
        let terms = kept::terms(&mut c).await?;
        let fate = retention::of_record(&there(standing.first())?.records, &terms, today(app, &studio));
        let holds = holds::of_client(&mut c, id).await?;
        let holds = holds.into_iter().map(|hold| HoldRow::of(hold, &studio.zone)).collect();
        let restricted = restriction::since(&mut c, id).await?.map(|at| when::day(studio.zone.date_at(at)));
        let asked = restriction::asked_at(&mut c, id).await?.map(|at| studio.zone.date_at(at));
        let answer = there(requests::answer(&mut c, &studio, id, app.clock.now()).await?)?;
        Ok(Self {
            due: asked.map(|day| when::day(answer_due(day))),
            on_request: words::on_request(answer),
            visit_ahead: answer == OnRequest::VisitAhead,
            fate: words::fate(fate),
            ctx,
            fields,
            errors,
            client,
            holds,
            restricted,
        })
    }
}

pub(super) fn path(client: &ClientId) -> String {
    format!("/owner/clients/{client}/data")
}

/// Shows it.
pub async fn get(State(app): State<App>, ctx: Ctx, Done(said): Done, Path(client): Path<String>) -> Answer {
    let client = id(ClientId::parse(&client))?;
    let page = ClientPage::new(&app, ctx.saying(said), &client, Fields::default(), Errors::new()).await?;
    Ok(Page::ok(page).into_response())
}

/// Holds her records.
pub async fn hold(State(app): State<App>, ctx: Ctx, team: Team, Path(client): Path<String>, fields: Fields) -> Answer {
    let client = id(ClientId::parse(&client))?;
    let mut errors = Errors::new();
    let why = read::needed(&mut errors, &fields, "held_why", super::WORDS_MOST);
    if !errors.is_empty() {
        return Ok(Page::refused(ClientPage::new(&app, ctx, &client, fields, errors).await?).into_response());
    }
    there(changes::hold(&app, &team.0, &client, &why).await?)?;
    Ok(done(&path(&client), "saved"))
}

/// Erases her, as far as it may be.
pub async fn erase(
    State(app): State<App>,
    ctx: Ctx,
    team: Team,
    Path(client): Path<String>,
    Proven(_): Proven,
) -> Answer {
    let client = id(ClientId::parse(&client))?;
    let (studio, here, she) = (ctx.studio()?.clone(), app.clone(), client.clone());
    let work = in_time("an erasure", async move { requests::carry_out(&here, &studio, &team.0, &she).await });
    match work.await?.transpose()? {
        None => Ok(done("/owner/keeping", "under-way")),
        Some(ended) => match there(ended)? {
            OnRequest::VisitAhead => {
                let page = ClientPage::new(&app, ctx, &client, Fields::default(), Errors::new()).await?;
                Ok(Page::conflict(page).into_response())
            }
            OnRequest::Erase | OnRequest::Restrict(_) => Ok(done("/owner/keeping", "erased")),
        },
    }
}
