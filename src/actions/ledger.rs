//! Who left, in a file beside the database: a backup that is taken back from before brings nobody back.

use std::collections::BTreeSet;
use std::fs::OpenOptions;
use std::io::{self, Write as _};
use std::os::unix::fs::OpenOptionsExt as _;

use time::OffsetDateTime;

use super::restriction::lock_away;
use super::{backup, erasure};
use crate::app::App;
use crate::domain::ids::ClientId;
use crate::domain::retention::{Fate, Records, of_record};
use crate::domain::role::Actor;
use crate::durable;
use crate::store::erasure::{Ground, Part, erase};
use crate::store::{Connection, StoreError, audit, clients, ledger, restriction, retention, studio};

/// The file's name. A line is a word and an id, which tells nothing of whoever had it.
const FILE: &str = "left.log";
const ERASED: &str = "erased";
const RESTRICTED: &str = "restricted";

/// Why it could not be looked after.
#[derive(Debug, thiserror::Error)]
pub enum LedgerError {
    /// The database can't.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The file can't be read or written.
    #[error("{FILE}: {0}")]
    Io(#[from] io::Error),
}

fn read(app: &App) -> io::Result<BTreeSet<String>> {
    match std::fs::read_to_string(app.db.folder().join(FILE)) {
        Ok(text) => Ok(text.lines().map(str::to_owned).collect()),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(BTreeSet::new()),
        Err(error) => Err(error),
    }
}

fn add(app: &App, lines: &[String]) -> io::Result<()> {
    if lines.is_empty() {
        return Ok(());
    }
    let path = app.db.folder().join(FILE);
    let mut file = OpenOptions::new().create(true).append(true).mode(0o600).open(&path)?;
    for line in lines {
        writeln!(file, "{line}")?;
    }
    file.sync_all()?;
    durable::keep_names_beside(&path)
}

/// Brings the file up to what the audit tells, and lets go again whoever left and is back: how many. It goes before anybody
/// is served.
///
/// # Errors
/// [`LedgerError`]
pub async fn apply(app: &App) -> Result<usize, LedgerError> {
    let known = read(app)?;
    let told = ledger::told(&mut *app.db.read().await?).await?;
    let told = told.into_iter().map(|(erased, id)| format!("{} {id}", if erased { ERASED } else { RESTRICTED }));
    // The keys tell it too: they may be all that was brought to another computer.
    let keys = app.db.keys().await?.into_iter().filter(|(_, there)| !there).map(|(id, _)| format!("{ERASED} {id}"));
    let mut new = Vec::new();
    for line in told.chain(keys) {
        if !known.contains(&line) && !new.contains(&line) {
            new.push(line);
        }
    }
    add(app, &new)?;
    let erased = known.iter().chain(&new).filter_map(|line| line.split_once(' '));
    let erased: Vec<String> = erased.filter(|(word, _)| *word == ERASED).map(|(_, id)| id.to_owned()).collect();
    if app.db.destroy_keys(&erased).await? > 0 {
        backup::keep_keys_up(app).await;
    }
    let mut back = 0;
    for line in known.iter().chain(&new) {
        let Some((word, id)) = line.split_once(' ') else { continue };
        let Ok(id) = ClientId::parse(id) else { continue };
        back += usize::from(again(app, word, &id).await?);
    }
    Ok(back)
}

async fn again(app: &App, word: &str, id: &ClientId) -> Result<bool, StoreError> {
    if clients::even_restricted(&mut *app.db.read().await?, id).await?.is_none() {
        return Ok(false);
    }
    let now = app.clock.now();
    let mut tx = app.db.write().await?;
    let ground = Ground { actor: &Actor::Program, object: "", detail: "came back with a backup" };
    let left = match word {
        ERASED => erase(&mut tx, id, Part::Record, &ground, now).await,
        RESTRICTED if restriction::since(&mut tx, id).await?.is_none() => {
            let held = stays_whole(&mut tx, id, now).await?;
            lock_away(&mut tx, &ground, id, held, now).await
        }
        _ => return Ok(false),
    };
    let letters = match left {
        Ok(letters) => letters,
        // What is held by now stays, and is tried again at the next start.
        Err(error) => {
            tracing::error!(%error, client = %id, "a client who left is back and can't leave again");
            return Ok(false);
        }
    };
    if word == RESTRICTED {
        let detail = ground.detail;
        let event = audit::Event { action: "record.restricted", client: Some(id), object: "", detail };
        audit::append(&mut tx, &Actor::Program, event, now).await?;
    }
    app.db.owe_scrub();
    tx.commit().await?;
    erasure::forget_files(app, &letters);
    Ok(true)
}

/// Whether a hold, an open report or a visit that came back with her lets nothing of hers go yet.
async fn stays_whole(c: &mut Connection, id: &ClientId, now: OffsetDateTime) -> Result<bool, StoreError> {
    let Some(studio) = studio::get(c).await? else { return Ok(true) };
    let (terms, today) = (retention::terms(c).await?, studio.zone.date_at(now));
    let standing = retention::standing(c, Some(id), &studio.zone, now).await?;
    let stays =
        |records: &Records| records.ahead.is_some() || matches!(of_record(records, &terms, today), Fate::Blocked(_));
    Ok(standing.iter().any(|one| stays(&one.records)))
}

/// Writes down who has just left, as far as that can be; the next start makes up for what could not.
pub(super) async fn keep_up(app: &App) {
    if let Err(error) = apply(app).await {
        tracing::error!(%error, "who left could not be written down beside the database");
    }
}
