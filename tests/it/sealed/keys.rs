//! The keys themselves: copied apart, wanted by a restore, rotated, lost.

use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;

use palpebra::actions::backup;
use palpebra::domain::role::Actor;
use palpebra::person_keys::Master;
use palpebra::store::keyring::KeyPlace;
use palpebra::store::{Db, StoreError, Trouble};

use super::marked;
use crate::backups::{command, contents};
use crate::support::TestApp;

/// A folder with a studio whose records are sealed, and its client.
async fn studio() -> (tempfile::TempDir, String) {
    let (app, studio) = TestApp::with_studio().await;
    marked(&app.app, &studio, &studio.mia).await;
    let folder = tempfile::tempdir().unwrap();
    app.copy_to(&folder.path().join("palpebra.db")).await;
    (folder, studio.mia.to_string())
}

async fn opens(folder: &Path) -> Result<usize, StoreError> {
    let db = Db::open(&folder.join("palpebra.db")).await?;
    let people = db.sealed_people().await?;
    db.close().await;
    assert_eq!((people.erased.len(), people.missing.len()), (0, 0));
    Ok(people.readable)
}

#[tokio::test]
async fn a_restore_wants_the_keys_and_their_master_key_and_says_so() {
    let (here, _) = studio().await;
    let (elsewhere, fresh) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let out = |name: &str| elsewhere.path().join(name).to_str().unwrap().to_owned();
    let (code, said) = command(&["backup", "--out", &out("copy.db")], here.path()).await;
    assert!(code == Some(0) && said.contains("palpebra copy-keys"), "{said}");
    let (code, said) = command(&["copy-keys", "--out", &out("copy.keys")], here.path()).await;
    assert!(code == Some(0) && said.contains("the master key is not in it"), "{said}");
    assert_eq!(command(&["copy-keys", "--out", &out("copy.keys")], here.path()).await.0, Some(0), "over an older one");
    let (db, keys) = (out("copy.db"), out("copy.keys"));
    let from = ["restore", "--from", db.as_str()];
    let with_keys = [&from[..], &["--keys", keys.as_str()]].concat();
    let foreign = out("foreign.master");
    Master::make().unwrap().write(Path::new(&foreign)).unwrap();
    let nothing = out("nothing.db");
    std::fs::write(&nothing, "no keys").unwrap();
    for (args, words) in [
        (from.to_vec(), "name the newest copy of the keys with --keys"),
        (with_keys.clone(), "name its copy with --master"),
        ([&with_keys[..], &["--master", foreign.as_str()]].concat(), "another master key wraps its keys"),
        ([&with_keys[..], &["--master", nothing.as_str()]].concat(), "holds no master key"),
        ([&from[..], &["--keys", db.as_str(), "--master", foreign.as_str()]].concat(), "holds no keys"),
    ] {
        let (code, said) = command(&args, fresh.path()).await;
        assert!(code.is_some_and(|code| code > 0) && said.contains(words), "{words}: {said}");
        assert_eq!(contents(fresh.path()).keys().collect::<Vec<_>>(), ["palpebra.lock"], "{words}: nothing is touched");
    }
    let master = here.path().join("palpebra.master");
    let (code, said) = command(&[&with_keys[..], &["--master", master.to_str().unwrap()]].concat(), fresh.path()).await;
    assert_eq!(code, Some(0), "{said}");
    assert_eq!(opens(fresh.path()).await.unwrap(), 1);
    let mut all = contents(fresh.path());
    // Who closes it last may have been a reader, which can't take SQLite's log away; but nothing is left in it.
    assert!(all.remove("palpebra.db-wal").unwrap_or_default().is_empty());
    all.remove("palpebra.db-shm");
    let files = ["palpebra.db", "palpebra.db.end", "palpebra.keys", "palpebra.lock", "palpebra.master"];
    assert_eq!(all.keys().collect::<Vec<_>>(), files);
    assert_eq!(all["palpebra.master"], std::fs::read(&master).unwrap());
    // Another studio, which has keys of its own, takes it in: both can be opened by its master key.
    let (other, _) = studio().await;
    let theirs = std::fs::read(other.path().join("palpebra.master")).unwrap();
    let more = ["--master", master.to_str().unwrap(), "--another-studio"];
    let (code, said) = command(&[&with_keys[..], &more].concat(), other.path()).await;
    assert_eq!(code, Some(0), "{said}");
    assert_eq!(opens(other.path()).await.unwrap(), 1);
    assert_eq!(std::fs::read(other.path().join("palpebra.master")).unwrap(), theirs);
    let db = Db::open(&other.path().join("palpebra.db.before-1")).await.unwrap();
    assert_eq!(db.sealed_people().await.unwrap().readable, 1);
}

fn private(file: &Path, bytes: &[u8]) {
    std::fs::write(file, bytes).unwrap();
    std::fs::set_permissions(file, std::fs::Permissions::from_mode(0o600)).unwrap();
}

#[tokio::test]
async fn a_new_master_key_takes_the_place_of_the_old_one_whenever_the_power_fails() {
    let (here, _) = studio().await;
    let place = KeyPlace::beside(&here.path().join("palpebra.db"));
    let (old, old_keys) = (std::fs::read(&place.master).unwrap(), std::fs::read(&place.keys).unwrap());
    let (code, said) = command(&["rotate-key"], here.path()).await;
    assert!(code == Some(0) && said.contains("Keep a copy of it away"), "{said}");
    let new = std::fs::read(&place.master).unwrap();
    assert!(new != old && opens(here.path()).await.unwrap() == 1);
    let next = here.path().join("palpebra.master.next");
    assert!(!next.exists());
    // Cut off before the keys were wrapped anew: the old one fits, and what lies beside it is nothing.
    std::fs::write(&place.keys, &old_keys).unwrap();
    std::fs::write(&place.master, &old).unwrap();
    private(&next, &new);
    assert_eq!(opens(here.path()).await.unwrap(), 1);
    assert_eq!(std::fs::read(&place.master).unwrap(), old);
    assert_eq!(command(&["rotate-key"], here.path()).await.0, Some(0), "it is begun again");
    let newest = std::fs::read(&place.master).unwrap();
    // Cut off between wrapping them and giving the new one its name.
    private(&next, &newest);
    std::fs::write(&place.master, &old).unwrap();
    assert_eq!(opens(here.path()).await.unwrap(), 1);
    assert_eq!(std::fs::read(&place.master).unwrap(), newest);
    assert!(!next.exists());
    // While somebody serves the folder, nothing is rotated.
    let lock = std::fs::File::create(here.path().join("palpebra.lock")).unwrap();
    lock.lock().unwrap();
    let (code, said) = command(&["rotate-key"], here.path()).await;
    assert!(code == Some(75) && std::fs::read(&place.master).unwrap() == newest, "{said}");
}

/// The shell lets nothing be written to a file that could not be.
#[tokio::test]
async fn a_new_master_key_that_could_not_be_written_is_in_nobody_s_way() {
    let (here, _) = studio().await;
    let place = KeyPlace::beside(&here.path().join("palpebra.db"));
    let (old, next) = (std::fs::read(&place.master).unwrap(), here.path().join("palpebra.master.next"));
    for left in [&old[..0], &old[..40], &old[..old.len() - 2], &[0; 160]] {
        private(&next, left);
        assert_eq!(opens(here.path()).await.unwrap(), 1, "{} bytes", left.len());
        assert_eq!(std::fs::read(&place.master).unwrap(), old);
    }
    std::fs::remove_file(&place.master).unwrap();
    assert!(matches!(opens(here.path()).await, Err(StoreError::MasterMissing(_))), "it is the one to put back");
    private(&place.master, &old);

    let before: Vec<_> = contents(here.path()).into_keys().filter(|name| !name.ends_with(".next")).collect();
    let full = async |folder: &Path, command: &str| {
        let line = format!("trap '' XFSZ; ulimit -f 0; exec \"$0\" {command} --data \"$1\"");
        let mut shell = tokio::process::Command::new("sh");
        let shell = shell.args(["-c", &line, env!("CARGO_BIN_EXE_palpebra")]).arg(folder);
        let out = shell.output().await.unwrap();
        assert!(!out.status.success());
        String::from_utf8(out.stderr).unwrap()
    };
    let said = full(here.path(), "rotate-key").await;
    assert!(said.contains("the master key can't be read or made at") && said.contains("File too large"), "{said}");
    let after = contents(here.path());
    assert!(after.keys().filter(|name| *name != "palpebra.lock").eq(&before), "{:?}", after.keys());
    assert_eq!(opens(here.path()).await.unwrap(), 1);
    assert_eq!(command(&["rotate-key"], here.path()).await.0, Some(0), "it is begun again");
    assert_eq!(opens(here.path()).await.unwrap(), 1);
}

/// Before any key is made a cut may come at any byte of the master key.
#[tokio::test]
async fn a_first_start_that_was_cut_off_at_the_master_key_is_done_again() {
    let fresh = tempfile::tempdir().unwrap();
    let file = fresh.path().join("palpebra.db");
    let part = fresh.path().join("palpebra.master.part");
    private(&part, b"# Opens the keys");
    Db::open(&file).await.unwrap().close().await;
    assert!(!part.exists() && Master::load(&fresh.path().join("palpebra.master")).unwrap().is_some());
}

#[tokio::test]
async fn lost_keys_are_told_of_and_nothing_is_made_in_their_place() {
    let (here, mia) = studio().await;
    let place = KeyPlace::beside(&here.path().join("palpebra.db"));
    let (keys, master) = (std::fs::read(&place.keys).unwrap(), std::fs::read(&place.master).unwrap());
    let refused = async |words: &str| {
        let error = opens(here.path()).await.expect_err("it is refused");
        assert!(error.to_string().contains(words) && error.trouble() == Trouble::Keys, "{error}");
        let (code, said) = command(&["serve", "--listen", "127.0.0.1:0"], here.path()).await;
        assert!(code == Some(78) && said.contains(words), "{said}");
    };
    std::fs::remove_file(&place.keys).unwrap();
    refused("the keys of the records are missing").await;
    assert!(!place.keys.exists());
    std::fs::write(&place.keys, "").unwrap();
    refused("the keys of the records are missing").await;
    std::fs::write(&place.keys, &keys).unwrap();
    std::fs::remove_file(&place.master).unwrap();
    refused("the master key is missing").await;
    assert!(!place.master.exists());
    Master::make().unwrap().write(&place.master).unwrap();
    refused("is not the master key of these keys").await;
    std::fs::write(&place.master, "spoilt").unwrap();
    refused("holds no master key").await;
    std::fs::write(&place.master, &master).unwrap();
    assert_eq!(opens(here.path()).await.unwrap(), 1);

    // One person's key is gone: the doctor names her.
    let options = sqlx::sqlite::SqliteConnectOptions::new().filename(&place.keys);
    let pool = sqlx::SqlitePool::connect_with(options).await.unwrap();
    sqlx::query("UPDATE person_key SET who = 'somebody else' WHERE who = ?").bind(&mia).execute(&pool).await.unwrap();
    assert!(matches!(opens(here.path()).await, Err(StoreError::ForeignKey(_) | StoreError::ForeignMaster(_))));
    sqlx::query("DELETE FROM person_key").execute(&pool).await.unwrap();
    let other = Master::load(&place.master).unwrap().unwrap();
    let wrapped = other.wrap("somebody else", &palpebra::person_keys::PersonKey::make().unwrap()).unwrap();
    sqlx::query("INSERT INTO person_key VALUES ('somebody else', ?)").bind(wrapped).execute(&pool).await.unwrap();
    pool.close().await;
    let (code, said) = command(&["doctor"], here.path()).await;
    let line = format!("ILL:  the health records of client {mia} can't be read: her key is missing");
    assert!(code == Some(1) && said.contains(&line), "{said}");
}

#[tokio::test]
async fn the_master_key_may_lie_elsewhere() {
    let (here, _) = studio().await;
    let elsewhere = tempfile::tempdir().unwrap();
    let key = elsewhere.path().join("master.txt");
    std::fs::rename(here.path().join("palpebra.master"), &key).unwrap();
    let (_, said) = command(&["doctor", "--key-file", key.to_str().unwrap()], here.path()).await;
    assert!(said.contains(&format!("well: the master key is in {}", key.display())), "{said}");
    let (code, _) = command(&["doctor"], here.path()).await;
    assert_eq!(code, Some(78));
    let (code, said) = command(&["rotate-key", "--key-file", key.to_str().unwrap()], here.path()).await;
    assert!(code == Some(0) && said.contains(&key.display().to_string()), "{said}");
    assert!(!here.path().join("palpebra.master").exists());
}

#[tokio::test]
async fn only_the_newest_copy_of_the_keys_is_kept_and_no_master_key_beside_it() {
    let (app, studio) = TestApp::with_studio().await;
    marked(&app.app, &studio, &studio.mia).await;
    for _ in 0..2 {
        assert_eq!(backup::make(&app.app, &Actor::Program).await.unwrap().trouble, "");
        app.app.clock.advance(time::Duration::DAY);
    }
    let kept = contents(&app.folder().join("backups/keys"));
    assert_eq!(kept.keys().collect::<Vec<_>>(), ["palpebra.keys"]);
    for name in ["palpebra.keys", "palpebra.master", "backups/keys/palpebra.keys", "backups/keys"] {
        let mode = std::fs::metadata(app.folder().join(name)).unwrap().permissions().mode();
        assert_eq!(mode & 0o077, 0, "{name}");
    }
}
