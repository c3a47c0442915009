//! From a server without a studio to an owner who is signed in, and the end of the server, kind or not.

use data_encoding::BASE32_NOPAD;
use palpebra::clock::Clock;
use totp_rs::{Builder, Secret};

use crate::pages::{Person, Walk};
use crate::support::{Browser, Server};

const MAIL: &str = "ida@example.org";
const PASSWORD: &str = "seven damp umbrellas";

#[tokio::test]
async fn an_owner_sets_the_studio_up_and_it_outlives_the_server() {
    let mut server = Server::empty().await;
    let she = Person::new(&server.url(""), "owner", "empty").await;
    let browser = &she.browser;
    she.inspect_at("/set-up", "set-up").await;
    browser.fill("Your name", "Ida Ünal").await;
    browser.press("Make the studio").await;
    browser.assert_shows("This isn't the code that the server printed").await;
    assert_eq!(browser.value("Your name").await, "Ida Ünal");
    she.inspect("set-up-refused").await;

    browser.fill("Set-up code", server.set_up_code()).await;
    browser.fill("Name of the studio", "Quiet Lantern").await;
    browser.fill("Time zone", "Europe/Berlin").await;
    browser.fill("Currency", "EUR").await;
    browser.fill("Your mail", MAIL).await;
    browser.fill("Password", "seven quiet lanterns").await;
    browser.press("Make the studio").await;
    browser.assert_shows("That is soon guessed").await;
    browser.fill("Password", PASSWORD).await;
    browser.press("Make the studio").await;
    let recovery_code = sets_second_factor_up(&she).await;
    assert_eq!(browser.address().await, "/owner");
    she.inspect("set-up-next").await;
    gives_a_sign_in(&server, &she).await;
    browser.press("Sign out").await;
    she.open("/team/sign-in").await;
    browser.fill("Mail", MAIL).await;
    browser.fill("Password", PASSWORD).await;
    browser.press("Sign in").await;
    she.inspect_at("/team/code", "code").await;
    browser.press("Sign in").await;
    she.inspect("code-refused").await;
    she.leave(Walk::SetUp).await;

    // What was answered is kept, however the server ends.
    server.kill();
    server.start_again().await;
    signs_in(&server, &recovery_code).await;
    let ended = server.terminate().await;
    assert_eq!(ended.code(), Some(0), "{ended}");
}

/// Before anything else; ends at her set-up page, with one of the recovery codes.
async fn sets_second_factor_up(she: &Person) -> String {
    let browser = &she.browser;
    she.inspect_at("/team/passkey", "no-passkeys").await;
    she.inspect_at("/team/second-factor", "second-factor").await;
    browser.fill("The code that the app shows now", "000000").await;
    browser.press("Set it up").await;
    browser.assert_shows("That isn’t the code that your app shows").await;
    she.inspect("second-factor-refused").await;
    let secret = browser.first("code.secret", "").await.unwrap().text().await.unwrap();
    browser.fill("The code that the app shows now", &code(&secret)).await;
    browser.press("Set it up").await;
    she.inspect("recovery-codes").await;
    let recovery_code = browser.first(".codes code", "").await.unwrap().text().await.unwrap();
    browser.follow("I have them, go on").await;
    she.inspect_at("/desk/sign-in", "own-sign-in").await;
    browser.assert_shows("10 left").await;
    browser.follow("Set-up").await;
    recovery_code
}

/// To a practitioner, who chooses her own password in a browser of her own.
async fn gives_a_sign_in(server: &Server, she: &Person) {
    let browser = &she.browser;
    she.open("/owner/practitioners").await;
    browser.fill("Name", "Noor Lindqvist").await;
    browser.press("Add").await;
    browser.fill("Her mail", "noor@example.org").await;
    browser.press("Give her this sign-in").await;
    she.inspect("first-password").await;
    let first = browser.first("code.secret", "").await.unwrap().text().await.unwrap();
    browser.follow("She has it, go on").await;
    browser.assert_shows("First password, until").await;
    she.inspect("first-password-waits").await;

    let noor = Person::new(&server.url(""), "practitioner", "empty").await;
    noor.open("/team/sign-in").await;
    noor.browser.fill("Mail", "noor@example.org").await;
    noor.browser.fill("Password", &first).await;
    noor.browser.press("Sign in").await;
    assert_eq!(noor.browser.address().await, "/team/password");
    noor.inspect("own-password").await;
    noor.browser.fill("A new password", &first).await;
    noor.browser.press("Use it from now on").await;
    noor.browser.assert_shows("one that nobody told you").await;
    noor.inspect("own-password-refused").await;
    noor.browser.fill("A new password", "eight slow violins").await;
    noor.browser.press("Use it from now on").await;
    assert_eq!(noor.browser.address().await, "/team/second-factor");
    noor.leave(Walk::FirstPassword).await;
}

/// What an app shows now.
fn code(secret: &str) -> String {
    let bytes = BASE32_NOPAD.decode(secret.replace(' ', "").as_bytes()).unwrap();
    let app = Builder::new().with_secret(Secret::new_stack(bytes.try_into().unwrap())).build().unwrap();
    app.generate(u64::try_from(Clock::system().now().unix_timestamp()).unwrap()).to_string()
}

async fn signs_in(server: &Server, recovery_code: &str) {
    let browser = Browser::without_scripts().await;
    browser.open(&server.url("/team/sign-in")).await;
    browser.fill("Mail", MAIL).await;
    browser.fill("Password", "seven loud lanterns").await;
    browser.press("Sign in").await;
    assert_eq!(browser.address().await, "/team/sign-in");
    assert_eq!(browser.value("Mail").await, MAIL);
    browser.fill("Password", PASSWORD).await;
    browser.press("Sign in").await;
    assert_eq!(browser.address().await, "/team/code");
    browser.fill("The code that your app shows", recovery_code).await;
    browser.press("Sign in").await;
    assert_eq!(browser.address().await, "/desk");
    browser.open(&server.url("/owner")).await;
    assert_eq!(browser.address().await, "/owner");
    browser.close().await;
}
