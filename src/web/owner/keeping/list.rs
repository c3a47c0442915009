//! `GET /owner/keeping/list`: what may leave, and what left before. `POST` makes the list anew; `POST …/list/{id}` takes away
//! what is on it. Template: `owner/keeping/list.html`.

use askama::Template;
use axum::extract::{Path, State};
use axum::response::IntoResponse;

use super::{Done, done, id, in_time, there, words};
use crate::actions::erasure;
use crate::app::App;
use crate::domain::ids::{ClientId, RetentionListId};
use crate::store::clients;
use crate::store::retention_lists::{self, List, Outcome, Part};
use crate::t;
use crate::web::error::Fault;
use crate::web::form::Fields;
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::web::team::proof::Proven;
use crate::when;

/// Earlier lists on the page.
const LISTED: i64 = 24;

struct LineView {
    /// Nobody once she is gone.
    client: Option<(ClientId, String)>,
    what: &'static str,
    kept_to: String,
    why: &'static str,
    /// What became of it, when the list was cut off before its end.
    outcome: &'static str,
}

struct Waiting {
    id: RetentionListId,
    made: String,
    letters: i64,
    lines: Vec<LineView>,
}

struct Past {
    when: String,
    by: String,
    gone: u64,
    stayed: u64,
}

#[derive(Template)]
#[template(path = "owner/keeping/list.html")]
struct ListPage {
    ctx: Ctx,
    waiting: Option<Waiting>,
    past: Vec<Past>,
}

async fn waiting(c: &mut crate::store::Connection, list: &List, made: String) -> Result<Waiting, Fault> {
    let mut lines = Vec::new();
    for line in retention_lists::lines(c, &list.id).await? {
        let client = clients::even_restricted(c, &line.client).await?;
        lines.push(LineView {
            client: client.map(|client| (client.id, client.name.as_str().to_owned())),
            what: match line.part {
                Part::Record => t("Her whole record"),
                Part::Invitations => t("Old invitations and wishes"),
            },
            kept_to: when::day(line.kept_to),
            why: words::keeps(line.why),
            outcome: match line.outcome {
                None => "",
                Some(Outcome::Gone) => t("It is gone."),
                Some(Outcome::Stayed) => t("It stayed: something came in between."),
            },
        });
    }
    Ok(Waiting { id: list.id.clone(), made, letters: list.letters, lines })
}

/// Shows it.
pub async fn get(State(app): State<App>, ctx: Ctx, Done(said): Done) -> Answer {
    let zone = ctx.studio()?.zone.clone();
    let mut c = app.db.read().await?;
    let (mut open, mut past) = (None, Vec::new());
    for list in retention_lists::newest(&mut c, LISTED).await? {
        match &list.done {
            None => open = Some(waiting(&mut c, &list, when::moment(zone.to_civil(list.made_at))).await?),
            Some((by, at)) => {
                let (gone, stayed) = retention_lists::counts(&mut c, &list.id).await?;
                past.push(Past { when: when::moment(zone.to_civil(*at)), by: by.clone(), gone, stayed });
            }
        }
    }
    Ok(Page::ok(ListPage { ctx: ctx.saying(said), waiting: open, past }).into_response())
}

/// Makes the list anew.
pub async fn post(State(app): State<App>, team: Team, _: Fields) -> Answer {
    let actor = team.actor();
    let made = in_time("a retention list", async move { erasure::make_list(&app, &actor).await }).await?.transpose()?;
    Ok(done("/owner/keeping/list", if made.is_some() { "listed" } else { "under-way" }))
}

/// Takes away what is on it.
pub async fn confirm(State(app): State<App>, team: Team, Path(list): Path<String>, Proven(_): Proven) -> Answer {
    let list = id(RetentionListId::parse(&list))?;
    let work = in_time("a retention list", async move { erasure::carry_out(&app, &team.0, &list).await });
    match work.await?.transpose()? {
        Some(ended) => there(ended.then(|| done("/owner/keeping/list", "gone"))),
        None => Ok(done("/owner/keeping/list", "under-way")),
    }
}
