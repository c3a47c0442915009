//! Whoever was erased is so in older copies too.

use std::sync::Arc;

use palpebra::actions::{backup, ledger};
use palpebra::domain::role::Actor;
use palpebra::mail::transport::Transport;
use palpebra::store::{clients, files, health};
use time::macros::date;

use super::{marked, refused, says_the_mark, with_mark};
use crate::backups::command;
use crate::support::TestApp;

/// A backup is made, she is erased, the backup is taken back: her records can't be read, everybody else's can.
#[tokio::test]
async fn a_backup_from_before_an_erasure_can_t_be_read_where_she_stands() {
    let (app, studio) = TestApp::with_studio().await;
    let zoe = studio.client("Zoë Birkholm", "zoe@clients.example.org", date!(1988 - 02 - 03)).await;
    let (hers, mias) = (marked(&app.app, &studio, &zoe).await, marked(&app.app, &studio, &studio.mia).await);
    let made = backup::make(&app.app, &Actor::Program).await.unwrap();
    let folder = app.folder().join("backups");
    let copied = |name: &str| std::fs::read(folder.join("keys").join(name)).unwrap();
    let keys_before = copied("palpebra.keys");
    let names = |bytes: &[u8]| bytes.windows(zoe.as_str().len()).any(|part| part == zoe.as_str().as_bytes());
    assert!(names(&keys_before));

    let owner = app.owner().await;
    let page = owner.get(&format!("/owner/clients/{zoe}/data")).await;
    let done = owner.submit(&page, &format!("/owner/clients/{zoe}/erase"), &[]).await;
    assert_eq!(done.status, 303, "{}", done.text());
    assert!(copied("palpebra.keys") != keys_before, "the copy of the keys is made anew at once");

    // On another computer, with all that was kept: but without the list of those who left.
    let fresh = tempfile::tempdir().unwrap();
    let from = folder.join(&made.file);
    let master = app.folder().join("palpebra.master");
    let restore = ["restore", "--from", from.to_str().unwrap(), "--master", master.to_str().unwrap()];
    let (code, said) = command(&restore, fresh.path()).await;
    assert_eq!(code, Some(0), "{said}");
    assert!(said.contains("1 clients of this backup were erased since"), "{said}");
    let (_, said) = command(&["doctor"], fresh.path()).await;
    assert!(said.contains("well: the file is whole") && said.contains("well: the audit's chain holds"), "{said}");
    assert!(said.contains(&format!("well: client {zoe} was erased: her health records in this copy")), "{said}");
    assert!(said.contains("well: the keys of 1 clients' health records are there"), "{said}");

    let file = fresh.path().join("palpebra.db");
    let taken_back = TestApp::made_over(&file, Transport::Memory(Arc::default())).await;
    let mut c = taken_back.db.read().await.unwrap();
    assert!(clients::get(&mut c, &zoe).await.unwrap().is_some(), "her name is back");
    refused(health::answers(&mut c, &zoe).await, "whom it belongs to was erased, and her key with her");
    refused(files::body(&mut c, &hers).await, "erased, and her key with her");
    drop(c);
    assert!(says_the_mark(&taken_back, &studio.mia, &mias).await, "nobody else is touched");
    assert_eq!(with_mark(fresh.path()), Vec::<String>::new());

    assert_eq!(ledger::apply(&taken_back).await.unwrap(), 1, "the keys tell that she had left");
    let mut c = taken_back.db.read().await.unwrap();
    assert!(clients::get(&mut c, &zoe).await.unwrap().is_none());
    drop(c);
    let left = std::fs::read_to_string(fresh.path().join("left.log")).unwrap();
    assert_eq!(left, format!("erased {zoe}\n"));
}

/// Her wrapped key is in no byte of the keys, nor of their copy.
#[tokio::test]
async fn a_destroyed_key_leaves_no_byte_behind() {
    let (app, studio) = TestApp::with_studio().await;
    let zoe = studio.client("Zoë Birkholm", "zoe@clients.example.org", date!(1988 - 02 - 03)).await;
    backup::make(&app.app, &Actor::Program).await.unwrap();
    let options = sqlx::sqlite::SqliteConnectOptions::new().filename(app.folder().join("palpebra.keys"));
    let pool = sqlx::SqlitePool::connect_with(options).await.unwrap();
    let wrapped = "SELECT wrapped FROM person_key WHERE who = ?";
    let wrapped: Vec<u8> = sqlx::query_scalar(wrapped).bind(zoe.as_str()).fetch_one(&pool).await.unwrap();
    pool.close().await;
    // The first eight bytes name the master key, and go before every key.
    let secret = wrapped[8..].to_vec();
    let places = [app.folder().join("palpebra.keys"), app.folder().join("backups/keys/palpebra.keys")];
    let found =
        || places.iter().filter(|file| std::fs::read(file).unwrap().windows(secret.len()).any(|b| b == secret)).count();
    assert_eq!(found(), 2, "the search finds what is there");
    assert_eq!(app.app.db.destroy_keys(&[zoe.as_str().to_owned()]).await.unwrap(), 1);
    backup::make(&app.app, &Actor::Program).await.unwrap();
    assert_eq!(found(), 0);
    assert_eq!(app.app.db.destroy_keys(&[zoe.as_str().to_owned()]).await.unwrap(), 0, "once");
    // It is never made again.
    let given = health::StoredAnswers {
        id: palpebra::domain::ids::AnswersId::from_random([7; 16]),
        set: studio.answers(&[]).await,
        taken: None,
        given_at: app.app.clock.now(),
    };
    let mut tx = app.app.db.write().await.unwrap();
    let error = health::add_answers(&mut tx, &zoe, &given).await.expect_err("nothing is sealed for her");
    assert!(error.to_string().contains("was destroyed"), "{error}");
}

/// Who is only restricted keeps her key, since a claim may rest on what it opens.
#[tokio::test]
async fn a_restricted_record_can_still_be_read() {
    let (app, studio) = TestApp::with_studio().await;
    let paper = marked(&app.app, &studio, &studio.mia).await;
    let mut tx = app.app.db.write().await.unwrap();
    palpebra::store::restriction::restrict(&mut tx, &studio.mia, app.app.clock.now()).await.unwrap();
    let event = palpebra::store::audit::Event {
        action: "record.restricted",
        client: Some(&studio.mia),
        ..palpebra::store::audit::Event::default()
    };
    palpebra::store::audit::append(&mut tx, &Actor::Program, event, app.app.clock.now()).await.unwrap();
    tx.commit().await.unwrap();
    ledger::apply(&app.app).await.unwrap();
    assert!(says_the_mark(&app.app, &studio.mia, &paper).await);
}
