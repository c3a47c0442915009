//! A database of an older version: a copy is kept, then it is brought up to date.

use std::fs::{self, File};
use std::io::{self, BufReader, Read};
use std::path::{Path, PathBuf};

use super::backup::written;
use super::{Failed, say};
use crate::durable::{self, beside};
use crate::store::keyring::KeyPlace;
use crate::store::{Db, StoreError};

/// Brings the file up to date if it is there and from an older version. Nobody else may serve it meanwhile.
pub(super) async fn up_to_date(file: &Path, keys: &KeyPlace) -> Result<(), Failed> {
    if !file.exists() {
        return Ok(());
    }
    match Db::open_with(file, keys).await {
        Ok(db) => {
            db.close().await;
            return Ok(());
        }
        Err(StoreError::Older) => {}
        Err(error) => return Err(error.into()),
    }
    let kept = keep(file).await?;
    let failed = |error: StoreError, what: &str| {
        let Failed { code, line } = error.into();
        Failed { code, line: format!("{what}; a copy is kept: {}; {line}", kept.display()) }
    };
    let as_before = "the database could not be upgraded and is as it was: the version before can go on with it";
    let db = Db::brought_up(file, keys).await.map_err(|error| failed(error, as_before))?;
    let half = "the database is upgraded, but not all of it is sealed yet: the next start goes on, and the version before \
                needs the copy in its place";
    let sealed = db.seal().await;
    db.close().await;
    sealed.map_err(|error| failed(error, half))?;
    say(&format!("upgraded; the database as it was before is kept: {}", kept.display()));
    say("delete that copy once all is well: health records in copies from before are not sealed");
    Ok(())
}

/// Keeps a checked copy under the first free name. Starts that fail again and again share one: they change nothing.
async fn keep(file: &Path) -> Result<PathBuf, Failed> {
    let half = written(file, &beside(file, "before-upgrade")).await?;
    let mut n = 1;
    loop {
        let kept = beside(file, &format!("before-upgrade-{n}"));
        if !kept.exists() {
            durable::rename(&half, &kept)?;
            return Ok(kept);
        }
        if same(&half, &kept)? {
            fs::remove_file(&half)?;
            return Ok(kept);
        }
        n += 1;
    }
}

/// Whether two files hold the same bytes.
fn same(one: &Path, other: &Path) -> io::Result<bool> {
    if fs::metadata(one)?.len() != fs::metadata(other)?.len() {
        return Ok(false);
    }
    let (mut one, mut other) = (BufReader::new(File::open(one)?).bytes(), BufReader::new(File::open(other)?).bytes());
    loop {
        match (one.next().transpose()?, other.next().transpose()?) {
            (None, None) => return Ok(true),
            (here, there) if here != there => return Ok(false),
            _ => {}
        }
    }
}
