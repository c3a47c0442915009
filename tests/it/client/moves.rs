//! Where a client may move a visit that a skin test goes before, and what is cancelled along with it.

use palpebra::domain::ids::VisitId;
use palpebra::domain::questionnaire::Answer;
use palpebra::domain::skin_test::{TestResult, VoidCause};
use palpebra::domain::visit::VisitState;
use palpebra::store::visits::{self, Purpose};
use palpebra::store::{audit, skin_tests};
use time::macros::{date, datetime};
use time::{Duration, OffsetDateTime};

use crate::support::app::NOW;
use crate::support::studio::{LIV, MIA, Studio};
use crate::support::{Person, TestApp};

/// The times that her page offers for a visit, from a day on.
async fn offered(mia: &Person, visit: &VisitId, from: &str) -> Vec<OffsetDateTime> {
    let page = mia.get(&format!("/me/visits/{visit}/move?from={from}")).await;
    assert_eq!(page.status, 200, "{}", page.main());
    let second = |value: &String| value.split('.').next().unwrap().parse().unwrap();
    let slots = page.attributes("button.slot", "value");
    slots.iter().map(|value| OffsetDateTime::from_unix_timestamp(second(value)).unwrap()).collect()
}

/// Sends a time that the page may or may not offer.
async fn moved_to(mia: &Person, studio: &Studio, visit: &VisitId, at: OffsetDateTime) -> u16 {
    let (_, mut fields) = mia.get("/me").await.form("/sign-out");
    fields.push(("time".to_owned(), format!("{}.{}", at.unix_timestamp(), studio.liv)));
    mia.post(&format!("/me/visits/{visit}/move"), &fields).await.status
}

async fn tint(studio: &Studio, at: OffsetDateTime) -> VisitId {
    studio.visit(Purpose::Treatment, &studio.mia, &studio.lift_and_tint, &studio.liv, at).await
}

async fn state(app: &TestApp, id: &VisitId) -> VisitState {
    visits::get(&mut app.app.db.read().await.unwrap(), id).await.unwrap().unwrap().state
}

#[tokio::test]
async fn a_visit_is_not_moved_before_the_moment_in_which_the_wait_of_its_skin_test_ends() {
    let (app, studio) = TestApp::with_studio().await;
    app.app.clock.advance(Duration::minutes(131));
    studio.tested(&studio.mia, app.app.clock.now(), None).await;
    let ends = app.app.clock.now() + Duration::hours(48);
    let visit = tint(&studio, datetime!(2026-03-16 09:00 UTC)).await;
    let mia = app.client(MIA).await;
    let times = offered(&mia, &visit, "2026-03-04").await;
    assert!(times.iter().all(|at| *at >= ends), "{:?} before {ends}", times.first());
    assert!(times.iter().any(|at| at.date() == ends.date()), "later on that day it can be: {:?}", times.first());
    let early = datetime!(2026-03-04 08:00 UTC);
    assert_eq!(moved_to(&mia, &studio, &visit, early).await, 409, "nor by a forged form");
    assert_eq!(moved_to(&mia, &studio, &visit, datetime!(2026-03-04 11:00 UTC)).await, 303);
}

#[tokio::test]
async fn a_visit_whose_skin_test_was_voided_is_not_moved_to_where_no_other_can_be_made() {
    let (app, studio) = TestApp::with_studio().await;
    let test = studio.tested(&studio.mia, NOW - Duration::days(3), None).await;
    let mut tx = app.app.db.write().await.unwrap();
    assert!(skin_tests::void(&mut tx, &test, VoidCause::Mistake).await.unwrap());
    tx.commit().await.unwrap();
    let visit = tint(&studio, datetime!(2026-03-16 09:00 UTC)).await;
    let mia = app.client(MIA).await;
    let first = offered(&mia, &visit, "2026-03-03").await[0];
    assert_eq!(first, NOW + Duration::hours(48));
    assert_eq!(moved_to(&mia, &studio, &visit, NOW + Duration::hours(24)).await, 409);
}

#[tokio::test]
async fn a_visit_is_not_moved_behind_the_end_of_its_skin_test() {
    let (app, studio) = TestApp::with_studio().await;
    let read = Some((TestResult::NoVisibleChange, NOW - Duration::days(160)));
    studio.tested(&studio.mia, NOW - Duration::days(163), read).await;
    // 183 days: until 22 March 2026.
    let visit = tint(&studio, datetime!(2026-03-09 09:00 UTC)).await;
    let mia = app.client(MIA).await;
    assert!(offered(&mia, &visit, "2026-03-23").await.is_empty(), "booking offers none there either");
    assert_eq!(moved_to(&mia, &studio, &visit, datetime!(2026-03-23 09:00 UTC)).await, 409);
    assert!(!offered(&mia, &visit, "2026-03-20").await.is_empty());
}

#[tokio::test]
async fn an_earlier_time_is_not_offered_while_the_skin_test_runs() {
    let (app, studio) = TestApp::with_studio().await;
    studio.tested(&studio.mia, NOW, None).await;
    let visit = tint(&studio, datetime!(2026-03-20 09:00 UTC)).await;
    let opening = datetime!(2026-03-03 09:00 UTC);
    let other = studio.client("Ines Korvald", "ines@clients.example.org", time::macros::date!(1979 - 01 - 02)).await;
    let given_up = studio.visit(Purpose::Treatment, &other, &studio.lift, &studio.liv, opening).await;
    let mia = app.client(MIA).await;
    let page = mia.get(&format!("/me/visits/{visit}/earlier")).await;
    assert_eq!(mia.submit(&page, "/me/visits/", &[]).await.status, 303);
    let liv = app.member(LIV.0, LIV.1).await;
    let page = liv.get(&format!("/desk/visits/{given_up}")).await;
    assert_eq!(liv.submit(&page, &format!("/desk/visits/{given_up}/cancel"), &[]).await.status, 303);
    let told = app.mails().await.into_iter().filter(|out| out.to == MIA);
    assert_eq!(told.filter(|out| out.letter.subject.starts_with("An earlier time")).count(), 0);
}

#[tokio::test]
async fn what_a_move_changes_is_said_at_once() {
    let (app, studio) = TestApp::with_studio().await;
    // Answers count for half a year: until 1 September 2026.
    app.app.clock.advance(datetime!(2026-08-20 08:00 UTC) - NOW);
    studio.consent(&studio.mia, &studio.lift).await;
    let at = datetime!(2026-08-27 08:00 UTC);
    let visit = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, at).await;
    palpebra::actions::verdicts::watch(&app.app).await.unwrap();
    let mia = app.client(MIA).await;
    let needs = "Something is needed before this visit";
    assert!(!mia.get("/me").await.main().contains(needs));
    assert_eq!(moved_to(&mia, &studio, &visit, datetime!(2026-09-07 08:00 UTC)).await, 303);
    assert!(mia.get("/me").await.main().contains(needs));
    let log = audit::list(&mut app.app.db.read().await.unwrap(), None, None, 50).await.unwrap();
    assert_eq!(log.iter().filter(|row| row.action == "visit.verdict-changed").count(), 1);
}

/// A skin test on Wednesday that two treatments rest on.
async fn shared_test(app: &TestApp, studio: &Studio) -> (VisitId, VisitId, VisitId) {
    let test = studio
        .visit(Purpose::SkinTest, &studio.mia, &studio.lift_and_tint, &studio.liv, datetime!(2026-03-04 09:00 UTC))
        .await;
    let one = tint(studio, datetime!(2026-03-12 09:00 UTC)).await;
    let two = tint(studio, datetime!(2026-04-20 08:00 UTC)).await;
    let mut tx = app.app.db.write().await.unwrap();
    let paired = sqlx::query("UPDATE visit SET paired_test_id = ? WHERE id IN (?, ?)");
    paired.bind(test.as_str()).bind(one.as_str()).bind(two.as_str()).execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
    (test, one, two)
}

#[tokio::test]
async fn a_skin_test_that_another_visit_needs_stays_when_one_is_cancelled() {
    let (app, studio) = TestApp::with_studio().await;
    let (test, one, two) = shared_test(&app, &studio).await;
    let mia = app.client(MIA).await;
    let page = mia.get(&format!("/me/visits/{two}/cancel")).await;
    assert!(page.main().contains("The skin test stays booked"), "{}", page.main());
    assert_eq!(mia.submit(&page, "/me/visits/", &[]).await.status, 303);
    assert_eq!(state(&app, &two).await, VisitState::CancelledByClient);
    assert_eq!((state(&app, &test).await, state(&app, &one).await), (VisitState::Booked, VisitState::Booked));

    let page = mia.get(&format!("/me/visits/{one}/cancel")).await;
    assert!(page.main().contains("The two belong together"), "{}", page.main());
    assert_eq!(mia.submit(&page, "/me/visits/", &[]).await.status, 303);
    assert_eq!(state(&app, &test).await, VisitState::CancelledByClient, "nobody needs it any more");
}

#[tokio::test]
async fn a_skin_test_is_moved_and_cancelled_with_a_look_at_every_visit_that_needs_it() {
    let (app, studio) = TestApp::with_studio().await;
    let (test, one, two) = shared_test(&app, &studio).await;
    let mia = app.client(MIA).await;
    let times = offered(&mia, &test, "2026-03-09").await;
    assert!(times.iter().all(|at| *at <= datetime!(2026-03-10 09:00 UTC)), "{times:?}");
    assert!(!times.is_empty());
    assert_eq!(moved_to(&mia, &studio, &test, datetime!(2026-03-16 09:00 UTC)).await, 409, "the first comes before");
    let page = mia.get(&format!("/me/visits/{test}/cancel")).await;
    assert!(page.main().contains("all of them are cancelled"), "{}", page.main());
    assert_eq!(mia.submit(&page, "/me/visits/", &[]).await.status, 303);
    for id in [&test, &one, &two] {
        assert_eq!(state(&app, id).await, VisitState::CancelledByClient);
    }
}

#[tokio::test]
async fn a_skin_test_is_not_moved_to_a_day_on_which_it_may_not_be_made() {
    let (app, studio) = TestApp::with_studio().await;
    studio.answer(&studio.mia, &[("steroid_eye", Answer::Yes)]).await;
    let test = |client, at| studio.visit(Purpose::SkinTest, client, &studio.lift_and_tint, &studio.liv, at);
    let hers = test(&studio.mia, datetime!(2026-03-12 09:00 UTC)).await;
    let mia = app.client(MIA).await;
    let times = offered(&mia, &hers, "2026-03-03").await;
    let first = *times.first().unwrap();
    assert_eq!(first.date(), date!(2026 - 03 - 09), "the cream is off for a week by then");
    assert_eq!(moved_to(&mia, &studio, &hers, first - Duration::days(4)).await, 409, "nor by a forged form");
    let liv = app.member(LIV.0, LIV.1).await;
    let page = liv.get(&format!("/desk/visits/{hers}/arrange?day=2026-03-03")).await;
    let slots = page.attributes("button.slot", "value");
    let at = |value: &String| value.split('.').next().unwrap().parse::<i64>().unwrap();
    assert!(!slots.is_empty() && slots.iter().all(|slot| at(slot) >= datetime!(2026-03-08 23:00 UTC).unix_timestamp()));
    let early = format!("{}.{}", (first - Duration::days(4)).unix_timestamp(), studio.liv);
    let desk = liv.submit(&page, &format!("/desk/visits/{hers}/move"), &[("time", &early)]).await;
    assert_eq!(desk.status, 409, "{}", desk.main());
    assert_eq!(moved_to(&mia, &studio, &hers, first).await, 303);

    let mail = "ronja@clients.example.org";
    let young = studio.client("Ronja Tallgren", mail, date!(2010 - 03 - 17)).await;
    let hers = test(&young, datetime!(2026-03-19 09:00 UTC)).await;
    let ronja = app.client(mail).await;
    let first = *offered(&ronja, &hers, "2026-03-03").await.first().unwrap();
    assert_eq!(first.date(), date!(2026 - 03 - 17), "her sixteenth birthday");
    assert_eq!(moved_to(&ronja, &studio, &hers, first - Duration::days(1)).await, 409);
}
