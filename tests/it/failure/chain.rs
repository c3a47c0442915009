//! Somebody changes the audit behind the program's back: the chain shows it.

use palpebra::actions::audit as nightly;
use palpebra::domain::role::Actor;
use palpebra::store::audit::{Event, Found};
use palpebra::store::audit_end::EndFile;
use palpebra::store::{Connection, Db, audit};
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};

use crate::backups::command;
use crate::support::TestApp;
use crate::support::app::OWNER;

/// The columns that a row's hash is made of, and the hashes themselves.
const COLUMNS: [&str; 10] =
    ["actor_kind", "actor_id", "actor_name", "action", "client_id", "object_id", "detail", "at", "prev_hash", "hash"];

async fn run(c: &mut Connection, sql: String) -> u64 {
    sqlx::query(sqlx::AssertSqlSafe(sql)).execute(c).await.map_or(0, |done| done.rows_affected())
}

/// One change that leaves the number of rows, or takes one out, puts one in, changes places, or cuts off the end.
async fn tamper(c: &mut Connection, dice: &mut StdRng, rows: i64, round: usize) -> bool {
    let seq = dice.random_range(1..=rows);
    match round % 6 {
        0 | 1 => {
            let column = COLUMNS[dice.random_range(0..COLUMNS.len())];
            let new = match column {
                "at" => "at + 1".to_owned(),
                "actor_kind" => "CASE actor_kind WHEN 'owner' THEN 'practitioner' ELSE 'owner' END".to_owned(),
                other => format!("substr({other}, 2) || 'x'"),
            };
            run(c, format!("UPDATE audit SET {column} = {new} WHERE seq = {seq}")).await == 1
        }
        2 => run(c, format!("DELETE FROM audit WHERE seq = {seq}")).await == 1,
        3 => {
            let columns =
                "at, actor_kind, actor_id, actor_name, action, client_id, object_id, detail, prev_hash, hash || 'x'";
            run(c, format!("INSERT INTO audit SELECT {}, {columns} FROM audit WHERE seq = {seq}", rows + 1)).await == 1
        }
        4 => run(c, format!("DELETE FROM audit WHERE seq >= {seq}")).await > 0,
        _ => {
            let other = dice.random_range(1..=rows);
            if other == seq {
                return false;
            }
            run(c, format!("UPDATE audit SET seq = -1 WHERE seq = {seq}")).await;
            run(c, format!("UPDATE audit SET seq = {seq} WHERE seq = {other}")).await;
            run(c, format!("UPDATE audit SET seq = {other} WHERE seq = -1")).await == 1
        }
    }
}

#[tokio::test]
async fn every_change_behind_its_back_is_seen() {
    let app = TestApp::with_owner().await;
    for _ in 0..12 {
        app.app.clock.advance(time::Duration::minutes(2));
        app.visitor().gives_password(OWNER.0, "not the right one").await;
        app.owner().await;
    }
    let rows = audit::verify(&mut app.app.db.read().await.unwrap()).await.unwrap().unwrap();
    assert!(rows > 20, "{rows}");
    let end = app.app.db.audit_end();
    assert_eq!(end.as_ref().map(|end| end.seq), Some(rows));
    let mut dice = StdRng::seed_from_u64(14);
    let rounds = std::env::var("PALPEBRA_TAMPERINGS").map_or(200, |rounds| rounds.parse().unwrap());
    let mut tried = 0;
    for round in 0..rounds {
        // Each in a transaction that is dropped, so that the next one begins with what is true.
        let mut tx = app.app.db.write().await.unwrap();
        run(&mut tx, "DROP TRIGGER audit_stays".to_owned()).await;
        run(&mut tx, "DROP TRIGGER audit_is_kept".to_owned()).await;
        if tamper(&mut tx, &mut dice, rows, round).await {
            let found = audit::check(&mut tx, end.as_ref()).await.unwrap();
            assert!(!matches!(found, Found::Holds(_)), "round {round}");
            tried += 1;
        }
    }
    assert!(tried * 10 > rounds * 8, "{tried} of {rounds}");
    let mut tx = app.app.db.write().await.unwrap();
    assert_eq!(run(&mut tx, "UPDATE audit SET at = at + 1".to_owned()).await, 0, "the program itself can't");
    assert_eq!(run(&mut tx, "DELETE FROM audit".to_owned()).await, 0);
    assert_eq!(audit::verify(&mut tx).await.unwrap(), Ok(rows));
}

/// Behind the program's back.
async fn cut_off(db: &Db, from: i64) {
    let mut tx = db.write().await.unwrap();
    run(&mut tx, "DROP TRIGGER IF EXISTS audit_is_kept".to_owned()).await;
    assert!(run(&mut tx, format!("DELETE FROM audit WHERE seq >= {from}")).await > 0);
    tx.commit().await.unwrap();
}

async fn write_row(db: &Db, app: &TestApp) {
    let mut tx = db.write().await.unwrap();
    let event = Event { action: "room.added", ..Event::default() };
    audit::append(&mut tx, &Actor::Program, event, app.app.clock.now()).await.unwrap();
    tx.commit().await.unwrap();
}

async fn count(db: &Db, sql: &'static str) -> i64 {
    sqlx::query_scalar(sql).fetch_one(&mut *db.read().await.unwrap()).await.unwrap()
}

async fn look(db: &Db) -> Found {
    let end = db.audit_end();
    audit::check(&mut db.read().await.unwrap(), end.as_ref()).await.unwrap()
}

#[tokio::test]
async fn an_end_that_is_cut_off_is_seen_at_once_and_for_good() {
    let app = TestApp::with_owner().await;
    let db = &app.app.db;
    nightly::nightly(&app.app).await.unwrap();
    // All of it came after that look, so the database alone doesn't tell.
    write_row(db, &app).await;
    write_row(db, &app).await;
    let Found::Holds(rows) = look(db).await else { panic!("it holds") };
    cut_off(db, rows).await;
    assert!(audit::verify(&mut db.read().await.unwrap()).await.unwrap().is_ok());
    assert_eq!(look(db).await, Found::CutOff(rows));
    nightly::nightly(&app.app).await.unwrap();
    nightly::nightly(&app.app).await.unwrap();
    let looks = count(db, "SELECT count(*) FROM audit_check").await;
    assert_eq!(looks, 2, "once more in the same night, and not at every turn");
    let page = app.owner().await.get("/owner").await;
    assert!(page.main().contains("The log was changed behind the program’s back"), "{}", page.main());
    // Other rows grow over the place: that doesn't heal it.
    for _ in 0..4 {
        write_row(db, &app).await;
        assert_eq!(look(db).await, Found::CutOff(rows));
    }
    // Nor does it when nothing at all is left, and a new chain grows beyond.
    cut_off(db, 1).await;
    for _ in 0..rows + 2 {
        write_row(db, &app).await;
        assert_eq!(look(db).await, Found::CutOff(rows));
    }
}

#[tokio::test]
async fn a_change_that_fails_does_not_move_the_end() {
    let app = TestApp::with_owner().await;
    let db = &app.app.db;
    let before = db.audit_end();
    let mut tx = db.write().await.unwrap();
    let event = Event { action: "room.added", ..Event::default() };
    audit::append(&mut tx, &Actor::Program, event, app.app.clock.now()).await.unwrap();
    assert_eq!(db.audit_end(), before, "it moves when the change is done");
    drop(tx);
    assert_eq!(db.audit_end(), before);
    write_row(db, &app).await;
    assert!(matches!(look(db).await, Found::Holds(_)));
    assert_ne!(db.audit_end(), before);
}

#[tokio::test]
async fn a_file_of_the_end_that_is_lost_leaves_a_row_in_the_log() {
    let app = TestApp::with_owner().await;
    let db = &app.app.db;
    let file = EndFile::of(&app.folder().join("palpebra.db"));
    for spoil in [|file: &EndFile| std::fs::remove_file(file.path()), |file: &EndFile| std::fs::write(file.path(), "7")]
    {
        spoil(&file).unwrap();
        let (code, said) = command(&["doctor"], db.folder()).await;
        assert!(code == Some(1) && said.contains("nobody knows where the audit ended"), "{said}");
        let page = app.owner().await.get("/owner/audit").await;
        assert!(page.main().contains("End-of-log lost"), "{}", page.main());
        let (_, said) = command(&["doctor"], db.folder()).await;
        assert!(!said.contains("where the audit ended"), "{said}");
        let end = db.audit_end().unwrap();
        assert_eq!(end, audit::last(&mut db.read().await.unwrap()).await.unwrap());
    }
    assert_eq!(count(db, "SELECT count(*) FROM audit WHERE action = 'end-of-log.lost'").await, 2);
}

#[tokio::test]
async fn two_programs_on_one_file_move_the_same_end() {
    let app = TestApp::with_owner().await;
    let other = Db::open(&app.folder().join("palpebra.db")).await.unwrap();
    for _ in 0..3 {
        write_row(&app.app.db, &app).await;
        write_row(&other, &app).await;
        assert!(matches!(look(&other).await, Found::Holds(_)));
    }
    assert_eq!(app.app.db.audit_end(), Some(audit::last(&mut other.read().await.unwrap()).await.unwrap()));
    // An end that lies behind, as it may after a power cut, is where the chain once was.
    let before = other.audit_end().unwrap();
    write_row(&other, &app).await;
    EndFile::of(&app.folder().join("palpebra.db")).set(&before).unwrap();
    write_row(&app.app.db, &app).await;
    assert!(matches!(look(&other).await, Found::Holds(_)));
    assert_eq!(other.audit_end().unwrap().seq, before.seq + 2);
}

#[tokio::test]
async fn a_backup_that_is_taken_back_ends_where_it_ended() {
    let app = TestApp::with_owner().await;
    let folder = app.app.db.folder();
    let copy = folder.join("copy.db");
    let (code, said) = command(&["backup", "--out", copy.to_str().unwrap()], folder).await;
    assert_eq!(code, Some(0), "{said}");
    write_row(&app.app.db, &app).await;
    let after = app.app.db.audit_end();
    app.app.db.close().await;
    let (code, said) = command(&["restore", "--from", copy.to_str().unwrap()], folder).await;
    assert_eq!(code, Some(0), "{said}");
    let db = Db::open(&app.folder().join("palpebra.db")).await.unwrap();
    assert!(db.audit_end().unwrap().seq < after.as_ref().unwrap().seq);
    assert!(matches!(look(&db).await, Found::Holds(_)));
    let before = EndFile::of(&folder.join("palpebra.db.before-1"));
    assert_eq!(before.read(), after, "what was there before keeps its own");
}
