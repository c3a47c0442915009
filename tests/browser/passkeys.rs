//! The owner adds a passkey in a browser that has a device for it, and signs in with it, by the keyboard alone.

use palpebra::app::SecondFactor;

use crate::pages::{Person, Walk};
use crate::people::TestApp;
use crate::people::app::{Made, OWNER};
use crate::support::Browser;

const PLACE: &str = "http://localhost:{port}";

async fn app() -> (TestApp, String) {
    let (second_factor, base_url) = (SecondFactor::Asked, Some(PLACE.to_owned()));
    let app = TestApp::made_with_owner(Made { second_factor, base_url, ..Made::default() }).await;
    let origin = app.app.address.base_url.clone();
    (app, origin)
}

async fn gives_password(browser: &Browser) {
    browser.type_into("Mail", OWNER.0).await;
    browser.type_into("Password", OWNER.1).await;
    browser.enter_on("Sign in").await;
}

/// Presses a button whose device answers by itself, and waits for the page that follows.
async fn touches(browser: &Browser, button: &str) {
    browser.tab_to(button).await;
    browser.keys_away(&fantoccini::key::Key::Enter.to_string()).await;
}

#[tokio::test]
async fn the_owner_makes_a_passkey_and_signs_in_with_it() {
    let (app, origin) = app().await;
    let she = Person::new(&origin, "owner", "passkey").await;
    let browser = &she.browser;
    browser.hold_key().await;
    she.open("/team/sign-in").await;
    gives_password(browser).await;
    she.inspect_at("/team/second-factor", "instead-of-an-app").await;
    browser.enter_on("Use a passkey instead").await;
    assert_eq!(browser.address().await, "/team/passkey");
    she.inspect("add").await;
    touches(browser, "Make the passkey").await;
    browser.assert_shows("Please fill this in").await;
    she.inspect("add-refused").await;
    browser.type_into("A name for it", "blue phone").await;
    touches(browser, "Make the passkey").await;
    browser.assert_shows("Your recovery codes").await;
    browser.enter_on("I have them, go on").await;
    assert_eq!(browser.address().await, "/owner");

    she.open("/team/passkey").await;
    browser.type_into("A name for it", "blue phone again").await;
    browser.tab_to("Make the passkey").await;
    browser.keys(&fantoccini::key::Key::Enter.to_string()).await;
    browser.comes_to_show("This device holds a passkey of yours already").await;
    she.inspect("add-stopped").await;
    she.inspect_at("/desk/sign-in", "own-sign-in").await;
    browser.assert_shows("blue phone").await;
    browser.assert_shows("It is all that you have").await;
    she.open("/owner").await;
    browser.press("Sign out").await;

    she.open("/team/sign-in").await;
    gives_password(browser).await;
    she.inspect_at("/team/code", "code").await;
    touches(browser, "Use a passkey").await;
    assert_eq!(browser.address().await, "/desk");
    app.app.clock.advance(time::Duration::minutes(11));
    she.inspect_at("/team/prove", "prove").await;
    touches(browser, "Use a passkey").await;
    assert_eq!(browser.address().await, "/desk");
    she.leave(Walk::Again).await;
}

#[tokio::test]
async fn without_a_device_or_without_scripts_there_is_another_way() {
    let (_app, origin) = app().await;
    let she = Browser::without_scripts().await;
    she.open(&format!("{origin}/team/sign-in")).await;
    gives_password(&she).await;
    she.follow("Use a passkey instead").await;
    she.assert_shows("This browser can’t make one").await;
    assert!(she.first("button", "Make the passkey").await.is_none());
    she.follow("Use an app").await;
    she.assert_shows("The code that the app shows now").await;
    she.close().await;
}
