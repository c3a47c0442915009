//! Every route as every kind of person: the table that builds the router is the table that is tried.

use axum::http::Method;
use palpebra::domain::role::Who;
use palpebra::web::routes::{Route, table};

use crate::support::app::OWNER;
use crate::support::studio::{LIV, MIA};
use crate::support::{Html, Person, TestApp, address};

fn path(route: &Route) -> String {
    address(route.path, &[])
}

async fn call(person: &Person, route: &Route) -> Html {
    match route.method {
        Method::GET => person.get(&path(route)).await,
        // A form without its token: whoever may come in is stopped by that, and nothing is changed.
        _ => person.post(&path(route), &[]).await,
    }
}

fn sends_to(page: &Html, place: &str) -> bool {
    page.status == 303 && page.location().as_deref() == Some(place)
}

#[tokio::test]
async fn nobody_gets_in_whom_the_table_does_not_name() {
    let (app, _) = TestApp::with_studio().await;
    let people = [
        (Who::Anyone, app.visitor()),
        (Who::Client, app.client(MIA).await),
        (Who::Practitioner, app.member(LIV.0, LIV.1).await),
        (Who::Owner, app.member(OWNER.0, OWNER.1).await),
    ];
    let mut tried = 0;
    for route in table() {
        for (who, person) in &people {
            let page = call(person, &route).await;
            let what = format!("{} {} as {who:?}: {}", route.method, route.path, page.status);
            tried += 1;
            match (route.who, who) {
                (Who::Client, Who::Anyone | Who::Practitioner | Who::Owner) => {
                    assert!(sends_to(&page, "/sign-in"), "{what}")
                }
                (Who::AtTheDoor | Who::Practitioner | Who::Owner, Who::Anyone | Who::Client) => {
                    assert!(sends_to(&page, "/team/sign-in"), "{what}");
                }
                (Who::Owner, Who::Practitioner) => assert_eq!(page.status, 403, "{what}"),
                _ => {
                    assert!(!sends_to(&page, "/sign-in") && !sends_to(&page, "/team/sign-in"), "{what}");
                    assert!(page.status < 500, "{what}: {}", page.text());
                }
            }
        }
    }
    assert!(tried > 100, "{tried}");
}

#[tokio::test]
async fn a_form_without_its_token_is_refused_on_every_route() {
    let (app, _) = TestApp::with_studio().await;
    let people = [app.visitor(), app.client(MIA).await, app.member(OWNER.0, OWNER.1).await];
    for route in table().into_iter().filter(|route| route.method == Method::POST) {
        for person in &people {
            let page = call(person, &route).await;
            assert!(
                page.status == 403 || page.status == 303 || page.status == 404 || page.status == 415,
                "{}: {}",
                route.path,
                page.status
            );
            assert!(page.status != 303 || page.location().unwrap().contains("sign-in"), "{}", route.path);
            let cross = person
                .request(reqwest::Method::POST, &path(&route))
                .header("sec-fetch-site", "cross-site")
                .form(&[("a", "b")]);
            assert_eq!(cross.send().await.unwrap().status(), 403, "{}", route.path);
        }
    }
}

#[tokio::test]
async fn every_answer_carries_the_headers() {
    let (app, _) = TestApp::with_studio().await;
    let owner = app.member(OWNER.0, OWNER.1).await;
    let mut seen = std::collections::BTreeSet::new();
    for route in table() {
        let page = call(&owner, &route).await;
        seen.insert(page.status / 100);
        let header =
            |name: &str| page.headers.get(name).map(|value| value.to_str().unwrap().to_owned()).unwrap_or_default();
        let what = format!("{} {}: {}", route.method, route.path, page.status);
        assert!(header("content-security-policy").starts_with("default-src 'none'"), "{what}");
        assert!(!header("content-security-policy").contains("unsafe"), "{what}");
        assert_eq!(header("x-content-type-options"), "nosniff", "{what}");
        assert_eq!(header("referrer-policy"), "same-origin", "{what}");
        assert_eq!(header("cross-origin-opener-policy"), "same-origin", "{what}");
        assert_eq!(header("x-request-id").len(), 16, "{what}");
        assert!(header("server").is_empty(), "{what}");
        let kept = header("cache-control");
        assert!(
            kept.contains("no-store")
                || route.path.starts_with("/static/")
                || route.path == "/healthz"
                || route.path == "/favicon.ico",
            "{what}: {kept}"
        );
        for cookie in page.headers.get_all("set-cookie") {
            let cookie = cookie.to_str().unwrap();
            assert!(
                cookie.contains("HttpOnly") && cookie.contains("SameSite=") && cookie.contains("Path=/"),
                "{what}: {cookie}"
            );
        }
    }
    assert!(seen.contains(&2) && seen.contains(&3) && seen.contains(&4), "{seen:?}");
}

#[tokio::test]
async fn looking_changes_nothing_but_the_audit() {
    let (app, _) = TestApp::with_studio().await;
    let owner = app.member(OWNER.0, OWNER.1).await;
    let gets = || table().into_iter().filter(|route| route.method == Method::GET);
    for route in gets() {
        call(&owner, &route).await;
    }
    let before = app.fingerprint().await;
    for route in gets() {
        call(&owner, &route).await;
    }
    assert_eq!(app.fingerprint().await, before);
}
