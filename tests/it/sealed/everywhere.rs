//! Every part of a record that tells of her health is sealed, each cell in its own place.

use palpebra::actions::backup;
use palpebra::app::App;
use palpebra::domain::catalogue::ServiceKind;
use palpebra::domain::ids::{ClientId, ReactionId, VisitId};
use palpebra::domain::reaction::{Level, State};
use palpebra::domain::readiness::Readiness;
use palpebra::domain::role::Actor;
use palpebra::domain::skin_test::{ReadBy, Reading, SkinTest, TestResult};
use palpebra::domain::steps::{Plan, Trait};
use palpebra::store::chair::Check;
use palpebra::store::erasure::{self, Ground, Part};
use palpebra::store::reactions::{Body, Entry, Reaction};
use palpebra::store::skin_tests::StoredTest;
use palpebra::store::treatments::{Outcome, Start};
use palpebra::store::verdicts::Judged;
use palpebra::store::{Connection, Db, StoreError, chair, reactions, skin_tests, treatments, verdicts};
use sqlx::SqlitePool;
use sqlx::sqlite::SqliteConnectOptions;
use time::Duration;

use super::{MARK, refused, with_mark};
use crate::support::TestApp;
use crate::support::app::NOW;
use crate::support::studio::{GOOD_BATCH, Studio};
use crate::upgrade::{fixtures, left_by};

/// What is sealed beside answers and files: table, column, and how the test's row is found.
const CELLS: [(&str, &str); 12] = [
    ("visit_verdict", "booked"),
    ("visit_verdict", "latest"),
    ("visit_start", "verdict"),
    ("visit_start", "readiness"),
    ("visit_start", "reason"),
    ("visit_check", "on_the_day"),
    ("visit_check", "traits"),
    ("treatment_version", "notes"),
    ("treatment_version", "reason"),
    ("skin_test", "site"),
    ("skin_test_reading", "note"),
    ("reaction_entry", "body"),
];

/// How many of them hold the mark: a trait and the word of a verdict can't.
const MARKS: usize = CELLS.len() - 2;

/// A verdict that says the mark.
fn said() -> Readiness {
    let reason = serde_json::json!({
        "about": "answers", "rule": "x", "version": 1, "verdict": "note", "start": "yes", "from": null, "clears": [],
        "basis": { "kind": "practice" }, "say": MARK, "details": [], "letter": null,
    });
    let said = serde_json::json!({
        "verdict": "note", "start": "yes", "from": null, "on": "2026-03-02", "answers_given_on": null, "reasons": [reason],
    });
    serde_json::from_value(said).unwrap()
}

/// She has the mark in every part of her record; at this visit, so many days ago.
async fn filled(app: &App, studio: &Studio, client: &ClientId, days: i64) -> VisitId {
    let at = NOW - Duration::days(days);
    let treatment = studio.treated(client, &studio.lift, at, Outcome::AsWished, &[]).await;
    let mut tx = app.db.write().await.unwrap();
    let treatment = treatments::get(&mut tx, &treatment).await.unwrap().unwrap();
    let visit = treatment.visit.clone();
    let mut second = treatment.current().unwrap().clone();
    (second.version, second.notes, second.reason) = (2, MARK.to_owned(), MARK.to_owned());
    treatments::add_version(&mut tx, &treatment.id, &second).await.unwrap();
    let start = Start {
        verdict: "note".to_owned(),
        readiness: serde_json::to_string(&said()).unwrap(),
        reason: MARK.to_owned(),
        started_by: "Liv Tannhauer".to_owned(),
        started_at: NOW,
    };
    treatments::add_start(&mut tx, &visit, &start).await.unwrap();
    let check = Check {
        on_the_day: vec![MARK.to_owned()],
        hygiene: Vec::new(),
        traits: vec![Trait::Fine],
        plan: Plan::shipped(ServiceKind::LashLift),
        by: "Liv Tannhauer".to_owned(),
        at: NOW,
    };
    chair::add_check(&mut tx, &visit, &check).await.unwrap();
    let judged = Judged { booked: said(), latest: said(), judged_at: NOW, changed_at: None };
    verdicts::keep(&mut tx, &visit, &judged).await.unwrap();
    let test = StoredTest {
        test: SkinTest {
            id: palpebra::domain::ids::SkinTestId::from_random(app.random.id()),
            product: studio.tint.clone(),
            applied_at: NOW,
            reliable: true,
            voided: None,
            readings: Vec::new(),
        },
        client: client.clone(),
        visit: None,
        practitioner: None,
        batch: GOOD_BATCH.to_owned(),
        site: MARK.to_owned(),
        notes: Vec::new(),
    };
    skin_tests::insert(&mut tx, &test, NOW).await.unwrap();
    let reading = Reading { at: NOW, result: TestResult::NoVisibleChange, by: ReadBy::Practitioner };
    skin_tests::add_reading(&mut tx, &test.test.id, &reading, MARK, "Liv Tannhauer", NOW).await.unwrap();
    let reaction = Reaction {
        id: ReactionId::from_random(app.random.id()),
        client: client.clone(),
        visit: Some(visit.clone()),
        skin_test: None,
        state: State::Settled,
        level: Level::Mild,
        began_at: NOW,
        reported_at: NOW,
        due_at: None,
        products: Vec::new(),
        entries: Vec::new(),
    };
    reactions::insert(&mut tx, &reaction).await.unwrap();
    let body = Body::Settled { outcome: MARK.to_owned(), corrective: String::new() };
    let entry = Entry { body, written_by: "Liv Tannhauer".to_owned(), written_at: NOW };
    reactions::add(&mut tx, &reaction, &entry).await.unwrap();
    tx.commit().await.unwrap();
    visit
}

/// What every part of her record tells.
async fn told(c: &mut Connection, client: &ClientId, visit: &VisitId) -> Result<Vec<String>, StoreError> {
    let mut all = Vec::new();
    if let Some(judged) = verdicts::of_visit(c, visit).await? {
        all.extend([&judged.booked, &judged.latest].map(|said| serde_json::to_string(said).unwrap()));
    }
    if let Some(start) = treatments::start(c, visit).await? {
        all.extend([start.verdict, start.readiness, start.reason]);
    }
    if let Some(check) = chair::check(c, visit).await? {
        all.extend([check.on_the_day.join(", "), format!("{:?}", check.traits)]);
    }
    for version in treatments::of_client(c, client).await?.into_iter().flat_map(|one| one.versions) {
        all.extend([version.notes, version.reason]);
    }
    for test in skin_tests::of_client(c, client).await? {
        all.push(test.site);
        all.extend(test.notes.into_iter().map(|(note, _)| note));
    }
    for entry in reactions::of_client(c, client).await?.into_iter().flat_map(|one| one.entries) {
        all.push(serde_json::to_string(&entry.body).unwrap());
    }
    Ok(all)
}

fn marks(told: &[String]) -> usize {
    told.iter().filter(|text| text.contains(MARK)).count()
}

async fn open(file: &std::path::Path) -> SqlitePool {
    SqlitePool::connect_with(SqliteConnectOptions::new().filename(file)).await.unwrap()
}

async fn run(pool: &SqlitePool, sql: String) -> u64 {
    sqlx::query(sqlx::AssertSqlSafe(sql)).execute(pool).await.unwrap().rows_affected()
}

/// How many cells hold something that isn't sealed.
async fn plain(pool: &SqlitePool) -> i64 {
    let mut found = 0;
    for (table, column) in CELLS {
        let sql = format!("SELECT count(*) FROM {table} WHERE {column} IS NOT NULL AND {column} NOT LIKE '\"sealed:%'");
        found += sqlx::query_scalar::<_, i64>(sqlx::AssertSqlSafe(sql)).fetch_one(pool).await.unwrap();
    }
    found
}

#[tokio::test]
async fn no_part_of_a_record_is_in_the_bytes_of_any_file() {
    let (app, studio) = TestApp::with_studio().await;
    let visit = filled(&app.app, &studio, &studio.mia, 1).await;
    let all = told(&mut app.app.db.read().await.unwrap(), &studio.mia, &visit).await.unwrap();
    assert_eq!(marks(&all), MARKS, "{all:#?}");
    assert!(all.contains(&"[Fine]".to_owned()) && all.contains(&"note".to_owned()));
    let made = backup::make(&app.app, &Actor::Program).await.unwrap();
    assert_eq!(made.trouble, "");
    assert!(app.folder().join("palpebra.db-wal").metadata().unwrap().len() > 0, "the log is looked at too");
    assert_eq!(with_mark(app.folder()), Vec::<String>::new());
    app.app.db.fold().await.unwrap();
    assert_eq!(with_mark(app.folder()), Vec::<String>::new());
    assert_eq!(plain(&open(&app.folder().join("palpebra.db")).await).await, 0);
}

/// A backup from before an erasure says nothing of her, and all of everybody else.
#[tokio::test]
async fn no_part_of_a_record_can_be_read_in_a_backup_from_before_an_erasure() {
    let (app, studio) = TestApp::with_studio().await;
    let zoe = studio.client("Zoë Birkholm", "zoe@clients.example.org", time::macros::date!(1988 - 02 - 03)).await;
    let hers = filled(&app.app, &studio, &zoe, 2).await;
    let mias = filled(&app.app, &studio, &studio.mia, 1).await;
    let made = backup::make(&app.app, &Actor::Program).await.unwrap();
    let mut tx = app.app.db.write().await.unwrap();
    let ground = Ground { actor: &Actor::Program, object: "", detail: "" };
    erasure::erase(&mut tx, &zoe, Part::Record, &ground, NOW).await.unwrap();
    tx.commit().await.unwrap();
    assert_eq!(app.app.db.destroy_keys(&[zoe.to_string()]).await.unwrap(), 1);

    let fresh = tempfile::tempdir().unwrap();
    let file = fresh.path().join("palpebra.db");
    std::fs::copy(app.folder().join("backups").join(made.file), &file).unwrap();
    app.app.db.copy_keys_to(&fresh.path().join("palpebra.keys")).await.unwrap();
    std::fs::copy(app.folder().join("palpebra.master"), fresh.path().join("palpebra.master")).unwrap();
    let db = Db::open(&file).await.unwrap();
    assert_eq!(db.sealed_people().await.unwrap().erased, [zoe.to_string()]);
    let mut c = db.read().await.unwrap();
    refused(told(&mut c, &zoe, &hers).await, "whom it belongs to was erased, and her key with her");
    let gone = [
        verdicts::of_visit(&mut c, &hers).await.map(drop),
        treatments::start(&mut c, &hers).await.map(drop),
        chair::check(&mut c, &hers).await.map(drop),
        treatments::of_client(&mut c, &zoe).await.map(drop),
        skin_tests::of_client(&mut c, &zoe).await.map(drop),
        reactions::of_client(&mut c, &zoe).await.map(drop),
    ];
    for one in gone {
        refused(one, "erased, and her key with her");
    }
    assert_eq!(marks(&told(&mut c, &studio.mia, &mias).await.unwrap()), MARKS);
}

/// Rows as the first version wrote them, with the mark in each.
fn before(visit: &str) -> Vec<String> {
    let said = serde_json::to_string(&said()).unwrap();
    vec![
        format!("INSERT OR REPLACE INTO visit_verdict VALUES ('{visit}', '{said}', '{said}', 1, NULL)"),
        format!("INSERT INTO visit_start VALUES ('{visit}', 'note', '{said}', '{MARK}', 'Liv', 1)"),
        format!(
            "INSERT INTO visit_check VALUES ('{visit}', '[\"{MARK}\"]', '[]', '[\"fine\"]', '{}', 'Liv', 1)",
            serde_json::to_string(&Plan::shipped(ServiceKind::LashLift)).unwrap()
        ),
        format!(
            "INSERT INTO treatment_version (treatment_id, version, service_id, practitioner_id, started_at, ended_at, notes,
                aftercare_given, outcome, reason, written_by, written_at)
             SELECT treatment_id, 2, service_id, practitioner_id, 1, 2, '{MARK}', 1, outcome, '{MARK}', 'Liv', 3
             FROM treatment_version"
        ),
        format!("UPDATE skin_test SET site = '{MARK}'"),
        format!("UPDATE skin_test_reading SET note = '{MARK}'"),
        "INSERT INTO reaction (id, client_id, state, level, began_at, reported_at)
         SELECT 'aaaaaaaaaaaaaaaaaaaaaaaaaa', client_id, 'settled', 'mild', 1, 1 FROM treatment"
            .to_owned(),
        format!(
            "INSERT INTO reaction_entry (reaction_id, body, written_by, written_at)
             SELECT id, '{{\"kind\":\"reopened\",\"why\":\"{MARK}\"}}', 'Liv', 2 FROM reaction"
        ),
    ]
}

/// The first version's file with the mark in each part of one record: who she is, and at which visit.
async fn plain_file() -> (tempfile::TempDir, std::path::PathBuf, ClientId, VisitId) {
    let (folder, file) = left_by(&fixtures().into_iter().next().unwrap().1).await;
    let pool = open(&file).await;
    let row = "SELECT client_id, visit_id FROM treatment";
    let (client, visit): (String, String) = sqlx::query_as(row).fetch_one(&pool).await.unwrap();
    for sql in before(&visit) {
        assert!(run(&pool, sql.clone()).await > 0, "{sql}");
    }
    pool.close().await;
    (folder, file, ClientId::parse(&client).unwrap(), VisitId::parse(&visit).unwrap())
}

#[tokio::test]
async fn what_was_written_in_plain_is_sealed_by_the_upgrade_and_none_of_it_is_left() {
    let (folder, file, client, visit) = plain_file().await;
    assert!(!with_mark(folder.path()).is_empty(), "the search finds what is there");
    let db = Db::upgrade(&file).await.unwrap();
    let all = told(&mut db.read().await.unwrap(), &client, &visit).await.unwrap();
    assert_eq!(marks(&all), MARKS, "{all:#?}");
    assert!(db.check().await.unwrap().is_empty());
    assert_eq!(db.sealed_people().await.unwrap().missing, Vec::<String>::new());
    db.close().await;
    assert_eq!(with_mark(folder.path()), Vec::<String>::new());
    let pool = open(&file).await;
    assert_eq!(plain(&pool).await, 0);
    for (table, word) in [
        ("treatment_version SET notes = ''", "corrected by a new version"),
        ("visit_check SET traits = '[]'", "stays as it was"),
        ("reaction_entry SET body = '{}'", "added to, not changed"),
    ] {
        let sql = sqlx::AssertSqlSafe(format!("UPDATE {table}"));
        let shut = sqlx::query(sql).execute(&pool).await.unwrap_err();
        assert!(shut.to_string().contains(word), "{shut}");
    }
}

/// A copy from before there were keys holds her in plain, and she was erased since.
#[tokio::test]
async fn whoever_was_erased_since_is_sealed_in_every_part_so_that_nobody_can_open_it() {
    let (folder, file, client, visit) = plain_file().await;
    let other = Db::open(&folder.path().join("other.db")).await.unwrap();
    other.destroy_keys(&[client.to_string()]).await.unwrap();
    other.close().await;
    let db = Db::upgrade(&file).await.unwrap();
    let read = told(&mut db.read().await.unwrap(), &client, &visit).await;
    refused(read, "whom it belongs to was erased, and her key with her");
    db.close().await;
    assert_eq!(with_mark(folder.path()), Vec::<String>::new());
}
