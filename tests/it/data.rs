//! `tests/DATA.md`: every column has a class, and is kept as its class says.
#![expect(clippy::unwrap_used, clippy::panic, reason = "a test may fail where it stands")]

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use palpebra::domain::ids::ClientId;
use palpebra::store::{Connection, Db, rows};
use sqlx::AssertSqlSafe;
use tempfile::TempDir;

use crate::owner::leaving::{demo, everybody, tables_of_clients};

const PAGE: &str = include_str!("../DATA.md");

/// The class of each column of a table that is not its table's.
struct Line<'a> {
    class: &'a str,
    but_for: BTreeMap<&'a str, &'a str>,
}

impl<'a> Line<'a> {
    fn class_of(&self, column: &str) -> &'a str {
        self.but_for.get(column).copied().unwrap_or(self.class)
    }
}

fn lines() -> BTreeMap<&'static str, Line<'static>> {
    let mut found = BTreeMap::new();
    let tables = PAGE.split("\n## The tables\n").nth(1).unwrap();
    for line in tables.lines().filter(|line| line.starts_with("| ")).skip(1) {
        let cells: Vec<&str> = line.split('|').map(str::trim).collect();
        let ["", table, class, but_for, ""] = cells[..] else { panic!("three cells: {line}") };
        let exceptions = but_for.split("; ").filter_map(|part| part.split_once(": "));
        let but_for = exceptions.flat_map(|(class, columns)| columns.split(' ').map(move |column| (column, class)));
        let line = Line { class, but_for: but_for.collect() };
        assert!(found.insert(table, line).is_none(), "{table} stands there twice");
    }
    found
}

/// What the page's first table describes.
fn classes() -> BTreeSet<&'static str> {
    let rows = PAGE.lines().filter_map(|line| line.strip_prefix("| ")).skip(1);
    rows.take(7).map(|row| row.split(" | ").next().unwrap()).collect()
}

/// Files and folders that a page names in code marks.
fn places(page: &str) -> BTreeSet<&str> {
    let quoted = page.split('`').skip(1).step_by(2);
    let tops = ["benches/", "deploy/", "migrations/", "src/", "tests/", "templates/", "static/"];
    quoted
        .map(|place| place.split("::").next().unwrap())
        .filter(|place| tops.iter().any(|top| place.starts_with(top)))
        .collect()
}

#[test]
fn every_place_that_the_pages_name_is_there() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    for page in
        [PAGE, include_str!("../GATES.md"), include_str!("../../SECURITY.md"), include_str!("../../DEVELOPERS.md")]
    {
        let places = places(page);
        assert!(places.len() > 15, "{places:?}");
        for place in places.iter().filter(|place| !place.contains(['<', '*', ' '])) {
            assert!(root.join(place).exists(), "{place}");
        }
    }
}

async fn columns(c: &mut Connection) -> BTreeMap<String, BTreeSet<String>> {
    let all: Vec<(String, String)> = sqlx::query_as(
        "SELECT m.name, c.name FROM sqlite_schema m JOIN pragma_table_info(m.name) c
         WHERE m.type = 'table' AND m.name NOT LIKE 'sqlite_%'",
    )
    .fetch_all(c)
    .await
    .unwrap();
    let mut found: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for (table, column) in all {
        found.entry(table).or_default().insert(column);
    }
    found
}

/// What [`demo`] put in by hand, for the program to seal as it seals an older file, and what it has of nobody.
const MORE: [&str; 22] = [
    "DROP TRIGGER unsealed_shut",
    "INSERT INTO unsealed SELECT 'file', 'f'",
    "INSERT INTO unsealed SELECT 'letter', 'l'",
    "INSERT INTO unsealed SELECT 'hold', 'h'",
    "INSERT INTO unsealed SELECT 'past_visit', 'p'",
    "INSERT INTO unsealed SELECT 'visit_check', visit_id FROM visit_check WHERE traits = '[]'",
    "CREATE TEMP VIEW she AS SELECT t.client_id, t.visit_id, v.service_id FROM treatment t JOIN visit v ON v.id = t.visit_id
     WHERE t.client_id = (SELECT client_id FROM past_visit WHERE id = 'p') LIMIT 1",
    "INSERT INTO chair_batch SELECT visit_id, b.product_id, b.number, 'x', 1 FROM she, batch b LIMIT 1",
    "INSERT INTO draft (id, owner_hash, service_id, client_id, created_at, touched_at) SELECT 'd', 'x', service_id, client_id, 1, 1 FROM she",
    "INSERT INTO draft_link (token_hash, draft_id, created_at) VALUES ('x', 'd', 1)",
    "INSERT INTO erasure_request SELECT client_id, 1 FROM she",
    "INSERT INTO invitation SELECT 'i', client_id, service_id, '2026-11-20', 1 FROM she",
    "INSERT INTO invitation_link (token_hash, invitation_id, created_at) VALUES ('x', 'i', 1)",
    "INSERT INTO wish (id, client_id, visit_id, from_day, weekdays, parts, created_at) SELECT 'w', client_id, visit_id, '2026-11-20', 1, 1, 1 FROM she",
    "INSERT INTO offer (id, wish_id, held_id, opening, opened_from, opened_until, expires_at, created_at) SELECT 'o', 'w', visit_id, 'x', 1, 2, 3, 1 FROM she",
    "INSERT INTO retention_list (id, month, letters, made_at) VALUES ('r', '2026-11', 0, 1)",
    "INSERT INTO retention_line (list_id, client_id, part, kept_to, why) SELECT 'r', client_id, 'record', '2036-01-01', 'x' FROM she",
    "INSERT INTO reminder SELECT visit_id, 1, 1 FROM she",
    "INSERT INTO session (token_hash, client_id, created_at, seen_at, expires_at) SELECT 'x', client_id, 1, 1, 2 FROM she",
    "INSERT INTO sign_in_link (token_hash, client_id, created_at, expires_at) SELECT 'x', client_id, 1, 2 FROM she",
    "INSERT INTO visit_guardian SELECT visit_id, 'x', 'x', 1 FROM she",
    "INSERT INTO retouch_line SELECT client_id, service_id, 1, 2, 3, 4, 'x' FROM she",
];

async fn filled() -> (TempDir, Db) {
    let folder = tempfile::tempdir().unwrap();
    let db = demo(folder.path()).await;
    let mut tx = db.write().await.unwrap();
    for sql in MORE {
        sqlx::query(sql).execute(&mut *tx).await.unwrap();
    }
    tx.commit().await.unwrap();
    drop(db);
    let db = Db::upgrade(&folder.path().join("palpebra.db")).await.unwrap();
    (folder, db)
}

/// Tables with rows about clients: by reference, or by their id or address without one.
async fn about_clients(c: &mut Connection) -> BTreeSet<String> {
    let mut found = tables_of_clients(c).await;
    // It hangs on sessions, of which those of clients have none.
    found.remove("passkey_challenge");
    found.extend(["erasure_request", "outbox", "retention_line"].map(str::to_owned));
    found
}

#[tokio::test]
async fn every_column_has_one_class() {
    let (_folder, db) = filled().await;
    let (lines, classes) = (lines(), classes());
    assert_eq!(classes.len(), 7);
    let real = columns(&mut db.read().await.unwrap()).await;
    let named: BTreeSet<&str> = lines.keys().copied().collect();
    assert_eq!(named, real.keys().map(String::as_str).collect());
    for (table, line) in &lines {
        for (column, class) in line.but_for.iter().map(|(column, class)| (*column, *class)).chain([("", line.class)]) {
            assert!(classes.contains(class), "{table}: {class}");
            assert!(column.is_empty() || real[*table].contains(column), "{table} has no {column}");
        }
    }
    let of_clients = about_clients(&mut db.read().await.unwrap()).await;
    for table in of_clients.iter().map(String::as_str).chain(["audit"]) {
        let line = &lines[table];
        let about = ["person", "health"].contains(&line.class) || line.but_for.values().any(|class| *class == "person");
        assert!(about, "{table} is about clients");
    }
}

#[tokio::test]
async fn what_is_called_sealed_is_sealed_and_nothing_else_is() {
    let folder = tempfile::tempdir().unwrap();
    let db = crate::owner::leaving::plain_demo(folder.path()).await;
    let mut c = db.read().await.unwrap();
    let (lines, mut seen) = (lines(), 0);
    for (table, columns) in columns(&mut c).await {
        for column in columns {
            let wanted = lines[table.as_str()].class_of(&column) == "sealed";
            // Other bytes may begin with a one too. What was sent or taken over leaves a cell with nothing in it.
            let bytes = if wanted { format!("hex(substr(\"{column}\", 1, 1)) = '01'") } else { "false".to_owned() };
            let sql = format!(
                "SELECT count(*), count(CASE WHEN typeof(\"{column}\") = 'blob' THEN nullif({bytes}, 0)
                     WHEN \"{column}\" LIKE '\"sealed:%' THEN 1 END)
                 FROM \"{table}\" WHERE \"{column}\" NOT IN ('{{}}', x'')"
            );
            let (all, sealed): (i64, i64) = sqlx::query_as(AssertSqlSafe(sql)).fetch_one(&mut *c).await.unwrap();
            let wanted = if wanted { all } else { 0 };
            assert_eq!(sealed, wanted, "{table}.{column}, of {all} values");
            seen += i32::from(sealed > 0);
        }
    }
    assert!(seen >= 12, "{seen} sealed columns with something in them");
}

#[tokio::test]
async fn every_column_about_a_client_is_in_the_copy_that_she_takes() {
    let (_folder, db) = filled().await;
    let mut c = db.read().await.unwrap();
    let (lines, real) = (lines(), columns(&mut c).await);
    let mut told: BTreeMap<&str, BTreeSet<String>> = BTreeMap::new();
    let (mut secrets, mut missing) = (Vec::new(), Vec::new());
    for id in everybody(&mut c).await {
        for (table, rows) in rows::of_client(&mut c, &ClientId::parse(&id).unwrap()).await.unwrap() {
            let columns = told.entry(table).or_default();
            for row in rows {
                assert!(!serde_json::to_string(&row).unwrap().contains("\"sealed:"), "{table}: {row:?}");
                columns.extend(row.into_iter().map(|(column, _)| column));
            }
        }
    }
    for table in about_clients(&mut c).await {
        let line = &lines[table.as_str()];
        let kept_back: &[&str] = match table.as_str() {
            // Files of their own beside the record.
            "file" => &["body", "thumbnail"],
            // The owner's to tell.
            "hold" => &["why", "lifted_why"],
            _ => &[],
        };
        let mut wanted = real[&table].clone();
        secrets
            .extend(wanted.iter().filter(|column| line.class_of(column) == "secret").map(|c| format!("{table}.{c}")));
        wanted.retain(|column| line.class_of(column) != "secret" && !kept_back.contains(&column.as_str()));
        if told.get(table.as_str()) != Some(&wanted) {
            missing.push(format!("{table}: {wanted:?}, not {:?}", told.get(table.as_str())));
        }
    }
    assert!(missing.is_empty(), "{missing:#?}");
    assert!(secrets.len() > 5, "{secrets:?}");
}
