//! Who is counted as whom, and where links lead.

use palpebra::web::server::Proxies;

use crate::support::app::{Made, OWNER};
use crate::support::studio::MIA;
use crate::support::{Html, TestApp};

/// Signs in wrongly once, as if from this address, and gives the status.
async fn tries(app: &TestApp, from: &str, mail: &str) -> u16 {
    let person = app.visitor();
    let page = person.get("/team/sign-in").await;
    let (_, mut fields) = page.form("/team/sign-in");
    fields.retain(|(name, _)| name == "csrf");
    fields.extend([("mail", mail), ("password", "x")].map(|(name, value)| (name.to_owned(), value.to_owned())));
    let request = person.request(reqwest::Method::POST, "/team/sign-in").header("x-forwarded-for", from);
    request.form(&fields).send().await.unwrap().status().as_u16()
}

#[tokio::test]
async fn a_stranger_can_t_say_that_she_is_somebody_else() {
    let app = TestApp::with_owner().await;
    for n in 0..20 {
        let mail = format!("nobody{n}@studio.example.org");
        assert_eq!(tries(&app, &format!("203.0.113.{n}"), &mail).await, 422);
    }
    assert_eq!(tries(&app, "203.0.113.99", "another@studio.example.org").await, 429, "it was one address all along");
}

#[tokio::test]
async fn behind_a_proxy_of_ours_each_client_is_counted_alone_by_the_last_address_that_is_no_proxy() {
    let proxies = Proxies::new(vec!["127.0.0.1".parse().unwrap()]);
    let app = TestApp::made_with_owner(Made { proxies, ..Made::default() }).await;
    for n in 0..20 {
        let forged = format!("198.51.100.{n}, 203.0.113.7");
        assert_eq!(tries(&app, &forged, &format!("nobody{n}@studio.example.org")).await, 422);
    }
    assert_eq!(tries(&app, "198.51.100.77, 203.0.113.7", "another@studio.example.org").await, 429);
    assert_eq!(tries(&app, "203.0.113.8", "another@studio.example.org").await, 422, "her neighbour is not held back");
    // One network of 64 bits is one household.
    for n in 0..20 {
        let mail = format!("somebody{n}@studio.example.org");
        assert_eq!(tries(&app, &format!("2001:db8:1:2::{n:x}"), &mail).await, 422);
    }
    assert_eq!(tries(&app, "2001:db8:1:2:ffff::1", "another@studio.example.org").await, 429);
}

#[tokio::test]
async fn from_many_places_one_account_is_still_tried_only_so_often() {
    let proxies = Proxies::new(vec!["127.0.0.1".parse().unwrap()]);
    let app = TestApp::made_with_owner(Made { proxies, ..Made::default() }).await;
    let mut let_through = 0;
    for n in 0..210 {
        let_through += u32::from(tries(&app, &format!("203.0.{}.{}", n / 200, n % 200), OWNER.0).await == 422);
    }
    assert_eq!(let_through, 200, "two hundred an hour");
}

#[tokio::test]
async fn links_in_mails_lead_to_the_address_of_the_settings_and_nowhere_else() {
    let (app, _) = TestApp::with_studio().await;
    let person = app.visitor();
    let page = person.get("/sign-in").await;
    let (_, mut fields) = page.form("/sign-in");
    fields.retain(|(name, _)| name == "csrf");
    fields.push(("mail".to_owned(), MIA.to_owned()));
    let request = person.request(reqwest::Method::POST, "/sign-in").header("host", "evil.example.org");
    let request = request.header("x-forwarded-host", "evil.example.org").header("x-forwarded-proto", "https");
    assert_eq!(request.form(&fields).send().await.unwrap().status(), 200);
    let letter = app.mail_to(MIA).await.0.letter;
    assert!(letter.text.contains(&format!("{}/sign-in/", app.url)), "{}", letter.text);
    assert!(!letter.text.contains("evil") && !letter.html.contains("evil"));
}

/// Asks for a sign-in link, as if from this address, and gives the answer.
async fn asks(app: &TestApp, from: &str, mail: &str) -> (u16, String) {
    let person = app.visitor();
    let page = person.get("/sign-in").await;
    let (_, mut fields) = page.form("/sign-in");
    fields.retain(|(name, _)| name == "csrf");
    fields.push(("mail".to_owned(), mail.to_owned()));
    let request = person.request(reqwest::Method::POST, "/sign-in").header("x-forwarded-for", from);
    let answer = Html::read(request.form(&fields).send().await.unwrap()).await;
    (answer.status, answer.main().replace(mail, ""))
}

#[tokio::test]
async fn nobody_asks_a_client_out_of_her_links_nor_fills_her_mailbox_and_the_answer_stays_the_same() {
    let proxies = Proxies::new(vec!["127.0.0.1".parse().unwrap()]);
    let (app, _) = TestApp::studio_made(Made { proxies, ..Made::default() }).await;
    let mut answers = Vec::new();
    for _ in 0..6 {
        answers.push(asks(&app, "203.0.113.7", MIA).await);
    }
    assert_eq!(app.mails().await.len(), 3, "from one address three an hour");
    answers.push(asks(&app, "198.51.100.1", MIA).await);
    assert_eq!(app.mails().await.len(), 4, "her own is not held back by it");
    for n in 0..20 {
        answers.push(asks(&app, &format!("192.0.2.{n}"), MIA).await);
    }
    assert_eq!(app.mails().await.len(), 20, "from everywhere twenty");
    answers.push(asks(&app, "198.51.100.2", "nobody@clients.example.org").await);
    assert!(answers.windows(2).all(|pair| pair[0] == pair[1]), "{answers:?}");
}
