//! Without a network: a page of ours says so, and a form waits with all that was typed.

use std::time::Duration;

use fantoccini::Locator;
use serde_json::json;
use tokio::time::{interval, timeout};

use crate::support::{Browser, Gate, Server};

const NOW: &str = "2026-03-02T08:00:00Z";
const AWAY: &str = "You have no network";

/// Waits until a script of the page says yes.
async fn until(browser: &Browser, script: &str) {
    let mut look = interval(Duration::from_millis(20));
    let said = async {
        loop {
            look.tick().await;
            let script = format!("const done = arguments[0]; Promise.resolve({script}).then(done, () => done(false));");
            if browser.client.execute_async(&script, vec![]).await.is_ok_and(|said| said == true) {
                return;
            }
        }
    };
    assert!(timeout(Duration::from_secs(30), said).await.is_ok(), "{script}: {}", browser.text().await);
}

/// The worker of the pages keeps what it shows without a network.
async fn is_kept(browser: &Browser) {
    until(browser, "caches.match('/away').then(page => Boolean(page && navigator.serviceWorker.controller))").await;
}

async fn offline(browser: &Browser, offline: bool) {
    let none = json!({ "offline": offline, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1 });
    browser.devtools("Network.emulateNetworkConditions", none).await;
}

#[tokio::test]
async fn a_page_that_cannot_be_fetched_is_told_of() {
    let server = Server::demo(NOW).await;
    let sign_in = server.sign_in("practitioner");
    let gate = Gate::before(&server.url("")).await;
    let browser = Browser::new().await;
    browser.open(&format!("{}/team/sign-in", gate.origin)).await;
    browser.fill("Mail", &sign_in.mail).await;
    browser.fill("Password", &sign_in.password).await;
    browser.press("Sign in").await;
    is_kept(&browser).await;
    gate.shut();
    for path in ["/privacy", "/desk", "/desk/clients"] {
        browser.open(&format!("{}{path}", gate.origin)).await;
        browser.assert_shows(AWAY).await;
        browser.assert_shows("Check your connection, then try again.").await;
        let text = browser.text().await;
        assert!(!text.contains("Noémi") && !text.contains("Sign out"), "nothing of anybody is kept: {text}");
    }
    browser.inspect("away").await;
    let gone = browser.console_errors().await;
    assert!(gone.iter().all(|message| message.contains("net::ERR_")), "{gone:#?}");
    gate.open();
    browser.client.find(Locator::LinkText("Try again")).await.unwrap().click().await.unwrap();
    until(&browser, "document.querySelector('h1')?.textContent === 'Clients'").await;
    browser.close().await;
}

#[tokio::test]
async fn a_form_is_not_sent_into_the_void() {
    let server = Server::demo(NOW).await;
    let browser = Browser::new().await;
    browser.open(&server.url("/sign-in")).await;
    browser.fill("Your mail", "perpetua@clients.example.org").await;
    browser.devtools("Network.enable", json!({})).await;
    offline(&browser, true).await;
    until(&browser, "!navigator.onLine").await;
    for _ in 0..2 {
        browser.client.find(Locator::Css("main .main")).await.unwrap().click().await.unwrap();
        browser.assert_shows("You have no network, so nothing was sent.").await;
        assert_eq!(browser.value("Your mail").await, "perpetua@clients.example.org");
    }
    let said = browser.client.find_all(Locator::Css("[role=alert]")).await.unwrap();
    assert_eq!(said.len(), 1);
    assert!(browser.accessibility_problems().await.is_empty());
    offline(&browser, false).await;
    until(&browser, "navigator.onLine").await;
    browser.press("Send me a link").await;
    browser.assert_shows("perpetua@clients.example.org").await;
    browser.close().await;
}

/// A page takes four requests at most (its own, style, script, icon); that of the worker is not on a first page.
#[tokio::test]
async fn the_worker_keeps_within_the_requests_of_a_page() {
    let server = Server::demo(NOW).await;
    let browser = Browser::new().await;
    browser.open(&server.url("/")).await;
    let none = "navigator.serviceWorker.getRegistrations().then(all => all.length === 0)";
    until(&browser, none).await;
    let first = server.requests();
    assert!((3..=4).contains(&first), "{first} requests for the first page of all");
    browser.open(&server.url("/privacy")).await;
    is_kept(&browser).await;
    let second = server.requests();
    assert!(second <= 4 + 2, "{second} requests: the second page and its worker");
    browser.open(&server.url("/sign-in")).await;
    is_kept(&browser).await;
    assert!(server.requests() <= second + 1, "the third page alone");
    browser.close().await;
}
