//! `GET /desk/feed`: her calendar program. `POST /desk/feed/address` makes or ends the address at which it reads her
//! visits; `POST /desk/feed/outside` sets the calendar elsewhere whose busy times count. Template:
//! `practitioner/feed.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use super::view::Names;
use crate::actions::feeds as changes;
use crate::app::App;
use crate::domain::ids::PractitionerId;
use crate::domain::outside::Address;
use crate::store::feeds::{self, Outside};
use crate::t;
use crate::web::error::Fault;
use crate::web::form::{Errors, Fields};
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::team::proof::Proven;

#[derive(Template)]
#[template(path = "practitioner/feed.html")]
struct FeedPage {
    ctx: Ctx,
    fields: Fields,
    errors: Errors,
    /// Nobody who treats has this sign-in.
    treats: bool,
    /// Since when there is an address.
    since: Option<String>,
    /// The address, shown this once.
    new: Option<String>,
    outside: Option<OutsideView>,
}

/// A calendar elsewhere.
struct OutsideView {
    host: String,
    read: String,
    trouble: String,
}

impl OutsideView {
    fn of(outside: &Outside, names: &Names) -> Self {
        Self {
            host: Address::parse(&outside.url).map(|address| address.host().to_owned()).unwrap_or_default(),
            read: outside.read_at.map_or_else(|| t("Never so far").to_owned(), |at| names.moment(at)),
            trouble: outside.trouble.clone(),
        }
    }
}

async fn page(
    app: &App,
    ctx: Ctx,
    team: &Team,
    new: Option<String>,
    (fields, errors): (Fields, Errors),
) -> Result<FeedPage, Fault> {
    let mut c = app.db.read().await?;
    let names = Names::load(&mut c, ctx.studio()?).await?;
    let (mut since, mut outside) = (None, None);
    if let Some(own) = &team.0.practitioner {
        since = feeds::since(&mut c, own).await?.map(|at| names.moment(at));
        outside = feeds::outside_of(&mut c, own).await?.map(|outside| OutsideView::of(&outside, &names));
    }
    Ok(FeedPage { ctx, fields, errors, treats: team.0.practitioner.is_some(), since, new, outside })
}

fn own(team: &Team) -> Result<&PractitionerId, Fault> {
    team.0.practitioner.as_ref().ok_or(Fault::NotFound)
}

/// Shows it.
pub async fn get(State(app): State<App>, ctx: Ctx, team: Team) -> Answer {
    Ok(Page::ok(page(&app, ctx, &team, None, Default::default()).await?).into_response())
}

/// Makes an address, after a fresh proof: it opens her visits to whoever has it, without a session. Or ends it.
pub async fn address(State(app): State<App>, ctx: Ctx, team: Team, fields: Fields) -> Answer {
    if fields.ticked("end") {
        changes::end(&app, &team.0, own(&team)?).await?;
        return Ok(see_other("/desk/feed"));
    }
    if let Err(asks) = Proven::of(&app, ctx.seen.clone(), ctx.seen.path.clone(), fields).await {
        return Ok(asks);
    }
    let new = changes::renew(&app, &team.0, own(&team)?).await?;
    // Not a redirect: the address is stored nowhere, so this page alone can show it.
    Ok(Page::ok(page(&app, ctx, &team, Some(new), Default::default()).await?).into_response())
}

/// Sets the calendar elsewhere, after a fresh proof: whoever writes in it closes her days. Or none.
pub async fn outside(State(app): State<App>, ctx: Ctx, team: Team, fields: Fields) -> Answer {
    let own = own(&team)?;
    if fields.ticked("remove") {
        changes::set_outside(&app, &team.0, own, None).await?;
        return Ok(see_other("/desk/feed"));
    }
    let fields = match Proven::of(&app, ctx.seen.clone(), ctx.seen.path.clone(), fields).await {
        Ok(Proven(fields)) => fields,
        Err(asks) => return Ok(asks),
    };
    let mut errors = Errors::new();
    let address = errors.take("url", Address::parse(fields.trimmed("url")), |_| {
        t("Write the whole address of the calendar, beginning with https:// (webcal:// does too).").to_owned()
    });
    match address {
        Some(address) => {
            changes::set_outside(&app, &team.0, own, Some(address.as_str())).await?;
            Ok(see_other("/desk/feed"))
        }
        None => Ok(Page::refused(page(&app, ctx, &team, None, (fields, errors)).await?).into_response()),
    }
}
