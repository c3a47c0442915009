//! Clients' records, what they signed, and one's own password.

use palpebra::domain::questionnaire::Answer;
use palpebra::store::treatments::Outcome;
use palpebra::store::visits::Purpose;
use time::Duration;
use time::macros::date;

use super::log;
use crate::support::TestApp;
use crate::support::app::NOW;
use crate::support::studio::{LIV, MIA, NOOR};

#[tokio::test]
async fn a_record_holds_visits_tests_answers_consents_and_treatments() {
    let (app, studio) = TestApp::with_studio().await;
    let before = NOW - Duration::days(80);
    studio.treated(&studio.mia, &studio.lift, before, Outcome::AsWished, &[&studio.lotion]).await;
    studio.tested(&studio.mia, NOW - Duration::days(3), None).await;
    app.app.clock.advance(Duration::HOUR);
    studio.answer(&studio.mia, &[("atopy", Answer::Yes)]).await;
    studio.consent(&studio.mia, &studio.lift).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let found = liv.get("/desk/clients?q=SANDG").await;
    let page = liv.get(&found.link("Mia Sandgren")).await;
    for words in [
        "34 years old",
        MIA,
        "Night Tint",
        "behind the left ear",
        "asthma, eczema",
        "Earlier: given",
        "Bow Lotion, batch A-2031",
    ] {
        assert!(page.main().contains(words), "{words}: {}", page.main());
    }
    let seen = log(&app).await.into_iter().find(|entry| entry.action == "client.seen").unwrap();
    assert_eq!(seen.client_id, studio.mia.as_str());
    let signed = liv.get(&page.link("What was signed")).await;
    for words in
        ["What can go wrong", "Yes: I want to have this treatment.", "Not ticked: The studio may write", "SHA-256"]
    {
        assert!(signed.main().contains(words), "{words}: {}", signed.main());
    }
    let theirs = page.link("What was signed");
    let noor = app.member(NOOR.0, NOOR.1).await;
    assert_eq!(noor.get(&theirs).await.status, 404);
    assert_eq!(liv.get(&theirs.replace("consents/", "consents/a")).await.status, 404);
}

#[tokio::test]
async fn a_search_finds_hers_and_the_owner_finds_all() {
    let (app, studio) = TestApp::with_studio().await;
    let other = studio.client("Fay Nilsen", "fay@clients.example.org", date!(1988 - 02 - 01)).await;
    studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, NOW + Duration::HOUR).await;
    studio.visit(Purpose::Treatment, &other, &studio.lift, &studio.noor, NOW + Duration::hours(3)).await;
    let names = |page: crate::support::Html| page.all(".pick b");
    let liv = app.member(LIV.0, LIV.1).await;
    assert_eq!(names(liv.get("/desk/clients").await), ["Mia Sandgren"]);
    assert_eq!(names(liv.get("/desk/clients?q=fay").await), [""; 0]);
    let owner = app.owner().await;
    assert_eq!(names(owner.get("/desk/clients?q=clients.example").await), ["Fay Nilsen", "Mia Sandgren"]);
    assert_eq!(names(owner.get("/desk/clients?q=%25").await), [""; 0], "a percent sign is a percent sign");
}

#[tokio::test]
async fn a_new_password_ends_every_other_session() {
    let (app, _) = TestApp::with_studio().await;
    let (here, there) = (app.member(LIV.0, LIV.1).await, app.member(LIV.0, LIV.1).await);
    let new = "eight warm grey stones";
    let page = here.get("/desk/password").await;
    let wrong = here.submit(&page, "/desk/password", &[("old", "not hers at all"), ("new", new)]).await;
    assert_eq!((wrong.status, wrong.all("#old-error").len()), (422, 1));
    let short = here.submit(&page, "/desk/password", &[("old", LIV.1), ("new", "short")]).await;
    assert_eq!((short.status, short.all("#new-error").len()), (422, 1));
    assert_eq!(there.get("/desk").await.status, 200);
    let done = here.submit(&page, "/desk/password", &[("old", LIV.1), ("new", new)]).await;
    assert_eq!(done.status, 303, "{}", done.text());
    assert_eq!(here.get("/desk").await.status, 200);
    assert_eq!(there.get("/desk").await.status, 303);
    app.app.clock.advance(Duration::minutes(1));
    app.member(LIV.0, new).await;
}
