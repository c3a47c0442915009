//! Records leave when their time is over, and in no other way.

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Arc;

use palpebra::actions::{Pending, erasure as changes, ledger, restriction};
use palpebra::cli::seed_demo;
use palpebra::domain::ids::{AccountId, ClientId, InvitationId, MailId};
use palpebra::domain::retention::{self, Fate};
use palpebra::domain::role::{Actor, Member, Role};
use palpebra::jobs::{housekeeping, outbox};
use palpebra::mail::transport::Transport;
use palpebra::password::Passwords;
use palpebra::store::audit::Event;
use palpebra::store::erasure::{self, Ground, Part};
use palpebra::store::invitations::Invitation;
use palpebra::store::outbox as store_outbox;
use palpebra::store::retention_lists;
use palpebra::store::treatments::Outcome;
use palpebra::store::visits::Purpose;
use palpebra::store::{Connection, Db, Tx, audit, clients, files, invitations, retention as kept, studio};
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};
use time::macros::{date, datetime};
use time::{Date, Duration, OffsetDateTime};

use super::exports::with_a_past;
use crate::support::app::NOW;
use crate::support::{Person, TestApp};

/// Everything of a client that the schema guards, with how a row of hers is found.
const GUARDED: [(&str, &str); 24] = [
    ("client", "id = ?"),
    ("answers", "client_id = ?"),
    ("consent", "client_id = ?"),
    ("consent_withdrawal", "client_id = ?"),
    ("skin_test", "client_id = ?"),
    ("treatment", "client_id = ?"),
    ("letter", "client_id = ?"),
    ("reaction", "client_id = ?"),
    ("file", "client_id = ?"),
    ("hold", "client_id = ?"),
    ("visit", "client_id = ?"),
    ("treatment_version", "treatment_id IN (SELECT id FROM treatment WHERE client_id = ?)"),
    ("treatment_product", "treatment_id IN (SELECT id FROM treatment WHERE client_id = ?)"),
    ("treatment_time", "treatment_id IN (SELECT id FROM treatment WHERE client_id = ?)"),
    ("skin_test_reading", "skin_test_id IN (SELECT id FROM skin_test WHERE client_id = ?)"),
    ("reaction_entry", "reaction_id IN (SELECT id FROM reaction WHERE client_id = ?)"),
    ("reaction_product", "reaction_id IN (SELECT id FROM reaction WHERE client_id = ?)"),
    ("visit_start", "visit_id IN (SELECT id FROM visit WHERE client_id = ?)"),
    ("visit_check", "visit_id IN (SELECT id FROM visit WHERE client_id = ?)"),
    ("visit_shield", "visit_id IN (SELECT id FROM visit WHERE client_id = ?)"),
    ("chair_event", "visit_id IN (SELECT id FROM visit WHERE client_id = ?)"),
    ("deposit", "visit_id IN (SELECT id FROM visit WHERE client_id = ?)"),
    ("taking", "visit_id IN (SELECT id FROM visit WHERE client_id = ?)"),
    ("past_visit", "client_id = ?"),
];

async fn rows(c: &mut Connection, table: &str, of: &str, id: &str) -> i64 {
    let sql = sqlx::AssertSqlSafe(format!("SELECT count(*) FROM {table} WHERE {of}"));
    sqlx::query_scalar(sql).bind(id).fetch_one(c).await.unwrap()
}

async fn try_to(tx: &mut Tx, sql: &str, id: &str) -> Result<u64, String> {
    let done = sqlx::query(sqlx::AssertSqlSafe(sql.to_owned())).bind(id).execute(&mut **tx).await;
    done.map(|done| done.rows_affected()).map_err(|error| error.to_string())
}

/// What the demo has of nobody, for whoever was treated first.
const MORE: [&str; 11] = [
    "INSERT INTO consent_withdrawal (client_id, tick, withdrawn_at) SELECT client_id, 'marketing', 1 FROM one",
    "INSERT INTO file SELECT 'f', client_id, 'letter', 'l', 'pdf', '', x'25', NULL, 'client', 1 FROM one",
    "INSERT INTO letter (id, client_id, file_id, body, added_by, added_at) SELECT 'l', client_id, 'f', '{}', 'x', 1 FROM one",
    "INSERT INTO hold SELECT 'h', client_id, 'Claim 1', 'x', 1, 'Settled', 'x', 2 FROM one",
    "INSERT INTO treatment_time SELECT id, 1, 0, 'First lotion', 'left', 1, 2, 3, 4 FROM one",
    "INSERT OR IGNORE INTO visit_check SELECT visit_id, '[]', '[]', '[]', '[]', 'x', 1 FROM one",
    "INSERT INTO visit_shield SELECT NULL, visit_id, 80, 90, 80, 'even', '', 'x', 1 FROM one",
    "INSERT INTO chair_event SELECT 'e', visit_id, 'off', 0, 'left', 1, NULL, NULL, 0, 'x', 1 FROM one",
    "INSERT OR IGNORE INTO deposit SELECT visit_id, 1500, 'EUR', 'cash', 'held', 'x', 1 FROM one",
    "INSERT OR IGNORE INTO taking SELECT visit_id, 5500, 1500, 'EUR', 'card', '2026-11-20', 'x', 1 FROM one",
    "INSERT INTO past_visit SELECT 'p', client_id, (SELECT min(id) FROM service), '2025-01-02', 1, 1, '' FROM one",
];

pub(crate) async fn plain_demo(folder: &Path) -> Db {
    let file = folder.join("palpebra.db");
    seed_demo::prepare(&file, datetime!(2026-11-25 15:20 UTC), Passwords::quick()).await.unwrap();
    Db::open(&file).await.unwrap()
}

/// A demo with something in every part of a record.
pub(crate) async fn demo(folder: &Path) -> Db {
    let db = plain_demo(folder).await;
    let mut tx = db.write().await.unwrap();
    let one = "CREATE TEMP VIEW one AS SELECT id, client_id, visit_id FROM treatment ORDER BY created_at, id LIMIT 1";
    for sql in std::iter::once(one).chain(MORE) {
        sqlx::query(sqlx::AssertSqlSafe(sql)).execute(&mut *tx).await.unwrap();
    }
    tx.commit().await.unwrap();
    db
}

pub(crate) async fn everybody(c: &mut Connection) -> Vec<String> {
    sqlx::query_scalar("SELECT id FROM client ORDER BY id").fetch_all(c).await.unwrap()
}

#[tokio::test]
async fn no_row_of_a_record_is_deleted_without_the_door() {
    let folder = tempfile::tempdir().unwrap();
    let db = demo(folder.path()).await;
    let mut tried = BTreeSet::new();
    let mut tx = db.write().await.unwrap();
    for id in everybody(&mut tx).await {
        for (table, of) in GUARDED {
            if rows(&mut tx, table, of, &id).await > 0 {
                let refused = try_to(&mut tx, &format!("DELETE FROM {table} WHERE {of}"), &id).await;
                assert!(refused.unwrap_err().contains("records leave by their period or on request"), "{table}");
                tried.insert(table);
            }
        }
    }
    let untried: Vec<&str> = GUARDED.iter().map(|(table, _)| *table).filter(|table| !tried.contains(table)).collect();
    assert_eq!(untried, Vec::<&str>::new());
}

const OPEN: &str = "INSERT INTO leaving (client_id, part, audit_seq) SELECT ?1, 'record', max(seq) FROM audit";

async fn write_down(tx: &mut Tx, id: &str, action: &'static str) {
    let client = ClientId::parse(id).unwrap();
    let event = Event { action, client: Some(&client), ..Event::default() };
    audit::append(tx, &Actor::Program, event, NOW).await.unwrap();
}

#[tokio::test]
async fn the_door_opens_for_one_who_is_written_down_and_lets_nothing_else_through() {
    let (app, studio) = with_a_past().await;
    let zoe = studio.client("Zoë Birkholm", "zoe@clients.example.org", date!(1988 - 02 - 03)).await;
    let (mia, zoe) = (studio.mia.as_str(), zoe.as_str());
    let refused = |result: Result<u64, String>, words: &str| {
        let error = result.unwrap_err();
        assert!(error.contains(words), "{words}: {error}");
    };
    let mut tx = app.app.db.write().await.unwrap();
    refused(try_to(&mut tx, OPEN, mia).await, "written down first");
    write_down(&mut tx, zoe, "record.erased").await;
    refused(try_to(&mut tx, OPEN, mia).await, "written down first");
    write_down(&mut tx, mia, "record.exported").await;
    refused(try_to(&mut tx, OPEN, mia).await, "written down first");
    write_down(&mut tx, mia, "record.erased").await;
    write_down(&mut tx, mia, "client.seen").await;
    refused(try_to(&mut tx, OPEN, mia).await, "written down first");
    // A row of long ago doesn't open it again.
    let old = "INSERT INTO leaving (client_id, part, audit_seq) SELECT ?1, 'record', max(seq) - 1 FROM audit";
    refused(try_to(&mut tx, old, mia).await, "written down first");

    write_down(&mut tx, mia, "record.erased").await;
    assert_eq!(try_to(&mut tx, OPEN, mia).await, Ok(1));
    refused(try_to(&mut tx, OPEN, zoe).await, "one client at a time");
    refused(try_to(&mut tx, "DELETE FROM answers WHERE client_id = ?", zoe).await, "records leave by");
    refused(try_to(&mut tx, "DELETE FROM client WHERE id = ?", zoe).await, "records leave by");
    refused(try_to(&mut tx, "UPDATE leaving SET client_id = ?", zoe).await, "shut, not moved");
    for sql in [
        "UPDATE answers SET body = '{}' WHERE client_id = ?",
        "UPDATE treatment_version SET shield = 'x' WHERE ?1 <> ''",
        "UPDATE consent SET body = '{}' WHERE client_id = ?",
        "UPDATE file SET body = x'00' WHERE client_id = ?",
        "UPDATE audit SET detail = 'x' WHERE client_id = ?",
        "DELETE FROM audit WHERE client_id = ?",
        "DELETE FROM retention WHERE ?1 <> ''",
        "UPDATE questionnaire SET body = '{}' WHERE ?1 <> ''",
    ] {
        assert!(try_to(&mut tx, sql, mia).await.is_err(), "{sql}");
    }
    // Her record can't go and leave what hangs on it behind.
    refused(try_to(&mut tx, "DELETE FROM treatment WHERE client_id = ?", mia).await, "records leave by");
    assert!(tx.commit().await.is_err(), "nothing is committed while the door is open");
    let mut c = app.app.db.read().await.unwrap();
    assert_eq!(rows(&mut c, "leaving", "client_id = ?", mia).await, 0);
    assert!(audit::verify(&mut c).await.unwrap().is_ok());
    drop(c);
    let mut tx = app.app.db.write().await.unwrap();
    assert!(try_to(&mut tx, "INSERT INTO no_row (id) SELECT 1 WHERE ?1 <> ''", mia).await.is_err());
}

#[tokio::test]
async fn what_is_held_and_who_is_booked_stays_behind_the_door() {
    let (app, studio) = with_a_past().await;
    let owner = app.owner().await;
    let page = owner.get(&format!("/owner/clients/{}/data", studio.mia)).await;
    owner.submit(&page, &format!("/owner/clients/{}/hold", studio.mia), &[("held_why", "Claim 77")]).await;
    let ground = Ground { actor: &Actor::Program, object: "", detail: "" };
    for part in [Part::Record, Part::Photos] {
        let mut tx = app.app.db.write().await.unwrap();
        let refused = erasure::erase(&mut tx, &studio.mia, part, &ground, NOW).await;
        assert!(refused.unwrap_err().to_string().contains("a hold keeps"), "{part:?}");
    }
    let zoe = studio.client("Zoë Birkholm", "zoe@clients.example.org", date!(1988 - 02 - 03)).await;
    studio.visit(Purpose::Treatment, &zoe, &studio.lift, &studio.liv, NOW + Duration::DAY).await;
    let mut tx = app.app.db.write().await.unwrap();
    let refused = erasure::erase(&mut tx, &zoe, Part::Record, &ground, NOW).await;
    assert!(refused.unwrap_err().to_string().contains("a visit keeps"));
}

/// Where photos may leave, nothing else may.
#[tokio::test]
async fn photos_leave_without_the_record() {
    let (app, studio) = with_a_past().await;
    let ground = Ground { actor: &Actor::Program, object: "", detail: "" };
    let mut tx = app.app.db.write().await.unwrap();
    let before = rows(&mut tx, "treatment", "client_id = ?", studio.mia.as_str()).await;
    assert_eq!(rows(&mut tx, "file", "client_id = ?", studio.mia.as_str()).await, 1);
    erasure::erase(&mut tx, &studio.mia, Part::Photos, &ground, NOW).await.unwrap();
    assert_eq!(rows(&mut tx, "file", "client_id = ?", studio.mia.as_str()).await, 0);
    assert_eq!(rows(&mut tx, "treatment", "client_id = ?", studio.mia.as_str()).await, before);
    write_down(&mut tx, studio.mia.as_str(), "photos.erased").await;
    let open = OPEN.replace("'record'", "'photos'");
    assert_eq!(try_to(&mut tx, &open, studio.mia.as_str()).await, Ok(1));
    assert!(try_to(&mut tx, "DELETE FROM answers WHERE client_id = ?", studio.mia.as_str()).await.is_err());
}

/// Tables whose rows belong to a client, by their references.
pub(crate) async fn tables_of_clients(c: &mut Connection) -> BTreeSet<String> {
    let references: Vec<(String, String)> = sqlx::query_as(
        "SELECT s.name, f.\"table\" FROM sqlite_schema s, pragma_foreign_key_list(s.name) f WHERE s.type = 'table'",
    )
    .fetch_all(c)
    .await
    .unwrap();
    let mut found = BTreeSet::from(["client".to_owned()]);
    loop {
        let more: Vec<String> =
            references.iter().filter(|(_, to)| found.contains(to)).map(|(from, _)| from.clone()).collect();
        let before = found.len();
        found.extend(more);
        if found.len() == before {
            return found;
        }
    }
}

fn holds(folder: &Path, words: &[String]) -> Vec<String> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let Ok(bytes) = std::fs::read(&path) else { continue };
        for word in words.iter().filter(|word| bytes.windows(word.len()).any(|part| part == word.as_bytes())) {
            found.push(format!("{word} in {}", path.display()));
        }
    }
    found
}

#[tokio::test]
async fn whoever_leaves_leaves_no_trace_but_the_log_s() {
    let folder = tempfile::tempdir().unwrap();
    let db = demo(folder.path()).await;
    let mut tx = db.write().await.unwrap();
    sqlx::query("UPDATE reaction SET state = 'settled', due_at = NULL").execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
    let mut c = db.read().await.unwrap();
    let canaries: Vec<String> =
        sqlx::query_scalar("SELECT name FROM client UNION SELECT mail FROM client").fetch_all(&mut *c).await.unwrap();
    assert!(canaries.len() > 20 && !holds(folder.path(), &canaries).is_empty());
    let money: i64 = sqlx::query_scalar("SELECT (SELECT count(*) FROM deposit) + (SELECT count(*) FROM taking)")
        .fetch_one(&mut *c)
        .await
        .unwrap();
    let everybody = everybody(&mut c).await;
    let later = datetime!(2036-01-01 12:00 UTC);
    for id in &everybody {
        let ground = Ground { actor: &Actor::Program, object: "", detail: "kept to 2035-12-31" };
        let mut tx = db.write().await.unwrap();
        erasure::erase(&mut tx, &ClientId::parse(id).unwrap(), Part::Record, &ground, later).await.unwrap();
        tx.commit().await.unwrap();
    }
    for table in tables_of_clients(&mut c).await {
        let of = if ["visit", "draft"].contains(&table.as_str()) { "client_id IS NOT NULL" } else { "true" };
        if !["offer", "draft_link"].contains(&table.as_str()) {
            assert_eq!(rows(&mut c, &table, &format!("{of} AND ?1 = ''"), "").await, 0, "{table}");
        }
    }
    let kept: i64 = sqlx::query_scalar("SELECT count(*) FROM past_money").fetch_one(&mut *c).await.unwrap();
    assert_eq!(kept, money, "money stays for the books");
    drop(c);
    assert!(db.scrub().await.unwrap());
    assert_eq!(holds(folder.path(), &canaries), Vec::<String>::new());
    assert_eq!(db.check().await.unwrap(), Vec::<String>::new());
    let mut c = db.read().await.unwrap();
    assert!(audit::verify(&mut c).await.unwrap().is_ok());
    let told: i64 = sqlx::query_scalar("SELECT count(*) FROM audit WHERE action = 'record.erased'")
        .fetch_one(&mut *c)
        .await
        .unwrap();
    assert_eq!(usize::try_from(told).unwrap(), everybody.len());
}

fn runa() -> Member {
    let account = AccountId::from_random([8; 16]);
    Member { account, role: Role::Owner, name: "Runa Ostfeld".to_owned(), practitioner: None }
}

async fn confirm(owner: &Person) -> crate::support::Html {
    let page = owner.get("/owner/keeping/list").await;
    owner.submit(&page, "/owner/keeping/list/", &[]).await
}

#[tokio::test]
async fn the_month_s_list_is_shown_and_done_once_the_owner_says_so() {
    let (app, studio) = with_a_past().await;
    let zoe = studio.client("Zoë Birkholm", "zoe@clients.example.org", date!(1988 - 02 - 03)).await;
    let ada = studio.client("Ada Winterfeld", "ada@clients.example.org", date!(1979 - 02 - 03)).await;
    app.app.clock.advance(Duration::days(366));
    studio.answer(&ada, &[]).await;
    let mut tx = app.app.db.write().await.unwrap();
    let invitation = Invitation {
        id: InvitationId::from_random([7; 16]),
        client: ada.clone(),
        service: studio.lift.clone(),
        opens: date!(2026 - 04 - 01),
    };
    invitations::insert(&mut tx, &invitation, NOW).await.unwrap();
    tx.commit().await.unwrap();
    changes::monthly(&app.app).await.unwrap();
    changes::monthly(&app.app).await.unwrap();
    let owner = app.owner().await;
    assert!(owner.get("/owner").await.main().contains("records whose time is over"));
    let page = owner.get("/owner/keeping/list").await;
    assert_eq!(page.all("tbody tr").len(), 2, "{}", page.main());
    assert!(page.main().contains("Zoë Birkholm Her whole record Tuesday 2 March 2027"), "{}", page.main());
    assert!(page.main().contains("Ada Winterfeld Old invitations and wishes"), "{}", page.main());
    assert!(!page.main().contains("Mia Sandgren"), "she was treated");
    let mut c = app.app.db.read().await.unwrap();
    assert_eq!(retention_lists::newest(&mut c, 10).await.unwrap().len(), 1, "one list a month");
    drop(c);

    // It wants a proof that is not old.
    app.app.clock.advance(Duration::minutes(11));
    let asked = confirm(&owner).await;
    assert_eq!(asked.status, 422, "{}", asked.main());
    let owner = app.owner().await;
    let done = confirm(&owner).await;
    assert_eq!(done.status, 303, "{}", done.text());
    let page = owner.follow(done).await;
    assert!(page.main().contains("no list that waits") && page.main().contains("Runa Ostfeld 2 0"), "{}", page.main());
    assert_eq!(owner.get(&format!("/desk/clients/{zoe}")).await.status, 404);
    assert_eq!(owner.get(&format!("/desk/clients/{ada}")).await.status, 200);
    let mut c = app.app.db.read().await.unwrap();
    assert!(invitations::get(&mut c, &invitation.id).await.unwrap().is_none());
    assert!(audit::verify(&mut c).await.unwrap().is_ok());
    let words = ["Zoë Birkholm".to_owned(), "zoe@clients.example.org".to_owned()];
    assert_eq!(holds(app.folder(), &words), Vec::<String>::new());
    let log = owner.get("/owner/audit").await;
    assert!(log.main().contains("Record erased") && log.main().contains("2 gone, 0 stayed"), "{}", log.main());
}

#[tokio::test]
async fn what_comes_in_between_keeps_a_record() {
    let (app, studio) = with_a_past().await;
    let zoe = studio.client("Zoë Birkholm", "zoe@clients.example.org", date!(1988 - 02 - 03)).await;
    app.app.clock.advance(Duration::days(366));
    changes::monthly(&app.app).await.unwrap();
    let owner = app.owner().await;
    let data = owner.get(&format!("/owner/clients/{zoe}/data")).await;
    owner.submit(&data, &format!("/owner/clients/{zoe}/hold"), &[("held_why", "Claim 78")]).await;
    let page = owner.follow(confirm(&owner).await).await;
    assert!(page.main().contains("Runa Ostfeld 0 1"), "{}", page.main());
    assert_eq!(owner.get(&format!("/desk/clients/{zoe}")).await.status, 200);
    assert_eq!(owner.submit(&page, "/owner/keeping/list", &[]).await.status, 303);
    let page = owner.get("/owner/keeping/list").await;
    assert!(page.main().contains("nothing is over its time"), "{}", page.main());
}

/// Random pasts of a few clients, and a random day: who is gone and who stays is what the rule says of what was stored.
#[tokio::test]
async fn whoever_may_go_goes_and_nobody_else() {
    for seed in 0..6 {
        let mut dice = StdRng::seed_from_u64(seed);
        let (app, studio) = TestApp::with_studio().await;
        let start = NOW - Duration::days(4000);
        let mut clients = vec![studio.mia.clone()];
        for n in 0..12 {
            let born = date!(1980 - 01 - 01) + Duration::days(dice.random_range(0..13_000));
            let id = ClientId::from_random([u8::try_from(n).unwrap() + 1; 16]);
            studio.add_client(&id, &format!("Client {n}"), &format!("c{n}@clients.example.org"), born).await;
            clients.push(id);
        }
        let mut at = start;
        for _ in 0..20 {
            at += Duration::days(dice.random_range(3..180));
            let who = &clients[dice.random_range(0..clients.len())];
            if at < NOW {
                studio.treated(who, &studio.lift, at, Outcome::AsWished, &[&studio.lotion]).await;
            }
        }
        let owner = app.owner().await;
        for who in clients.iter().filter(|_| dice.random_range(0..5) == 0) {
            let data = owner.get(&format!("/owner/clients/{who}/data")).await;
            owner.submit(&data, &format!("/owner/clients/{who}/hold"), &[("held_why", "Claim 1")]).await;
        }
        app.app.clock.advance(Duration::days(dice.random_range(0..4000)));
        let may_go = may_go(&app.app.db, app.app.clock.now()).await;
        changes::monthly(&app.app).await.unwrap();
        let owner = app.owner().await;
        let done = confirm_if_any(&owner).await;
        let mut c = app.app.db.read().await.unwrap();
        let left: BTreeSet<String> = everybody(&mut c).await.into_iter().collect();
        let expected: BTreeSet<String> =
            clients.iter().map(|id| id.as_str().to_owned()).filter(|id| !may_go.contains(id)).collect();
        assert_eq!(left, expected, "seed {seed}, done: {done}");
        assert!(audit::verify(&mut c).await.unwrap().is_ok());
        assert_eq!(app.app.db.check().await.unwrap(), Vec::<String>::new());
    }
}

#[tokio::test]
async fn a_list_that_is_being_done_is_not_made_anew_under_it() {
    let (app, studio) = with_a_past().await;
    studio.client("Zoë Birkholm", "zoe@clients.example.org", date!(1988 - 02 - 03)).await;
    app.app.clock.advance(Duration::days(366));
    let list = changes::make_list(&app.app, &Actor::Program).await.unwrap().unwrap();
    let owner = runa();
    let (done, anew) =
        tokio::join!(changes::carry_out(&app.app, &owner, &list), changes::make_list(&app.app, &Actor::Program));
    assert!(done.unwrap());
    let mut c = app.app.db.read().await.unwrap();
    let lists = retention_lists::newest(&mut c, 10).await.unwrap();
    assert!(lists.iter().any(|one| one.id == list && one.done.is_some()), "what was done stays written down");
    assert_eq!(retention_lists::counts(&mut c, &list).await.unwrap(), (1, 0));
    assert!(retention_lists::lines(&mut c, &anew.unwrap().unwrap()).await.unwrap().is_empty(), "she is gone by then");
}

#[tokio::test]
async fn a_package_that_was_begun_before_somebody_left_is_not_kept() {
    let (app, studio) = with_a_past().await;
    let zoe = studio.client("Zoë Birkholm", "zoe@clients.example.org", date!(1988 - 02 - 03)).await;
    let (owner, exports) = (app.owner().await, app.folder().join("exports"));
    let page = owner.get("/owner/exports").await;
    let there = || std::fs::read_dir(&exports).map_or(0, Iterator::count);
    let mut tx = app.app.db.write().await.unwrap();
    let leaves = async {
        // It has read who is in it once its file is begun, and can't end while the write lock is held.
        while there() == 0 {
            tokio::task::yield_now().await;
        }
        let ground = Ground { actor: &Actor::Program, object: "", detail: "on request" };
        erasure::erase(&mut tx, &zoe, Part::Record, &ground, NOW).await.unwrap();
        app.app.db.owe_scrub();
        tx.commit().await.unwrap();
    };
    let order = [("scope", "everyone"), ("why", "The insurer asks")];
    let (answer, ()) = tokio::join!(owner.submit(&page, "/owner/exports", &order), leaves);
    assert_eq!(answer.status, 503, "{}", answer.text());
    assert_eq!(there(), 0);
    let again = owner.submit(&page, "/owner/exports", &order).await;
    assert_eq!((again.status, there()), (303, 1), "{}", again.text());
}

async fn confirm_if_any(owner: &Person) -> bool {
    let page = owner.get("/owner/keeping/list").await;
    let any = page.source().contains("Take away what is on this list");
    if any {
        assert_eq!(owner.submit(&page, "/owner/keeping/list/", &[]).await.status, 303);
    }
    any
}

async fn may_go(db: &Db, now: OffsetDateTime) -> BTreeSet<String> {
    let mut c = db.read().await.unwrap();
    let zone = studio::get(&mut c).await.unwrap().unwrap().zone;
    let today: Date = zone.date_at(now);
    let terms = kept::terms(&mut c).await.unwrap();
    let all = kept::standing(&mut c, None, &zone, now).await.unwrap();
    let goes =
        all.into_iter().filter(|one| matches!(retention::of_record(&one.records, &terms, today), Fate::Goes { .. }));
    goes.map(|one| one.client.as_str().to_owned()).collect()
}

#[tokio::test]
async fn a_backup_from_before_brings_nobody_back() {
    let (app, studio) = with_a_past().await;
    let zoe = studio.client("Zoë Birkholm", "zoe@clients.example.org", date!(1988 - 02 - 03)).await;
    let ada = studio.client("Ada Winterfeld", "ada@clients.example.org", date!(1979 - 02 - 03)).await;
    let before = tempfile::tempdir().unwrap();
    app.copy_to(&before.path().join("palpebra.db")).await;
    let owner = app.owner().await;
    for client in [&zoe, &studio.mia] {
        let page = owner.get(&format!("/owner/clients/{client}/data")).await;
        let done = owner.submit(&page, &format!("/owner/clients/{client}/erase"), &[]).await;
        assert_eq!(done.status, 303, "{}", done.text());
    }
    let left = std::fs::read_to_string(app.folder().join("left.log")).unwrap();
    assert_eq!(left, format!("erased {zoe}\nrestricted {}\n", studio.mia));

    // The backup is put in the place of the database; what lies beside it stays.
    std::fs::copy(app.folder().join("left.log"), before.path().join("left.log")).unwrap();
    let taken_back = TestApp::made_over(&before.path().join("palpebra.db"), Transport::Memory(Arc::default())).await;
    let mut c = taken_back.db.read().await.unwrap();
    assert!(clients::get(&mut c, &zoe).await.unwrap().is_some(), "she is back");
    assert!(!files::of_client(&mut c, &studio.mia).await.unwrap().is_empty(), "and so are photos");
    drop(c);
    assert_eq!(ledger::apply(&taken_back).await.unwrap(), 2);
    let mut c = taken_back.db.read().await.unwrap();
    assert!(clients::even_restricted(&mut c, &zoe).await.unwrap().is_none());
    assert!(clients::get(&mut c, &studio.mia).await.unwrap().is_none());
    assert!(files::of_client(&mut c, &studio.mia).await.unwrap().is_empty(), "her photos are gone again too");
    assert!(clients::get(&mut c, &ada).await.unwrap().is_some());
    assert!(audit::verify(&mut c).await.unwrap().is_ok());
    drop(c);
    assert_eq!(ledger::apply(&taken_back).await.unwrap(), 0, "once is enough");
}

#[tokio::test]
async fn whoever_leaves_has_left_even_if_the_file_is_written_anew_only_later() {
    let (app, studio) = with_a_past().await;
    let zoe = studio.client("Zoë Birkholm", "zoe@clients.example.org", date!(1988 - 02 - 03)).await;
    let owner = app.owner().await;
    let page = owner.get(&format!("/owner/clients/{zoe}/data")).await;
    // The writer has as many databases attached as SQLite takes, so that a VACUUM, which attaches one more, fails.
    let mut tx = app.app.db.write().await.unwrap();
    for number in 0..10 {
        let attach = format!("ATTACH ':memory:' AS other_{number}");
        sqlx::query(sqlx::AssertSqlSafe(attach)).execute(&mut *tx).await.unwrap();
    }
    tx.commit().await.unwrap();
    let done = owner.submit(&page, &format!("/owner/clients/{zoe}/erase"), &[]).await;
    assert_eq!(done.status, 303, "{}", done.text());
    let owed = app.folder().join("scrub.owed");
    assert!(owed.exists());
    let left = std::fs::read_to_string(app.folder().join("left.log")).unwrap();
    assert_eq!(left, format!("erased {zoe}\n"), "what comes after it is done all the same");

    housekeeping::sweep(&app.app).await.unwrap();
    assert!(!owed.exists());
    assert_eq!(holds(app.folder(), &["Zoë Birkholm".to_owned()]), Vec::<String>::new());
}

#[tokio::test]
async fn letters_that_lie_in_a_folder_go_with_her() {
    let (app, studio) = with_a_past().await;
    let zoe = studio.client("Zoë Birkholm", "zoe@clients.example.org", date!(1988 - 02 - 03)).await;
    let folder = app.folder().join("mail");
    let here = TestApp::made_over(&app.folder().join("palpebra.db"), Transport::Folder(folder.clone())).await;
    let pending = Pending::SignInLink { client: zoe.clone(), draft: None };
    let mut tx = here.db.write().await.unwrap();
    let (id, body) = (MailId::from_random([9; 16]), serde_json::to_string(&pending).unwrap());
    store_outbox::add(&mut tx, &id, "zoe@clients.example.org", &body, NOW, NOW).await.unwrap();
    let row = studio::get(&mut tx).await.unwrap().unwrap();
    tx.commit().await.unwrap();
    assert_eq!(outbox::step(&here).await.unwrap(), outbox::Step::Sent);
    assert!(folder.join(format!("{id}.eml")).is_file());
    restriction::carry_out(&here, &row, &runa(), &zoe).await.unwrap().unwrap();
    assert!(!folder.join(format!("{id}.eml")).exists());
}
