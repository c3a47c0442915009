//! Every part of a record that tells of her health is sealed, each cell in its own place.

use palpebra::actions::backup;
use palpebra::app::App;
use palpebra::domain::catalogue::ServiceKind;
use palpebra::domain::consent::{ConsentRecord, TypedName};
use palpebra::domain::fingerprint::Fingerprint;
use palpebra::domain::ids::{ClientId, ConsentId, HoldId, LetterId, PastVisitId, ReactionId, TakeoverId, VisitId};
use palpebra::domain::letter::{Letter, LetterDraft};
use palpebra::domain::reaction::{Level, State};
use palpebra::domain::readiness::Readiness;
use palpebra::domain::role::Actor;
use palpebra::domain::skin_test::{ReadBy, Reading, SkinTest, TestResult, VoidCause};
use palpebra::domain::steps::{Plan, Trait};
use palpebra::domain::takeover::PastVisit;
use palpebra::store::chair::Check;
use palpebra::store::erasure::{self, Ground, Part};
use palpebra::store::holds::{self, Hold};
use palpebra::store::letters::{self, StoredLetter};
use palpebra::store::reactions::{Body, Entry, Reaction};
use palpebra::store::skin_tests::StoredTest;
use palpebra::store::treatments::{Outcome, Start};
use palpebra::store::verdicts::Judged;
use palpebra::store::{
    Connection, Db, StoreError, chair, health, reactions, skin_tests, takeovers, treatments, verdicts,
};
use sqlx::SqlitePool;
use sqlx::sqlite::SqliteConnectOptions;
use time::Duration;

use super::{MARK, marked, refused, with_mark};
use crate::support::TestApp;
use crate::support::app::NOW;
use crate::support::studio::{GOOD_BATCH, Studio};
use crate::upgrade::{fixtures, left_by};

/// What is sealed beside answers and files: table, column, and how the test's row is found.
const CELLS: [(&str, &str); 19] = [
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
    ("skin_test", "voided"),
    ("skin_test_reading", "note"),
    ("reaction_entry", "body"),
    ("consent", "body"),
    ("letter", "body"),
    ("letter", "set_aside_why"),
    ("hold", "why"),
    ("hold", "lifted_why"),
    ("past_visit", "note"),
];

/// How many of them hold the mark: a trait, the word of a verdict and why a test no longer counts can't.
const MARKS: usize = CELLS.len() - 3;

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
        voiding: None,
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
    skin_tests::void(&mut tx, &test.test.id, VoidCause::Mistake).await.unwrap();
    tx.commit().await.unwrap();
    papers(app, studio, client).await;
    visit
}

/// What she signed and what came with her, with the mark in each.
async fn papers(app: &App, studio: &Studio, client: &ClientId) {
    studio.consent(client, &studio.lift).await;
    let paper = marked(app, studio, client).await;
    let mut tx = app.db.write().await.unwrap();
    let mut consent = health::consents(&mut tx, client).await.unwrap().remove(0);
    consent.id = ConsentId::from_random(app.random.id());
    if let ConsentRecord::Signed(signed) = &mut consent.record {
        signed.name = TypedName::parse(MARK).unwrap();
    }
    health::add_consent(&mut tx, &consent).await.unwrap();
    let letter = LetterDraft {
        id: LetterId::from_random(app.random.id()),
        clinician: MARK.to_owned(),
        dated: NOW.date(),
        expires: NOW.date(),
        questions: ["glaucoma".to_owned()].into(),
        services: [ServiceKind::LashLift].into(),
        file: Fingerprint::of(b"x"),
    };
    let letter = StoredLetter {
        letter: Letter::parse(letter, NOW.date()).unwrap(),
        client: client.clone(),
        file: paper,
        added_by: "client".to_owned(),
        added_at: NOW,
        read: None,
        set_aside: None,
    };
    letters::insert(&mut tx, &letter).await.unwrap();
    assert!(letters::set_aside(&mut tx, letter.letter.id(), "Liv Tannhauer", MARK, NOW).await.unwrap());
    assert!(!letters::set_aside(&mut tx, letter.letter.id(), "Liv Tannhauer", "again", NOW).await.unwrap());
    let hold = Hold {
        id: HoldId::from_random(app.random.id()),
        client: client.clone(),
        why: MARK.to_owned(),
        set_by: "Runa Ostfeld".to_owned(),
        set_at: NOW,
        lifted: None,
    };
    holds::set(&mut tx, &hold).await.unwrap();
    assert_eq!(holds::lift(&mut tx, &hold.id, "Runa Ostfeld", MARK, NOW).await.unwrap(), Some(client.clone()));
    assert_eq!(holds::lift(&mut tx, &hold.id, "Runa Ostfeld", "again", NOW).await.unwrap(), None);
    let before =
        PastVisit { service: studio.lift.clone(), on: time::macros::date!(2025 - 01 - 02), note: MARK.to_owned() };
    let id = PastVisitId::from_random(app.random.id());
    takeovers::add_visit(&mut tx, &id, client, &before, NOW - Duration::days(400), NOW).await.unwrap();
    tx.commit().await.unwrap();
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
        all.extend(test.test.voided.map(|cause| cause.as_str().to_owned()));
        all.extend(test.notes.into_iter().map(|(note, _)| note));
    }
    for entry in reactions::of_client(c, client).await?.into_iter().flat_map(|one| one.entries) {
        all.push(serde_json::to_string(&entry.body).unwrap());
    }
    for consent in health::consents(c, client).await? {
        all.push(serde_json::to_string(&consent.record).unwrap());
    }
    for letter in letters::of_client(c, client).await? {
        all.push(serde_json::to_string(&letter.letter).unwrap());
        all.extend(letter.set_aside.map(|(_, _, why)| why));
    }
    for hold in holds::of_client(c, client).await? {
        all.push(hold.why);
        all.extend(hold.lifted.map(|(_, _, why)| why));
    }
    all.extend(takeovers::visits_of(c, client).await?.into_iter().map(|before| before.visit.note));
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
    assert!(all.contains(&"mistake".to_owned()));
    let made = backup::make(&app.app, &Actor::Program).await.unwrap();
    assert_eq!(made.trouble, "");
    assert!(app.folder().join("palpebra.db-wal").metadata().unwrap().len() > 0, "the log is looked at too");
    assert_eq!(with_mark(app.folder()), Vec::<String>::new());
    app.app.db.fold().await.unwrap();
    assert_eq!(with_mark(app.folder()), Vec::<String>::new());
    assert_eq!(plain(&open(&app.folder().join("palpebra.db")).await).await, 0);
}

/// What somebody with the file in her hands moves elsewhere is refused, and told by its name.
#[tokio::test]
async fn a_value_that_was_moved_is_refused_and_named() {
    let (app, studio) = TestApp::with_studio().await;
    let visit = filled(&app.app, &studio, &studio.mia, 1).await;
    let pool = open(&app.folder().join("palpebra.db")).await;
    let guards = "SELECT name FROM sqlite_schema WHERE type = 'trigger' AND sql LIKE '%BEFORE UPDATE%'";
    let guards: Vec<String> = sqlx::query_scalar(guards).fetch_all(&pool).await.unwrap();
    for guard in guards {
        run(&pool, format!("DROP TRIGGER {guard}")).await;
    }
    let foreign = "(SELECT body FROM answers ORDER BY rowid LIMIT 1)";
    for (table, column) in CELLS {
        run(&pool, format!("CREATE TABLE kept AS SELECT * FROM {table}")).await;
        for moved in [foreign, "'{}'", "'\"sealed:\"'"] {
            assert!(run(&pool, format!("UPDATE {table} SET {column} = {moved}")).await > 0);
            let mut c = app.app.db.read().await.unwrap();
            refused(told(&mut c, &studio.mia, &visit).await, &format!("{table}.{column} of "));
        }
        if table == "treatment_version" {
            // The first version's in the place of the second's.
            let other = format!("(SELECT {column} FROM kept WHERE version = 1)");
            run(&pool, format!("UPDATE {table} SET {column} = {other}")).await;
            let mut c = app.app.db.read().await.unwrap();
            refused(told(&mut c, &studio.mia, &visit).await, "/2 can't be read");
        }
        let key = match table {
            "treatment_version" => "version",
            _ if table.starts_with("visit_") => "visit_id",
            _ => "id",
        };
        run(&pool, format!("UPDATE {table} AS t SET {column} = k.{column} FROM kept k WHERE k.{key} = t.{key}")).await;
        run(&pool, "DROP TABLE kept".to_owned()).await;
    }
    let all = told(&mut app.app.db.read().await.unwrap(), &studio.mia, &visit).await.unwrap();
    assert_eq!(marks(&all), MARKS);
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
        health::consents(&mut c, &zoe).await.map(drop),
        letters::of_client(&mut c, &zoe).await.map(drop),
        holds::of_client(&mut c, &zoe).await.map(drop),
        takeovers::visits_of(&mut c, &zoe).await.map(drop),
    ];
    for one in gone {
        refused(one, "erased, and her key with her");
    }
    assert_eq!(marks(&told(&mut c, &studio.mia, &mias).await.unwrap()), MARKS);
}

/// Rows as they were written before anything was sealed, with the mark in each.
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
        format!("UPDATE skin_test SET site = '{MARK}', voided = 'mistake'"),
        format!("UPDATE skin_test_reading SET note = '{MARK}'"),
        "INSERT INTO reaction (id, client_id, state, level, began_at, reported_at)
         SELECT 'aaaaaaaaaaaaaaaaaaaaaaaaaa', client_id, 'settled', 'mild', 1, 1 FROM treatment"
            .to_owned(),
        format!(
            "INSERT INTO reaction_entry (reaction_id, body, written_by, written_at)
             SELECT id, '{{\"kind\":\"reopened\",\"why\":\"{MARK}\"}}', 'Liv', 2 FROM reaction"
        ),
        format!(
            "INSERT INTO consent (id, client_id, text_version, body, invitations, given_at)
             SELECT 'bbbbbbbbbbbbbbbbbbbbbbbbbb', t.client_id, 1, replace(c.body, 'Mia Sandgren', '{MARK}'), 0, 4
             FROM treatment t JOIN consent c ON c.client_id = t.client_id LIMIT 1"
        ),
        "INSERT INTO file SELECT 'cccccccccccccccccccccccccc', client_id, 'letter', 'l', 'pdf', '', x'25', NULL, 'client', 1
         FROM treatment"
            .to_owned(),
        format!(
            "INSERT INTO letter
             SELECT 'dddddddddddddddddddddddddd', client_id, 'cccccccccccccccccccccccccc',
                    '{{\"id\":\"dddddddddddddddddddddddddd\",\"clinician\":\"{MARK}\",\"dated\":\"2026-01-02\",
                      \"expires\":\"2026-01-02\",\"questions\":[\"glaucoma\"],\"services\":[\"lash_lift\"],\"file\":\"{}\"}}',
                    'client', 1, NULL, NULL, 'Liv', 2, '{MARK}' FROM treatment",
            Fingerprint::of(b"x")
        ),
        format!(
            "INSERT INTO hold SELECT 'eeeeeeeeeeeeeeeeeeeeeeeeee', client_id, '{MARK}', 'x', 1, '{MARK}', 'x', 2
             FROM treatment"
        ),
        format!(
            "INSERT INTO past_visit SELECT 'ffffffffffffffffffffffffff', client_id, (SELECT min(id) FROM service),
                '2025-01-02', 1, '{MARK}', 1 FROM treatment"
        ),
        format!(
            "INSERT INTO takeover (id, body, added_by, added_at)
             VALUES ('gggggggggggggggggggggggggg', CAST('name;{MARK}' AS BLOB), 'Runa', 1772438400)"
        ),
    ]
}

/// A file of the last version before anything was sealed, with the mark in each part of one record: who she is, and at which
/// visit.
async fn plain_file() -> (tempfile::TempDir, std::path::PathBuf, ClientId, VisitId) {
    let (folder, file) = left_by(&fixtures().into_iter().next().unwrap().1).await;
    let pool = open(&file).await;
    let older = tempfile::tempdir().unwrap();
    for entry in std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/migrations")).unwrap() {
        let name = entry.unwrap().file_name().into_string().unwrap();
        if name.split_once('_').is_some_and(|(number, _)| number.parse::<u32>().unwrap() < 140) {
            std::fs::copy(format!("{}/migrations/{name}", env!("CARGO_MANIFEST_DIR")), older.path().join(&name))
                .unwrap();
        }
    }
    sqlx::migrate::Migrator::new(older.path()).await.unwrap().run(&pool).await.unwrap();
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
    let mut c = db.read().await.unwrap();
    let file_to_take_over = TakeoverId::parse("gggggggggggggggggggggggggg").unwrap();
    let body = takeovers::body(&mut c, &file_to_take_over).await.unwrap();
    assert_eq!(String::from_utf8(body).unwrap(), format!("name;{MARK}"));
    let signed: i64 =
        sqlx::query_scalar("SELECT count(*) FROM consent WHERE signed = 1").fetch_one(&mut *c).await.unwrap();
    assert_eq!(signed, 4, "three of the first version, and this one");
    drop(c);
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
        ("consent SET body = '{}'", "withdrawn, not changed"),
        ("consent SET signed = 0", "withdrawn, not changed"),
        ("letter SET body = '{}'", "set aside, not changed"),
        ("hold SET why = 'x'", "a hold is lifted"),
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

/// A file with everybody's notes is sealed while it lies here, under the key of its day.
#[tokio::test]
async fn a_file_that_is_being_taken_over_is_in_no_byte_and_its_key_goes_with_it() {
    let (app, _) = TestApp::with_studio().await;
    let (one, other) = ([1, 2].map(|n| TakeoverId::from_random([n; 16]))).into();
    let keys = async || {
        let pool = open(&app.folder().join("palpebra.keys")).await;
        let all = "SELECT who FROM person_key WHERE who LIKE 'drafts %'";
        let all: Vec<String> = sqlx::query_scalar(all).fetch_all(&pool).await.unwrap();
        pool.close().await;
        all
    };
    let mut tx = app.app.db.write().await.unwrap();
    for id in [&one, &other] {
        takeovers::insert(&mut tx, id, MARK.as_bytes(), "Runa Ostfeld", NOW).await.unwrap();
    }
    tx.commit().await.unwrap();
    assert_eq!(takeovers::body(&mut app.app.db.read().await.unwrap(), &one).await.unwrap(), MARK.as_bytes());
    assert_eq!(with_mark(app.folder()), Vec::<String>::new());
    assert_eq!(keys().await, ["drafts 2026-03-02"]);
    let mut tx = app.app.db.write().await.unwrap();
    takeovers::finish(&mut tx, &one, "{}", NOW).await.unwrap();
    tx.commit().await.unwrap();
    assert_eq!(takeovers::body(&mut app.app.db.read().await.unwrap(), &one).await.unwrap(), b"");
    app.app.clock.advance(Duration::hours(73));
    palpebra::jobs::housekeeping::sweep(&app.app).await.unwrap();
    assert_eq!(keys().await, Vec::<String>::new());
}
