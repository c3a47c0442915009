//! From a server without a studio to an owner who is signed in, and the end of the server, kind or not.

use crate::support::{Browser, Server};

const MAIL: &str = "ida@example.org";
const PASSWORD: &str = "seven quiet lanterns";

#[tokio::test]
async fn an_owner_sets_the_studio_up_and_it_outlives_the_server() {
    let mut server = Server::empty().await;
    let browser = Browser::new().await;
    browser.open(&server.url("/set-up")).await;
    browser.inspect("set-up").await;
    browser.fill("Your name", "Ida Ünal").await;
    browser.press("Make the studio").await;
    browser.assert_shows("This isn't the code that the server printed").await;
    assert_eq!(browser.value("Your name").await, "Ida Ünal");
    browser.inspect("set-up-refused").await;

    browser.fill("Set-up code", server.set_up_code()).await;
    browser.fill("Name of the studio", "Quiet Lantern").await;
    browser.fill("Time zone", "Europe/Berlin").await;
    browser.fill("Currency", "EUR").await;
    browser.fill("Your mail", MAIL).await;
    browser.fill("Password", PASSWORD).await;
    browser.press("Make the studio").await;
    assert_eq!(browser.address().await, "/owner");
    browser.inspect("owner-home").await;
    browser.close().await;

    // What was answered is kept, however the server ends.
    server.kill();
    server.start_again().await;
    signs_in(&server).await;
    let ended = server.terminate().await;
    assert_eq!(ended.code(), Some(0), "{ended}");
}

async fn signs_in(server: &Server) {
    let browser = Browser::without_scripts().await;
    browser.open(&server.url("/team/sign-in")).await;
    browser.fill("Mail", MAIL).await;
    browser.fill("Password", "seven loud lanterns").await;
    browser.press("Sign in").await;
    assert_eq!(browser.address().await, "/team/sign-in");
    assert_eq!(browser.value("Mail").await, MAIL);
    browser.fill("Password", PASSWORD).await;
    browser.press("Sign in").await;
    assert_eq!(browser.address().await, "/desk");
    browser.open(&server.url("/owner")).await;
    assert_eq!(browser.address().await, "/owner");
    browser.close().await;
}
