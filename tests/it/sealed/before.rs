//! What was written before there were keys is sealed when the program starts, and goes on where that was cut off.

use std::process::Stdio;
use std::time::Duration;

use palpebra::domain::ids::{AnswersId, ClientId};
use palpebra::store::{Db, StoreError, health};
use sqlx::SqlitePool;
use sqlx::sqlite::SqliteConnectOptions;

use crate::support::TestApp;
use crate::support::studio::MIA;
use crate::upgrade::{fixtures, left_by};

/// How many sets of answers wait.
const SETS: i64 = 230;

async fn open(file: &std::path::Path) -> SqlitePool {
    SqlitePool::connect_with(SqliteConnectOptions::new().filename(file)).await.unwrap()
}

async fn number(pool: &SqlitePool, sql: &'static str) -> i64 {
    sqlx::query_scalar(sql).fetch_one(pool).await.unwrap()
}

#[tokio::test]
async fn a_kill_while_records_are_sealed_loses_nothing_and_leaves_nothing_plain() {
    let (folder, file) = left_by(&fixtures().pop().unwrap().1).await;
    let pool = open(&file).await;
    let there = number(&pool, "SELECT count(*) FROM answers").await;
    for n in there..SETS {
        let id = AnswersId::from_random(u128::try_from(n).unwrap().to_be_bytes());
        let more =
            "INSERT INTO answers SELECT ?, id, 1, ?, 'x', 'client', '2026-03-02', 0, ? FROM client WHERE mail = ?";
        let body = format!(r#"{{"words":{{"text":"basalt lantern {n}"}}}}"#);
        sqlx::query(more).bind(id.as_str()).bind(body).bind(n).bind(MIA).execute(&pool).await.unwrap();
    }
    assert_eq!(number(&pool, "SELECT count(*) FROM answers").await, SETS);
    let first: Vec<(String, String)> =
        sqlx::query_as("SELECT id, body FROM answers ORDER BY id").fetch_all(&pool).await.unwrap();
    // Whoever seals the 120th row stands still there.
    let stop = format!(
        "CREATE VIEW forever AS WITH RECURSIVE n (i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 1000000000) SELECT i FROM n;
         CREATE TRIGGER stands_still BEFORE UPDATE OF body ON answers WHEN OLD.id = '{}'
         BEGIN SELECT max(i) FROM forever; END;",
        first[119].0
    );
    sqlx::raw_sql(sqlx::AssertSqlSafe(stop)).execute(&pool).await.unwrap();
    pool.close().await;

    let mut server = tokio::process::Command::new(env!("CARGO_BIN_EXE_palpebra"))
        .args(["serve", "--listen", "127.0.0.1:0", "--data"])
        .arg(folder.path())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .kill_on_drop(true)
        .spawn()
        .unwrap();
    let pool = open(&file).await;
    let sealed = "SELECT count(*) FROM answers WHERE body LIKE '\"sealed:%'";
    let mut turns = 0;
    while number(&pool, sealed).await < 100 {
        turns += 1;
        assert!(turns < 1000 && server.try_wait().unwrap().is_none(), "it never came so far");
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    server.kill().await.unwrap();
    assert_eq!(number(&pool, sealed).await, 100, "two batches are safe, the third is as it was");
    sqlx::raw_sql("DROP TRIGGER stands_still; DROP VIEW forever").execute(&pool).await.unwrap();
    pool.close().await;
    assert!(matches!(Db::open(&file).await, Err(StoreError::Older)), "nothing but an upgrade goes on with it");

    let db = Db::upgrade(&file).await.unwrap();
    assert!(db.check().await.unwrap().is_empty());
    let mut c = db.read().await.unwrap();
    let clients: Vec<String> =
        sqlx::query_scalar("SELECT DISTINCT client_id FROM answers").fetch_all(&mut *c).await.unwrap();
    let mut opened = Vec::new();
    for client in clients {
        let client = ClientId::parse(&client).unwrap();
        for given in health::answers(&mut c, &client).await.unwrap() {
            opened.push((given.id.to_string(), serde_json::to_value(&given.set.answers).unwrap()));
        }
    }
    opened.sort_by(|a, b| a.0.cmp(&b.0));
    let first: Vec<_> = first.into_iter().map(|(id, body)| (id, serde_json::from_str(&body).unwrap())).collect();
    assert_eq!(opened, first);
    drop(c);
    db.close().await;
    for name in ["palpebra.db", "palpebra.db-wal"] {
        let bytes = std::fs::read(folder.path().join(name)).unwrap_or_default();
        assert!(!bytes.windows(14).any(|part| part == b"basalt lantern"), "{name}");
    }
    // The door is shut again.
    let pool = open(&file).await;
    let answers = sqlx::query("UPDATE answers SET body = '{}'").execute(&pool).await.unwrap_err();
    assert!(answers.to_string().contains("answers are followed"), "{answers}");
    let opens = sqlx::query("INSERT INTO unsealed SELECT 'answers', id FROM answers").execute(&pool).await.unwrap_err();
    assert!(opens.to_string().contains("what is sealed stays sealed"), "{opens}");
    pool.close().await;
}

/// A new file is made with nothing to seal.
#[tokio::test]
async fn a_new_studio_has_nothing_plain() {
    let (app, _) = TestApp::with_studio().await;
    let pool = open(&app.folder().join("palpebra.db")).await;
    assert_eq!(number(&pool, "SELECT count(*) FROM unsealed").await, 0);
    assert_eq!(number(&pool, "SELECT count(*) FROM answers WHERE body NOT LIKE '\"sealed:%' OR sha256 <> ''").await, 0);
    pool.close().await;
}

/// A copy from before there were keys holds her in plain, and she was erased since.
#[tokio::test]
async fn whoever_was_erased_since_is_sealed_so_that_nobody_can_open_it() {
    let (folder, file) = left_by(&fixtures().pop().unwrap().1).await;
    let pool = open(&file).await;
    let mia: String =
        sqlx::query_scalar("SELECT id FROM client WHERE mail = ?").bind(MIA).fetch_one(&pool).await.unwrap();
    pool.close().await;
    let other = Db::open(&folder.path().join("other.db")).await.unwrap();
    other.destroy_keys(std::slice::from_ref(&mia)).await.unwrap();
    other.close().await;
    let db = Db::upgrade(&file).await.unwrap();
    let people = db.sealed_people().await.unwrap();
    assert_eq!((people.erased, people.missing), (vec![mia.clone()], Vec::new()));
    assert!(people.readable > 0, "others can be read");
    let mia = ClientId::parse(&mia).unwrap();
    let error = health::answers(&mut db.read().await.unwrap(), &mia).await.map(|_| ()).expect_err("she was erased");
    assert!(error.to_string().contains("was erased, and her key with her"), "{error}");
    db.close().await;
    let bytes = std::fs::read(&file).unwrap();
    assert!(!bytes.windows(14).any(|part| part == br#""atopy":"yes","#), "nothing of hers is left");
}
