//! With the keyboard alone: a client books, a practitioner works through her day, the owner through her list.

use fantoccini::key::Key;

use crate::support::{Browser, Server};

const NOW: &str = "2026-03-02T08:00:00Z";
const ALL_NO: &str = "No to everything that I left open";

fn key(key: Key) -> String {
    key.to_string()
}

async fn signed_in(server: &Server, who: &str) -> Browser {
    let browser = Browser::new().await;
    let sign_in = server.sign_in(who);
    browser.open(&server.url("/team/sign-in")).await;
    browser.type_into("Mail", &sign_in.mail).await;
    browser.type_into("Password", &sign_in.password).await;
    browser.enter_on("Sign in").await;
    assert_eq!(browser.address().await, "/desk");
    browser
}

#[tokio::test]
async fn each_does_her_work_with_the_keyboard_alone() {
    let server = Server::demo(NOW).await;
    tokio::join!(a_client_books_and_answers(&server), a_practitioner_works(&server), the_owner_works(&server));
}

async fn a_client_books_and_answers(server: &Server) {
    let she = Browser::new().await;
    she.open(&server.url("/")).await;
    she.enter_on("Skip to the page").await;
    she.enter_on("Brow lamination").await;
    she.enter_on("Tue 3 March, ").await;
    for (label, value) in [
        ("Your name", "Perpetua Nightingrove"),
        ("Your mail", "perpetua@clients.example.org"),
        ("Your phone", "020 555 0177"),
        ("Day", "9"),
        ("Month", "11"),
        ("Year", "1979"),
    ] {
        she.type_into(label, value).await;
    }
    she.enter_on("Go on to the health questions").await;

    // The first question by its arrows, and back again: what was chosen is still there.
    she.tab_to("Yes").await;
    she.keys(&key(Key::Right)).await;
    let chosen = "return document.querySelector('input[type=radio]:checked')?.value";
    assert_eq!(she.client.execute(chosen, vec![]).await.unwrap(), "no");
    let mut pages = 0;
    while she.first("button", "No to everything").await.is_some() {
        she.enter_on(ALL_NO).await;
        pages += 1;
        if pages == 1 {
            she.enter_on("Back").await;
            assert_eq!(she.client.execute(chosen, vec![]).await.unwrap(), "no");
        }
        assert!(pages < 20, "no end of questions");
    }
    assert!(pages > 2, "{pages}");

    for tick in ["I want to have this treatment.", "The studio may keep and use my health answers"] {
        she.tab_to(tick).await;
        she.keys(" ").await;
    }
    she.type_into("Your name as signature", "Perpetua Nightingrove").await;
    she.enter_on("Sign and book").await;
    she.assert_shows("We look forward to seeing you").await;
    she.close().await;
}

async fn a_practitioner_works(server: &Server) {
    let desk = signed_in(server, "practitioner").await;
    desk.enter_on("Freya Lindqvarn").await;
    desk.assert_shows("Clear to start").await;
    desk.enter_on("The client is here").await;
    desk.enter_on("Check and start").await;
    desk.assert_shows("Freya Lindqvarn").await;
    desk.enter_on("Calendar").await;
    desk.enter_on("The week").await;
    desk.enter_on("Book Noémi Velcourt, 09:00").await;
    desk.assert_shows("Book somebody in").await;
    desk.close().await;
}

async fn the_owner_works(server: &Server) {
    let owner = signed_in(server, "owner").await;
    owner.enter_on("Retouch").await;
    let all = owner.text().await;
    owner.type_into("State", "Due").await;
    owner.enter_on("Show").await;
    let due = owner.text().await;
    assert!(owner.address().await.contains("state="), "{}", owner.address().await);
    assert!(due.len() < all.len() && due.contains("Due since"), "{due}");
    owner.enter_on("Nadia Zerqoura").await;
    owner.assert_shows("Nadia Zerqoura").await;
    owner.close().await;
}
