//! Fills a file with treated clients, faster than the program could: its triggers rest meanwhile, and then make the
//! retouch list in one go.

use std::path::Path;

use palpebra::domain::ids::{ClientId, TreatmentId, VisitId};
use sqlx::sqlite::{SqliteConnectOptions, SqlitePoolOptions};

use super::support::{Studio, app::NOW};

const RESTING: &str = "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'
    AND (name LIKE 'visit_no%' OR name = 'retouch_after_record')";
const DAY: i64 = 86_400;

fn bits(kind: u8, number: u32) -> [u8; 16] {
    let mut bits = [kind; 16];
    bits[..4].copy_from_slice(&number.to_be_bytes());
    bits
}

/// Of each client's visits the last is still to come for every third one; all others are treated. They come about every
/// seven weeks, so that windows are in every state.
pub(super) async fn fill(file: &Path, studio: &Studio, clients: u32, each: u32) {
    let options = SqliteConnectOptions::new().filename(file).foreign_keys(false);
    let pool = SqlitePoolOptions::new().max_connections(1).connect_with(options).await.unwrap();
    let mut tx = pool.begin().await.unwrap();
    let resting: Vec<(String, String)> = sqlx::query_as(RESTING).fetch_all(&mut *tx).await.unwrap();
    assert!(resting.len() >= 5, "{resting:?}");
    for (name, _) in &resting {
        sqlx::query(sqlx::AssertSqlSafe(format!("DROP TRIGGER {name}"))).execute(&mut *tx).await.unwrap();
    }
    let today = NOW.unix_timestamp() / DAY * DAY;
    for number in 0..clients {
        let client = ClientId::from_random(bits(1, number));
        let insert = "INSERT INTO client (id, name, mail, phone, born_on, created_at) VALUES (?, ?, ?, '+493055501234', '1990-01-02', 0)";
        let insert = sqlx::query(insert).bind(client.as_str()).bind(format!("Client Number {number}"));
        insert.bind(format!("c{number}@clients.example.org")).execute(&mut *tx).await.unwrap();
        for visit in 0..each {
            let coming = visit == 0 && number % 3 == 0;
            let ago = i64::from(visit) * 49 + i64::from(number * 7 % 120);
            let day = if coming { today + DAY * i64::from(1 + number % 90) } else { today - DAY * (1 + ago) };
            let start = day + 9 * 3600 + i64::from(number % 24) * 1200;
            let id = VisitId::from_random(bits(2, number * each + visit));
            let insert =
                "INSERT INTO visit (id, purpose, state, service_id, practitioner_id, room_id, client_id, starts_at,
                    ends_at, busy_until, civil_start, zone, price_minor, currency, created_at, changed_at)
                VALUES (?1, 'treatment', ?2, ?3, ?4, ?5, ?6, ?7, ?7 + 3600, ?7 + 3600,
                    strftime('%Y-%m-%dT%H:%M', ?7, 'unixepoch'), 'Europe/Berlin', 5500, 'EUR', ?7, ?7)";
            let insert = sqlx::query(insert).bind(id.as_str()).bind(if coming { "booked" } else { "done" });
            let insert = insert.bind(studio.lift.as_str()).bind(studio.liv.as_str()).bind(studio.room.as_str());
            insert.bind(client.as_str()).bind(start).execute(&mut *tx).await.unwrap();
            if coming {
                continue;
            }
            let treatment = TreatmentId::from_random(bits(3, number * each + visit));
            let insert = "INSERT INTO treatment (id, client_id, visit_id, created_at) VALUES (?, ?, ?, ?)";
            let insert = sqlx::query(insert).bind(treatment.as_str()).bind(client.as_str()).bind(id.as_str());
            insert.bind(start).execute(&mut *tx).await.unwrap();
            let insert =
                "INSERT INTO treatment_version (treatment_id, version, service_id, practitioner_id, started_at,
                    ended_at, aftercare_given, outcome, written_by, written_at)
                VALUES (?1, 1, ?2, ?3, ?4, ?4 + 3000, 1, 'as_wished', 'Liv Tannhauer', ?4 + 3600)";
            let insert = sqlx::query(insert).bind(treatment.as_str()).bind(studio.lift.as_str());
            insert.bind(studio.liv.as_str()).bind(start).execute(&mut *tx).await.unwrap();
        }
    }
    for (_, trigger) in resting {
        sqlx::query(sqlx::AssertSqlSafe(trigger)).execute(&mut *tx).await.unwrap();
    }
    sqlx::query("INSERT INTO retouch_stale SELECT id FROM client").execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
    sqlx::query("PRAGMA optimize").execute(&pool).await.unwrap();
    pool.close().await;
}
