//! How another cycle would move the window of a service.

use palpebra::domain::catalogue::ServiceKind;
use palpebra::domain::window::RetouchRule;
use palpebra::store::catalogue;

use crate::support::TestApp;
use crate::support::studio::LIV;

#[tokio::test]
async fn each_set_is_drawn_and_told_under_the_services_own_limits() {
    let (app, studio) = TestApp::with_studio().await;
    let path = format!("/owner/services/{}/cycle", studio.lift);
    let page = app.owner().await.get(&path).await;
    assert_eq!(page.status, 200, "{}", page.text());
    assert_eq!(page.all("figure svg[role=img]").len(), 1, "the picture is no text");
    // Days of the default limits under means of 90, 150 and 240 days, as computed for the model's published check values.
    let rows = page.all("tbody tr");
    for (row, (label, days)) in
        rows.iter().zip([("observed, in use", "46 55 94"), ("textbook", "76 91 157"), ("review", "121 146 251")])
    {
        assert!(row.starts_with(label) && row.contains(days), "{row}");
    }
    assert_eq!(rows.len(), 3);
    assert!(page.main().contains("nobody may return before 42 days"), "{}", page.main());
    assert!(page.main().contains("sources disagree"), "{}", page.main());
    assert_eq!(app.member(LIV.0, LIV.1).await.get(&path).await.status, 403);
}

#[tokio::test]
async fn a_service_of_plain_days_says_so() {
    let (app, studio) = TestApp::with_studio().await;
    let mut tx = app.app.db.write().await.unwrap();
    let mut service = catalogue::service(&mut tx, &studio.lift).await.unwrap().unwrap();
    service.kind = ServiceKind::BrowTint;
    service.retouch = RetouchRule::default_for(service.kind);
    catalogue::save_service(&mut tx, &service, &[], &[]).await.unwrap();
    tx.commit().await.unwrap();
    let owner = app.owner().await;
    let page = owner.get(&format!("/owner/services/{}/cycle", studio.lift)).await;
    assert!(page.main().contains("plain days") && page.all("figure").is_empty(), "{}", page.main());
    assert_eq!(owner.get("/owner/services/none/cycle").await.status, 404);
}
