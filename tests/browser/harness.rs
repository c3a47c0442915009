//! The support itself, tried on a page that is right and on one that is wrong: a check that can't fail is none.

use std::os::unix::process::ExitStatusExt;
use std::process::Command;

use axum::Router;
use axum::http::header::CONTENT_SECURITY_POLICY;
use axum::response::{Html, IntoResponse};
use axum::routing::{get, post};
use tokio::net::TcpListener;

use crate::support::{Browser, Process};

const GOOD: &str = r#"<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>Good</title><link rel="icon" href="data:,"><link rel="stylesheet" href="/good.css">
<main><h1>Good</h1><p id="script">no script</p><a href="/good?page=2">Second page</a>
<form method="post" action="/sent">
<p><label>Name <input name="name" value="before"></label>
<p><label for="day">Day</label> <input id="day" name="day" type="date">
<p><label>Room <select name="room"><option value="a">Small room</option><option value="b">Large room</option></select></label>
<fieldset><legend>Lenses?</legend><label><input type="radio" name="lenses" value="y"> Yes</label>
<label><input type="radio" name="lenses" value="n"> No</label></fieldset>
<fieldset><legend>Drops?</legend><label><input type="radio" name="drops" value="y"> Yes</label>
<label><input type="radio" name="drops" value="n"> No</label></fieldset>
<p><label><input type="checkbox" name="agree"> I agree</label>
<p><button>Send <span class="hidden">the form</span></button></form></main><script src="/good.js"></script></html>"#;

const GOOD_CSS: &str =
    "label, a, button { display: inline-block; padding: 12px } input, button { min-height: 24px; min-width: 24px }
.hidden { position: absolute; clip-path: inset(50%); width: 1px; height: 1px; overflow: hidden }
@media (prefers-color-scheme: dark) { body { background: #111; color: #eee } a { color: #9cf } }";

const BAD: &str = r#"<!doctype html><html><meta charset="utf-8"><title>Bad</title><link rel="icon" href="data:,">
<link rel="stylesheet" href="/bad.css"><input name="x"><p class="pale">pale</p><p class="wide">wide</p><script>alert(1)</script></html>"#;

/// Right in a light scheme, wrong in a dark one.
const DARK: &str = r#"<!doctype html><html lang="en"><meta name="viewport" content="width=device-width"><title>Dark</title>
<link rel="icon" href="data:,"><link rel="stylesheet" href="/dark.css"><p>text</p></html>"#;

async fn pages() -> String {
    let css = |text: &'static str| get(move || async move { ([("content-type", "text/css")], text) });
    let page = |text: &'static str| get(move || async move { guarded(text.to_owned()) });
    let app = Router::new()
        .route("/good", page(GOOD))
        .route("/good.css", css(GOOD_CSS))
        .route(
            "/good.js",
            get(|| async { ([("content-type", "text/javascript")], "script.textContent = 'a script ran'") }),
        )
        .route("/bad", page(BAD))
        .route("/bad.css", css(".pale { color: #bbb; background: #fff } .wide { width: 2000px }"))
        .route("/dark", page(DARK))
        .route("/dark.css", css("@media (prefers-color-scheme: dark) { body { background: #333; color: #444 } }"))
        .route(
            "/sent",
            post(|body: String| async move {
                guarded(format!("<!doctype html><title>Sent</title><link rel=icon href=data:,><p>{body}"))
            }),
        )
        .route("/refused", get(|| async { (axum::http::StatusCode::UNPROCESSABLE_ENTITY, guarded(GOOD.to_owned())) }));
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let origin = format!("http://{}", listener.local_addr().unwrap());
    tokio::spawn(async move { axum::serve(listener, app).await });
    origin
}

fn guarded(page: String) -> impl IntoResponse {
    let policy = "default-src 'none'; style-src 'self'; script-src 'self'; img-src data:; form-action 'self'";
    ([(CONTENT_SECURITY_POLICY, policy)], Html(page))
}

async fn fills_the_form(browser: &Browser) {
    browser.fill("Name", "Zoë <b>").await;
    browser.fill("Day", "2027-06-15").await;
    browser.fill("Room", "Large room").await;
    browser.choose("Drops?", "No").await;
    browser.tick("I agree").await;
    assert_eq!(browser.value("Name").await, "Zoë <b>");
    browser.press("Send the form").await;
    assert_eq!(browser.address().await, "/sent");
    browser.assert_shows("name=Zo%C3%AB+%3Cb%3E&day=2027-06-15&room=b&drops=n&agree=on").await;
}

#[tokio::test]
async fn a_good_page_passes_and_its_form_is_sent() {
    let origin = pages().await;
    let browser = Browser::new().await;
    browser.open(&format!("{origin}/good")).await;
    browser.inspect("harness").await;
    browser.assert_shows("a script ran").await;
    browser.follow("Second page").await;
    assert_eq!(browser.address().await, "/good?page=2");
    fills_the_form(&browser).await;
    browser.open(&format!("{origin}/refused")).await;
    browser.close().await;
}

#[tokio::test]
async fn without_scripts_none_runs_and_the_form_is_sent() {
    let origin = pages().await;
    let browser = Browser::without_scripts().await;
    browser.open(&format!("{origin}/good")).await;
    browser.assert_shows("no script").await;
    fills_the_form(&browser).await;
    browser.close().await;
}

#[tokio::test]
async fn a_bad_page_is_caught() {
    let origin = pages().await;
    let browser = Browser::new().await;
    browser.open(&format!("{origin}/bad")).await;
    let found = browser.accessibility_problems().await.join("\n");
    for rule in ["html-has-lang", "label", "color-contrast"] {
        assert!(found.contains(rule), "{rule} is missing from:\n{found}");
    }
    browser.set_width(1280).await;
    let found = browser.sideways(1280).await.join("\n");
    assert!(found.contains("scrolls sideways") && found.contains("class=\"wide\""), "{found}");
    browser.set_width(320).await;
    let found = browser.sideways(320).await.join("\n");
    assert!(found.contains("is laid out"), "a phone lays a page without a viewport out wide: {found}");
    let errors = browser.console_errors().await.join("\n");
    assert!(errors.contains("Content Security Policy"), "{errors}");
    assert_eq!(browser.console_errors().await, Vec::<String>::new());
    browser.open(&format!("{origin}/none")).await;
    let errors = browser.console_errors().await.join("\n");
    assert!(errors.contains("404"), "{errors}");
    browser.close().await;
}

#[tokio::test]
#[should_panic(expected = "dark: color-contrast")]
async fn a_page_that_is_bad_in_the_dark_alone_is_caught() {
    let origin = pages().await;
    let browser = Browser::new().await;
    browser.open(&format!("{origin}/dark")).await;
    browser.inspect("harness-dark").await;
}

#[tokio::test]
#[should_panic(expected = "errors in the browser's console")]
async fn an_error_in_the_console_fails_the_test() {
    let origin = pages().await;
    let browser = Browser::new().await;
    browser.open(&format!("{origin}/bad")).await;
    browser.close().await;
}

#[tokio::test]
async fn a_program_ends_when_asked_and_when_killed() {
    let start = || Process::start(Command::new("bash").args(["-c", "echo ready; exec tail -f /dev/null"]));
    let mut asked = start();
    asked.line(|line| (line == "ready").then_some(())).await;
    assert_eq!(asked.terminate().await.signal(), Some(15), "SIGTERM");
    let mut killed = start();
    killed.line(|line| (line == "ready").then_some(())).await;
    killed.kill();
    assert!(killed.printed().contains("ready"));
}
