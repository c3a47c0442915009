//! `palpebra backup` and `palpebra restore`

use std::fs::{self, File};
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

use super::{BackupArgs, Failed, RestoreArgs, lock, say};
use crate::store::{self, Db};

/// Writes a consistent copy while the server runs, checks it, and only then gives it its name.
pub(super) async fn backup(args: BackupArgs) -> Result<(), Failed> {
    let source = args.data.database();
    if !source.exists() {
        return Err(Failed { code: 66, line: format!("there is no database at {}", source.display()) });
    }
    if args.out.exists() {
        return Err(Failed::usage(format!("{} is there already; a backup never overwrites", args.out.display())));
    }
    let half = written(&source, &args.out).await?;
    settle(&half, &args.out)?;
    say(&format!("written and checked: {}", args.out.display()));
    Ok(())
}

/// Writes a checked copy that doesn't have its name yet.
pub(super) async fn written(source: &Path, out: &Path) -> Result<PathBuf, Failed> {
    let half = beside(out, "part");
    let _ = fs::remove_file(&half);
    let copied = store::copy(source, &half).await.map_err(Failed::from);
    // It holds what the database holds, and may lie in a folder that others look into.
    let closed = copied.and_then(|()| Ok(fs::set_permissions(&half, fs::Permissions::from_mode(0o600))?));
    if closed.is_err() {
        let _ = fs::remove_file(&half);
    }
    closed.map(|()| half)
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
    let mut checked = check(&args.from, &half).await;
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

/// The backup is opened as the program would open it, in a copy: a file from a newer version, a damaged one or one of
/// somebody else's is told apart before anything is touched.
async fn check(from: &Path, half: &Path) -> Result<(), Failed> {
    fs::copy(from, half)?;
    let db = Db::upgrade(half).await?;
    let faults = db.check().await;
    let mut c = db.read().await?;
    let chain = store::audit::verify(&mut c).await?;
    let studio = store::studio::get(&mut c).await?;
    drop(c);
    db.close().await;
    let faults = faults?;
    if studio.is_none() {
        return Err(Failed { code: 65, line: "there is no studio in the backup".to_owned() });
    }
    if !faults.is_empty() {
        return Err(Failed { code: 65, line: format!("the backup is damaged: {}", faults.join("; ")) });
    }
    chain.map(|_| ()).map_err(|row| Failed { code: 65, line: format!("the backup's audit breaks at row {row}") })
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
