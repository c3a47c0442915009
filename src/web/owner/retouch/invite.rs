//! `POST /owner/retouch/invite`: who of those chosen on the list gets a letter and who doesn't, and after that the
//! letters. Template: `owner/invite.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use super::list::{Ask, List, Wish};
use crate::actions::invite::{self, Candidate, NotInvited};
use crate::actions::retouch;
use crate::app::App;
use crate::domain::ids::{ClientId, ServiceId};
use crate::store::retouch::lines::Spot;
use crate::web::form::Fields;
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::words;

/// How many lines are looked at in one go, so that a page and a form hold them.
const MOST: i64 = 500;

#[derive(Template)]
#[template(path = "owner/invite.html")]
struct InvitePage {
    ctx: Ctx,
    back: String,
    get: Vec<Candidate>,
    not: Vec<(Candidate, String)>,
    /// How many lines fit the filter beyond those that are looked at.
    more: i64,
    mail_goes: bool,
}

/// How a form names a line.
pub(super) fn key(spot: &Spot) -> String {
    format!("{}.{}", spot.client, spot.service)
}

fn read(text: &str) -> Option<(ClientId, ServiceId)> {
    let (client, service) = text.split_once('.')?;
    Some((ClientId::parse(client).ok()?, ServiceId::parse(service).ok()?))
}

fn why(not: NotInvited) -> String {
    match not {
        NotInvited::NotWanted => crate::t("wants no invitations").to_owned(),
        NotInvited::Booked => crate::t("has something booked").to_owned(),
        NotInvited::Unsettled => crate::t("a reaction of hers is not settled").to_owned(),
        NotInvited::Blocked => crate::t("a product of it is blocked for her").to_owned(),
        NotInvited::Forbidden => crate::t("what she answered forbids it").to_owned(),
        NotInvited::Unread => crate::t("her answers can’t be read").to_owned(),
        NotInvited::Lately(day) => crate::tf("was invited on {day}").with("day", words::day(day)).to_string(),
        NotInvited::Twice => crate::t("gets a letter already").to_owned(),
        NotInvited::NotOffered => crate::t("it is no longer offered").to_owned(),
    }
}

/// Shows who gets a letter; with `sure`, writes them.
pub async fn post(State(app): State<App>, ctx: Ctx, team: Team, fields: Fields) -> Answer {
    let mut wanted: Vec<_> = fields.many("many-who").filter_map(read).collect();
    if fields.ticked("sure") {
        let sent = invite::send(&app, &team.0, &wanted).await?;
        return Ok(see_other(&format!("/owner/retouch?sent={sent}")));
    }
    retouch::freshen(&app.db).await?;
    let (now, wish) = (app.clock.now(), Wish::from(Ask::of(&fields)));
    let mut c = app.db.read().await?;
    let studio = ctx.studio()?.clone();
    let mut more = 0;
    if fields.ticked("all") {
        let list = List::load(&mut c, &studio, now, &wish).await?;
        let spots = list.spots(&mut c, &wish, 0, MOST).await?;
        wanted = spots.into_iter().map(|spot| (spot.client, spot.service)).collect();
        more = (list.count - MOST).max(0);
    }
    let (mut get, mut not) = (Vec::new(), Vec::new());
    for one in invite::look(&mut c, &studio, now, &wanted).await? {
        match one.fit {
            Ok(()) => get.push(one),
            Err(reason) => not.push((one, why(reason))),
        }
    }
    let mail_goes = app.transport.folder().is_none();
    Ok(Page::ok(InvitePage { ctx, back: wish.link(1), get, not, more, mail_goes }).into_response())
}
