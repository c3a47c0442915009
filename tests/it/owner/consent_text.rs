//! The owner publishes a new consent text.

use palpebra::domain::consent::ConsentStanding;
use palpebra::store::health;

use crate::support::TestApp;

#[tokio::test]
async fn a_new_version_takes_over_and_the_old_one_stays_readable() {
    let (app, studio) = TestApp::with_studio().await;
    studio.consent(&studio.mia, &studio.lift).await;
    let owner = app.owner().await;
    let page = owner.get(&owner.get("/owner").await.attributes("a[href='/owner/consent-text']", "href")[0]).await;
    let changed = "What is new\nWe now open the window.\n\nYour rights\nYou may stop at any time.";
    let good = [("words", changed), ("reviewed_by", "The insurer, 1 March 2026"), ("reason", "New room")];
    for (field, value, words) in [
        ("words", "", "fill this in"),
        ("words", "Only a heading", "no words below"),
        ("treatment", " ", "fill this in"),
        ("guardian", "", "fill this in"),
        ("reviewed_by", "", "fill this in"),
        ("reason", &*"x".repeat(500), "longer than"),
        ("marketing", &*"x".repeat(700), "longer than 600"),
    ] {
        let mut fields = good.to_vec();
        fields.push((field, value));
        let refused = owner.submit(&page, "/owner/consent-text", &fields).await;
        assert_eq!(refused.status, 422, "{field}");
        assert!(refused.main().contains(words), "{field}: {}", refused.main());
    }
    let same = owner.submit(&page, "/owner/consent-text", &[("reviewed_by", "x"), ("reason", "y")]).await;
    assert_eq!(same.status, 422, "{}", same.main());
    assert_eq!(owner.submit(&page, "/owner/consent-text", &good).await.status, 303);
    let late =
        owner.submit(&page, "/owner/consent-text", &[("words", "A\nb"), ("reviewed_by", "x"), ("reason", "y")]).await;
    assert_eq!(late.status, 409, "written on the version before: {}", late.main());
    let mut c = app.app.db.read().await.unwrap();
    let now = health::in_force(&mut c).await.unwrap().consent;
    assert_eq!((now.version(), now.paragraphs().len()), (2, 2));
    let row = palpebra::store::studio::get(&mut c).await.unwrap().unwrap();
    let known = palpebra::actions::case::Known::load(&mut c, &row, Some(&studio.mia), &studio.lift).await.unwrap();
    assert_eq!(known.consent_standing(), ConsentStanding::TextChanged);
    drop(c);
    let list = owner.get("/owner/consent-text").await;
    assert!(list.main().contains("looked at by The insurer, 1 March 2026; New room"), "{}", list.main());
    assert!(owner.get("/owner/consent-text/1").await.main().contains("What can go wrong"));
    for none in ["0", "3", "x", "99999999999"] {
        assert_eq!(owner.get(&format!("/owner/consent-text/{none}")).await.status, 404, "{none}");
    }
}
