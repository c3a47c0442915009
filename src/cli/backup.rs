//! `palpebra backup` and `palpebra restore`

use std::fs::{self, File, OpenOptions};
use std::io::{Read as _, Write as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};

use super::{BackupArgs, BackupKeyArgs, Failed, RestoreArgs, lock, say};
use crate::actions::backup as backups;
use crate::domain::role::Actor;
use crate::sealing::{self, Lock};
use crate::store::{self, Db, backup as copies};

/// Writes a consistent copy while the server runs, checks it, and only then gives it its name.
pub(super) async fn backup(args: BackupArgs) -> Result<(), Failed> {
    let source = args.data.database();
    if !source.exists() {
        return Err(Failed { code: 66, line: format!("there is no database at {}", source.display()) });
    }
    let Some(out) = args.out else {
        let app = args.data.open_with(args.keep.backups(&args.data)).await?;
        let made = backups::make(&app, &Actor::Command).await;
        app.db.close().await;
        let made = made?;
        if !made.trouble.is_empty() {
            return Err(Failed { code: 74, line: format!("no backup was made: {}", made.trouble) });
        }
        say(&format!("written and checked: {}", app.backups.folder.join(made.file).display()));
        return Ok(());
    };
    if out.exists() {
        return Err(Failed::usage(format!("{} is there already; a backup never overwrites", out.display())));
    }
    let half = written(&source, &out).await?;
    if let Some(lock) = &args.keep.backup_key
        && let Err(failed) = seal(lock, &half)
    {
        let _ = fs::remove_file(&half);
        return Err(failed);
    }
    settle(&half, &out)?;
    say(&format!("written and checked: {}", out.display()));
    Ok(())
}

/// Writes a checked copy that doesn't have its name yet.
pub(super) async fn written(source: &Path, out: &Path) -> Result<PathBuf, Failed> {
    let half = beside(out, "part");
    let _ = fs::remove_file(&half);
    let copied = store::copy(source, &half).await;
    if copied.is_err() {
        let _ = fs::remove_file(&half);
    }
    Ok(copied.map(|()| half)?)
}

fn private(path: &Path) -> std::io::Result<File> {
    OpenOptions::new().write(true).create_new(true).mode(0o600).open(path)
}

/// Puts the encrypted file in the plain one's place.
fn seal(lock: &Lock, plain: &Path) -> Result<(), Failed> {
    let sealed = beside(plain, "age");
    let _ = fs::remove_file(&sealed);
    let result = lock.encrypt(&mut File::open(plain)?, private(&sealed)?);
    if let Err(error) = result {
        let _ = fs::remove_file(&sealed);
        return Err(Failed { code: 74, line: error.to_string() });
    }
    fs::rename(&sealed, plain)?;
    Ok(())
}

/// Makes a key for backups.
pub(super) fn key(args: &BackupKeyArgs) -> Result<(), Failed> {
    let mut file = private(&args.out)?;
    let (lock, text) = sealing::new_key();
    file.write_all(text.as_bytes())?;
    file.sync_all()?;
    say(&lock.to_string());
    say(&format!("Start the server with it (PALPEBRA_BACKUP_KEY). {} opens the backups:", args.out.display()));
    say("keep it away from this computer, twice. Without it no backup can be read.");
    Ok(())
}

/// Brings the backup to where it is looked at: as it is, or decrypted.
async fn unpack(from: &Path, key: Option<&Path>, half: &Path) -> Result<(), Failed> {
    let mut begins = Vec::new();
    File::open(from)?.take(32).read_to_end(&mut begins)?;
    if !begins.starts_with(sealing::BEGINS) {
        copies::look(from).await.map_err(refused)?;
        fs::copy(from, half)?;
        return Ok(());
    }
    let Some(key) = key else { return Err(refused("it is encrypted; name the file of its key with --key")) };
    let key = fs::read_to_string(key).map_err(|error| refused(format!("the key: {error}")))?;
    let _ = fs::remove_file(half);
    let mut plain = private(half)?;
    sealing::decrypt(from, &key, &mut plain).map_err(refused)?;
    plain.sync_all()?;
    copies::look(half).await.map_err(refused)
}

/// Checks a backup and puts it in the database's place; what was there stays beside it.
pub(super) async fn restore(args: RestoreArgs) -> Result<(), Failed> {
    if !args.from.exists() {
        return Err(Failed { code: 66, line: format!("there is no backup at {}", args.from.display()) });
    }
    fs::create_dir_all(&args.data.data)?;
    let _lock = lock(&args.data.data)?;
    let target = args.data.database();
    let half = beside(&target, "restoring");
    let mut checked = match unpack(&args.from, args.key.as_deref(), &half).await {
        Ok(()) => check(&half, &target, args.another_studio).await,
        Err(failed) => Err(failed),
    };
    if fs::metadata(format!("{}-wal", half.display())).is_ok_and(|log| log.len() > 0) {
        checked = checked.and(Err(Failed { code: 74, line: "the copy could not be written in full".to_owned() }));
    }
    for tail in ["-wal", "-shm"] {
        let _ = fs::remove_file(format!("{}{tail}", half.display()));
    }
    if let Err(failed) = checked {
        let _ = fs::remove_file(&half);
        return Err(failed);
    }
    if target.exists() {
        set_aside(&target).await?;
    }
    settle(&half, &target)?;
    say(&format!("restored: {}", target.display()));
    Ok(())
}

/// What a backup is refused with.
fn refused(why: impl std::fmt::Display) -> Failed {
    Failed { code: 65, line: format!("the backup is refused, and nothing was touched: {why}") }
}

/// The backup is opened as the program would open it, in a copy: a file from a newer version, a damaged one or one of
/// somebody else's is told apart before anything is touched.
async fn check(half: &Path, target: &Path, another_studio: bool) -> Result<(), Failed> {
    let db = Db::upgrade(half).await?;
    let faults = db.check().await;
    let mut c = db.read().await?;
    let chain = store::audit::verify(&mut c).await?;
    let studio = store::studio::get(&mut c).await?;
    let identity = copies::identity(&mut c).await?;
    drop(c);
    db.close().await;
    let faults = faults?;
    let Some(studio) = studio else { return Err(refused("there is no studio in it")) };
    if !faults.is_empty() {
        return Err(refused(format!("it is damaged: {}", faults.join("; "))));
    }
    chain.map_err(|row| refused(format!("its audit breaks at row {row}")))?;
    // A database that can't be read is what backups are for: then there is nothing to compare with.
    if !another_studio
        && target.exists()
        && let Ok(here) = copies::identity_of(target).await
        && here != identity
    {
        let name = studio.name;
        return Err(refused(format!(
            "it is of another studio ({name}) than the database here; if that is meant, say --another-studio"
        )));
    }
    Ok(())
}

/// Keeps what is there, with whatever its write-ahead log holds, under the first free name.
async fn set_aside(target: &Path) -> Result<(), Failed> {
    for n in 1.. {
        let aside = beside(target, &format!("before-{n}"));
        if !aside.exists() {
            // Folding the log in may fail on the very file that is being replaced; then the log goes along as it is.
            if let Ok(db) = Db::open(target).await {
                db.close().await;
            }
            for tail in ["-wal", "-shm"] {
                let (from, to) = (format!("{}{tail}", target.display()), format!("{}{tail}", aside.display()));
                if Path::new(&from).exists() {
                    fs::rename(from, to)?;
                }
            }
            fs::rename(target, &aside)?;
            say(&format!("what was there is kept: {}", aside.display()));
            return Ok(());
        }
    }
    Ok(())
}

pub(super) fn beside(file: &Path, tail: &str) -> PathBuf {
    let mut name = file.file_name().unwrap_or_default().to_owned();
    name.push(".");
    name.push(tail);
    file.with_file_name(name)
}

/// Gives a file its name once it is safely on the disk.
pub(super) fn settle(half: &Path, file: &Path) -> Result<(), Failed> {
    File::open(half)?.sync_all()?;
    fs::rename(half, file)?;
    let folder = file.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    File::open(folder)?.sync_all()?;
    Ok(())
}
