//! Which clients came into touch with a batch.

use palpebra::domain::skin_test::TestResult;
use palpebra::store::treatments::Outcome;
use time::Duration;

use crate::support::TestApp;
use crate::support::app::NOW;
use crate::support::studio::GOOD_BATCH;

#[tokio::test]
async fn a_batch_is_traced_to_treatments_and_skin_tests_between_two_days() {
    let (app, studio) = TestApp::with_studio().await;
    for days in [40, 10] {
        let at = NOW - Duration::days(days);
        studio.treated(&studio.mia, &studio.lift, at, Outcome::AsWished, &[&studio.tint]).await;
    }
    studio.tested(&studio.mia, NOW - Duration::days(5), Some((TestResult::NoVisibleChange, NOW))).await;
    let owner = app.owner().await;
    let asked = owner.get("/owner/trace").await;
    assert!(asked.source().contains("Night Tint, batch A-2031"));
    let ask = |days: &str| format!("/owner/trace?batch={}.{GOOD_BATCH}{days}", studio.tint);
    let whole = owner.get(&ask("")).await;
    assert_eq!(whole.all("tbody tr").len(), 3, "{}", whole.main());
    assert!(whole.main().contains("1 client"), "{}", whole.main());
    assert_eq!(whole.all("textarea#mails"), ["mia@clients.example.org"]);
    assert!(!whole.all("textarea#draft").join(" ").contains("Tint"), "a mail names no product");
    assert_eq!(owner.get(&ask("&from=2026-02-15&to=2026-03-02")).await.all("tbody tr").len(), 2);
    assert_eq!(owner.get(&ask("&from=2026-03-01")).await.all("tbody tr").len(), 0);
    let csv = owner.get(&whole.link("The list as CSV")).await;
    assert_eq!(csv.source().lines().count(), 4, "{}", csv.source());
    let mut tx = app.app.db.write().await.unwrap();
    palpebra::store::restriction::restrict(&mut tx, &studio.mia, NOW).await.unwrap();
    tx.commit().await.unwrap();
    let whole = owner.get(&ask("")).await;
    assert!(whole.main().contains("1 client more had it, whose record is locked away"), "{}", whole.main());
    assert!(!whole.main().contains("Mia") && !whole.main().contains("Nobody"), "{}", whole.main());
    assert!(owner.get(&whole.link("Locked away for claims")).await.main().contains("Mia Sandgren"));
    assert!(csv.headers["content-type"].to_str().unwrap().starts_with("text/csv"));
}
