//! `palpebra copy-keys` and `palpebra rotate-key`, and the keys' part of restoring.

use std::fs;
use std::path::{Path, PathBuf};

use clap::Args;

use super::backup::{decrypted, refused, seal, written};
use super::swap::{RESTORING, with};
use super::{DataArgs, Failed, RestoreArgs, lock, lock_of, say};
use crate::actions::backup as backups;
use crate::durable::{self, beside};
use crate::person_keys::Master;
use crate::sealing::Lock;
use crate::store::keyring::{self, KeyPlace};
use crate::store::{self, StoreError};

/// Where the copy goes.
#[derive(Args)]
pub(super) struct CopyArgs {
    #[command(flatten)]
    data: DataArgs,
    /// Encrypts it: the public half that `palpebra backup-key` prints, such as age1…
    #[arg(long, env = "PALPEBRA_BACKUP_KEY", value_parser = lock_of)]
    backup_key: Option<Lock>,
    /// The file to write, over an older copy: a key that was destroyed lives on in none.
    #[arg(long)]
    out: PathBuf,
}

pub(super) async fn copy(args: CopyArgs) -> Result<(), Failed> {
    let place = args.data.keys();
    there(&place)?;
    let half = written(&place.keys, &args.out).await?;
    if let Some(lock) = &args.backup_key
        && let Err(failed) = seal(lock, &half)
    {
        let _ = fs::remove_file(&half);
        return Err(failed);
    }
    durable::rename(&half, &args.out)?;
    say(&format!("written and checked: {}", args.out.display()));
    say(&format!("the master key is not in it: keep a copy of {} apart from it", place.master.display()));
    Ok(())
}

pub(super) async fn rotate(args: &DataArgs) -> Result<(), Failed> {
    let place = args.keys();
    there(&place)?;
    let _lock = lock(&args.data)?;
    let mark = keyring::rotate(&place).await?;
    say(&format!("the keys are wrapped under a new master key, {mark}: {}", place.master.display()));
    say("Keep a copy of it away from this computer. Copies of the keys from before still want the old one.");
    Ok(())
}

fn there(place: &KeyPlace) -> Result<(), Failed> {
    if place.keys.exists() {
        Ok(())
    } else {
        Err(Failed { code: 66, line: format!("there are no keys at {}", place.keys.display()) })
    }
}

/// The tail of a copy's file while it is read.
const COPY: &str = "copy";

/// The keys as they will be after a restore, beside those that are in use.
pub(super) struct Staged {
    live: KeyPlace,
    place: KeyPlace,
}

impl Staged {
    pub(super) fn new(live: &KeyPlace) -> Self {
        let master = if live.master.exists() { live.master.clone() } else { beside(&live.master, RESTORING) };
        Self { live: live.clone(), place: KeyPlace { keys: beside(&live.keys, RESTORING), master } }
    }

    pub(super) fn place(&self) -> &KeyPlace {
        &self.place
    }

    /// The keys that are here, and those of the copy that is named. Where there are none, those that lie with the backup.
    pub(super) async fn fill(&self, args: &RestoreArgs) -> Result<(), Failed> {
        self.drop();
        let here = self.live.keys.exists();
        if here {
            store::copy(&self.live.keys, &self.place.keys).await?;
        }
        let folder = args.from.parent().unwrap_or(Path::new("")).join(backups::KEYS);
        let found = |name: &str| {
            let files = [folder.join(name), folder.join(format!("{name}{}", backups::SEALED))];
            files.into_iter().find(|file| !here && file.exists())
        };
        let Some(copy) = args.keys.clone().or_else(|| found(keyring::KEYS)) else { return Ok(()) };
        let (keys, master) = (beside(&self.live.keys, COPY), beside(&self.live.master, COPY));
        let taken = self.take_over(args, &copy, found(keyring::MASTER), (&keys, &master)).await;
        for half in [keys, master] {
            let _ = fs::remove_file(half);
        }
        taken
    }

    async fn take_over(
        &self,
        args: &RestoreArgs,
        copy: &Path,
        found: Option<PathBuf>,
        (keys, master): (&Path, &Path),
    ) -> Result<(), Failed> {
        let key = args.key.as_deref();
        decrypted(copy, key, keys)?;
        let wraps = match args.master.clone().or_else(|| found.filter(|_| !self.live.master.exists())) {
            Some(named) => {
                decrypted(&named, key, master)?;
                Master::load(master)
            }
            None => Master::load(&self.live.master),
        };
        let wraps = wraps.map_err(StoreError::from)?;
        let wraps =
            wraps.ok_or_else(|| refused("the master key of its keys is not here; name its copy with --master"))?;
        if self.place.master != self.live.master {
            wraps.write(&self.place.master).map_err(StoreError::from)?;
        }
        keyring::take_over(&self.place, keys, &wraps).await.map_err(|error| match error {
            StoreError::ForeignKey(_) => refused("another master key wraps its keys; name the right one with --master"),
            other => refused(other),
        })?;
        Ok(())
    }

    /// Puts them in the place of those that were in use.
    pub(super) fn settle(&self) -> Result<(), Failed> {
        if self.place.master != self.live.master && self.place.master.exists() {
            durable::rename(&self.place.master, &self.live.master)?;
        }
        if self.place.keys.exists() {
            durable::rename(&self.place.keys, &self.live.keys)?;
        }
        Ok(())
    }

    /// Takes away what was not settled, and what a restore that was cut off left.
    pub(super) fn drop(&self) {
        for live in [&self.live.keys, &self.live.master] {
            for tail in [RESTORING, COPY] {
                let half = beside(live, tail);
                let _ = fs::remove_file(with(&half, "-journal"));
                let _ = fs::remove_file(half);
            }
        }
    }
}
