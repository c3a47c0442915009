//! What is no backup of this studio is refused in words, and nothing is touched.

use std::path::Path;

use palpebra::store::Db;

use super::{command, contents, tables};
use crate::support::TestApp;

/// A folder with a studio's database, and nothing else.
async fn studio() -> tempfile::TempDir {
    let (app, _) = TestApp::with_studio().await;
    let folder = tempfile::tempdir().unwrap();
    app.copy_to(&folder.path().join("palpebra.db")).await;
    folder
}

async fn other_program(file: &Path) {
    let options = sqlx::sqlite::SqliteConnectOptions::new().filename(file).create_if_missing(true);
    let pool = sqlx::SqlitePool::connect_with(options).await.unwrap();
    sqlx::query("CREATE TABLE studio (id INTEGER PRIMARY KEY, name TEXT)").execute(&pool).await.unwrap();
    pool.close().await;
}

#[tokio::test]
async fn what_is_no_backup_is_told_apart_and_touches_nothing() {
    let (here, place) = (studio().await, tempfile::tempdir().unwrap());
    let whole = std::fs::read(here.path().join("palpebra.db")).unwrap();
    let mut damaged = whole.clone();
    let pages = damaged.len() / 4096;
    damaged[(pages / 2) * 4096..(pages / 2 + 3) * 4096].fill(0xA5);
    let foreign = place.path().join("foreign.db");
    other_program(&foreign).await;
    let foreign = std::fs::read(foreign).unwrap();
    let mut header = whole[..100].to_vec();
    header.resize(4096, 0);
    let cut = |length: usize| whole[..length].to_vec();
    let cases: [(&str, Vec<u8>, &str); 10] = [
        ("half", cut(whole.len() / 2), "it was cut off"),
        ("all but a page", cut(whole.len() - 4096), "it was cut off"),
        ("all but a byte", cut(whole.len() - 1), "it was cut off"),
        ("half a header", cut(50), "it was cut off"),
        ("a header alone", header, "it was cut off"),
        ("empty", Vec::new(), "the file is empty"),
        ("text", b"Dear diary, this is no database at all.".to_vec(), "a file of another kind"),
        ("another program's", foreign, "a database of another program"),
        ("damaged", damaged, "damaged"),
        ("zeros", vec![0; 8192], "a file of another kind"),
    ];
    let bad = place.path().join("backup.db");
    let before = contents(here.path());
    for (what, bytes, why) in cases {
        std::fs::write(&bad, bytes).unwrap();
        let (code, said) = command(&["restore", "--from", bad.to_str().unwrap()], here.path()).await;
        assert_eq!(code, Some(65), "{what}: {said}");
        assert!(said.contains(why), "{what}: {said}");
        let mut after = contents(here.path());
        assert_eq!(after.remove("palpebra.lock"), Some(Vec::new()), "{what}");
        assert!(after == before, "{what}: {:?}", after.keys());
    }
    for gone in [place.path().join("not-there.db"), place.path().to_owned()] {
        let (code, said) = command(&["restore", "--from", gone.to_str().unwrap()], here.path()).await;
        assert!(code.is_some_and(|code| code > 0), "{said}");
    }
}

#[tokio::test]
async fn another_studio_s_backup_is_only_taken_when_that_is_meant() {
    let (here, there) = (studio().await, studio().await);
    let theirs = there.path().join("palpebra.db");
    let [keys, master] = ["palpebra.keys", "palpebra.master"].map(|name| there.path().join(name));
    let (keys, master) = (keys.to_str().unwrap(), master.to_str().unwrap());
    let from = ["restore", "--from", theirs.to_str().unwrap(), "--keys", keys, "--master", master];
    let before = contents(here.path());
    let (code, said) = command(&from, here.path()).await;
    assert_eq!(code, Some(65), "{said}");
    assert!(said.contains("another studio (Studio Lidbogen)"), "{said}");
    let mut after = contents(here.path());
    after.remove("palpebra.lock");
    assert!(after == before);

    let (code, said) = command(&[&from[..], &["--another-studio"]].concat(), here.path()).await;
    assert_eq!(code, Some(0), "{said}");
    assert!(tables(&here.path().join("palpebra.db")).await == tables(&theirs).await);
    let was = there.path().join("was.db");
    std::fs::write(&was, &before["palpebra.db"]).unwrap();
    assert!(tables(&here.path().join("palpebra.db.before-1")).await == tables(&was).await, "what was there is kept");

    // A database that can't be read any more doesn't stand in the way of its own backup, nor does an empty folder.
    std::fs::write(here.path().join("palpebra.db"), "spoilt").unwrap();
    assert_eq!(command(&from, here.path()).await.0, Some(0));
    let fresh = tempfile::tempdir().unwrap();
    assert_eq!(command(&from, fresh.path()).await.0, Some(0));
}

#[tokio::test]
async fn a_backup_of_a_newer_version_or_without_a_studio_is_refused() {
    let (here, newer) = (studio().await, studio().await);
    let file = newer.path().join("palpebra.db");
    let db = Db::open(&file).await.unwrap();
    let mut tx = db.write().await.unwrap();
    let row = "INSERT INTO _sqlx_migrations (version, description, success, checksum, execution_time) VALUES (9999, 'later', 1, x'00', 0)";
    sqlx::query(row).execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
    db.close().await;
    let (code, said) = command(&["restore", "--from", file.to_str().unwrap()], here.path()).await;
    assert!(code == Some(65) && said.contains("newer version"), "{said}");

    let bare = tempfile::tempdir().unwrap();
    let file = bare.path().join("bare.db");
    Db::open(&file).await.unwrap().close().await;
    let (code, said) = command(&["restore", "--from", file.to_str().unwrap()], here.path()).await;
    assert!(code == Some(65) && said.contains("no studio in it"), "{said}");
}
