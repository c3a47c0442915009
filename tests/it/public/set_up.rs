//! The first page of an empty server.

use crate::support::TestApp;

const GOOD: [(&str, &str); 7] = [
    ("code", "the-code"),
    ("studio", "Studio Lidbogen"),
    ("zone", "Europe/Berlin"),
    ("currency", "eur"),
    ("name", "Runa Ostfeld"),
    ("mail", "owner@studio.example.org"),
    ("password", "quiet green lamp post"),
];

#[tokio::test]
async fn it_makes_the_owner_once_and_closes_for_ever() {
    let app = TestApp::empty().await;
    let owner = app.visitor();
    let page = owner.get("/set-up").await;
    assert_eq!(page.status, 200);
    let home = owner.submit(&page, "/set-up", &GOOD).await;
    assert_eq!((home.status, home.location().as_deref()), (303, Some("/owner")), "{}", home.text());
    let cookie = home.headers.get("set-cookie").unwrap().to_str().unwrap();
    assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict") && cookie.contains("Path=/"), "{cookie}");
    assert_eq!(owner.get("/set-up").await.status, 404);
    assert_eq!(owner.submit(&page, "/set-up", &GOOD).await.status, 404);
}

#[tokio::test]
async fn without_the_printed_code_nothing_is_made() {
    let app = TestApp::empty().await;
    let stranger = app.visitor();
    let page = stranger.get("/set-up").await;
    let mut fields = GOOD.to_vec();
    fields.push(("code", "guess"));
    let again = stranger.submit(&page, "/set-up", &fields).await;
    assert_eq!(again.status, 422);
    assert!(again.text().contains("isn't the code"), "{}", again.text());
    assert_eq!(stranger.get("/set-up").await.status, 200, "it is still open");
}

#[tokio::test]
async fn a_refusal_keeps_what_was_typed_but_the_password() {
    let app = TestApp::empty().await;
    let owner = app.visitor();
    let page = owner.get("/set-up").await;
    let mut fields = GOOD.to_vec();
    fields.push(("mail", "no-at-sign"));
    let again = owner.submit(&page, "/set-up", &fields).await;
    assert_eq!(again.status, 422);
    let (_, kept) = again.form("/set-up");
    let value = |name: &str| kept.iter().find(|(key, _)| key == name).map(|(_, value)| value.as_str());
    assert_eq!(value("studio"), Some("Studio Lidbogen"));
    assert_eq!(value("zone"), Some("Europe/Berlin"));
    assert_eq!(value("mail"), Some("no-at-sign"));
    assert_eq!(value("password"), Some(""));
    assert!(again.source().contains("aria-invalid"));
}

#[tokio::test]
async fn two_who_race_make_one_owner() {
    let app = TestApp::empty().await;
    let (one, two) = (app.visitor(), app.visitor());
    let (page_one, page_two) = (one.get("/set-up").await, two.get("/set-up").await);
    let (a, b) = tokio::join!(one.submit(&page_one, "/set-up", &GOOD), two.submit(&page_two, "/set-up", &GOOD));
    let mut codes = [a.status, b.status];
    codes.sort_unstable();
    assert_eq!(codes, [303, 404]);
}
