//! A booked visit whose verdict changes: shown on the day, told to the client once, without a word about her health.

use palpebra::actions::verdicts;
use palpebra::domain::questionnaire::Answer;
use palpebra::domain::skin_test::TestResult;
use palpebra::store::visits::Purpose;
use time::Duration;

use super::changes;
use crate::support::TestApp;
use crate::support::app::NOW;
use crate::support::studio::{LIV, MIA};

const TOLD: &str = "something has changed that concerns your visit";

async fn told(app: &TestApp) -> usize {
    app.mails().await.iter().filter(|mail| mail.letter.text.contains(TOLD)).count()
}

#[tokio::test]
async fn a_new_answer_after_booking_is_shown_and_told_once() {
    let (app, studio) = TestApp::with_studio().await;
    studio.consent(&studio.mia, &studio.lift).await;
    let visit = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, NOW + Duration::days(3)).await;
    assert_eq!(verdicts::watch(&app.app).await.unwrap(), 0, "the first look is what it was booked with");
    assert_eq!(verdicts::watch(&app.app).await.unwrap(), 0);
    let liv = app.member(LIV.0, LIV.1).await;
    let day = "/desk?day=2026-03-05";
    assert!(!liv.get(day).await.main().contains("Changed since booking"));

    app.app.clock.advance(Duration::HOUR);
    studio.answer(&studio.mia, &[("glaucoma", Answer::Yes)]).await;
    assert_eq!(verdicts::watch(&app.app).await.unwrap(), 1);
    assert_eq!(verdicts::watch(&app.app).await.unwrap(), 0, "each change is told once");
    assert_eq!(told(&app).await, 1);
    let mail = app.mails().await.into_iter().find(|mail| mail.letter.text.contains(TOLD)).unwrap();
    let whole = format!("{} {} {}", mail.letter.subject, mail.letter.text, mail.letter.html).to_lowercase();
    for hidden in ["glaucoma", "eye", "doctor", "letter", "health", "lift"] {
        assert!(!whole.contains(hidden), "{hidden}: {whole}");
    }
    let liv = app.member(LIV.0, LIV.1).await;
    let page = liv.get(day).await;
    assert!(page.main().contains("Changed since booking"), "{}", page.main());
    let page = liv.get(&format!("/desk/visits/{visit}")).await;
    assert!(page.main().contains("Clear to start, and now: Letter or guardian needed"), "{}", page.main());
    assert_eq!(changes(&app).await[0], "visit.verdict-changed");

    let mia = app.client(MIA).await;
    let mine = mia.get("/me").await;
    let needs = mia.get(&mine.link("What it needs")).await;
    assert!(needs.main().contains("short letter from your eye doctor"), "{}", needs.main());
    let other = studio.client("Noa Brandvold", "noa@clients.example.org", time::macros::date!(1990 - 01 - 02)).await;
    let hers = studio.visit(Purpose::Treatment, &other, &studio.lift, &studio.noor, NOW + Duration::days(4)).await;
    assert_eq!(mia.get(&format!("/me/visits/{hers}/needs")).await.status, 404);

    studio.answer(&studio.mia, &[]).await;
    studio.consent(&studio.mia, &studio.lift).await;
    assert_eq!(verdicts::watch(&app.app).await.unwrap(), 0, "good news needs no mail");
    assert!(!liv.get(day).await.main().contains("Changed since booking"));
}

#[tokio::test]
async fn a_test_that_expires_before_the_visit_and_one_that_was_not_applied_are_told() {
    let (app, studio) = TestApp::with_studio().await;
    let read = (TestResult::NoVisibleChange, NOW - Duration::days(2));
    studio.tested(&studio.mia, NOW - Duration::days(5), Some(read)).await;
    studio.consent(&studio.mia, &studio.lift_and_tint).await;
    let visit = studio
        .visit(Purpose::Treatment, &studio.mia, &studio.lift_and_tint, &studio.liv, NOW + Duration::days(9))
        .await;
    verdicts::watch(&app.app).await.unwrap();
    let owner = app.owner().await;
    let page = owner.get("/owner/studio").await;
    let shorter = owner.submit(&page, "/owner/studio", &[("skin_test_valid_days", "30")]).await;
    assert_eq!(shorter.status, 303);
    assert_eq!(verdicts::watch(&app.app).await.unwrap(), 0, "it is still in date on the day");
    app.app.clock.advance(Duration::HOUR);
    studio.answer(&studio.mia, &[("black_henna_any", Answer::Yes)]).await;
    assert_eq!(verdicts::watch(&app.app).await.unwrap(), 1, "a new answer voids the test");
    let page = app.member(LIV.0, LIV.1).await.get(&format!("/desk/visits/{visit}")).await;
    assert!(page.main().contains("Changed since it was booked"), "{}", page.main());
}

#[tokio::test]
async fn a_new_version_of_the_rules_is_told_to_those_whom_it_changes() {
    let (app, studio) = TestApp::with_studio().await;
    studio.answer(&studio.mia, &[("contacts", Answer::Yes)]).await;
    studio.consent(&studio.mia, &studio.lift).await;
    studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, NOW + Duration::days(3)).await;
    let other = studio.client("Noa Brandvold", "noa@clients.example.org", time::macros::date!(1990 - 01 - 02)).await;
    studio.visit(Purpose::Treatment, &other, &studio.lift, &studio.noor, NOW + Duration::days(4)).await;
    verdicts::watch(&app.app).await.unwrap();
    let owner = app.owner().await;
    let page = owner.get("/owner/rules/draft").await;
    owner.submit(&page, "/owner/rules/draft", &[("step", "start")]).await;
    let rule = "/owner/rules/draft/rules/contacts";
    let page = owner.get(rule).await;
    owner.submit(&page, rule, &[("verdict", "ask")]).await;
    let publish = "/owner/rules/draft/publish";
    let page = owner.get(publish).await;
    let done = owner.submit(&page, publish, &[("reason", "Our insurer asks for it")]).await;
    assert_eq!(done.status, 303, "{}", done.main());
    assert_eq!(told(&app).await, 1, "publishing looks at once");
    assert_eq!(verdicts::watch(&app.app).await.unwrap(), 0);
}

#[tokio::test]
async fn nobody_is_told_of_a_change_while_she_lies_there_for_her_booked_test() {
    let (app, studio) = TestApp::with_studio().await;
    studio.consent(&studio.mia, &studio.lift_and_tint).await;
    let visit = |purpose, at| studio.visit(purpose, &studio.mia, &studio.lift_and_tint, &studio.liv, at);
    let test = visit(Purpose::SkinTest, NOW + Duration::HOUR).await;
    visit(Purpose::Treatment, NOW + Duration::days(5)).await;
    verdicts::watch(&app.app).await.unwrap();
    app.app.clock.advance(Duration::minutes(55));
    let liv = app.member(LIV.0, LIV.1).await;
    let page = liv.get(&format!("/desk/visits/{test}")).await;
    assert_eq!(liv.submit(&page, &format!("/desk/visits/{test}/arrive"), &[]).await.status, 303);
    app.app.clock.advance(Duration::minutes(10));
    assert_eq!(verdicts::watch(&app.app).await.unwrap(), 0, "it has begun");
    // 23:59 in Berlin, and midnight.
    app.app.clock.advance(Duration::minutes(13 * 60 + 54));
    assert_eq!(verdicts::watch(&app.app).await.unwrap(), 0, "the day is not over");
    app.app.clock.advance(Duration::MINUTE);
    assert_eq!(verdicts::watch(&app.app).await.unwrap(), 1, "it was not applied");
    assert_eq!(told(&app).await, 1);
}
