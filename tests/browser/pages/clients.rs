//! Those who book: visitors, and clients who are signed in.

use super::NOW;
use super::person::{Person, State};
use super::places::{self, Walk};
use crate::people::TestApp;
use crate::people::studio::MIA;
use crate::support::{Browser, Server};

const ALL_NO: &str = "No to everything that I left open";

#[tokio::test]
async fn a_visitor_in_a_full_studio() {
    visitor(&Server::demo(NOW).await, "full").await;
}

#[tokio::test]
async fn a_visitor_among_long_names() {
    visitor(&Server::demo_of_long_names(NOW).await, "names").await;
}

#[tokio::test]
async fn a_client_of_a_full_studio() {
    client(&Server::demo(NOW).await, "full").await;
}

#[tokio::test]
async fn a_client_with_a_long_name() {
    client(&Server::demo_of_long_names(NOW).await, "names").await;
}

async fn visitor(server: &Server, state: State) {
    let she = Person::new(&server.url(""), "visitor", state).await;
    she.look_around(&places::plain(Walk::Visitor)).await;
    if state == "full" {
        she.be_refused().await;
    }
    books(&she).await;
    she.leave(Walk::Visitor).await;
}

/// A service that two visits are for, and who comes for them.
pub(super) async fn fills_details(browser: &Browser, mail: &str) {
    for (label, value) in [
        ("Your name", "Odalie Brackenmoor"),
        ("Your mail", mail),
        ("Your phone", "020 555 0199"),
        ("Day", "4"),
        ("Month", "9"),
        ("Year", "1985"),
    ] {
        browser.fill(label, value).await;
    }
}

pub(super) async fn takes_first(browser: &Browser, kinds: &str, beginning: &str) {
    browser.click(&browser.first(kinds, beginning).await.unwrap()).await;
}

/// Each step of a booking, and how it looks when it is refused.
async fn books(she: &Person) {
    let browser = &she.browser;
    she.open("/").await;
    takes_first(browser, "a.pick", "Lash lift and tint").await;
    takes_first(browser, "button.slot", "").await;
    she.inspect("second-time").await;
    takes_first(browser, "button.slot", "").await;
    she.inspect("details").await;
    browser.press("Go on to the health questions").await;
    she.inspect("details-refused").await;
    fills_details(browser, "odalie@clients.example.org").await;
    browser.press("Go on to the health questions").await;
    she.inspect("questions").await;
    browser.press("Go on").await;
    she.inspect("questions-refused").await;
    while browser.first("button", ALL_NO).await.is_some() {
        browser.press(ALL_NO).await;
    }
    she.inspect("sign").await;
    browser.press("Sign and book").await;
    she.inspect("sign-refused").await;
    for tick in ["#treatment", "#health_data"] {
        browser.click(&browser.client.find(fantoccini::Locator::Css(tick)).await.unwrap()).await;
    }
    browser.fill("Your name as signature", "Odalie Brackenmoor").await;
    browser.press("Sign and book").await;
    she.inspect("done").await;
}

async fn client(server: &Server, state: State) {
    let she = Person::new(&server.url(""), "client", state).await;
    let mail = &server.sign_in("client").mail;
    she.open("/me").await;
    she.browser.fill("Your mail", mail).await;
    she.browser.press("Send me a link").await;
    she.inspect("link-sent").await;
    let letter = server.mail(mail, "/sign-in/").await;
    she.browser.open(letter.split_whitespace().find(|word| word.contains("/sign-in/")).unwrap()).await;
    she.inspect("link").await;
    she.browser.press("Sign in").await;
    she.look_around(&places::plain(Walk::Client)).await;
    let move_it = she.first_link("/me", "/me/visits/").await;
    let visit = move_it.rsplit_once('/').unwrap().0;
    for page in ["move", "cancel", "earlier", "needs"] {
        she.inspect_at(&format!("{visit}/{page}"), page).await;
    }
    if state == "full" {
        she.be_refused().await;
    }
    she.open("/me/agreements?back=treatment").await;
    she.inspect("take-back").await;
    she.browser.press("Yes, take it back").await;
    she.inspect("taken-back").await;
    she.inspect_at(&format!("{visit}/sign"), "sign").await;
    she.browser.press("Sign").await;
    she.inspect("sign-refused").await;
    she.open("/").await;
    takes_first(&she.browser, "a.pick", "Brow lamination").await;
    takes_first(&she.browser, "button.slot", "").await;
    she.inspect("answers-again").await;
    she.leave(Walk::Client).await;
}

#[tokio::test]
async fn clients_of_a_studio_that_has_just_opened() {
    let app = TestApp::with_owner().await;
    let she = Person::new(&app.url, "visitor", "empty").await;
    she.look_around(
        &places::plain(Walk::Visitor).into_iter().filter(|path| *path != "/styleguide").collect::<Vec<_>>(),
    )
    .await;
    she.leave(Walk::Again).await;
    let (app, _) = TestApp::with_studio().await;
    let she = Person::new(&app.url, "client", "empty").await;
    signs_in(&she, &app, MIA).await;
    she.look_around(&places::plain(Walk::Client)).await;
    she.leave(Walk::Again).await;
}

pub(super) async fn signs_in(she: &Person, app: &TestApp, mail: &str) {
    she.open("/sign-in").await;
    she.browser.fill("Your mail", mail).await;
    she.browser.press("Send me a link").await;
    she.open(&app.mail_to(mail).await.link("/sign-in/").replace(&app.url, "")).await;
    she.browser.press("Sign in").await;
    assert_eq!(she.browser.address().await, "/me");
}
