//! What can break, and how each of it ends: a page that says so, nothing half done, and all well again afterwards.
#![expect(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test may fail where it stands"
)]

mod chain;
mod clock;
mod file;
mod mail;

use crate::support::TestApp;
use crate::support::booking::{DETAILS, SIGNED, fill, first_slot, take_first};

#[tokio::test(flavor = "multi_thread")]
async fn a_locked_file_is_a_503_and_the_same_form_goes_through_later() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    let page = person.get(&format!("/services/{}", studio.lift)).await;
    let slot = first_slot(&page);
    let options = sqlx::sqlite::SqliteConnectOptions::new().filename(app.folder().join("palpebra.db"));
    let other = sqlx::SqlitePool::connect_with(options).await.unwrap();
    let lock = other.begin_with("BEGIN IMMEDIATE").await.unwrap();
    let refused = person.submit(&page, "/services/", &[("time", &slot)]).await;
    assert_eq!(refused.status, 503, "{}", refused.text());
    assert!(refused.main().contains("Nothing was changed"), "{}", refused.main());
    assert_eq!(refused.headers["retry-after"], "10");
    assert_eq!(person.get("/").await.status, 200, "looking goes on");
    lock.rollback().await.unwrap();
    assert_eq!(person.submit(&page, "/services/", &[("time", &slot)]).await.status, 303);
}

#[tokio::test]
async fn a_full_disk_is_a_503_and_what_was_typed_is_still_there_afterwards() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    let details = take_first(&person, studio.lift.as_str()).await;
    let sign = fill(&person, &details, &DETAILS, &[]).await;
    let before = app.fingerprint().await;
    // SQLite answers "full" when the file may not grow, as it does when the disk has no room.
    limit_pages(&app, 1).await;
    let long = "x".repeat(60_000);
    let mut fields = SIGNED.to_vec();
    fields.push(("drawing", &long));
    let refused = person.submit(&sign, "/book/", &fields).await;
    assert_eq!(refused.status, 503, "{}", refused.text());
    assert_eq!(app.fingerprint().await, before, "nothing half done");
    limit_pages(&app, 1_000_000).await;
    let done = person.submit(&sign, "/book/", &SIGNED).await;
    assert!(done.location().unwrap().ends_with("/done"), "{}", done.main());
}

async fn limit_pages(app: &TestApp, pages: u32) {
    let mut tx = app.app.db.write().await.unwrap();
    let limit = format!("PRAGMA max_page_count = {pages}");
    sqlx::query(sqlx::AssertSqlSafe(limit)).execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
}

#[tokio::test]
async fn an_overlap_is_impossible_in_the_schema_itself() {
    let (app, studio) = TestApp::with_studio().await;
    let at = app.app.clock.now() + time::Duration::days(1);
    let purpose = palpebra::store::visits::Purpose::Treatment;
    let id = studio.visit(purpose, &studio.mia, &studio.lift, &studio.liv, at).await;
    let mut tx = app.app.db.write().await.unwrap();
    let visit = palpebra::store::visits::get(&mut tx, &id).await.unwrap().unwrap();
    for (shift, same_person, same_room, fits) in [
        (0, true, false, false),
        (0, false, true, false),
        (30, true, true, false),
        (-59, true, true, false),
        (60, true, true, true),
        (-60, true, true, true),
        (0, false, false, true),
    ] {
        let mut other = visit.clone();
        other.id = palpebra::domain::ids::VisitId::from_random(app.app.random.id());
        let by = time::Duration::minutes(shift);
        (other.starts_at, other.ends_at, other.busy_until) =
            (at + by, at + by + (visit.ends_at - at), at + by + (visit.ends_at - at));
        if !same_person {
            other.practitioner = studio.noor.clone();
        }
        if !same_room {
            let rooms = palpebra::store::practitioners::rooms(&mut tx).await.unwrap();
            other.room = rooms.into_iter().find(|room| room.id != visit.room).unwrap().id;
        }
        let stored = palpebra::store::visits::insert(&mut tx, &other, app.app.clock.now()).await;
        match stored {
            Ok(()) => {
                assert!(fits, "{shift} {same_person} {same_room}");
                sqlx::query("UPDATE visit SET state = 'cancelled_by_studio' WHERE id = ?")
                    .bind(other.id.as_str())
                    .execute(&mut *tx)
                    .await
                    .unwrap();
            }
            Err(error) => assert!(error.is_overlap() && !fits, "{shift} {same_person} {same_room}: {error}"),
        }
    }
}
