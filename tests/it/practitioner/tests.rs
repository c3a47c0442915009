//! Skin tests at the desk.

use palpebra::domain::ids::SkinTestId;
use palpebra::domain::questionnaire::Answer;
use palpebra::domain::reaction::{Level, State};
use palpebra::domain::skin_test::TestResult;
use palpebra::store::visits::Purpose;
use palpebra::store::{skin_tests, visits};
use time::Duration;
use time::macros::date;

use super::changes;
use crate::support::app::NOW;
use crate::support::studio::{GOOD_BATCH, LIV, OLD_BATCH};
use crate::support::{Html, Studio, TestApp};

const GOOD: [(&str, &str); 3] = [("batch", GOOD_BATCH), ("site", "behind the left ear"), ("time", "8:55")];

async fn newest(app: &TestApp, studio: &Studio) -> SkinTestId {
    let mut c = app.app.db.read().await.unwrap();
    skin_tests::of_client(&mut c, &studio.mia).await.unwrap().remove(0).test.id
}

fn with<'a>(change: (&'a str, &'a str)) -> Vec<(&'a str, &'a str)> {
    GOOD.into_iter().chain([change]).collect()
}

fn error(page: &Html, field: &str) -> String {
    assert_eq!(page.status, 422, "{}", page.text());
    page.all(&format!("#{field}-error")).join(" ")
}

#[tokio::test]
async fn a_test_is_applied_at_its_visit_and_read_two_days_later() {
    let (app, studio) = TestApp::with_studio().await;
    let at = NOW + Duration::minutes(30);
    let id = studio.visit(Purpose::SkinTest, &studio.mia, &studio.lift_and_tint, &studio.liv, at).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let visit = liv.get(&format!("/desk/visits/{id}")).await;
    assert!(visit.main().contains("Skin test may be applied"), "{}", visit.main());
    let page = liv.get(&visit.link("Apply the skin test")).await;
    assert!(page.main().contains("It is not a diagnostic patch test"), "{}", page.main());
    assert!(page.main().contains("Night Tint A-2031") && !page.main().contains(OLD_BATCH), "{}", page.main());
    let path = format!("/desk/visits/{id}/skin-test");
    let late = liv.submit(&page, &path, &with(("time", "9:01"))).await;
    assert_eq!(error(&late, "time"), "That is still to come.");
    assert_eq!(late.form(&path).1.iter().find(|(name, _)| name == "site").unwrap().1, "behind the left ear");
    assert!(error(&liv.submit(&page, &path, &with(("batch", OLD_BATCH))).await, "batch").contains("ended on"));
    assert!(error(&liv.submit(&page, &path, &with(("site", ""))).await, "site").contains("fill this in"));
    assert!(error(&liv.submit(&page, &path, &with(("time", "25:00"))).await, "time").contains("like 9:05"));
    assert!(error(&liv.submit(&page, &path, &with(("product", "x.y"))).await, "product").contains("choose"));
    assert!(error(&liv.submit(&page, &path, &with(("batch", "B-77"))).await, "batch").contains("doesn’t know this"));
    let done = liv.submit(&page, &path, &with(("batch", "a-2031 "))).await;
    assert_eq!(done.status, 303, "{}", done.text());
    assert_eq!(liv.submit(&page, &path, &GOOD).await.location(), done.location(), "pressed twice, it is one test");
    let mut c = app.app.db.read().await.unwrap();
    assert_eq!(visits::get(&mut c, &id).await.unwrap().unwrap().state.as_str(), "done");
    let [stored] = &skin_tests::of_client(&mut c, &studio.mia).await.unwrap()[..] else { unreachable!("one test") };
    assert_eq!((stored.batch.as_str(), stored.test.applied_at), (GOOD_BATCH, NOW - Duration::minutes(5)));
    drop(c);
    assert_eq!(changes(&app).await[0], "skin-test.applied");

    app.app.clock.advance(Duration::hours(47));
    let liv = app.member(LIV.0, LIV.1).await;
    let path = format!("/desk/skin-tests/{}/reading", newest(&app, &studio).await);
    let page = liv.get(&path).await;
    assert!(page.main().contains("Too early for a clear result"), "{}", page.main());
    assert!(page.main().contains("Wednesday 4 March 2026, 08:55"), "48 hours later: {}", page.main());
    let clear = ("result", "no_visible_change");
    let refused = liv.submit(&page, &path, &[clear, ("day", "2026-03-02"), ("time", "08:00")]).await;
    assert!(error(&refused, "day").contains("before the test was applied"));
    let refused = liv.submit(&page, &path, &[clear, ("day", "2026-03-05")]).await;
    assert!(error(&refused, "day").contains("still to come"));
    let refused = liv.submit(&page, &path, &[]).await;
    assert!(error(&refused, "result").contains("choose"));
    let refused = liv.submit(&page, &path, &[("result", "not_yet_read")]).await;
    assert!(error(&refused, "result").contains("choose"));
    assert_eq!(liv.submit(&page, &path, &[clear, ("note", "looked in daylight")]).await.status, 303);
    let treatment = NOW + Duration::days(3);
    let id = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift_and_tint, &studio.liv, treatment).await;
    studio.consent(&studio.mia, &studio.lift_and_tint).await;
    app.app.clock.advance(Duration::hours(2));
    let liv = app.member(LIV.0, LIV.1).await;
    let verdict = liv.get(&format!("/desk/visits/{id}")).await;
    assert!(verdict.main().contains("Nobody has noted yet"), "read at 47 hours is no pass: {}", verdict.main());
    let page = liv.get(&path).await;
    assert_eq!(liv.submit(&page, &path, &[clear]).await.status, 303);
    assert!(liv.get(&format!("/desk/visits/{id}")).await.main().contains("Clear to start"));
}

#[tokio::test]
async fn a_reaction_is_shown_with_first_aid_and_blocks_the_product() {
    let (app, studio) = TestApp::with_studio().await;
    studio.consent(&studio.mia, &studio.lift_and_tint).await;
    let test = studio.tested(&studio.mia, NOW - Duration::hours(20), None).await;
    let id =
        studio.visit(Purpose::Treatment, &studio.mia, &studio.lift_and_tint, &studio.liv, NOW + Duration::HOUR).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let path = format!("/desk/skin-tests/{test}/reading");
    let page = liv.get(&path).await;
    let done = liv.submit(&page, &path, &[("result", "swelling_or_blister"), ("note", "raised, 2 cm")]).await;
    let shown = liv.follow(done).await;
    for words in [
        "Swelling, blister, weeping",
        "raised, 2 cm",
        "at least 20 minutes",
        "call an ambulance",
        "blocked for this client",
    ] {
        assert!(shown.main().contains(words), "{words}: {}", shown.main());
    }
    let verdict = liv.get(&format!("/desk/visits/{id}")).await;
    assert!(
        verdict.main().contains("Do not treat") && verdict.main().contains("another product"),
        "{}",
        verdict.main()
    );
}

#[tokio::test]
async fn nobody_is_tested_under_16_on_an_allergy_or_without_answers() {
    let (app, studio) = TestApp::with_studio().await;
    let liv = app.member(LIV.0, LIV.1).await;
    let child = studio.client("Dora Nilsen", "dora@clients.example.org", date!(2010 - 03 - 03)).await;
    let allergic = studio.client("Ada Nilsen", "ada@clients.example.org", date!(1988 - 02 - 01)).await;
    studio.answer(&allergic, &[("ppd_allergy", Answer::Yes)]).await;
    let cream = studio.client("Bea Nilsen", "bea@clients.example.org", date!(1988 - 02 - 01)).await;
    studio.answer(&cream, &[("steroid_eye", Answer::Yes)]).await;
    for (hour, (client, words)) in (1..).zip([
        (child, "No skin test under 16"),
        (allergic, "answers forbid a skin test"),
        (cream, "until Monday 9 March 2026"),
    ]) {
        let at = NOW + Duration::hours(hour);
        studio.visit(Purpose::SkinTest, &client, &studio.lift_and_tint, &studio.liv, at).await;
        let path = format!("/desk/clients/{client}/skin-test");
        let page = liv.get(&path).await;
        let refused = liv.submit(&page, &path, &GOOD).await;
        assert!(error(&refused, "product").contains(words), "{words}: {}", refused.main());
    }
    assert!(changes(&app).await.iter().all(|action| action != "skin-test.applied"));
    let day = liv.get("/desk").await.main();
    for words in ["No skin test", "No skin test before Monday 9 March 2026"] {
        assert!(day.contains(words), "{words}: {day}");
    }
}

#[tokio::test]
async fn what_she_reacted_to_is_not_tested_on_her_again() {
    let (app, studio) = TestApp::with_studio().await;
    let liv = app.member(LIV.0, LIV.1).await;
    let itched = (TestResult::ItchOrRaised, NOW - Duration::days(58));
    studio.tested(&studio.mia, NOW - Duration::days(60), Some(itched)).await;
    let at = NOW + Duration::HOUR;
    studio.visit(Purpose::SkinTest, &studio.mia, &studio.lift_and_tint, &studio.liv, at).await;
    let day = liv.get("/desk").await.main();
    assert!(day.contains("No skin test") && !day.contains("Skin test may be applied"), "{day}");
    let path = format!("/desk/clients/{}/skin-test", studio.mia);
    let page = liv.get(&path).await;
    let refused = liv.submit(&page, &path, &GOOD).await;
    assert!(error(&refused, "product").contains("not put on her skin again"), "{}", refused.main());
}

#[tokio::test]
async fn a_client_who_walks_in_is_tested_too_and_a_medicine_makes_it_uncertain() {
    let (app, studio) = TestApp::with_studio().await;
    studio.visit(Purpose::Treatment, &studio.mia, &studio.lift_and_tint, &studio.liv, NOW + Duration::days(5)).await;
    let kind = ("immunosup_kind", Answer::Choice("steroids".to_owned()));
    studio.answer(&studio.mia, &[("immunosup", Answer::Yes), kind]).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let record = liv.get(&format!("/desk/clients/{}", studio.mia)).await;
    let page = liv.get(&record.link("Apply a skin test")).await;
    let done = liv.submit(&page, "/desk/clients/", &GOOD).await;
    let shown = liv.follow(done).await;
    assert!(shown.main().contains("A clear result can’t be trusted"), "{}", shown.main());
    assert!(shown.main().contains("Not read yet"), "{}", shown.main());
}

/// The wait counts from the moment applied, so no clock of one day is put beside another day.
#[tokio::test]
async fn a_missed_test_that_was_put_back_is_not_applied_on_another_day() {
    let (app, studio) = TestApp::with_studio().await;
    let at = NOW + Duration::minutes(30);
    let id = studio.visit(Purpose::SkinTest, &studio.mia, &studio.lift_and_tint, &studio.liv, at).await;
    app.app.clock.advance(Duration::HOUR);
    let visit = format!("/desk/visits/{id}");
    let liv = app.member(LIV.0, LIV.1).await;
    for change in ["no-show", "put-back"] {
        let page = liv.visit(&visit).await;
        assert_eq!(liv.submit(&page, &format!("{visit}/{change}"), &[]).await.status, 303, "{change}");
    }
    app.app.clock.advance(Duration::days(3) - Duration::HOUR);
    let liv = app.member(LIV.0, LIV.1).await;
    assert!(!liv.get(&visit).await.main().contains("Apply the skin test"));
    let path = format!("{visit}/skin-test");
    let page = liv.get(&path).await;
    assert_eq!(page.form(&path).1.iter().find(|(name, _)| name == "time").unwrap().1, "");
    let refused = liv.submit(&page, &path, &GOOD).await;
    assert!(error(&refused, "product").contains("is on Monday 2 March 2026, and a skin test"), "{}", refused.main());
    assert!(skin_tests::of_client(&mut app.app.db.read().await.unwrap(), &studio.mia).await.unwrap().is_empty());
    let page = liv.get(&format!("/desk/clients/{}/skin-test", studio.mia)).await;
    assert_eq!(liv.submit(&page, "/desk/clients/", &GOOD).await.status, 303, "as a walk-in, now");
    let [stored] = &skin_tests::of_client(&mut app.app.db.read().await.unwrap(), &studio.mia).await.unwrap()[..] else {
        unreachable!("one test")
    };
    assert_eq!(stored.test.applied_at, NOW + Duration::days(3) - Duration::minutes(5));
}

/// Nothing else ends a visit that was begun.
#[tokio::test]
async fn what_a_begun_visit_still_lacks_is_applied_on_the_day_that_it_is() {
    let (app, studio) = TestApp::with_studio().await;
    let id = studio.visit(Purpose::SkinTest, &studio.mia, &studio.lift_and_tint, &studio.liv, NOW).await;
    let mut tx = app.app.db.write().await.unwrap();
    let mut visit = visits::get(&mut tx, &id).await.unwrap().unwrap();
    visit.state = visit.state.arrive().unwrap().start().unwrap();
    visits::update(&mut tx, &visit, NOW).await.unwrap();
    tx.commit().await.unwrap();
    app.app.clock.advance(Duration::days(1));
    let liv = app.member(LIV.0, LIV.1).await;
    let path = format!("/desk/visits/{id}/skin-test");
    let page = liv.get(&path).await;
    assert!(page.main().contains("Tuesday 3 March 2026"), "{}", page.main());
    assert_eq!(liv.submit(&page, &path, &GOOD).await.status, 303);
    let tests = skin_tests::of_client(&mut app.app.db.read().await.unwrap(), &studio.mia).await.unwrap();
    assert_eq!(tests[0].test.applied_at, NOW + Duration::days(1) - Duration::minutes(5));
}

#[tokio::test]
async fn a_test_that_nobody_looked_at_for_seven_days_is_made_again() {
    let (app, studio) = TestApp::with_studio().await;
    studio.consent(&studio.mia, &studio.lift_and_tint).await;
    let test = studio.tested(&studio.mia, NOW - Duration::days(99), None).await;
    let treatment = NOW + Duration::HOUR;
    let id = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift_and_tint, &studio.liv, treatment).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let path = format!("/desk/skin-tests/{test}/reading");
    let page = liv.get(&path).await;
    assert!(page.main().contains("Too late for a clear result"), "{}", page.main());
    assert_eq!(liv.submit(&page, &path, &[("result", "no_visible_change")]).await.status, 303);
    let verdict = liv.get(&format!("/desk/visits/{id}")).await.main();
    assert!(verdict.contains("within seven days") && !verdict.contains("Clear to start"), "{verdict}");
    assert_eq!(liv.submit(&page, &path, &[("result", "itch_or_raised")]).await.status, 303);
    assert!(liv.get(&format!("/desk/visits/{id}")).await.main().contains("Do not treat"), "a reaction counts");
}

#[tokio::test]
async fn nothing_is_tested_while_a_reaction_is_followed_up() {
    let (app, studio) = TestApp::with_studio().await;
    let at = NOW + Duration::HOUR;
    let id = studio.visit(Purpose::SkinTest, &studio.mia, &studio.lift_and_tint, &studio.liv, at).await;
    studio.reacted(&studio.mia, (Level::Moderate, State::FollowedUp), None, &[]).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let shown = liv.get(&format!("/desk/visits/{id}")).await.main();
    assert!(shown.contains("Settle the reaction report first"), "{shown}");
    for path in [format!("/desk/visits/{id}/skin-test"), format!("/desk/clients/{}/skin-test", studio.mia)] {
        let page = liv.get(&path).await;
        let refused = liv.submit(&page, &path, &GOOD).await;
        assert!(error(&refused, "product").contains("is still followed up"), "{}", refused.main());
    }
    assert!(skin_tests::of_client(&mut app.app.db.read().await.unwrap(), &studio.mia).await.unwrap().is_empty());
}

#[tokio::test]
async fn a_letter_comes_before_the_test_of_whoever_had_a_severe_reaction() {
    let (app, studio) = TestApp::with_studio().await;
    let cause = ("anaphylaxis_cause", Answer::Choice("unknown".to_owned()));
    studio.answer(&studio.mia, &[("anaphylaxis", Answer::Yes), cause]).await;
    let at = NOW + Duration::HOUR;
    let id = studio.visit(Purpose::SkinTest, &studio.mia, &studio.lift_and_tint, &studio.liv, at).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let shown = liv.get(&format!("/desk/visits/{id}")).await.main();
    assert!(shown.contains("Letter first, then test"), "{shown}");
    let path = format!("/desk/visits/{id}/skin-test");
    let page = liv.get(&path).await;
    let refused = liv.submit(&page, &path, &GOOD).await;
    assert!(error(&refused, "product").contains("ask for a letter before"), "{}", refused.main());
}

#[tokio::test]
async fn a_minor_is_tested_once_her_guardian_has_signed_for_this_service() {
    let (app, studio) = TestApp::with_studio().await;
    let girl = studio.client("Ronja Tallgren", "ronja@clients.example.org", date!(2009 - 03 - 01)).await;
    let at = NOW + Duration::HOUR;
    let id = studio.visit(Purpose::SkinTest, &girl, &studio.lift_and_tint, &studio.liv, at).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let path = format!("/desk/visits/{id}/skin-test");
    let page = liv.get(&path).await;
    let missing = liv.submit(&page, &path, &GOOD).await;
    assert!(error(&missing, "product").contains("a parent or guardian signs"), "{}", missing.main());
    studio.consent_with_guardian(&girl, &studio.lift).await;
    let other = liv.submit(&page, &path, &GOOD).await;
    assert!(error(&other, "product").contains("a parent or guardian signs"), "for another service: {}", other.main());
    app.app.clock.advance(Duration::MINUTE);
    studio.consent(&girl, &studio.lift_and_tint).await;
    let alone = liv.submit(&page, &path, &GOOD).await;
    assert!(error(&alone, "product").contains("a parent or guardian signs"), "her own: {}", alone.main());
    assert!(liv.get(&format!("/desk/visits/{id}")).await.main().contains("Guardian signs first, then test"));
    app.app.clock.advance(Duration::MINUTE);
    studio.consent_with_guardian(&girl, &studio.lift_and_tint).await;
    let done = liv.submit(&page, &path, &GOOD).await;
    assert_eq!(done.status, 303, "{}", done.main());
}
