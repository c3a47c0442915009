//! A password or a code once more, before something grave.

use time::Duration;

use crate::support::app::OWNER;
use crate::support::{Html, Person, TestApp};

const LONG: Duration = Duration::minutes(11);

fn asks(page: &Html) -> bool {
    page.status == 422 && page.all("h1") == ["Is it still you?"]
}

async fn export(owner: &Person) -> Html {
    let page = owner.get("/owner/exports").await;
    owner.submit(&page, "/owner/exports", &[("scope", "everyone"), ("why", "Asked by <the insurer>")]).await
}

#[tokio::test]
async fn an_export_asks_again_after_ten_minutes_and_keeps_what_was_typed() {
    let (app, _) = TestApp::with_studio().await;
    let owner = app.owner().await;
    assert!(export(&owner).await.location().unwrap().contains("made"), "she has just signed in");
    app.app.clock.advance(LONG);
    let before = app.fingerprint().await;
    let asked = export(&owner).await;
    assert!(asks(&asked), "{}", asked.main());
    assert_eq!(app.fingerprint().await, before, "nothing is exported meanwhile");
    let wrong = owner.submit(&asked, "/owner/exports", &[("proof", "not the right one")]).await;
    assert!(asks(&wrong) && wrong.main().contains("neither your password nor a code"), "{}", wrong.main());
    let done = owner.submit(&wrong, "/owner/exports", &[("proof", OWNER.1)]).await;
    assert!(done.location().unwrap().contains("made"), "{}", done.main());
    assert!(owner.get("/owner/exports").await.main().contains("Asked by <the insurer>"));
    app.app.clock.advance(Duration::minutes(9));
    assert_eq!(export(&owner).await.status, 303, "one proof is enough for ten minutes");
}

#[tokio::test]
async fn a_package_is_not_handed_out_to_a_session_that_rested() {
    let (app, _) = TestApp::with_studio().await;
    let owner = app.owner().await;
    export(&owner).await;
    let link = owner.get("/owner/exports").await.link("Fetch it");
    app.app.clock.advance(LONG);
    let asked = owner.get(&link).await;
    assert_eq!(asked.location(), Some(format!("/team/prove?next={link}")));
    let page = owner.follow(asked).await;
    let empty = owner.submit(&page, "/team/prove", &[]).await;
    assert_eq!(empty.status, 422);
    let back = owner.submit(&page, "/team/prove", &[("proof", OWNER.1)]).await;
    assert_eq!(back.location(), Some(link.clone()));
    assert_eq!(owner.get(&link).await.status, 200);
}

#[tokio::test]
async fn who_may_sign_in_is_changed_only_by_somebody_who_is_still_there() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let path = format!("/owner/practitioners/{}", studio.liv);
    app.app.clock.advance(LONG);
    let before = app.fingerprint().await;
    let (_, token) = owner.get("/owner").await.form("/team/sign-out");
    for (action, fields) in [
        ("access", vec![("access", "off")]),
        ("password", vec![("password", "seven slow blue kettles")]),
        ("sign-in", vec![("mail", "x@studio.example.org"), ("password", "seven slow blue kettles")]),
        ("second-factor", vec![]),
        ("me", vec![("me", "yes")]),
    ] {
        let all: Vec<_> = fields.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect();
        let asked = owner.post(&format!("{path}/{action}"), &[token.clone(), all].concat()).await;
        assert!(asks(&asked), "{action}: {}", asked.main());
        assert!(!asked.source().contains("seven slow blue kettles"), "no password is written into a page");
    }
    assert_eq!(app.fingerprint().await, before);
    let off = [token, vec![("access".to_owned(), "off".to_owned())]].concat();
    let asked = owner.post(&format!("{path}/access"), &off).await;
    let done = owner.submit(&asked, &format!("{path}/access"), &[("proof", OWNER.1)]).await;
    assert_eq!(done.status, 303, "{}", done.main());
    assert!(owner.get(&path).await.main().contains("Switched off"));
}

#[tokio::test]
async fn a_code_proves_as_well_and_only_once() {
    let (app, owner, phone, _) = TestApp::with_guarded_owner().await;
    let thief = app.visitor();
    assert_eq!(thief.get("/team/prove").await.location().as_deref(), Some("/team/sign-in"));
    app.app.clock.advance(LONG);
    let page = owner.get("/team/prove?next=/owner/exports").await;
    for status in [303, 422] {
        assert_eq!(owner.submit(&page, "/team/prove", &[("proof", &phone.code(&app))]).await.status, status);
    }
}

#[tokio::test]
async fn guessing_at_a_proof_is_slowed() {
    let (app, _) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let page = owner.get("/team/prove").await;
    for _ in 0..10 {
        assert_eq!(owner.submit(&page, "/team/prove", &[("proof", "123 456")]).await.status, 422);
    }
    assert_eq!(owner.submit(&page, "/team/prove", &[("proof", OWNER.1)]).await.status, 429);
}

#[tokio::test]
async fn a_list_of_clients_leaves_as_a_file_only_after_a_proof_and_with_its_filter() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.owner().await;
    app.app.clock.advance(LONG);
    let retouch = "/owner/retouch/list.csv?free=yes&q=Mia+%26+S%C3%B8n".to_owned();
    let trace = format!("/owner/trace/list.csv?batch={}.A%2B1&from=2026-01-01&to=2026-03-02", studio.tint);
    for path in [&retouch, &trace] {
        app.app.clock.advance(LONG);
        let before = app.fingerprint().await;
        let asked = owner.get(path).await;
        assert!(
            asked.location().is_some_and(|to| to.starts_with("/team/prove?next=/owner/")),
            "{:?}",
            asked.location()
        );
        let page = owner.follow(asked).await;
        assert_eq!(app.fingerprint().await, before);
        let wrong = owner.submit(&page, "/team/prove", &[("proof", "not the right one")]).await;
        let back = owner.submit(&wrong, "/team/prove", &[("proof", OWNER.1)]).await;
        assert_eq!(back.location().as_ref(), Some(path));
        assert_eq!(owner.get(path).await.headers["content-type"], "text/csv; charset=utf-8");
    }
    app.app.clock.advance(LONG);
    assert_eq!(owner.get("/owner/takings/list.csv").await.status, 200, "it names no client");
}
