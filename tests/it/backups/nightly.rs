//! Backups by night, on demand and by command: when they come, which stay, what is said when one fails; and the drill.

use std::path::Path;

use palpebra::actions::backup;
use palpebra::store::backup as tries;
use time::Duration;
use time::macros::datetime;

use super::{command, tables};
use crate::support::TestApp;

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(folder)
        .map(|entries| entries.map(Result::unwrap))
        .into_iter()
        .flatten()
        .filter(|entry| entry.file_type().unwrap().is_file())
        .map(|entry| entry.file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

#[tokio::test]
async fn the_night_s_backup_comes_once_after_half_past_two_on_the_studio_s_clock() {
    // It is nine in Berlin, and there is none of this night yet.
    let (app, _) = TestApp::with_studio().await;
    let folder = app.folder().join("backups");
    assert!(backup::nightly(&app.app).await.unwrap().is_some());
    assert!(backup::nightly(&app.app).await.unwrap().is_none());
    assert_eq!(names(&folder), ["palpebra-2026-03-02T080000Z.db"]);
    app.app.clock.advance(datetime!(2026-03-03 01:29 UTC) - app.app.clock.now());
    assert!(backup::nightly(&app.app).await.unwrap().is_none(), "02:29");
    app.app.clock.advance(Duration::MINUTE);
    let made = backup::nightly(&app.app).await.unwrap().unwrap();
    assert_eq!((made.file.as_str(), made.encrypted), ("palpebra-2026-03-03T013000Z.db", false));
    assert_eq!(made.bytes, std::fs::metadata(folder.join(&made.file)).unwrap().len());
    // The night of 29 March has no half past two.
    app.app.clock.advance(datetime!(2026-03-29 00:59 UTC) - app.app.clock.now());
    assert!(backup::nightly(&app.app).await.unwrap().is_some(), "of the 28th");
    app.app.clock.advance(Duration::minutes(90));
    assert!(backup::nightly(&app.app).await.unwrap().is_some());
    assert!(backup::nightly(&app.app).await.unwrap().is_none());
    use std::os::unix::fs::PermissionsExt as _;
    for path in [folder.clone(), folder.join("palpebra-2026-03-02T080000Z.db")] {
        assert_eq!(std::fs::metadata(&path).unwrap().permissions().mode() & 0o077, 0, "{}", path.display());
    }
}

#[tokio::test]
async fn outlived_backups_go_and_nothing_else_does() {
    let (app, _) = TestApp::with_studio().await;
    let folder = app.folder().join("backups");
    std::fs::create_dir(&folder).unwrap();
    let others = ["notes.txt", "palpebra-2020.db", "palpebra.db", "palpebra-2020-01-01T000000Z.db.kept"];
    for name in others {
        std::fs::write(folder.join(name), "not ours").unwrap();
    }
    for name in
        ["palpebra-2020-01-01T000000Z.db", "palpebra-2026-03-02T070000Z.db.age", "palpebra-2026-03-01T070000Z.db.part"]
    {
        std::fs::write(folder.join(name), "old").unwrap();
    }
    for _ in 0..40 {
        assert!(backup::nightly(&app.app).await.unwrap().is_some());
        app.app.clock.advance(Duration::DAY);
    }
    let mut found = names(&folder);
    found.retain(|name| !others.contains(&name.as_str()));
    // Seven days; five weeks, of which the running one's newest is a day too; this month, the one before, and 2020.
    let expected = [
        "palpebra-2020-01-01T000000Z.db",
        "palpebra-2026-03-15T080000Z.db",
        "palpebra-2026-03-22T080000Z.db",
        "palpebra-2026-03-29T080000Z.db",
        "palpebra-2026-03-31T080000Z.db",
        "palpebra-2026-04-04T080000Z.db",
        "palpebra-2026-04-05T080000Z.db",
        "palpebra-2026-04-06T080000Z.db",
        "palpebra-2026-04-07T080000Z.db",
        "palpebra-2026-04-08T080000Z.db",
        "palpebra-2026-04-09T080000Z.db",
        "palpebra-2026-04-10T080000Z.db",
    ];
    assert_eq!(found, expected);
    assert_eq!(names(&folder).len(), expected.len() + others.len());
}

#[tokio::test]
async fn the_owner_makes_one_sees_them_and_is_told_when_one_fails() {
    let (app, _) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let page = owner.get("/owner/backups").await;
    assert!(page.main().contains("None so far") && page.main().contains("not encrypted"), "{}", page.main());
    assert!(!owner.get("/owner").await.main().contains("Backups fail"));
    assert_eq!(
        owner.submit(&page, "/owner/backups", &[]).await.location().as_deref(),
        Some("/owner/backups?backed-up")
    );
    let page = owner.get("/owner/backups").await.main();
    assert!(page.contains("palpebra-2026-03-02T080000Z.db") && page.contains("There and checked"), "{page}");
    assert!(owner.get("/owner").await.main().contains("The last one is of Monday 2 March 2026, 09:00"));

    // A file stands where the folder should be.
    let folder = app.folder().join("backups");
    std::fs::remove_dir_all(&folder).unwrap();
    std::fs::write(&folder, "in the way").unwrap();
    app.app.clock.advance(Duration::DAY);
    let owner = app.owner().await;
    assert!(!backup::nightly(&app.app).await.unwrap().unwrap().trouble.is_empty());
    assert!(backup::nightly(&app.app).await.unwrap().is_none(), "not again at once");
    app.app.clock.advance(Duration::minutes(29));
    let page = owner.get("/owner").await.main();
    assert!(page.contains("Backups fail") && page.contains("The last one failed"), "{page}");
    let page = owner.get("/owner/backups").await.main();
    assert!(page.contains("The last backup failed") && page.contains("can’t be read"), "{page}");
    app.app.clock.advance(Duration::HOUR);
    assert!(!backup::nightly(&app.app).await.unwrap().unwrap().trouble.is_empty(), "after an hour it is tried again");
    std::fs::remove_file(&folder).unwrap();
    app.app.clock.advance(Duration::HOUR);
    assert!(backup::nightly(&app.app).await.unwrap().unwrap().trouble.is_empty());
    let owner = app.owner().await;
    assert!(!owner.get("/owner").await.main().contains("Backups fail"));
    // The server stood still for three days.
    app.app.clock.advance(Duration::days(3));
    let owner = app.owner().await;
    assert!(owner.get("/owner").await.main().contains("none of the last two days"));
    let all = tries::tries(&mut app.app.db.read().await.unwrap(), 9).await.unwrap();
    assert_eq!(all.iter().map(|one| one.trouble.is_empty()).collect::<Vec<_>>(), [true, false, false, true]);
}

/// The drill: an encrypted backup, the disk lost, a new machine, and every row back.
#[tokio::test]
async fn what_is_lost_comes_back_from_an_encrypted_backup_and_its_key() {
    let (app, studio) = TestApp::with_studio().await;
    studio.consent(&studio.mia, &studio.lift).await;
    let (data, elsewhere) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    app.copy_to(&data.path().join("palpebra.db")).await;
    let key = elsewhere.path().join("key.txt");
    let out = tokio::process::Command::new(env!("CARGO_BIN_EXE_palpebra"))
        .args(["backup-key", "--out", key.to_str().unwrap()])
        .output()
        .await
        .unwrap();
    let lock = String::from_utf8(out.stdout).unwrap().lines().next().unwrap().to_owned();
    assert!(lock.starts_with("age1"), "{lock}");
    let folder = elsewhere.path().join("backups");
    let to = ["--backups", folder.to_str().unwrap(), "--backup-key", lock.as_str()];
    let (code, said) = command(&[&["backup"][..], &to].concat(), data.path()).await;
    assert_eq!(code, Some(0), "{said}");
    let kept = ["palpebra.db", "palpebra.db.end", "palpebra.keys", "palpebra.master"];
    assert_eq!(names(data.path()), kept, "nothing plain is left behind");
    assert_eq!(names(&folder.join("keys")), ["palpebra.keys.age", "palpebra.master.age"]);
    let before = tables(&data.path().join("palpebra.db")).await;
    let [name] = &names(&folder)[..] else { panic!("{:?}", names(&folder)) };
    assert!(name.ends_with(".db.age"), "{name}");
    let file = folder.join(name);
    let sealed = std::fs::read(&file).unwrap();
    assert!(sealed.starts_with(b"age-encryption.org/v1") && !sealed.windows(7).any(|part| part == b"Sandgre"));

    drop(data);
    let fresh = tempfile::tempdir().unwrap();
    let from = ["restore", "--from", file.to_str().unwrap()];
    let with = [&from[..], &["--key", key.to_str().unwrap()]].concat();
    let (code, said) = command(&from, fresh.path()).await;
    assert!(code == Some(65) && said.contains("it is encrypted"), "{said}");
    let other = elsewhere.path().join("other.txt");
    std::fs::write(&other, palpebra::sealing::new_key().1).unwrap();
    let (code, said) = command(&[&from[..], &["--key", other.to_str().unwrap()]].concat(), fresh.path()).await;
    assert!(code == Some(65) && said.contains("not for this file"), "{said}");
    let mut changed = sealed.clone();
    let middle = changed.len() / 2;
    changed[middle] ^= 1;
    for bad in [&changed[..], &sealed[..sealed.len() - 1], &sealed[..sealed.len() / 2], &sealed[..40]] {
        std::fs::write(&file, bad).unwrap();
        let (code, said) = command(&with, fresh.path()).await;
        assert!(code == Some(65) && said.contains("cut off or changed"), "{said}");
        assert_eq!(names(fresh.path()), ["palpebra.lock"]);
    }
    std::fs::write(&file, &sealed).unwrap();
    let (code, said) = command(&with, fresh.path()).await;
    assert_eq!(code, Some(0), "{said}");
    let restored = tables(&fresh.path().join("palpebra.db")).await;
    for (table, rows) in before {
        // That the backup was made is written down after its moment.
        let later = usize::from(matches!(table.as_str(), "audit" | "backup" | "sqlite_sequence"));
        let lost = rows.iter().filter(|row| !restored[&table].contains(row)).count();
        assert_eq!(
            (lost, restored[&table].len() + usize::from(table != "sqlite_sequence") * later),
            (later, rows.len()),
            "{table}"
        );
    }
}
