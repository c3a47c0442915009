//! Without JavaScript: a practitioner goes through her day, the owner through her list. How clients book without it stands in
//! `walk/client.rs` and `book.rs`, the chair in `chair.rs`.

use fantoccini::Locator;

use crate::support::{Browser, Server};

const NOW: &str = "2026-03-02T08:00:00Z";

async fn signed_in(server: &Server, who: &str) -> Browser {
    let browser = Browser::without_scripts().await;
    let sign_in = server.sign_in(who);
    browser.open(&server.url("/team/sign-in")).await;
    browser.fill("Mail", &sign_in.mail).await;
    browser.fill("Password", &sign_in.password).await;
    browser.press("Sign in").await;
    assert_eq!(browser.address().await, "/desk");
    browser
}

#[tokio::test]
async fn a_practitioner_goes_through_her_day_without_scripts() {
    let server = Server::demo(NOW).await;
    let desk = signed_in(&server, "practitioner").await;
    desk.follow("Day after").await;
    desk.assert_shows("Tuesday 3 March 2026").await;
    desk.follow("Day before").await;
    desk.fill("Another day", "2026-03-04").await;
    desk.press("Show this day").await;
    desk.assert_shows("Wednesday 4 March 2026").await;
    desk.follow("Day before").await;
    desk.follow("Day before").await;
    desk.follow("Freya Lindqvarn").await;
    desk.press("The client is here").await;
    desk.assert_shows("Here").await;
    desk.follow("Check and start").await;
    desk.press("Start the treatment").await;
    desk.assert_shows("answers need another look").await;
    desk.close().await;
}

#[tokio::test]
async fn the_owner_asks_clients_back_without_scripts() {
    let server = Server::demo(NOW).await;
    let owner = signed_in(&server, "owner").await;
    owner.follow("Retouch").await;
    let due = owner.client.find(Locator::Css("#state option[value=due]")).await.unwrap();
    due.click().await.unwrap();
    owner.press("Show").await;
    owner.assert_shows("Due since").await;
    owner.click(&owner.first("button", "Take all").await.unwrap()).await;
    owner.assert_shows("Invite clients").await;
    owner.assert_shows("Who gets none, and why").await;
    owner.follow("Retouch list").await;
    owner.assert_shows("Due since").await;
    owner.close().await;
}
