//! Reminders: each once, none too many, anew for a visit that moved.

use palpebra::actions::post;
use palpebra::domain::ids::VisitId;
use palpebra::domain::visit::VisitState;
use palpebra::store::visits::{self, Purpose};
use time::macros::datetime;
use time::{Duration, OffsetDateTime};

use crate::support::app::NOW;
use crate::support::studio::MIA;
use crate::support::{Studio, TestApp};

/// A Monday, 10:00 in Berlin, a week after the clock's start.
const STARTS: OffsetDateTime = datetime!(2026-03-09 09:00 UTC);

async fn booked() -> (TestApp, Studio, VisitId) {
    let (app, studio) = TestApp::with_studio().await;
    let visit = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, STARTS).await;
    (app, studio, visit)
}

fn go_to(app: &TestApp, at: OffsetDateTime) {
    app.app.clock.advance(at - app.app.clock.now());
}

/// What was written to her since, subject and first times.
async fn letters(app: &TestApp) -> Vec<String> {
    post::remind(&app.app).await.unwrap();
    let all = app.mails().await;
    all.iter().filter(|out| out.to == MIA).map(|out| out.letter.text.clone()).collect()
}

async fn change(app: &TestApp, id: &VisitId, change: impl FnOnce(&mut visits::Visit)) {
    let mut tx = app.app.db.write().await.unwrap();
    let mut visit = visits::get(&mut tx, id).await.unwrap().unwrap();
    change(&mut visit);
    visits::update(&mut tx, &visit, app.app.clock.now()).await.unwrap();
    tx.commit().await.unwrap();
}

async fn set_hours(app: &TestApp, first: i64, second: i64) {
    let mut tx = app.app.db.write().await.unwrap();
    let mut studio = palpebra::store::studio::get(&mut tx).await.unwrap().unwrap();
    (studio.remind_first_hours, studio.remind_second_hours) = (first, second);
    palpebra::store::studio::save(&mut tx, &studio).await.unwrap();
    tx.commit().await.unwrap();
}

#[tokio::test]
async fn two_days_and_one_day_before_she_is_reminded_once_each() {
    let (app, ..) = booked().await;
    for (before, so_far) in [
        (Duration::hours(48) + Duration::SECOND, 0),
        (Duration::hours(48), 1),
        (Duration::hours(47), 1),
        (Duration::hours(24) + Duration::SECOND, 1),
        (Duration::hours(24), 2),
        (Duration::HOUR, 2),
        (Duration::ZERO, 2),
    ] {
        go_to(&app, STARTS - before);
        for _ in 0..3 {
            assert_eq!(letters(&app).await.len(), so_far, "{before} before");
        }
    }
    let text = &letters(&app).await[0];
    assert!(text.contains("Hello Mia") && text.contains("Monday 9 March 2026, 10:00"), "{text}");
    assert!(!text.contains("lift"), "what she comes for is nobody’s business: {text}");
}

#[tokio::test]
async fn the_studio_sets_when_and_whether() {
    let (app, ..) = booked().await;
    set_hours(&app, 0, 3).await;
    go_to(&app, STARTS - Duration::hours(24));
    assert_eq!(letters(&app).await.len(), 0);
    go_to(&app, STARTS - Duration::hours(3));
    assert_eq!(letters(&app).await.len(), 1);
    // A figure that is changed afterwards reminds nobody twice.
    set_hours(&app, 0, 2).await;
    go_to(&app, STARTS - Duration::HOUR);
    assert_eq!(letters(&app).await.len(), 1);
    set_hours(&app, 0, 0).await;
    assert_eq!(letters(&app).await.len(), 1);
}

#[tokio::test]
async fn whoever_booked_late_has_her_confirmation_instead() {
    let (app, studio) = TestApp::with_studio().await;
    go_to(&app, STARTS - Duration::hours(30));
    studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, STARTS).await;
    assert_eq!(letters(&app).await.len(), 0, "the one of 48 hours is past");
    go_to(&app, STARTS - Duration::hours(24));
    assert_eq!(letters(&app).await.len(), 1);
}

#[tokio::test]
async fn a_program_that_stood_still_sends_one_letter_and_not_two() {
    let (app, ..) = booked().await;
    go_to(&app, STARTS - Duration::hours(5));
    assert_eq!(letters(&app).await.len(), 1);
    assert_eq!(letters(&app).await.len(), 1);
}

#[tokio::test]
async fn of_what_is_cancelled_nobody_is_reminded() {
    let (app, _, visit) = booked().await;
    change(&app, &visit, |visit| visit.state = VisitState::CancelledByStudio).await;
    go_to(&app, STARTS - Duration::hours(20));
    assert_eq!(letters(&app).await.len(), 0);
}

/// Between writing and sending a visit can go or move: then the reminder is taken out, and nobody is told of a failure.
#[tokio::test]
async fn a_reminder_that_waits_is_taken_out_when_its_visit_goes() {
    for moved in [false, true] {
        let (app, _, visit) = booked().await;
        go_to(&app, STARTS - Duration::hours(48));
        assert_eq!(post::remind(&app.app).await.unwrap(), 1);
        change(&app, &visit, |visit| {
            if moved {
                (visit.starts_at, visit.ends_at) = (STARTS + Duration::HOUR, visit.ends_at + Duration::HOUR);
                visit.busy_until = visit.ends_at;
            } else {
                visit.state = VisitState::CancelledByClient;
            }
        })
        .await;
        assert!(app.mails().await.is_empty());
        let standing = palpebra::store::outbox::standing(&mut app.app.db.read().await.unwrap()).await.unwrap();
        assert_eq!((standing.waiting, standing.given_up), (0, 0));
    }
}

#[tokio::test]
async fn a_visit_that_moves_is_reminded_of_anew() {
    let (app, studio, visit) = booked().await;
    go_to(&app, STARTS - Duration::hours(48));
    assert_eq!(letters(&app).await.len(), 1);
    let (starts, ends) = (STARTS + Duration::days(4), STARTS + Duration::days(4) + Duration::HOUR);
    change(&app, &visit, |visit| {
        (visit.starts_at, visit.ends_at, visit.busy_until) = (starts, ends, ends);
        visit.civil += Duration::days(4);
        visit.sequence += 1;
    })
    .await;
    for (before, so_far) in [(49, 1), (48, 2), (24, 3)] {
        go_to(&app, starts - Duration::hours(before));
        assert_eq!(letters(&app).await.len(), so_far, "{before} hours before the new time");
    }
    assert!(letters(&app).await[2].contains("Friday 13 March 2026, 10:00"));
    drop(studio);
}

/// Skin-test visits are visits too, and the letter doesn't say that it is one.
#[tokio::test]
async fn a_skin_test_is_a_visit_like_any_other() {
    let (app, studio) = TestApp::with_studio().await;
    studio.visit(Purpose::SkinTest, &studio.mia, &studio.lift_and_tint, &studio.liv, STARTS).await;
    go_to(&app, STARTS - Duration::hours(24));
    let text = letters(&app).await.concat().to_lowercase();
    assert!(text.contains("you are expected") && !text.contains("test") && !text.contains("tint"), "{text}");
    assert!(NOW < STARTS);
}
