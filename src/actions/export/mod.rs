//! Makes an export package: collects, renders and writes client by client, then writes down who took what and why.
//!
//! Memory holds a few clients at a time, however many there are. All of them are read from one snapshot, so that a
//! package never shows half of a change.

use std::path::PathBuf;
use std::sync::Arc;

use time::{Duration, OffsetDateTime};
use tokio::sync::Semaphore;

mod care;
mod chair;
mod collect;
mod files;
mod papers;
mod progress;
mod words;
mod write;

pub use crate::domain::why::{Why, WhyRefused};
pub use collect::Collector;
pub use files::scratch;
pub use progress::{UnderWay, Work};

pub use crate::sealing::Passphrase;

use super::{Pending, enqueue};
use crate::app::App;
use crate::documents::package::PackageRefused;
use crate::documents::record::{ExportHead, Moment, Scope};
use crate::domain::ids::{ClientId, ExportId};
use crate::domain::person::Mail;
use crate::domain::role::Actor;
use crate::password::{self, PasswordRefused};
use crate::store::audit::Event;
use crate::store::exports::Export;
use crate::store::studio::Studio;
use crate::store::types::impossible;
use crate::store::{Connection, StoreError, Stored, Tx, accounts, audit, exports, studio};
use crate::studio_key::{KeyError, StudioKey};
use crate::{msg, t};
use write::{Content, DESKS, Places, write};

/// How long a package can be fetched after it was made.
pub const KEPT: Duration = Duration::hours(24);

/// Who made a client's copy for herself.
pub const BY_HERSELF: &str = msg("the client herself");

/// One package at a time: the machine also serves clients.
static TURN: Semaphore = Semaphore::const_new(1);

/// Where a package goes.
#[derive(Debug, Clone)]
pub enum Place {
    /// Into the studio's own folder, to be fetched within [`KEPT`].
    Kept,
    /// To a file that isn't there yet.
    At(PathBuf),
}

/// What package is wanted.
pub struct Order {
    /// Whose records.
    pub scope: Scope,
    /// Why they are taken out.
    pub why: Why,
    /// Where it goes.
    pub place: Place,
    /// What it is encrypted with, when it is. It goes with this order: whoever loses it has to make the package anew.
    pub passphrase: Option<Passphrase>,
}

/// Takes a new passphrase. A file can be tried at leisure by whoever has it, so it is held to the rule for passwords.
///
/// # Errors
/// [`PasswordRefused`]
pub fn passphrase(text: String) -> Result<Passphrase, PasswordRefused> {
    password::check(&text, &[]).map(|()| Passphrase::new(text))
}

/// Why no package was made.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// The database can't.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The package can't be written.
    #[error(transparent)]
    Package(#[from] PackageRefused),
    /// The studio's key can't be had, so nothing can be signed.
    #[error(transparent)]
    Key(#[from] KeyError),
    /// The disk can't.
    #[error("the package could not be written: {0}")]
    Io(#[from] std::io::Error),
    /// The studio isn't set up.
    #[error("there is no studio yet")]
    NoStudio,
    /// Nobody is in the scope.
    #[error("there is no such client, or nobody had a visit on these days")]
    Nobody,
    /// Somebody left after it was begun, and may be in it.
    #[error("somebody left while the package was made; make it anew")]
    SomebodyLeft,
    /// The program is about to end.
    #[error("the work was cut off")]
    CutOff,
}

/// Makes a package. It counts as made, and is written down, only when all of it is on the disk.
///
/// # Errors
/// [`ExportError`]; nothing is left of a package that failed.
pub async fn make(app: &App, actor: &Actor, order: Order) -> Result<Export, ExportError> {
    let Order { scope, why, place, passphrase } = order;
    let going = app.exports.begin(made_by(actor), app.clock.now());
    let _turn = TURN.acquire().await.map_err(|_| ExportError::CutOff)?;
    let now = app.clock.now();
    let leavings = app.db.leavings();
    let mut snapshots = app.db.snapshots(if matches!(scope, Scope::Client { .. }) { 1 } else { DESKS }).await?;
    let snapshot = snapshots.first_mut().ok_or(ExportError::CutOff)?;
    let studio = studio::get(snapshot).await?.ok_or(ExportError::NoStudio)?;
    let clients = within(snapshot, &studio, &scope).await?;
    let locked_away = left_out(snapshot, &studio, &scope).await?;
    if clients.is_empty() {
        return Err(ExportError::Nobody);
    }
    going.starts(clients.len());
    let id = ExportId::from_random(app.random.id());
    let key = StudioKey::load_or_make(app.db.folder(), &app.random)?;
    let head = Arc::new(ExportHead { locked_away, ..head(id, &studio, actor, scope, &why, now) });
    let folder = files::folder(app.db.folder())?;
    let package = files::Unfinished::begin(&folder, &head.id, &place)?;
    let encrypted = passphrase.is_some();
    let out = package.out()?;
    let collector = Collector::load(snapshot, &studio, now).await?;
    let places = Places { out, passphrase, spool: files::scratch(app)?, key };
    let her_own = matches!(actor, Actor::Client(_));
    let content = Content { head: head.clone(), clients: &clients, her_own, going: &going };
    let (summary, written) = write(snapshots, &collector, &content, places).await?;
    let export = Export {
        id: head.id.clone(),
        made_by: made_by(actor).to_owned(),
        why: why.as_str().to_owned(),
        scope: serde_json::to_string(&head.scope).map_err(|_| impossible("export", "scope", head.id.as_str()))?,
        clients: summary.clients,
        bytes: written.bytes,
        sha256: written.sha256,
        manifest_sha256: summary.manifest_sha256,
        encrypted,
        made_at: now,
    };
    let mut tx = app.db.write().await?;
    if app.db.leavings() != leavings {
        return Err(ExportError::SomebodyLeft);
    }
    write_down(&mut tx, actor, &export, &clients, app.clock.now()).await?;
    if let Actor::Member(member) = actor
        && let Some(account) = accounts::by_id(&mut tx, &member.account).await?
        && let Ok(mail) = Mail::parse(&account.mail)
    {
        // It tells her too when somebody else used her sign-in.
        enqueue(app, &mut tx, &mail, &Pending::ExportReady { account: member.account.clone() }, now).await?;
    }
    // In the transaction, so that housekeeping never meets a package that isn't written down.
    let put = package.finish()?;
    tx.commit().await?;
    put.keep();
    Ok(export)
}

async fn within(c: &mut Connection, studio: &Studio, scope: &Scope) -> Stored<Vec<ClientId>> {
    match scope {
        Scope::Client { client } => {
            Ok(crate::store::clients::even_restricted(c, client).await?.map(|client| client.id).into_iter().collect())
        }
        Scope::Days { from, to } => {
            let after = to.next_day().unwrap_or(*to);
            exports::with_visit(c, studio.zone.day_start(*from), studio.zone.day_start(after)).await
        }
        Scope::Everyone => exports::everyone(c).await,
    }
}

/// How many clients within the scope are not in it, since their records are locked away.
async fn left_out(c: &mut Connection, studio: &Studio, scope: &Scope) -> Stored<u64> {
    match scope {
        Scope::Client { .. } => Ok(0),
        Scope::Days { from, to } => {
            let after = to.next_day().unwrap_or(*to);
            let span = (studio.zone.day_start(*from), studio.zone.day_start(after));
            exports::locked_away(c, Some(span)).await
        }
        Scope::Everyone => exports::locked_away(c, None).await,
    }
}

fn made_by(actor: &Actor) -> &str {
    match actor {
        Actor::Member(member) => &member.name,
        Actor::Client(_) => BY_HERSELF,
        _ => BY_COMMAND,
    }
}

const BY_COMMAND: &str = msg("the command line");

/// Who made a package, as its line in the list says it: a name stays as it is.
pub fn maker(made_by: &str) -> &str {
    if [BY_HERSELF, BY_COMMAND].contains(&made_by) { t(made_by) } else { made_by }
}

fn head(id: ExportId, studio: &Studio, actor: &Actor, scope: Scope, why: &Why, now: OffsetDateTime) -> ExportHead {
    ExportHead {
        id,
        studio: collect::letterhead(studio),
        at: Moment { utc: now, local: studio.zone.to_civil(now) },
        by: match actor {
            Actor::Member(member) => format!("{} ({})", member.name, words::role(member.role.as_str())),
            _ => maker(made_by(actor)).to_owned(),
        },
        why: why.as_str().to_owned(),
        scope,
        locked_away: 0,
        program: concat!("palpebra ", env!("CARGO_PKG_VERSION")).to_owned(),
    }
}

async fn write_down(
    tx: &mut Tx,
    actor: &Actor,
    export: &Export,
    clients: &[ClientId],
    now: OffsetDateTime,
) -> Stored<()> {
    exports::insert(tx, export).await?;
    let sealed = if export.encrypted { "; encrypted" } else { "" };
    // Not why: the owner may have named somebody there, and nothing is ever taken out of the audit.
    let (object, detail) =
        (export.id.as_str(), format!("{}{sealed}; manifest {}", export.scope, export.manifest_sha256));
    let made = Event { action: "export.made", client: None, object, detail: &detail };
    let each =
        clients.iter().map(|client| Event { action: "record.exported", client: Some(client), object, detail: "" });
    audit::append_all(tx, actor, &std::iter::once(made).chain(each).collect::<Vec<_>>(), now).await
}

/// The file of a package that can still be fetched.
pub fn kept(app: &App, export: &Export, now: OffsetDateTime) -> Option<PathBuf> {
    let file = files::kept_name(&app.db.folder().join(files::FOLDER), &export.id);
    (now - export.made_at < KEPT && file.is_file()).then_some(file)
}

/// Writes down that a package was fetched.
///
/// # Errors
/// When the file can't be written.
pub async fn fetched(app: &App, actor: &Actor, export: &Export) -> Stored<()> {
    let mut tx = app.db.write().await?;
    let event = Event { action: "export.fetched", object: export.id.as_str(), ..Event::default() };
    audit::append(&mut tx, actor, event, app.clock.now()).await?;
    tx.commit().await
}

/// Deletes packages that are past [`KEPT`], and what a package that was cut off has left behind.
///
/// # Errors
/// When the database can't; a file that can't be deleted is logged and tried again the next time.
pub async fn sweep(app: &App, tx: &mut Tx, now: OffsetDateTime) -> Stored<()> {
    let keep = exports::made_after(tx, now - KEPT).await?;
    let turn = TURN.try_acquire();
    if let Err(error) = files::sweep(&app.db.folder().join(files::FOLDER), &keep, turn.is_ok()) {
        tracing::warn!(%error, "old exports can't be deleted");
    }
    Ok(())
}

/// Deletes every package that is kept to be fetched: somebody left who may be in it, and it can be made anew.
pub fn forget_kept(app: &App) {
    if let Err(error) = files::sweep(&app.db.folder().join(files::FOLDER), &[], false) {
        tracing::error!(%error, "exports with somebody who left can't be deleted");
    }
}
