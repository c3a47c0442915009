//! Headers and cookies on answers of every kind.

use std::collections::BTreeMap;
use std::panic;

use axum::Router;
use axum::http::Method;
use axum::routing::get;
use palpebra::cli::log;
use palpebra::web;
use palpebra::web::routes::table;
use palpebra::web::server::{self, Patience, Proxies};
use reqwest::header::HeaderMap;
use serde_json::Value;
use tracing_subscriber::EnvFilter;

use crate::support::app::{Made, OWNER};
use crate::support::studio::{LIV, MIA};
use crate::support::{Person, TestApp, address};

const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; font-src 'self'; \
    connect-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; object-src 'none'; frame-ancestors 'none'";

/// What is wrong with the headers of an answer; they are the same whatever it is.
fn wrong(headers: &HeaderMap) -> Vec<String> {
    let wanted = [
        ("content-security-policy", POLICY),
        ("x-content-type-options", "nosniff"),
        ("referrer-policy", "same-origin"),
        ("cross-origin-opener-policy", "same-origin"),
        ("cross-origin-resource-policy", "same-origin"),
        // The chair reads the code on a bottle.
        ("permissions-policy", "camera=(self), microphone=(), geolocation=()"),
        ("x-robots-tag", "noindex"),
        ("x-frame-options", "DENY"),
    ];
    let value = |name: &str| headers.get(name).map(|value| value.to_str().unwrap().to_owned()).unwrap_or_default();
    let mut wrong: Vec<String> =
        wanted.iter().filter(|(name, wanted)| value(name) != *wanted).map(|(name, _)| (*name).to_owned()).collect();
    let banned = ["server", "x-powered-by", "access-control-allow-origin", "access-control-allow-credentials"];
    wrong.extend(banned.iter().filter(|name| headers.contains_key(**name)).map(|name| (*name).to_owned()));
    if value("x-request-id").len() != 16 {
        wrong.push("x-request-id".to_owned());
    }
    let kind = value("content-type");
    if kind.starts_with("text/") && !kind.contains("charset=utf-8") {
        wrong.push(kind);
    }
    wrong
}

#[tokio::test]
async fn every_route_answers_every_method_with_the_headers_and_nothing_but_its_own_methods() {
    let (app, _) = TestApp::with_studio().await;
    let people = [app.visitor(), app.client(MIA).await, app.member(LIV.0, LIV.1).await, app.owner().await];
    let methods = ["GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "FOO"];
    let mut own: BTreeMap<&str, Vec<Method>> = BTreeMap::new();
    for route in table() {
        own.entry(route.path).or_default().push(route.method);
    }
    let mut classes = std::collections::BTreeSet::new();
    for (pattern, allowed) in &own {
        let path = address(pattern, &[("name", "app.css")]);
        for method in methods {
            for person in &people {
                let method: reqwest::Method = method.parse().unwrap();
                let request = person.request(method.clone(), &path).header("origin", "https://evil.example.org");
                let answer = request.send().await.unwrap();
                let what = format!("{method} {path}: {}", answer.status());
                let wrong = wrong(answer.headers());
                assert!(wrong.is_empty(), "{what}: {wrong:?}");
                let fits = allowed.contains(&method) || method == "HEAD" && allowed.contains(&Method::GET);
                if !fits {
                    // A page from another site may not post at all; what is no POST is refused by its name.
                    assert!(matches!(answer.status().as_u16(), 403 | 405), "{what}");
                }
                classes.insert(answer.status().as_u16() / 100);
            }
        }
    }
    assert_eq!(classes.into_iter().collect::<Vec<_>>(), [2, 3, 4]);
}

#[tokio::test]
async fn refusals_of_every_kind_carry_them_too() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    let send = async |request: reqwest::RequestBuilder| request.send().await.unwrap();
    let post = |path: &str| person.request(reqwest::Method::POST, path);
    let mut seen = Vec::new();
    for (status, request) in [
        (404, person.request(reqwest::Method::GET, "/.git/config")),
        (404, person.request(reqwest::Method::GET, "/.env")),
        (404, person.request(reqwest::Method::GET, "/metrics")),
        (404, person.request(reqwest::Method::GET, "/static/")),
        (404, person.request(reqwest::Method::GET, "/me/x.css")),
        (415, post("/sign-in").header("content-type", "application/json").body("{}")),
        (400, post("/sign-in").header("content-type", "application/x-www-form-urlencoded").body("a=%ff")),
        (413, post("/sign-in").header("content-type", "application/x-www-form-urlencoded").body("a=".repeat(64_000))),
        (403, post("/sign-in").form(&[("mail", "x@example.org")])),
        (403, post("/sign-in").header("sec-fetch-site", "cross-site").form(&[("mail", "x@example.org")])),
    ] {
        let answer = send(request).await;
        assert_eq!(answer.status(), status, "{}", answer.url());
        assert!(wrong(answer.headers()).is_empty(), "{status}: {:?}", wrong(answer.headers()));
        seen.push(status);
    }
    // 422 and 429 by trying too often, 303 by signing in, 409 by a time that is gone.
    let mut tried = Vec::new();
    for _ in 0..7 {
        let page = person.gives_password(OWNER.0, "not the right one").await;
        assert!(wrong(&page.headers).is_empty(), "{}", page.status);
        tried.push(page.status);
    }
    assert!(tried.contains(&422) && tried.contains(&429), "{tried:?}");
    let page = person.get(&format!("/services/{}", studio.lift)).await;
    let gone = person.submit(&page, "/services/", &[("time", "1.aaaaaaaaaaaaaaaaaaaaaaaaaa")]).await;
    assert!(gone.status >= 400 && gone.status < 500 && wrong(&gone.headers).is_empty(), "{}", gone.status);
}

#[tokio::test]
async fn a_handler_that_breaks_gives_a_page_with_the_request_and_the_log_its_place_and_neither_the_cause() {
    // As `palpebra serve` sets them up, but for this thread and this cause alone.
    let file = tempfile::NamedTempFile::new().unwrap();
    let _logged = tracing::subscriber::set_default(log::lines(EnvFilter::new("info"), file.reopen().unwrap()));
    let others = panic::take_hook();
    panic::set_hook(Box::new(move |info| match info.payload_as_str() {
        Some("with a secret in it") => log::broke(info),
        _ => others(info),
    }));
    let app = TestApp::with_owner().await;
    let routes = Router::new().route("/breaks", get(async || -> &'static str { panic!("with a secret in it") }));
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let url = format!("http://{}", listener.local_addr().unwrap());
    let router = web::dressed(app.app.clone(), routes);
    let (stop, last) = (std::future::pending(), std::time::Duration::ZERO);
    tokio::spawn(server::serve(listener, router, Proxies::default(), Patience::USUAL, stop, last));
    let person = Person::new(&url);
    for round in 0..2 {
        let page = person.get("/breaks").await;
        assert_eq!((page.status, page.all("h1")), (500, vec!["That went wrong".to_owned()]));
        let id = page.headers["x-request-id"].to_str().unwrap();
        assert!(page.main().contains(id), "{}", page.main());
        assert!(!page.source().contains("secret") && wrong(&page.headers).is_empty());
        let log = std::fs::read_to_string(file.path()).unwrap();
        let lines = log.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
        let errors: Vec<Value> = lines.filter(|line| line["level"] == "ERROR").collect();
        assert_eq!(errors.len(), round + 1, "one for each: {log}");
        let line = &errors[round];
        assert_eq!((&line["span"]["id"], &line["span"]["route"]), (&Value::from(id), &Value::from("/breaks")), "{log}");
        assert!(line["fields"]["place"].as_str().unwrap().starts_with(file!()), "{log}");
        assert!(!log.contains("secret"), "{log}");
    }
}

#[tokio::test]
async fn data_that_can_t_be_is_a_500_and_an_unreadable_file_a_503_with_the_headers() {
    let (app, studio) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let run = async |sql: &'static str| {
        let mut tx = app.app.db.write().await.unwrap();
        sqlx::query(sql).execute(&mut *tx).await.unwrap();
        tx.commit().await.unwrap();
    };
    run("UPDATE client SET born_on = 'no day'").await;
    let page = owner.get(&format!("/desk/clients/{}", studio.mia)).await;
    assert_eq!(page.status, 500, "{}", page.text());
    assert!(wrong(&page.headers).is_empty() && !page.text().contains("born_on"), "{}", page.text());
    run("UPDATE studio SET zone = 'Nowhere/Land'").await;
    let page = owner.get("/").await;
    assert_eq!(page.status, 503, "{}", page.text());
    assert!(wrong(&page.headers).is_empty() && !page.text().contains("zone"), "{}", page.text());
}

/// Every cookie that an answer sets, behind TLS.
fn cookies(headers: &HeaderMap) -> Vec<String> {
    headers.get_all("set-cookie").iter().map(|cookie| cookie.to_str().unwrap().to_owned()).collect()
}

#[tokio::test]
async fn behind_tls_every_cookie_is_of_this_host_alone() {
    let base_url = Some("https://book.example.org".to_owned());
    let app = TestApp::made_with_owner(Made { base_url, ..Made::default() }).await;
    let http = reqwest::Client::builder().redirect(reqwest::redirect::Policy::none()).build().unwrap();
    let mut jar: BTreeMap<String, String> = BTreeMap::new();
    let mut all = Vec::new();
    let mut take = |answer: &reqwest::Response, jar: &mut BTreeMap<String, String>| {
        assert_eq!(answer.headers()["strict-transport-security"], "max-age=63072000");
        for cookie in cookies(answer.headers()) {
            let (name, value) = cookie.split(';').next().unwrap().split_once('=').unwrap();
            jar.insert(name.to_owned(), value.to_owned());
            all.push(cookie);
        }
    };
    let line = |jar: &BTreeMap<String, String>| {
        jar.iter().map(|(name, value)| format!("{name}={value}")).collect::<Vec<_>>().join("; ")
    };
    let page = http.get(format!("{}/team/sign-in", app.url)).send().await.unwrap();
    take(&page, &mut jar);
    let page = crate::support::Html::read(page).await;
    let csrf = page.attributes("input[name=csrf]", "value").remove(0);
    let form = [("csrf", csrf.as_str()), ("mail", OWNER.0), ("password", OWNER.1)];
    let request = http.post(format!("{}/team/sign-in", app.url)).header("cookie", line(&jar)).form(&form);
    let signed_in = request.send().await.unwrap();
    assert_eq!(signed_in.status(), 303);
    take(&signed_in, &mut jar);
    let desk = http.get(format!("{}/desk", app.url)).header("cookie", line(&jar)).send().await.unwrap();
    assert_eq!(desk.status(), 200);
    take(&desk, &mut jar);
    let csrf = crate::support::Html::read(desk).await.attributes("input[name=csrf]", "value").remove(0);
    let request = http.post(format!("{}/team/sign-out", app.url)).header("cookie", line(&jar)).form(&[("csrf", csrf)]);
    let out = request.send().await.unwrap();
    assert_eq!((out.status().as_u16(), out.headers()["clear-site-data"].to_str().unwrap()), (303, "\"cache\""));
    take(&out, &mut jar);
    assert_eq!(all.len(), 4, "visit, team, known, and team taken away: {all:?}");
    for cookie in &all {
        assert!(cookie.starts_with("__Host-"), "{cookie}");
        for part in ["; Path=/", "; HttpOnly", "; Secure", "; SameSite="] {
            assert!(cookie.contains(part), "{cookie}");
        }
        assert!(!cookie.to_lowercase().contains("domain") && cookie.len() < 4096, "{cookie}");
    }
    let strict = all.iter().filter(|cookie| cookie.contains("SameSite=Strict")).count();
    assert_eq!(strict, 3, "all but the visitor's: {all:?}");
}

#[tokio::test]
async fn a_session_s_token_stands_on_no_page_and_in_no_address() {
    let (app, _) = TestApp::with_studio().await;
    let owner = app.visitor();
    let signed_in = owner.gives_password(OWNER.0, OWNER.1).await;
    let tokens: Vec<String> = cookies(&signed_in.headers)
        .iter()
        .map(|cookie| cookie.split(';').next().unwrap().split_once('=').unwrap().1.to_owned())
        .collect();
    assert_eq!(tokens.len(), 2, "team and known");
    for route in table().into_iter().filter(|route| route.method == Method::GET) {
        let page = owner.get(&address(route.path, &[])).await;
        let text = String::from_utf8_lossy(&page.bytes).into_owned() + &page.location().unwrap_or_default();
        assert!(tokens.iter().all(|token| !text.contains(token)), "{}", route.path);
    }
}

/// RFC 9116, 2.5: one Contact and one Expires at least; the second in the form of RFC 3339 and less than a year ahead.
#[tokio::test]
async fn whoever_finds_a_weakness_is_told_whom_to_write_to() {
    let app = TestApp::with_owner().await;
    let person = app.visitor();
    assert_eq!(person.get("/.well-known/security.txt").await.status, 404, "there is nobody to write to yet");
    let mut tx = app.app.db.write().await.unwrap();
    sqlx::query("UPDATE studio SET mail = 'hello@studio.example.org'").execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
    let page = person.get("/.well-known/security.txt").await;
    assert_eq!(page.headers["content-type"], "text/plain; charset=utf-8");
    let text = page.source();
    let value = |name: &str| {
        let lines: Vec<&str> = text.lines().filter_map(|line| line.strip_prefix(&format!("{name}: "))).collect();
        assert_eq!(lines.len(), 1, "{name}: {text}");
        lines[0].to_owned()
    };
    assert_eq!(value("Contact"), "mailto:hello@studio.example.org");
    assert_eq!(value("Canonical"), format!("{}/.well-known/security.txt", app.url));
    let expires =
        time::OffsetDateTime::parse(&value("Expires"), &time::format_description::well_known::Rfc3339).unwrap();
    let ahead = expires - app.app.clock.now();
    assert!(ahead > time::Duration::days(30) && ahead < time::Duration::days(365), "{ahead}");
}
