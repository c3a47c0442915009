//! A client's own pages.
#![expect(clippy::unwrap_used, reason = "a test may fail where it stands")]

mod consents;
mod data;
mod earlier;
mod moves;
mod return_again;
mod skin_tests;
mod two_visits;

use palpebra::domain::ids::VisitId;
use palpebra::store::audit;
use palpebra::store::visits::{self, Purpose};
use time::Duration;
use time::macros::date;

use crate::support::studio::{MIA, Studio};
use crate::support::{Person, TestApp};

async fn visit_of_mia(studio: &Studio, app: &TestApp) -> VisitId {
    let at = app.app.clock.now() + Duration::days(7);
    studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, at).await
}

async fn page_and_first_slot(person: &Person, path: &str) -> (crate::support::Html, String) {
    let page = person.get(path).await;
    let slot = page.attributes("button.slot", "value").into_iter().next().unwrap();
    (page, slot)
}

#[tokio::test]
async fn she_sees_moves_and_cancels_her_visit() {
    let (app, studio) = TestApp::with_studio().await;
    let id = visit_of_mia(&studio, &app).await;
    let mia = app.client(MIA).await;
    let page = mia.get("/me").await;
    assert!(
        page.main().contains("Monday 9 March 2026, 09:00") && page.main().contains("with Liv Tannhauer"),
        "{}",
        page.main()
    );

    let path = format!("/me/visits/{id}/move");
    let (form, slot) = page_and_first_slot(&mia, &path).await;
    let moved = mia.submit(&form, "/me/visits/", &[("time", &slot)]).await;
    assert_eq!(moved.status, 303, "{}", moved.main());
    let mut c = app.app.db.read().await.unwrap();
    let visit = visits::get(&mut c, &id).await.unwrap().unwrap();
    assert_eq!(visit.starts_at.unix_timestamp().to_string(), slot.split('.').next().unwrap());
    assert_eq!((visit.state.as_str(), visit.sequence), ("booked", 1));
    assert!(app.mail_to(MIA).await.0.letter.text.contains("is now on"));

    let cancel = format!("/me/visits/{id}/cancel");
    assert!(mia.get(&cancel).await.main().contains("too late"), "it begins today: within 24 hours");
    let (_, token) = mia.get("/me").await.form("/sign-out");
    assert_eq!(mia.post(&cancel, &token).await.status, 409, "nor by a forged form");
}

#[tokio::test]
async fn cancelling_ends_where_the_studio_s_limit_begins() {
    let (app, studio) = TestApp::with_studio().await;
    let id = visit_of_mia(&studio, &app).await;
    let mia = app.client(MIA).await;
    app.app.clock.advance(Duration::days(6) + Duration::seconds(1));
    let mia_again = app.client(MIA).await;
    let late = mia_again.get(&format!("/me/visits/{id}/cancel")).await;
    assert!(late.main().contains("too late"), "{}", late.main());
    drop(mia);
    let other = studio
        .visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, app.app.clock.now() + Duration::hours(26))
        .await;
    let ask = mia_again.get(&format!("/me/visits/{other}/cancel")).await;
    assert_eq!(mia_again.submit(&ask, "/me/visits/", &[]).await.status, 303);
    let mut c = app.app.db.read().await.unwrap();
    assert_eq!(visits::get(&mut c, &other).await.unwrap().unwrap().state.as_str(), "cancelled_by_client");
    assert_eq!(visits::get(&mut c, &id).await.unwrap().unwrap().state.as_str(), "booked");
}

#[tokio::test]
async fn another_client_sees_none_of_it() {
    let (app, studio) = TestApp::with_studio().await;
    let id = visit_of_mia(&studio, &app).await;
    studio.consent(&studio.mia, &studio.lift).await;
    let mia = app.client(MIA).await;
    let paper = mia.get("/me").await.link("Signed on");
    assert!(mia.get(&paper).await.main().contains("What can go wrong"));
    studio.client("Zora Halvig", "zora@clients.example.org", date!(1999 - 01 - 02)).await;
    let zora = app.client("zora@clients.example.org").await;
    for path in [
        format!("/me/visits/{id}/move"),
        format!("/me/visits/{id}/cancel"),
        format!("/me/visits/{id}/calendar.ics"),
        paper,
    ] {
        assert_eq!(zora.get(&path).await.status, 404, "{path}");
    }
    let (_, token) = zora.get("/me").await.form("/sign-out");
    assert_eq!(zora.post(&format!("/me/visits/{id}/cancel"), &token).await.status, 404);
}

#[tokio::test]
async fn her_calendar_file_says_nothing_of_the_treatment() {
    let (app, studio) = TestApp::with_studio().await;
    let id = visit_of_mia(&studio, &app).await;
    let file = app.client(MIA).await.get(&format!("/me/visits/{id}/calendar.ics")).await;
    assert_eq!(file.headers["content-type"], "text/calendar; charset=utf-8; method=PUBLISH");
    let text = file.source();
    assert!(text.contains("BEGIN:VEVENT\r\n") && text.contains("DTSTART;TZID=Europe/Berlin:20260309T090000"), "{text}");
    assert!(!text.to_lowercase().contains("lift"), "{text}");
}

#[tokio::test]
async fn a_link_signs_in_once_and_only_by_its_button() {
    let (app, _) = TestApp::with_studio().await;
    let mia = app.visitor();
    let page = mia.get("/sign-in").await;
    mia.submit(&page, "/sign-in", &[("mail", MIA)]).await;
    let link = app.mail_to(MIA).await.link("/sign-in/");
    for _ in 0..3 {
        assert_eq!(app.visitor().get(&link).await.status, 200, "mail programs open links by themselves");
    }
    let button = mia.get(&link).await;
    assert_eq!(mia.get("/me").await.status, 303, "a look signs nobody in");
    assert_eq!(mia.submit(&button, "/sign-in/", &[]).await.status, 303);
    assert_eq!(mia.get("/me").await.status, 200);
    let again = app.visitor();
    let button = again.get("/sign-in").await;
    let (_, token) = button.form("/sign-in");
    assert_eq!(again.post(&link, &token).await.status, 410, "used up");
    let mut stored = app.dump().await;
    stored.retain(|cell| link.contains(cell.as_str()) && cell.len() > 20);
    assert!(stored.is_empty(), "the token is stored nowhere");
}

#[tokio::test]
async fn guessing_links_is_slowed_and_written_down() {
    let (app, _) = TestApp::with_studio().await;
    let she = app.visitor();
    let page = she.get("/sign-in").await;
    let (_, token) = page.form("/sign-in");
    let mut statuses = Vec::new();
    for guess in 0..31 {
        statuses.push(she.post(&format!("/sign-in/{guess:043}"), &token).await.status);
    }
    assert_eq!((statuses.iter().filter(|status| **status == 410).count(), statuses[30]), (30, 429), "{statuses:?}");
    let log = audit::list(&mut app.app.db.read().await.unwrap(), None, None, 50).await.unwrap();
    assert_eq!(log.iter().filter(|row| row.action == "sign-in.refused").count(), 10, "ten an hour");
}

#[tokio::test]
async fn a_link_ends_after_ten_minutes() {
    let (app, _) = TestApp::with_studio().await;
    for (wait, status) in [(Duration::seconds(599), 303), (Duration::minutes(10), 410)] {
        let mia = app.visitor();
        let page = mia.get("/sign-in").await;
        mia.submit(&page, "/sign-in", &[("mail", MIA)]).await;
        let link = app.mail_to(MIA).await.link("/sign-in/");
        let button = mia.get(&link).await;
        app.app.clock.advance(wait);
        assert_eq!(mia.submit(&button, "/sign-in/", &[]).await.status, status);
    }
}
