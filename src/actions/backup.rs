//! Backups: made whole, checked, put under their name, written down; older ones go by the rotation.

use std::fs::{self, File};
use std::io;
use std::os::unix::fs::{DirBuilderExt as _, OpenOptionsExt as _};
use std::path::{Path, PathBuf};

use time::format_description::BorrowedFormatItem;
use time::macros::format_description;
use time::{OffsetDateTime, PrimitiveDateTime};
use tokio::sync::Mutex;

use crate::apart;
use crate::app::App;
use crate::documents::digest::Digest;
use crate::domain::role::Actor;
use crate::domain::rotation::{Rotation, is_due};
use crate::durable;
use crate::sealing::{Lock, SealError};
use crate::store::audit::{self, Event};
use crate::store::backup::{self, Try};
use crate::store::{StoreError, Stored, keyring, studio};

/// Where backups go and how many stay. It is set where the program is started, since a backup must be found, and its key
/// be kept, without the database.
#[derive(Clone)]
pub struct Backups {
    /// The folder.
    pub folder: PathBuf,
    /// Encrypts them.
    pub lock: Option<Lock>,
    /// How many stay.
    pub rotation: Rotation,
}

impl Backups {
    /// The usual: in a folder beside the database, as they are.
    pub fn beside(data: &Path) -> Self {
        Self { folder: data.join("backups"), lock: None, rotation: Rotation::default() }
    }
}

/// One at a time, a copy of the keys alone too: else the older of two could be the one that stays.
static TURN: Mutex<()> = Mutex::const_new(());

const NAME: &[BorrowedFormatItem<'static>] =
    format_description!("palpebra-[year]-[month]-[day]T[hour][minute][second]Z.db");
/// What the name of an encrypted file ends with.
pub const SEALED: &str = ".age";
/// The folder of the keys' copy, inside the one of backups.
pub const KEYS: &str = "keys";

/// Why no backup was made.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    /// The database can't, or the copy is damaged.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The disk can't.
    #[error("{0}")]
    Io(#[from] io::Error),
    /// It can't be encrypted.
    #[error(transparent)]
    Seal(#[from] SealError),
}

/// Makes a backup now, writes down what became of it, and lets the outlived ones go.
///
/// # Errors
/// When not even that can be written down.
pub async fn make(app: &App, actor: &Actor) -> Stored<Try> {
    let _turn = TURN.lock().await;
    let now = app.clock.now();
    let at = name(now);
    let file = if app.backups.lock.is_some() { at + SEALED } else { at };
    let made = write(app, &file).await;
    let encrypted = app.backups.lock.is_some();
    let one = match made {
        Ok((bytes, sha256)) => Try { tried_at: now, file, bytes, sha256, encrypted, trouble: String::new() },
        Err(error) => {
            tracing::error!(%error, "a backup was not made");
            let trouble = error.to_string();
            Try { tried_at: now, file, bytes: 0, sha256: String::new(), encrypted, trouble }
        }
    };
    let mut tx = app.db.write().await?;
    backup::add(&mut tx, &one).await?;
    let action = if one.trouble.is_empty() { "backup.made" } else { "backup.failed" };
    audit::append(&mut tx, actor, Event { action, object: &one.file, ..Event::default() }, now).await?;
    tx.commit().await?;
    if one.trouble.is_empty()
        && let Err(error) = rotate(&app.backups)
    {
        tracing::error!(%error, "old backups can't be deleted");
    }
    Ok(one)
}

/// Makes the night's backup if it is due.
///
/// # Errors
/// As [`make`].
pub async fn nightly(app: &App) -> Stored<Option<Try>> {
    let mut c = app.db.read().await?;
    let Some(studio) = studio::get(&mut c).await?.filter(|studio| !studio.demo) else { return Ok(None) };
    let (last, good) = (backup::tries(&mut c, 1).await?, backup::last_good(&mut c).await?);
    drop(c);
    let failed = last.first().filter(|last| !last.trouble.is_empty()).map(|last| last.tried_at);
    if is_due(good, failed, &studio.zone, app.clock.now()) {
        make(app, &Actor::Program).await.map(Some)
    } else {
        Ok(None)
    }
}

fn name(at: OffsetDateTime) -> String {
    at.to_offset(time::UtcOffset::UTC).format(NAME).unwrap_or_default()
}

/// When the backup of this name was made; no other file of the folder is touched.
fn made_at(name: &str) -> Option<PrimitiveDateTime> {
    PrimitiveDateTime::parse(name.strip_suffix(SEALED).unwrap_or(name), NAME).ok()
}

/// The size and the SHA-256 of what was written.
async fn write(app: &App, file: &str) -> Result<(u64, String), BackupError> {
    fs::DirBuilder::new().recursive(true).mode(0o700).create(&app.backups.folder)?;
    let half = app.backups.folder.join(format!("{file}.part"));
    let place = app.backups.folder.join(file);
    // What is not encrypted yet doesn't leave the data folder.
    let plain =
        app.backups.lock.as_ref().map_or_else(|| half.clone(), |_| app.db.folder().join(format!("{file}.part")));
    let result = write_parts(app, &plain, &half).await;
    if plain != half || result.is_err() {
        let _ = fs::remove_file(&plain);
    }
    if result.is_err() {
        let _ = fs::remove_file(&half);
    }
    let written = result?;
    durable::rename(&half, &place)?;
    keep_keys(app).await?;
    Ok(written)
}

/// Puts a copy of the keys beside the backups, in the place of the one before: a key that was destroyed lives on in none. The
/// master key goes with it only where backups are encrypted.
///
/// # Errors
/// [`BackupError`]
async fn keep_keys(app: &App) -> Result<(), BackupError> {
    let _alone = alone(app).await?;
    let folder = app.backups.folder.join(KEYS);
    fs::DirBuilder::new().recursive(true).mode(0o700).create(&folder)?;
    let plain = app.db.folder().join(format!("{}.part", keyring::KEYS));
    let _ = fs::remove_file(&plain);
    app.db.copy_keys_to(&plain).await?;
    let (lock, master) = (app.backups.lock.clone(), app.db.key_place().master.clone());
    let work = apart::blocking(move || {
        let put = |from: &Path, name: &str| {
            let (half, place) = (folder.join(format!("{name}.part")), folder.join(name));
            let _ = fs::remove_file(&half);
            let to = fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(&half)?;
            match &lock {
                Some(lock) => lock.encrypt(&mut File::open(from)?, to)?,
                None => copied(&mut File::open(from)?, to)?,
            }
            Ok::<_, BackupError>(durable::rename(&half, &place)?)
        };
        let sealed = |name: &str| format!("{name}{SEALED}");
        let stale = if lock.is_some() {
            put(&plain, &sealed(keyring::KEYS))?;
            put(&master, &sealed(keyring::MASTER))?;
            vec![keyring::KEYS.to_owned()]
        } else {
            put(&plain, keyring::KEYS)?;
            vec![sealed(keyring::KEYS), sealed(keyring::MASTER)]
        };
        fs::remove_file(&plain)?;
        for name in stale {
            match fs::remove_file(folder.join(name)) {
                Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error.into()),
                _ => {}
            }
        }
        durable::keep_names_beside(&folder.join(keyring::KEYS))?;
        Ok::<_, BackupError>(())
    });
    work.await.map_err(io::Error::other)?
}

/// Waits until no other process copies the keys: `palpebra backup` may run beside the server, where [`TURN`] doesn't reach.
async fn alone(app: &App) -> io::Result<File> {
    let folder = app.db.folder().join(".");
    let wait = apart::blocking(move || {
        let folder = File::open(folder)?;
        folder.lock()?;
        Ok(folder)
    });
    wait.await.map_err(io::Error::other)?
}

fn copied(from: &mut File, mut to: File) -> io::Result<()> {
    io::copy(from, &mut to)?;
    to.sync_all()
}

/// Makes the copy of the keys anew after some were destroyed, if there is one. Not to be called in a transaction: a backup
/// that is waited for wants to write down what became of it.
pub(super) async fn keep_keys_up(app: &App) {
    let _turn = TURN.lock().await;
    if !app.backups.folder.join(KEYS).exists() {
        return;
    }
    if let Err(error) = keep_keys(app).await {
        tracing::error!(%error, "the copy of the keys could not be made anew: keys that were destroyed are still in it");
    }
}

async fn write_parts(app: &App, plain: &Path, half: &Path) -> Result<(u64, String), BackupError> {
    for left in [plain, half] {
        let _ = fs::remove_file(left);
    }
    // The copy is opened and checked before anything else happens to it.
    app.db.copy_to(plain).await?;
    let (lock, plain, half) = (app.backups.lock.clone(), plain.to_owned(), half.to_owned());
    let work = apart::blocking(move || {
        if let Some(lock) = lock {
            let to = fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(&half)?;
            lock.encrypt(&mut File::open(&plain)?, to)?;
        } else {
            File::open(&half)?.sync_all()?;
        }
        Ok::<_, BackupError>(measure(&half)?)
    });
    work.await.map_err(io::Error::other)?
}

/// Size and SHA-256 of a file as it is read back.
fn measure(file: &Path) -> io::Result<(u64, String)> {
    let mut digest = Digest::new(io::sink());
    io::copy(&mut File::open(file)?, &mut digest)?;
    let digested = digest.finish()?;
    Ok((digested.bytes, digested.sha256))
}

/// Deletes backups that the rotation doesn't keep, and what an unfinished one left behind.
fn rotate(backups: &Backups) -> io::Result<()> {
    let mut files = Vec::new();
    for entry in fs::read_dir(&backups.folder)? {
        let name = entry?.file_name().to_string_lossy().into_owned();
        if let Some(at) = made_at(&name) {
            files.push((at, name));
        } else if name.strip_suffix(".part").and_then(made_at).is_some() {
            fs::remove_file(backups.folder.join(name))?;
        }
    }
    let all: Vec<PrimitiveDateTime> = files.iter().map(|(at, _)| *at).collect();
    let gone = backups.rotation.outlived(&all);
    for (_, name) in files.iter().filter(|(at, _)| gone.contains(at)) {
        fs::remove_file(backups.folder.join(name))?;
    }
    Ok(())
}

/// The backups that are there, newest first: name and size.
///
/// # Errors
/// When the folder can't be read.
pub fn kept(backups: &Backups) -> io::Result<Vec<(String, u64)>> {
    let entries = match fs::read_dir(&backups.folder) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
        entries => entries?,
    };
    let mut found = Vec::new();
    for entry in entries {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        if made_at(&name).is_some() {
            found.push((name, entry.metadata()?.len()));
        }
    }
    found.sort_unstable_by(|a, b| b.cmp(a));
    Ok(found)
}

#[cfg(test)]
mod tests {
    use std::sync::{Arc, Mutex};

    use super::*;
    use crate::app::{Address, Parts, SecondFactor};
    use crate::clock::{Clock, Random};
    use crate::mail::transport::Transport;
    use crate::password::Passwords;
    use crate::store::Db;
    use crate::web::limits::Limits;
    use crate::web::server::Patience;

    async fn app(folder: &Path) -> App {
        App::new(Parts {
            db: Db::open(&folder.join("palpebra.db")).await.unwrap(),
            clock: Clock::system(),
            random: Random::system(),
            passwords: Passwords::strong(),
            transport: Transport::Memory(Arc::default()),
            address: Address::new("http://localhost"),
            second_factor: SecondFactor::Asked,
            patience: Patience::USUAL,
            limits: Limits::new(),
            backups: Backups::beside(folder),
            exports: crate::actions::export::UnderWay::default(),
            set_up_code: Mutex::new(None),
        })
    }

    /// Each takes as many steps as the one that is under way, and would be done first.
    #[tokio::test]
    async fn the_keys_are_not_copied_while_a_backup_is_made() {
        let folder = tempfile::tempdir().unwrap();
        let app = app(folder.path()).await;
        let turn = TURN.lock().await;
        keep_keys(&app).await.unwrap();
        tokio::select! {
            biased;
            () = keep_keys_up(&app) => panic!("it came between"),
            done = keep_keys(&app) => done.unwrap(),
        }
        drop(turn);
        let copy = app.backups.folder.join(KEYS).join(keyring::KEYS);
        fs::write(&copy, "old").unwrap();
        keep_keys_up(&app).await;
        assert!(fs::read(copy).unwrap().starts_with(b"SQLite format 3"));
    }

    #[tokio::test]
    async fn the_keys_are_not_copied_while_another_process_copies_them() {
        let folder = tempfile::tempdir().unwrap();
        let app = app(folder.path()).await;
        let held = File::open(folder.path()).unwrap();
        held.lock().unwrap();
        let other = async {
            for n in 0..5 {
                app.db.copy_keys_to(&folder.path().join(n.to_string())).await.unwrap();
            }
        };
        tokio::select! {
            biased;
            _ = keep_keys(&app) => panic!("it came between"),
            () = other => {}
        }
        assert!(!app.backups.folder.join(KEYS).exists());
        drop(held);
        keep_keys(&app).await.unwrap();
    }
}
