//! What is set up, and what is missing.

use palpebra::actions::Pending;
use palpebra::store::outbox;

use super::Desk;

#[tokio::test]
async fn the_first_page_leads_through_everything_that_is_missing() {
    let desk = Desk::new().await;
    let home = desk.owner.get("/owner").await;
    for words in ["Nobody can be booked yet", "no room to treat in", "nothing to book", "how to reach you"] {
        assert!(home.main().contains(words), "{words}: {}", home.main());
    }
    assert_eq!(home.link("Add a room"), "/owner/rooms");

    let path = desk.fill("/owner/practitioners", "/owner/practitioners", &[("name", "Noor Lindqvist")]).await;
    let home = desk.owner.get("/owner").await;
    assert!(home.main().contains("Noor Lindqvist has no hours yet"), "{}", home.main());
    assert!(home.main().contains("Noor Lindqvist can’t sign in yet"), "{}", home.main());
    assert_eq!(home.link("Set her hours"), path);
    desk.fill(&path, &path, &[("Monday", "9:00-17:00")]).await;

    desk.fill("/owner/rooms", "/owner/rooms", &[("name", "Window chair")]).await;
    let service = desk.service("lash_lift", &[]).await;
    let home = desk.owner.get("/owner").await;
    assert!(home.main().contains("Nobody with hours gives Soft lift"), "{}", home.main());
    assert!(home.main().contains("Soft lift asks for no skin test"), "{}", home.main());
    let service = format!("/owner/services/{service}");
    assert_eq!(home.link("Choose who gives it"), service);

    let product = desk.product("Lotion one", "lotion").await;
    let she = path.rsplit('/').next().unwrap();
    desk.fill(&service, &service, &[("many-by", she), ("many-tests", &product)]).await;
    let home = desk.owner.get("/owner").await;
    assert!(home.main().contains("Clients can book."), "{}", home.main());
    assert!(!home.main().contains("asks for no skin test"), "{}", home.main());
}

#[tokio::test]
async fn an_expired_batch_in_use_is_told_and_one_on_its_last_day_is_not() {
    let desk = Desk::new().await;
    let path = format!("/owner/products/{}", desk.product("Lotion one", "lotion").await);
    let batches = format!("{path}/batches");
    desk.fill(&path, &batches, &[("number", "A-1"), ("expires_on", "2026-03-02")]).await;
    assert!(!desk.owner.get("/owner").await.main().contains("expired"));
    desk.fill(&path, &batches, &[("number", "A-2"), ("expires_on", "2026-03-01")]).await;
    assert!(desk.owner.get("/owner").await.main().contains("One batch of a product in use has expired"));
    desk.app.app.clock.advance(time::Duration::days(1));
    let owner = desk.app.owner().await;
    assert!(owner.get("/owner").await.main().contains("2 batches of products in use have expired"));
}

#[tokio::test]
async fn mail_that_waits_or_was_given_up_is_told() {
    let desk = Desk::new().await;
    assert!(desk.owner.get("/owner").await.main().contains("None waits"));
    let (app, now) = (&desk.app.app, desk.app.app.clock.now());
    let body = serde_json::to_string(&Pending::Booked { visits: vec![] }).unwrap();
    let mut tx = app.db.write().await.unwrap();
    let [first, second] = [1, 2].map(|n| palpebra::domain::ids::MailId::from_random([n; 16]));
    for id in [&first, &second] {
        outbox::add(&mut tx, id, "mia@clients.example.org", &body, now, now).await.unwrap();
    }
    outbox::failed(&mut tx, &second, "no such mailbox", None).await.unwrap();
    tx.commit().await.unwrap();
    let home = desk.owner.get("/owner").await;
    assert!(home.main().contains("One mail waits to leave"), "{}", home.main());
    assert!(home.main().contains("One mail was given up"), "{}", home.main());
    assert!(!home.main().contains("No mail leaves this computer"), "{}", home.main());
}
