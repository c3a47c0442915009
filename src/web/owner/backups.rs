//! `GET /owner/backups`: the backups that are there, and what became of each try. `POST`: makes one now. Template:
//! `owner/backups.html`.

use askama::Template;
use axum::extract::State;
use axum::response::IntoResponse;

use super::exports::size;
use super::{Done, done, in_time};
use crate::actions::backup;
use crate::app::App;
use crate::domain::rotation::{self, Rotation};
use crate::store::backup::{self as tries, Try};
use crate::store::studio;
use crate::web::error::Fault;
use crate::web::form::Fields;
use crate::web::guard::Team;
use crate::web::page::{Answer, Ctx, Page, see_other};
use crate::web::words;

/// Tries on the page.
const LISTED: i64 = 60;

struct Line {
    when: String,
    file: String,
    size: String,
    encrypted: bool,
    there: bool,
    trouble: String,
}

#[derive(Template)]
#[template(path = "owner/backups.html")]
struct BackupsPage {
    ctx: Ctx,
    lines: Vec<Line>,
    folder: String,
    /// Why the folder can't be looked into.
    unread: Option<String>,
    encrypted: bool,
    rotation: Rotation,
    stale: bool,
    /// Why the newest try failed.
    failed: Option<String>,
}

/// Shows them.
pub async fn get(State(app): State<App>, ctx: Ctx, Done(said): Done) -> Answer {
    let zone = ctx.studio()?.zone.clone();
    let mut c = app.db.read().await?;
    let all = tries::tries(&mut c, LISTED).await?;
    let (good, since) = (tries::last_good(&mut c).await?, studio::set_up_at(&mut c).await?);
    drop(c);
    let backups = app.backups.clone();
    let kept = crate::apart::blocking(move || backup::kept(&backups)).await.map_err(Fault::internal)?;
    let unread = kept.as_ref().err().map(ToString::to_string);
    let kept = kept.unwrap_or_default();
    let failed = all.first().map(|last| last.trouble.clone()).filter(|trouble| !trouble.is_empty());
    let line = |one: Try| Line {
        when: words::moment(zone.to_civil(one.tried_at)),
        there: kept.iter().any(|(name, bytes)| *name == one.file && *bytes == one.bytes),
        size: size(one.bytes),
        file: one.file,
        encrypted: one.encrypted,
        trouble: one.trouble,
    };
    Ok(Page::ok(BackupsPage {
        ctx: ctx.saying(said),
        lines: all.into_iter().map(line).collect(),
        folder: app.backups.folder.display().to_string(),
        unread,
        encrypted: app.backups.lock.is_some(),
        rotation: app.backups.rotation,
        stale: rotation::is_stale(good, since, app.clock.now()),
        failed,
    })
    .into_response())
}

/// Makes one now.
pub async fn post(State(app): State<App>, team: Team, _fields: Fields) -> Answer {
    let actor = team.actor();
    let made = in_time("a backup", async move { backup::make(&app, &actor).await }).await?.transpose()?;
    Ok(match made {
        None => done("/owner/backups", "under-way"),
        Some(made) if made.trouble.is_empty() => done("/owner/backups", "backed-up"),
        // What went wrong stands on the page itself.
        Some(_) => see_other("/owner/backups"),
    })
}
