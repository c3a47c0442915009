//! Signing in and out.

use palpebra::actions::people;
use time::Duration;

use crate::support::TestApp;
use crate::support::app::OWNER;
use crate::support::studio::MIA;

#[tokio::test]
async fn the_owner_signs_in_with_a_new_token_each_time_and_out_again() {
    let app = TestApp::with_owner().await;
    let mut tokens = Vec::new();
    for _ in 0..2 {
        let owner = app.visitor();
        let page = owner.get("/team/sign-in").await;
        let home = owner.submit(&page, "/team/sign-in", &[("mail", OWNER.0), ("password", OWNER.1)]).await;
        let kept = home.cookie("team");
        assert_eq!(app.visitor().get_with(&kept, "/owner").await.status, 200);
        tokens.push(kept);
        assert_eq!(owner.get("/owner").await.status, 200);
        let page = owner.get("/owner").await;
        let out = owner.submit(&page, "/team/sign-out", &[]).await;
        assert_eq!(out.status, 303);
        assert_eq!(owner.get("/owner").await.location().as_deref(), Some("/team/sign-in"));
    }
    assert_ne!(tokens[0], tokens[1]);
    for kept in tokens {
        let page = app.visitor().get_with(&kept, "/owner").await;
        let led = page.location();
        assert_eq!(led.as_deref(), Some("/team/sign-in"), "who kept the cookie of a session that was ended");
    }
}

/// A client's session: an hour at rest, a day in all.
#[tokio::test]
async fn a_client_s_session_ends_when_it_rests_and_after_its_longest_time() {
    let (app, _) = TestApp::with_studio().await;
    let mia = app.client(MIA).await;
    for _ in 0..24 {
        app.app.clock.advance(Duration::minutes(59));
        assert_eq!(mia.get("/me").await.status, 200);
    }
    app.app.clock.advance(Duration::minutes(59));
    assert_eq!(mia.get("/me").await.status, 303, "24 hours are over");
    let mia = app.client(MIA).await;
    app.app.clock.advance(Duration::minutes(61));
    assert_eq!(mia.get("/me").await.status, 303, "it rested for 61 minutes");
}

#[tokio::test]
async fn wrong_password_and_unknown_mail_are_told_apart_by_nothing() {
    let app = TestApp::with_owner().await;
    let visitor = app.visitor();
    let page = visitor.get("/team/sign-in").await;
    let wrong = visitor.submit(&page, "/team/sign-in", &[("mail", OWNER.0), ("password", "not the right one")]).await;
    let unknown =
        visitor.submit(&page, "/team/sign-in", &[("mail", "nobody@studio.example.org"), ("password", "x")]).await;
    assert_eq!((wrong.status, unknown.status), (422, 422));
    assert_eq!(wrong.all(".summary"), unknown.all(".summary"));
}

#[tokio::test]
async fn guessing_is_slowed_for_one_address_and_not_for_the_next_minute() {
    let app = TestApp::with_owner().await;
    let visitor = app.visitor();
    let page = visitor.get("/team/sign-in").await;
    for _ in 0..5 {
        assert_eq!(
            visitor.submit(&page, "/team/sign-in", &[("mail", OWNER.0), ("password", "guess")]).await.status,
            422
        );
    }
    let slowed = visitor.submit(&page, "/team/sign-in", &[("mail", OWNER.0), ("password", OWNER.1)]).await;
    assert_eq!(slowed.status, 429);
    assert!(slowed.headers.contains_key("retry-after"));
    app.app.clock.advance(Duration::minutes(1));
    assert_eq!(visitor.submit(&page, "/team/sign-in", &[("mail", OWNER.0), ("password", OWNER.1)]).await.status, 303);
}

#[tokio::test]
async fn a_session_ends_when_it_rests_and_after_its_longest_time() {
    let app = TestApp::with_owner().await;
    let owner = app.owner().await;
    for _ in 0..24 {
        app.app.clock.advance(Duration::minutes(29));
        assert_eq!(owner.get("/owner").await.status, 200);
    }
    app.app.clock.advance(Duration::minutes(29));
    assert_eq!(owner.get("/owner").await.status, 303, "12 hours are over");
    let owner = app.owner().await;
    app.app.clock.advance(Duration::minutes(31));
    assert_eq!(owner.get("/owner").await.status, 303, "it rested for 31 minutes");
}

#[tokio::test]
async fn signing_out_everywhere_ends_the_other_browser_too() {
    let app = TestApp::with_owner().await;
    let (here, there) = (app.owner().await, app.owner().await);
    let page = here.get("/owner").await;
    let (_, fields) = page.form("/team/sign-out");
    assert_eq!(here.post("/team/sign-out-everywhere", &fields).await.status, 303);
    assert_eq!(there.get("/owner").await.status, 303);
}

#[tokio::test]
async fn a_form_without_its_token_or_from_elsewhere_changes_nothing() {
    let app = TestApp::with_owner().await;
    let owner = app.owner().await;
    let bare = owner.post("/team/sign-out", &[]).await;
    assert_eq!(bare.status, 403);
    assert!(bare.text().contains("out of date"), "{}", bare.text());
    let (_, fields) = app.owner().await.get("/owner").await.form("/team/sign-out");
    assert_eq!(owner.post("/team/sign-out", &fields).await.status, 403, "another session's token");
    let (_, own) = owner.get("/owner").await.form("/team/sign-out");
    let cross =
        owner.request(reqwest::Method::POST, "/team/sign-out").header("sec-fetch-site", "cross-site").form(&own);
    assert_eq!(cross.send().await.unwrap().status(), 403);
    assert_eq!(owner.get("/owner").await.status, 200, "still signed in");
}

#[tokio::test]
async fn an_unknown_mailbox_gets_the_same_page_and_no_letter() {
    let app = TestApp::with_owner().await;
    let visitor = app.visitor();
    let page = visitor.get("/sign-in").await;
    let asked = visitor.submit(&page, "/sign-in", &[("mail", "nobody@clients.example.org")]).await;
    assert_eq!(asked.status, 200);
    assert!(asked.text().contains("If we know"), "{}", asked.text());
    assert!(app.mails().await.is_empty());
    assert_eq!(people::LINK_LASTS, Duration::minutes(10));
}

#[tokio::test]
async fn signing_out_is_written_down_once_and_only_of_somebody_who_was_signed_in() {
    let (app, _) = TestApp::with_studio().await;
    let written = async || app.dump().await.iter().filter(|cell| *cell == "sign-out.done").count();
    let (visitor, mia) = (app.visitor(), app.client(MIA).await);
    for _ in 0..3 {
        let (_, mut fields) = visitor.get("/sign-in").await.form("/sign-in");
        fields.retain(|(name, _)| name == "csrf");
        assert_eq!(visitor.post("/sign-out", &fields).await.status, 303);
    }
    assert_eq!(written().await, 0);
    let page = mia.get("/me").await;
    assert_eq!(mia.submit(&page, "/sign-out", &[]).await.status, 303);
    assert_eq!(written().await, 1);
}
