//! A client under 16 where the studio treats her: the guardian signs, and is there.

use palpebra::domain::ids::ClientId;
use palpebra::store::visits::Purpose;
use time::Duration;
use time::macros::date;

use crate::support::TestApp;
use crate::support::app::NOW;
use crate::support::chair::start;
use crate::support::studio::{LIV, Studio};

async fn girl(studio: &Studio) -> (ClientId, String) {
    let id = studio.client("Ronja Tallgren", "ronja@clients.example.org", date!(2010 - 09 - 01)).await;
    let visit = studio.visit(Purpose::Treatment, &id, &studio.lift, &studio.liv, NOW + Duration::HOUR).await;
    (id, format!("/desk/visits/{visit}"))
}

#[tokio::test]
async fn a_studio_that_refuses_clients_under_16_says_from_when_it_treats_her() {
    let (app, studio) = TestApp::with_studio().await;
    let (_, path) = girl(&studio).await;
    let page = app.member(LIV.0, LIV.1).await.get(&path).await;
    assert!(page.main().contains("Do not treat"), "{}", page.main());
    assert!(page.main().contains("waiting until Tuesday 1 September 2026"), "{}", page.main());
}

#[tokio::test]
async fn at_the_chair_a_guardian_counts_only_once_she_was_noted() {
    const WANTED: &str = "a parent or guardian who signs, and is present";
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let page = owner.get("/owner/studio").await;
    let saved = owner.submit(&page, "/owner/studio", &[("under_16", "guardian_present")]).await;
    assert_eq!(saved.status, 303, "{}", saved.main());
    let (client, path) = girl(&studio).await;
    studio.consent_with_guardian(&client, &studio.lift).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let before = liv.get(&path).await;
    assert!(!before.main().contains(WANTED), "promised: {}", before.main());
    let here = liv.submit(&before, &format!("{path}/arrive"), &[]).await;
    let page = liv.follow(here).await;
    assert!(page.main().contains(WANTED), "{}", page.main());
    let refused = liv.submit(&page, &format!("{path}/guardian"), &[("guardian", " ")]).await;
    assert_eq!((refused.status, refused.attributes(".summary a", "href")), (422, vec!["#guardian".to_owned()]));
    let noted = liv.submit(&page, &format!("{path}/guardian"), &[("guardian", "Sunniva Tallgren")]).await;
    let page = liv.follow(noted).await;
    assert!(page.main().contains("Sunniva Tallgren was here, noted"), "{}", page.main());
    assert!(!page.main().contains(WANTED), "{}", page.main());
    let started = start(&liv, path.rsplit('/').next().unwrap(), &[("notes_read", "yes")]).await;
    assert_eq!(started.status, 303, "{}", started.main());
    assert!(app.dump().await.iter().any(|cell| cell == "guardian.present"));
}
