//! `GET /desk/visits/{id}/chair`: beside the client, before and while she is treated. `POST /desk/visits/{id}/start`: the
//! treatment begins. `POST …/chair/shield`: lashes measured, a shield used. `POST …/chair/presses`: what was pressed, as
//! the page's script sends it. `POST …/chair/batch`: a bottle is taken. Templates: `practitioner/before.html`, `practitioner/chair.html`.

mod before;
mod bottles;
pub mod presses;
mod shields;

pub use before::post as start;
pub use bottles::post as bottle;
pub use presses::post as presses;
pub use shields::post as shield;

use askama::Template;
use axum::extract::{Path, State};
use axum::http::HeaderValue;
use axum::response::{IntoResponse, Response};

use before::Before;
use bottles::Bottles;
use shields::Guide;

use super::view::Names;
use super::words;
use crate::actions::chair as at_chair;
use crate::actions::health::looked;
use crate::actions::treating;
use crate::app::App;
use crate::domain::catalogue::ServiceKind;
use crate::domain::ids::{ClientId, VisitId};
use crate::domain::shield::Effect;
use crate::domain::steps::{Part, Plan, Trait};
use crate::domain::timing::Side;
use crate::domain::visit::VisitState;
use crate::store::chair;
use crate::store::visits::{Purpose, Visit};
use crate::store::{Connection, clients};
use crate::web::assets;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page};
use crate::when;
use crate::{t, tf};

#[derive(Template)]
#[template(path = "practitioner/chair.html")]
struct ChairPage {
    ctx: Ctx,
    errors: Errors,
    place: Place,
    steps: Vec<StepView>,
    /// Value and words of each side, at the start of a line and within one, in the order of the forms.
    sides: [(&'static str, &'static str, &'static str); 2],
    guide: Option<Guide>,
    bottles: Bottles,
    checked: Option<String>,
    zone: String,
    script: String,
    scan_script: String,
    worker: String,
}

/// Who is treated, and where.
struct Place {
    id: VisitId,
    client: String,
    client_id: ClientId,
    what: String,
    kind: ServiceKind,
    time: String,
}

impl Place {
    async fn load(c: &mut Connection, names: &Names, visit: &Visit, client: &ClientId) -> Result<Self, Fault> {
        let service = names.services.iter().find(|service| service.id == visit.service).ok_or(Fault::NotFound)?;
        Ok(Self {
            id: visit.id.clone(),
            client: clients::get(c, client).await?.map_or_else(String::new, |client| client.name.as_str().to_owned()),
            client_id: client.clone(),
            what: service.name.clone(),
            kind: service.kind,
            time: words::from_to(when::clock(visit.civil), names.clock(visit.ends_at)),
        })
    }
}

/// A step as the page shows it.
struct StepView {
    number: usize,
    name: String,
    place: String,
    part: Part,
    timed: Option<Timed>,
}

/// How long a step is on.
struct Timed {
    seconds: u16,
    most_seconds: u16,
    words: String,
}

fn steps(plan: &Plan, traits: &[Trait]) -> Vec<StepView> {
    let view = |(number, step): (usize, &crate::domain::steps::Step)| StepView {
        number,
        name: t(step.name()).to_owned(),
        place: t(step.place()).to_owned(),
        part: step.part(),
        timed: step.minutes().map(|minutes| {
            let (now, why) = minutes.for_traits(traits);
            let said = match why {
                Some(why) => tf("{time} since the lashes are {trait}, never longer than {most}")
                    .with("trait", words::lashes(why)),
                None => tf("{time}, never longer than {most}"),
            };
            Timed {
                seconds: now * 60,
                most_seconds: minutes.most * 60,
                words: said.with("time", when::length(now)).with("most", when::length(minutes.most)).to_string(),
            }
        }),
    };
    plan.steps().iter().enumerate().map(view).collect()
}

/// A visit that is treated at the chair, or where to go instead.
async fn found(c: &mut Connection, team: &Team, id: &str) -> Result<(Visit, ClientId), Fault> {
    let id = VisitId::parse(id).map_err(|_| Fault::NotFound)?;
    let (visit, client) = treating::visit_for(c, &team.0, &id).await?.ok_or(Fault::NotFound)?;
    let at_chair = matches!(visit.state, VisitState::Arrived | VisitState::InTreatment);
    if visit.purpose == Purpose::Treatment && at_chair {
        return Ok((visit, client));
    }
    Err(Fault::SeeOther(format!("/desk/visits/{id}")))
}

/// Shows it: the check before starting, or steps and timers.
pub async fn get(State(app): State<App>, ctx: Ctx, team: Team, Path(id): Path<String>) -> Answer {
    let mut c = app.db.read().await?;
    let (visit, client) = found(&mut c, &team, &id).await?;
    let page = if visit.state == VisitState::Arrived {
        let before = Before::load(&mut c, &ctx, &visit, &client, app.clock.now()).await?;
        Page::ok(before.page(ctx, None, Errors::new())).into_response()
    } else {
        let mut page = under_way(&mut c, ctx, &visit, &client, Typed::Nothing, Errors::new()).await?;
        // The worker keeps the pages alone that say so.
        page.headers_mut().insert("under-way", HeaderValue::from_static("yes"));
        page
    };
    drop(c);
    looked(&app, &team.0, "chair.seen", Some(&client), visit.id.as_str()).await?;
    Ok(page)
}

/// What was typed and refused.
#[derive(Clone, Copy)]
enum Typed<'a> {
    Nothing,
    Lengths(&'a Fields),
    Bottle(&'a Fields),
}

async fn under_way(
    c: &mut Connection,
    ctx: Ctx,
    visit: &Visit,
    client: &ClientId,
    typed: Typed<'_>,
    errors: Errors,
) -> Result<Response, Fault> {
    let names = Names::load(c, ctx.studio()?).await?;
    let place = Place::load(c, &names, visit, client).await?;
    let check = chair::check(c, &visit.id).await?;
    let traits = check.as_ref().map_or(&[][..], |check| &check.traits);
    let plan = at_chair::plan_of(c, visit).await?;
    let (lengths, bottle) = match typed {
        Typed::Nothing => (None, None),
        Typed::Lengths(fields) => (Some(fields), None),
        Typed::Bottle(fields) => (None, Some(fields)),
    };
    let guide =
        if place.kind.lifts_lashes() { Some(Guide::load(c, &names, visit, client, lengths).await?) } else { None };
    let refused = !errors.is_empty();
    let page = ChairPage {
        steps: steps(&plan, traits),
        sides: Side::ALL.map(|side| {
            let area = place.kind.area();
            (side.as_str(), words::side(side, area), words::side_within(side, area))
        }),
        guide,
        bottles: Bottles::load(c, &names, visit, bottle).await?,
        checked: check.map(|check| {
            let points = check.on_the_day.len() + check.hygiene.len();
            let said = tf("All {count} points were ticked {when} by {who}").with("count", points);
            said.with("when", names.moment(check.at)).with("who", check.by).to_string()
        }),
        zone: names.zone.name().to_owned(),
        script: assets::href("chair.js"),
        scan_script: assets::href("scan.js"),
        worker: assets::href("chair-worker.js"),
        ctx,
        errors,
        place,
    };
    Ok(if refused { Page::refused(page) } else { Page::ok(page) }.into_response())
}
