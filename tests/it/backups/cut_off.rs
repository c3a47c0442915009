//! A restore whose power was cut: the folder can be served or restored to again, and no empty studio takes its place.

use std::os::unix::fs::MetadataExt as _;
use std::path::Path;

use super::{command, contents, tables};
use crate::process::{Program, folder};
use crate::support::Person;

/// A studio's folder, and a backup of it elsewhere.
async fn studio() -> (tempfile::TempDir, tempfile::TempDir, String) {
    let (here, _) = folder().await;
    let elsewhere = tempfile::tempdir().unwrap();
    let copy = elsewhere.path().join("copy.db").to_str().unwrap().to_owned();
    assert_eq!(command(&["backup", "--out", &copy], here.path()).await.0, Some(0));
    (here, elsewhere, copy)
}

/// The program serves the folder's studio, and stops.
async fn served(folder: &Path) {
    let program = Program::start(folder, "", "warn").await;
    let page = Person::new(&program.url).get("/").await;
    assert!(page.status == 200 && page.text().contains("Studio Lidbogen"), "{}", page.text());
    program.stop(folder).await;
}

#[tokio::test]
async fn where_a_database_was_lost_no_empty_one_is_made() {
    let (here, _elsewhere, copy) = studio().await;
    let keys = sqlx::sqlite::SqliteConnectOptions::new().filename(here.path().join("palpebra.keys"));
    let keys = sqlx::SqlitePool::connect_with(keys).await.unwrap();
    sqlx::query("INSERT INTO person_key VALUES ('somebody who left', NULL)").execute(&keys).await.unwrap();
    keys.close().await;
    let (all, backup) = (contents(here.path()), std::fs::read(&copy).unwrap());
    let keys = [("palpebra.keys", &all["palpebra.keys"][..]), ("palpebra.master", &all["palpebra.master"][..])];
    let [keys_file, master_file] = ["palpebra.keys", "palpebra.master"].map(|name| here.path().join(name));
    let (keys_file, master_file) = (keys_file.to_str().unwrap(), master_file.to_str().unwrap());
    let restore = ["restore", "--from", &copy, "--keys", keys_file, "--master", master_file];
    let no_backup = format!("{copy}.txt");
    std::fs::write(&no_backup, "no backup").unwrap();
    let lies = |name: &'static str| [(name, &backup[..backup.len() / 2])];
    let before = "is one that was there before";
    for (left, words) in [
        (&keys[..], "palpebra.keys holds the keys of its records"),
        (&[keys[0], keys[1], ("palpebra.db", b"")], "palpebra.keys holds the keys of its records"),
        (&lies("palpebra.db.restoring"), "palpebra.db.restoring is of a restore that was cut off"),
        (&lies("palpebra.db.before-2"), before),
        (&lies("palpebra.db.before-upgrade-1"), before),
    ] {
        let folder = tempfile::tempdir().unwrap();
        for (name, bytes) in left {
            std::fs::write(folder.path().join(name), bytes).unwrap();
        }
        let master = folder.path().join("palpebra.master");
        if master.exists() {
            std::fs::copy(here.path().join("palpebra.master"), master).unwrap();
        }
        let was = contents(folder.path());
        let (code, said) = command(&["serve", "--listen", "127.0.0.1:0"], folder.path()).await;
        assert!(code == Some(66) && said.contains(words) && said.lines().count() == 1, "{words}: {said}");
        let mut after = contents(folder.path());
        after.remove("palpebra.lock");
        assert!(after == was, "{words}: {:?}", after.keys());
        let refused = command(&["restore", "--from", &no_backup], folder.path()).await;
        assert_eq!(refused.0, Some(65), "{words}: {}", refused.1);
        let (code, said) = command(&["serve", "--listen", "127.0.0.1:0"], folder.path()).await;
        assert!(code == Some(66) && said.contains(words), "it takes nothing of that away: {said}");
        let (code, said) = command(&restore, folder.path()).await;
        assert_eq!(code, Some(0), "{words}: {said}");
        served(folder.path()).await;
    }
}

/// As far as a restore may have come before its database has its name; the steps themselves are cut in `src/cli/swap.rs`.
async fn cut_off(here: &Path, half: &[u8]) {
    std::fs::hard_link(here.join("palpebra.db"), here.join("palpebra.db.before-1")).unwrap();
    for name in ["palpebra.db.restoring", "palpebra.db.restoring-wal", "palpebra.keys.restoring", "palpebra.keys.copy"]
    {
        std::fs::write(here.join(name), half).unwrap();
    }
    std::fs::rename(here.join("palpebra.db.end"), here.join("palpebra.db.before-1.end")).unwrap();
}

#[tokio::test]
async fn a_restore_that_was_cut_off_is_served_as_before_and_can_be_done_again() {
    let (here, _elsewhere, copy) = studio().await;
    let (here, file) = (here.path(), here.path().join("palpebra.db"));
    served(here).await;
    let before = tables(&file).await;
    let half = std::fs::read(&copy).unwrap();
    let half = &half[..half.len() / 2];
    cut_off(here, half).await;
    served(here).await;
    assert!(tables(&file).await["studio"] == before["studio"]);
    let names: Vec<_> = contents(here).into_keys().collect();
    let left = |name: &&String| ["restoring", "before", "copy"].iter().any(|part| name.contains(part));
    assert_eq!(names.iter().find(left), None, "{names:?}");
    assert_eq!(std::fs::metadata(&file).unwrap().nlink(), 1);

    // Or it is done again at once.
    let before = tables(&file).await;
    std::fs::write(here.join("palpebra.db.end"), "").unwrap();
    cut_off(here, half).await;
    let left = here.join("palpebra.db.restoring");
    let (code, said) = command(&["restore", "--from", left.to_str().unwrap()], here).await;
    assert!(code == Some(2) && said.contains("name the backup") && left.exists(), "{said}");
    let (code, said) = command(&["restore", "--from", &copy], here).await;
    assert!(code == Some(0) && said.contains("palpebra.db.before-1"), "{said}");
    assert!(tables(&here.join("palpebra.db.before-1")).await == before, "what was there is kept");
    assert!(tables(&file).await == tables(Path::new(&copy)).await);
    assert!(!contents(here).keys().any(|name| name.contains("restoring") || name.contains("before-2")));
}
