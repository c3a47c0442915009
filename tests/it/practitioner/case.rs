//! One client's case before the rules, from what is stored and from what a booking holds.

use palpebra::actions::case::{Asked, Drafted, Known, earliest, readiness, readiness_of_draft};
use palpebra::domain::catalogue::Chemistry;
use palpebra::domain::ids::ServiceId;
use palpebra::domain::questionnaire::Answer;
use palpebra::domain::reaction::{Level, State};
use palpebra::domain::readiness::Readiness;
use palpebra::domain::skin_test::TestResult;
use palpebra::domain::verdict::{Start, Verdict};
use palpebra::store::treatments::Outcome;
use palpebra::store::visits::Purpose;
use time::macros::{date, datetime};
use time::{Date, Duration, OffsetDateTime};

use crate::support::app::NOW;
use crate::support::{Studio, TestApp};

async fn ask(app: &TestApp, studio: &Studio, service: &ServiceId, at: OffsetDateTime) -> Readiness {
    let mut c = app.app.db.read().await.unwrap();
    let row = palpebra::store::studio::get(&mut c).await.unwrap().unwrap();
    let asked = Asked { client: Some(&studio.mia), service, at, now: app.app.clock.now() };
    readiness(&mut c, &row, &asked).await.unwrap()
}

fn rules(readiness: &Readiness) -> Vec<&str> {
    readiness.reasons.iter().map(|reason| reason.rule.as_str()).collect()
}

async fn earliest_day(app: &TestApp, studio: &Studio, service: &ServiceId) -> Option<Date> {
    let mut c = app.app.db.read().await.unwrap();
    let row = palpebra::store::studio::get(&mut c).await.unwrap().unwrap();
    earliest(&mut c, &row, Some(&studio.mia), service, app.app.clock.now()).await.unwrap()
}

const IN_A_WEEK: OffsetDateTime = datetime!(2026-03-09 10:00 UTC);

#[tokio::test]
async fn a_signed_consent_is_all_that_a_lift_wants() {
    let (app, studio) = TestApp::with_studio().await;
    let before = ask(&app, &studio, &studio.lift, IN_A_WEEK).await;
    assert_eq!((before.verdict, rules(&before)), (Verdict::Ask, vec!["consent_missing"]));
    assert!(before.can_be_booked(), "she signs on the way");
    studio.consent(&studio.mia, &studio.lift).await;
    assert_eq!(ask(&app, &studio, &studio.lift, IN_A_WEEK).await.verdict, Verdict::Clear);
    studio.answer(&studio.mia, &[("atopy", Answer::Yes)]).await;
    let changed = ask(&app, &studio, &studio.lift, IN_A_WEEK).await;
    assert_eq!(rules(&changed), ["consent_answers_changed", "atopy"]);
}

#[tokio::test]
async fn a_consent_for_another_service_does_not_stand_in_the_way() {
    let (app, studio) = TestApp::with_studio().await;
    studio.consent(&studio.mia, &studio.lift).await;
    app.app.clock.advance(Duration::HOUR);
    studio.consent(&studio.mia, &studio.lift_and_tint).await;
    assert_eq!(ask(&app, &studio, &studio.lift, IN_A_WEEK).await.verdict, Verdict::Clear);
}

#[tokio::test]
async fn a_test_is_wanted_booked_running_read_and_expired() {
    let (app, studio) = TestApp::with_studio().await;
    studio.consent(&studio.mia, &studio.lift_and_tint).await;
    let none = ask(&app, &studio, &studio.lift_and_tint, IN_A_WEEK).await;
    assert_eq!((none.verdict, rules(&none)), (Verdict::WaitUntil, vec!["skin_test_not_done"]));
    let visit = NOW + Duration::hours(2);
    studio.visit(Purpose::SkinTest, &studio.mia, &studio.lift_and_tint, &studio.liv, visit).await;
    let booked = ask(&app, &studio, &studio.lift_and_tint, IN_A_WEEK).await;
    assert_eq!((booked.verdict, rules(&booked)), (Verdict::Note, vec!["skin_test_booked"]));
    let too_soon = ask(&app, &studio, &studio.lift_and_tint, visit + Duration::hours(47)).await;
    assert_eq!(rules(&too_soon), ["skin_test_not_done"]);
    app.app.clock.advance(Duration::hours(3));
    let applied = app.app.clock.now();
    studio.tested(&studio.mia, applied, Some((TestResult::NoVisibleChange, applied + Duration::hours(48)))).await;
    let running = ask(&app, &studio, &studio.lift_and_tint, IN_A_WEEK).await;
    assert_eq!((running.verdict, rules(&running)), (Verdict::Note, vec!["skin_test_running"]));
    app.app.clock.advance(Duration::hours(49));
    assert_eq!(ask(&app, &studio, &studio.lift_and_tint, IN_A_WEEK).await.verdict, Verdict::Clear);
    let late = ask(&app, &studio, &studio.lift_and_tint, applied + Duration::days(184)).await;
    assert!(rules(&late).contains(&"skin_test_expired"), "{:?}", rules(&late));
}

#[tokio::test]
async fn a_later_answer_voids_the_test_before_it() {
    let (app, studio) = TestApp::with_studio().await;
    let applied = NOW - Duration::days(5);
    studio.tested(&studio.mia, applied, Some((TestResult::NoVisibleChange, applied + Duration::hours(50)))).await;
    studio.consent(&studio.mia, &studio.lift_and_tint).await;
    assert_eq!(ask(&app, &studio, &studio.lift_and_tint, IN_A_WEEK).await.verdict, Verdict::Clear);
    app.app.clock.advance(Duration::HOUR);
    studio.answer(&studio.mia, &[("black_henna_any", Answer::Yes)]).await;
    let voided = ask(&app, &studio, &studio.lift_and_tint, IN_A_WEEK).await;
    assert!(rules(&voided).contains(&"skin_test_voided"), "{:?}", rules(&voided));
}

#[tokio::test]
async fn a_reaction_blocks_its_product_for_good() {
    let (app, studio) = TestApp::with_studio().await;
    let (applied, then) = (NOW - Duration::days(5), NOW - Duration::days(90));
    studio.tested(&studio.mia, applied, Some((TestResult::NoVisibleChange, applied + Duration::hours(50)))).await;
    studio.treated(&studio.mia, &studio.lift_and_tint, then, Outcome::Reaction, &[&studio.tint]).await;
    let blocked = ask(&app, &studio, &studio.lift_and_tint, IN_A_WEEK).await;
    assert_eq!((blocked.verdict, blocked.start), (Verdict::DoNotTreat, Start::No));
    assert!(rules(&blocked).contains(&"product_blocked"), "{:?}", rules(&blocked));
    assert!(!rules(&ask(&app, &studio, &studio.lift, IN_A_WEEK).await).contains(&"product_blocked"));
}

#[tokio::test]
async fn a_lotion_that_harmed_her_blocks_a_lift_though_no_service_wants_it_tested() {
    let (app, studio) = TestApp::with_studio().await;
    studio.consent(&studio.mia, &studio.lift).await;
    let then = NOW - Duration::days(90);
    studio.treated(&studio.mia, &studio.lift, then, Outcome::Reaction, &[&studio.lotion]).await;
    for service in [&studio.lift, &studio.lift_and_tint] {
        let alone = ask(&app, &studio, service, IN_A_WEEK).await;
        assert_eq!((alone.verdict, alone.start), (Verdict::DoNotTreat, Start::No));
        assert!(rules(&alone).contains(&"product_blocked"), "{:?}", rules(&alone));
    }
    studio.product("Mild Lotion", Chemistry::Lotion, None, "M-1").await;
    let another = ask(&app, &studio, &studio.lift, IN_A_WEEK).await;
    assert_eq!((another.verdict, rules(&another)), (Verdict::Ask, vec!["product_blocked"]));
    studio.reacted(&studio.mia, (Level::Mild, State::Reported), None, &[&studio.tint]).await;
    assert_eq!(rules(&ask(&app, &studio, &studio.lift, IN_A_WEEK).await), ["product_blocked"], "mild is no reaction");
    studio.reacted(&studio.mia, (Level::Moderate, State::Settled), None, &[]).await;
    assert_eq!(rules(&ask(&app, &studio, &studio.lift, IN_A_WEEK).await), ["product_blocked"], "it is settled");
    studio.reacted(&studio.mia, (Level::Moderate, State::FollowedUp), None, &[]).await;
    assert_eq!(rules(&ask(&app, &studio, &studio.lift, IN_A_WEEK).await), ["product_blocked", "reaction_open"]);
}

#[tokio::test]
async fn the_earliest_day_is_the_later_of_window_and_waits() {
    let (app, studio) = TestApp::with_studio().await;
    assert_eq!(earliest_day(&app, &studio, &studio.lift_and_tint).await, None, "a test that is to be made is no wait");
    let lifted = datetime!(2026-02-02 09:00 UTC);
    studio.treated(&studio.mia, &studio.lift, lifted, Outcome::AsWished, &[&studio.lotion]).await;
    assert_eq!(
        earliest_day(&app, &studio, &studio.lift).await,
        Some(date!(2026 - 03 - 20)),
        "46 days after a first lift"
    );
    studio.answer(&studio.mia, &[("stye", Answer::Yes)]).await;
    assert_eq!(earliest_day(&app, &studio, &studio.lift).await, Some(date!(2026 - 03 - 20)), "14 days end before it");
    app.app.clock.advance(Duration::days(10));
    studio.answer(&studio.mia, &[("stye", Answer::Yes)]).await;
    assert_eq!(earliest_day(&app, &studio, &studio.lift).await, Some(date!(2026 - 03 - 26)), "14 days from 12 March");
    let day = |at| ask(&app, &studio, &studio.lift, at);
    assert!(
        rules(&day(datetime!(2026-03-19 22:59 UTC)).await).contains(&"window_not_open"),
        "it is 19 March in Berlin"
    );
    assert!(
        !rules(&day(datetime!(2026-03-19 23:00 UTC)).await).contains(&"window_not_open"),
        "it is 20 March in Berlin"
    );
}

#[tokio::test]
async fn a_booking_is_judged_before_it_is_stored() {
    let (app, studio) = TestApp::with_studio().await;
    let set = studio.answers(&[("conjunctivitis", Answer::Yes)]).await;
    let mut c = app.app.db.read().await.unwrap();
    let row = palpebra::store::studio::get(&mut c).await.unwrap().unwrap();
    let asked = Asked { client: None, service: &studio.lift_and_tint, at: IN_A_WEEK, now: NOW };
    let nothing = readiness_of_draft(&mut c, &row, &asked, Drafted::default()).await.unwrap();
    assert!(!nothing.can_be_booked(), "{:?}", rules(&nothing));
    let known = Known::load(&mut c, &row, Some(&studio.mia), &studio.lift_and_tint).await.unwrap();
    let pair = Drafted {
        birth: known.birth,
        answers: Some((studio.answers(&[]).await, NOW)),
        consent: None,
        test_booked_at: Some(NOW + Duration::days(2)),
    };
    let good = readiness_of_draft(&mut c, &row, &asked, pair.clone()).await.unwrap();
    assert!(good.can_be_booked(), "{:?}", rules(&good));
    let sticky = Drafted { answers: Some((set, NOW)), ..pair };
    let refused = readiness_of_draft(&mut c, &row, &asked, sticky).await.unwrap();
    assert!(!refused.can_be_booked(), "{:?}", rules(&refused));
    assert!(known.needs_test(IN_A_WEEK, NOW));
}

#[tokio::test]
async fn a_test_that_is_booked_for_a_day_on_which_it_may_not_be_made_covers_nothing() {
    let (app, studio) = TestApp::with_studio().await;
    studio.answer(&studio.mia, &[("steroid_eye", Answer::Yes)]).await;
    let at = datetime!(2026-03-16 10:00 UTC);
    let test = |at| studio.visit(Purpose::SkinTest, &studio.mia, &studio.lift_and_tint, &studio.liv, at);
    let said = |said: &Readiness| rules(said).into_iter().find(|rule| rule.starts_with("skin_test")).map(str::to_owned);
    test(datetime!(2026-03-08 10:00 UTC)).await;
    let early = ask(&app, &studio, &studio.lift_and_tint, at).await;
    assert_eq!(said(&early).as_deref(), Some("skin_test_not_done"), "the cream is off for a week on 9 March");
    test(datetime!(2026-03-09 08:00 UTC)).await;
    let good = ask(&app, &studio, &studio.lift_and_tint, at).await;
    assert_eq!(said(&good).as_deref(), Some("skin_test_booked"));
}
