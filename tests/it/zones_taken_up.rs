//! Another version of the zone database: `doctor` notices, and visits keep their clock time.
#![expect(clippy::unwrap_used, reason = "a test may fail where it stands")]

use palpebra::actions::zones;
use palpebra::domain::zone::database_version;
use palpebra::store::visits::{self, Purpose};
use time::Duration;
use time::macros::datetime;

use crate::support::TestApp;

#[tokio::test]
async fn visits_keep_their_clock_time_when_the_rules_of_their_zone_change() {
    let (app, studio) = TestApp::with_studio().await;
    assert!(zones::take_up(&app.app).await.unwrap().is_some(), "the first start writes the version down");
    assert_eq!(zones::take_up(&app.app).await.unwrap(), None);
    let at = datetime!(2090-03-10 09:00 UTC);
    let book = |hours| {
        let at = at + Duration::hours(hours);
        studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, at)
    };
    // Neighbours, so that one can move only when the next one has.
    let ids = [book(0).await, book(1).await, book(2).await];
    // As another version of the database would have it: the same clock times an hour earlier, and a time that isn't.
    let mut tx = app.app.db.write().await.unwrap();
    let shifted = "UPDATE visit SET starts_at = starts_at - 3600, ends_at = ends_at - 3600, busy_until = busy_until - 3600 WHERE id = ?";
    for id in &ids {
        sqlx::query(shifted).bind(id.as_str()).execute(&mut *tx).await.unwrap();
    }
    sqlx::query("UPDATE studio SET zone_database = '2001a'").execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
    let lost = studio
        .visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.noor, datetime!(2090-03-26 01:30 UTC))
        .await;
    let mut tx = app.app.db.write().await.unwrap();
    let missing = "UPDATE visit SET civil_start = '2090-03-26T02:30' WHERE id = ?";
    sqlx::query(missing).bind(lost.as_str()).execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();

    let report = doctor(&app).await;
    assert!(report.contains("ILL:  the zone data was 2001a before"), "{report}");
    assert!(report.contains("ILL:  4 visits ahead are not at the moment that their clock time means"), "{report}");

    let taken_up = zones::take_up(&app.app).await.unwrap().unwrap();
    assert_eq!((taken_up.before.as_str(), taken_up.moved, taken_up.stuck), ("2001a", 3, 1));
    for (hours, id) in (0..).zip(&ids) {
        let visit = visits::get(&mut app.app.db.read().await.unwrap(), id).await.unwrap().unwrap();
        assert_eq!((visit.starts_at, visit.sequence), (at + Duration::hours(hours), 1));
        assert_eq!(visit.civil, datetime!(2090-03-10 10:00) + Duration::hours(hours));
    }
    let report = doctor(&app).await;
    assert!(report.contains(&format!("zone data {}", database_version())), "{report}");
    assert!(report.contains("ILL:  1 visits ahead") && !report.contains("2001a"), "{report}");
}

/// What `doctor` says of a copy. It goes by the computer's clock, so the visits are a lifetime ahead.
async fn doctor(app: &TestApp) -> String {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("palpebra.db");
    app.copy_to(&file).await;
    let output = tokio::process::Command::new(env!("CARGO_BIN_EXE_palpebra"))
        .args(["doctor", "--data"])
        .arg(folder.path())
        .output()
        .await
        .unwrap();
    String::from_utf8(output.stdout).unwrap()
}
