//! A backup taken while a writer is busy holds all that was committed before its moment, and nothing else.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU32, Ordering};

use palpebra::domain::ids::RoomId;
use palpebra::domain::role::Actor;
use palpebra::store::practitioners::{Room, save_room};
use palpebra::store::{Db, audit};
use time::{Duration, OffsetDateTime};

use super::{command, tables};
use crate::support::TestApp;

/// One change of several rows, the same whenever it is made.
async fn change(db: &Db, number: u32) {
    let mut bits = [0; 16];
    bits[..4].copy_from_slice(&number.to_be_bytes());
    let room =
        Room { id: RoomId::from_random(bits), name: format!("Room {number}"), active: !number.is_multiple_of(3) };
    let mut tx = db.write().await.unwrap();
    save_room(&mut tx, &room).await.unwrap();
    let object = room.id.as_str();
    let event = audit::Event { action: "room.added", object, detail: &room.name, ..audit::Event::default() };
    let at = OffsetDateTime::UNIX_EPOCH + Duration::seconds(i64::from(number));
    audit::append(&mut tx, &Actor::Program, event, at).await.unwrap();
    tx.commit().await.unwrap();
}

/// The file as it was after so many changes: the same ones, made again on a copy of the beginning.
async fn replayed(start: &Path, changes: u32, to: &Path) {
    std::fs::copy(start, to).unwrap();
    let db = Db::open(to).await.unwrap();
    for number in 0..changes {
        change(&db, number).await;
    }
    db.close().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_backup_under_load_is_restored_row_by_row_as_it_was_at_its_moment() {
    let (app, studio) = TestApp::with_studio().await;
    studio.consent(&studio.mia, &studio.lift).await;
    let folder = tempfile::tempdir().unwrap();
    let start = folder.path().join("start.db");
    app.copy_to(&start).await;
    let rooms_before = tables(&start).await["room"].len();
    let data = folder.path().join("data");
    std::fs::create_dir(&data).unwrap();
    let live = data.join("palpebra.db");
    std::fs::copy(&start, &live).unwrap();
    for name in ["palpebra.keys", "palpebra.master"] {
        std::fs::copy(folder.path().join(name), data.join(name)).unwrap();
    }

    let (stop, committed) = (Arc::new(AtomicBool::new(false)), Arc::new(AtomicU32::new(0)));
    let db = Db::open(&live).await.unwrap();
    let writer = tokio::spawn({
        let (stop, committed) = (stop.clone(), committed.clone());
        async move {
            while !stop.load(Ordering::SeqCst) {
                change(&db, committed.load(Ordering::SeqCst)).await;
                committed.fetch_add(1, Ordering::SeqCst);
            }
            db.close().await;
        }
    });
    let mut taken = Vec::new();
    for number in 0..3 {
        let backup = folder.path().join(format!("backup-{number}.db"));
        let before = committed.load(Ordering::SeqCst);
        let (code, said) = command(&["backup", "--out", backup.to_str().unwrap()], &data).await;
        assert_eq!(code, Some(0), "{said}");
        // One more may be committed and not yet counted.
        taken.push((backup, before, committed.load(Ordering::SeqCst) + 1));
    }
    stop.store(true, Ordering::SeqCst);
    writer.await.unwrap();
    assert!(taken.iter().all(|(_, before, after)| before + 1 < *after), "nobody wrote meanwhile: {taken:?}");

    for (backup, before, after) in taken {
        let fresh = tempfile::tempdir().unwrap();
        let [keys, master] = ["palpebra.keys", "palpebra.master"].map(|name| folder.path().join(name));
        let (keys, master) = (keys.to_str().unwrap(), master.to_str().unwrap());
        let restore = ["restore", "--from", backup.to_str().unwrap(), "--keys", keys, "--master", master];
        let (code, said) = command(&restore, fresh.path()).await;
        assert_eq!(code, Some(0), "{said}");
        let restored = tables(&fresh.path().join("palpebra.db")).await;
        let changes = u32::try_from(restored["room"].len() - rooms_before).unwrap();
        assert!((before..=after).contains(&changes), "{changes} of {before} to {after}");
        let expected = fresh.path().join("expected.db");
        replayed(&start, changes, &expected).await;
        let expected = tables(&expected).await;
        assert_eq!(restored.keys().collect::<Vec<_>>(), expected.keys().collect::<Vec<_>>());
        assert!(expected.len() > 40 && expected["audit"].len() > usize::try_from(changes).unwrap());
        for (table, rows) in expected {
            assert!(restored[&table] == rows, "{table} differs after {changes} changes");
        }
    }
}
