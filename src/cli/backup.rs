//! `palpebra backup` and `palpebra restore`

use std::fs::{self, File, OpenOptions};
use std::io::{Read as _, Write as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};

use super::keys::Staged;
use super::swap::{RESTORING, Swap, forget_log, same};
use super::{BackupArgs, BackupKeyArgs, Failed, RestoreArgs, lock, say};
use crate::actions::backup as backups;
use crate::domain::role::Actor;
use crate::durable::{self, beside};
use crate::sealing::{self, Lock};
use crate::store::audit_end::End;
use crate::store::keyring::KeyPlace;
use crate::store::{self, Db, SealedPeople, StoreError, backup as copies};

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
    durable::rename(&half, &out)?;
    say(&format!("written and checked: {}", out.display()));
    say("the keys of its health records are not in it: `palpebra copy-keys` writes them");
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

pub(super) fn private(path: &Path) -> std::io::Result<File> {
    OpenOptions::new().write(true).create_new(true).mode(0o600).open(path)
}

/// Puts the encrypted file in the plain one's place.
pub(super) fn seal(lock: &Lock, plain: &Path) -> Result<(), Failed> {
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
    if !is_encrypted(from)? {
        copies::look(from).await.map_err(refused)?;
    }
    decrypted(from, key, half)?;
    copies::look(half).await.map_err(refused)
}

fn is_encrypted(file: &Path) -> Result<bool, Failed> {
    let mut begins = Vec::new();
    File::open(file)?.take(32).read_to_end(&mut begins)?;
    Ok(begins.starts_with(sealing::BEGINS))
}

/// Copies a file of a backup, or decrypts it.
pub(super) fn decrypted(from: &Path, key: Option<&Path>, to: &Path) -> Result<(), Failed> {
    let _ = fs::remove_file(to);
    let mut plain = private(to)?;
    if is_encrypted(from)? {
        let Some(key) = key else { return Err(refused("it is encrypted; name the file of its key with --key")) };
        let key = fs::read_to_string(key).map_err(|error| refused(format!("the key: {error}")))?;
        sealing::decrypt(File::open(from)?, &key, &mut plain).map_err(refused)?;
    } else {
        std::io::copy(&mut File::open(from)?, &mut plain)?;
    }
    Ok(plain.sync_all()?)
}

/// Checks a backup and puts it in the database's place; what was there stays beside it.
pub(super) async fn restore(args: RestoreArgs) -> Result<(), Failed> {
    if !args.from.exists() {
        return Err(Failed { code: 66, line: format!("there is no backup at {}", args.from.display()) });
    }
    fs::create_dir_all(&args.data.data)?;
    let _lock = lock(&args.data.data)?;
    let target = args.data.database();
    let half = beside(&target, RESTORING);
    if same(&args.from, &half) {
        return Err(Failed::usage(format!(
            "{} is what a restore left that was cut off; name the backup",
            half.display()
        )));
    }
    let keys = Staged::new(&args.data.keys());
    let again = half.exists() && !target.exists();
    // A log that was left would be read into the new file.
    forget_log(&half)?;
    let checked = stage(&args, &half, &keys, &target).await;
    forget_log(&half)?;
    let ready = match checked {
        Ok((people, end)) => Swap::prepare(&target, &half, &keys, end).await.map(|swap| (people, swap)),
        Err(failed) => Err(failed),
    };
    let (people, swap) = match ready {
        Ok(ready) => ready,
        Err(failed) => {
            if again {
                // It tells that a database is missing here.
                let _ = private(&half);
            } else {
                let _ = fs::remove_file(&half);
            }
            keys.drop();
            return Err(failed);
        }
    };
    if let Some(aside) = swap.run()? {
        say(&format!("what was there is kept: {}", aside.display()));
    }
    say(&format!("restored: {}", target.display()));
    if !people.erased.is_empty() {
        let line = "clients of this backup were erased since: their health records can't be read, and the next start lets them go";
        say(&format!("{} {line}", people.erased.len()));
    }
    if !people.missing.is_empty() {
        let line = "clients' health records can't be read, since their keys are missing; `palpebra doctor` names them";
        say(&format!("{} {line}", people.missing.len()));
    }
    Ok(())
}

/// Brings the backup and its keys to where they are checked; nothing that is in use is touched.
async fn stage(args: &RestoreArgs, half: &Path, keys: &Staged, target: &Path) -> Result<(SealedPeople, End), Failed> {
    unpack(&args.from, args.key.as_deref(), half).await?;
    keys.fill(args).await?;
    let checked = check(half, keys.place(), target, args.another_studio).await?;
    if fs::metadata(format!("{}-wal", half.display())).is_ok_and(|log| log.len() > 0) {
        return Err(Failed { code: 74, line: "the copy could not be written in full".to_owned() });
    }
    Ok(checked)
}

/// What a backup is refused with.
pub(super) fn refused(why: impl std::fmt::Display) -> Failed {
    Failed { code: 65, line: format!("the backup is refused, and nothing was touched: {why}") }
}

/// The backup is opened as the program would open it, in a copy: a file from a newer version, a damaged one or one of
/// somebody else's is told apart before anything is touched.
async fn check(
    half: &Path,
    keys: &KeyPlace,
    target: &Path,
    another_studio: bool,
) -> Result<(SealedPeople, End), Failed> {
    let db = Db::upgrade_with(half, keys).await.map_err(|error| match error {
        StoreError::KeysMissing(_) => refused(NO_KEYS),
        other => other.into(),
    })?;
    let faults = db.check().await;
    let people = db.sealed_people().await?;
    let mut c = db.read().await?;
    let chain = store::audit::verify(&mut c).await?;
    let end = store::audit::last(&mut c).await?;
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
    if people.readable == 0 && !people.missing.is_empty() {
        return Err(refused(NO_KEYS));
    }
    Ok((people, end))
}

const NO_KEYS: &str =
    "its health records are sealed and their keys are not here; name the newest copy of the keys with --keys";
