//! Somebody changes the audit behind the program's back: the chain shows it.

use palpebra::store::{Connection, audit};
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};

use crate::support::TestApp;
use crate::support::app::OWNER;

/// The columns that a row's hash is made of, and the hashes themselves.
const COLUMNS: [&str; 10] =
    ["actor_kind", "actor_id", "actor_name", "action", "client_id", "object_id", "detail", "at", "prev_hash", "hash"];

async fn run(c: &mut Connection, sql: String) -> u64 {
    sqlx::query(sqlx::AssertSqlSafe(sql)).execute(c).await.map_or(0, |done| done.rows_affected())
}

/// One change that leaves the number of rows, or takes one out, puts one in, or changes places.
async fn tamper(c: &mut Connection, dice: &mut StdRng, rows: i64, round: usize) -> bool {
    let seq = dice.random_range(1..=rows);
    match round % 5 {
        0 | 1 => {
            let column = COLUMNS[dice.random_range(0..COLUMNS.len())];
            let new = match column {
                "at" => "at + 1".to_owned(),
                "actor_kind" => "CASE actor_kind WHEN 'owner' THEN 'practitioner' ELSE 'owner' END".to_owned(),
                other => format!("substr({other}, 2) || 'x'"),
            };
            run(c, format!("UPDATE audit SET {column} = {new} WHERE seq = {seq}")).await == 1
        }
        // Not the last row: that the end was cut off a chain can't show by itself.
        2 => run(c, format!("DELETE FROM audit WHERE seq = {}", dice.random_range(1..rows))).await == 1,
        3 => {
            let columns =
                "at, actor_kind, actor_id, actor_name, action, client_id, object_id, detail, prev_hash, hash || 'x'";
            run(c, format!("INSERT INTO audit SELECT {}, {columns} FROM audit WHERE seq = {seq}", rows + 1)).await == 1
        }
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
    let mut dice = StdRng::seed_from_u64(14);
    let rounds = std::env::var("PALPEBRA_TAMPERINGS").map_or(200, |rounds| rounds.parse().unwrap());
    let mut tried = 0;
    for round in 0..rounds {
        // Each in a transaction that is dropped, so that the next one begins with what is true.
        let mut tx = app.app.db.write().await.unwrap();
        run(&mut tx, "DROP TRIGGER audit_stays".to_owned()).await;
        run(&mut tx, "DROP TRIGGER audit_is_kept".to_owned()).await;
        if tamper(&mut tx, &mut dice, rows, round).await {
            assert!(audit::verify(&mut tx).await.unwrap().is_err(), "round {round}");
            tried += 1;
        }
    }
    assert!(tried * 10 > rounds * 8, "{tried} of {rounds}");
    let mut tx = app.app.db.write().await.unwrap();
    assert_eq!(run(&mut tx, "UPDATE audit SET at = at + 1".to_owned()).await, 0, "the program itself can't");
    assert_eq!(run(&mut tx, "DELETE FROM audit".to_owned()).await, 0);
    assert_eq!(audit::verify(&mut tx).await.unwrap(), Ok(rows));
}
