//! Who did what.

use palpebra::domain::ids::ClientId;
use palpebra::domain::person::{BirthDate, HomeDial, Mail, PersonName, Phone};
use palpebra::domain::role::Actor;
use palpebra::store::audit::{self, Event};
use palpebra::store::clients::{self, Client};
use time::macros::date;

use super::Desk;

async fn client(desk: &Desk, name: &str, bits: u8) -> ClientId {
    let now = desk.app.app.clock.now();
    let client = Client {
        id: ClientId::from_random([bits; 16]),
        name: PersonName::parse(name).unwrap(),
        mail: Mail::parse("mia@clients.example.org").unwrap(),
        phone: Phone::parse("030 901820", &HomeDial::parse("+49").unwrap()).unwrap(),
        born: BirthDate::of(date!(1990 - 03 - 27), now.date()).unwrap(),
    };
    let mut tx = desk.app.app.db.write().await.unwrap();
    clients::insert(&mut tx, &client, now).await.unwrap();
    let actor = Actor::Client(client.id.clone());
    for _ in 0..60 {
        let event = Event { action: "answers.given", client: Some(&client.id), ..Event::default() };
        audit::append(&mut tx, &actor, event, now).await.unwrap();
    }
    tx.commit().await.unwrap();
    client.id
}

#[tokio::test]
async fn every_change_of_the_owner_leaves_a_row_with_her_name() {
    let desk = Desk::new().await;
    let (noor, _) = desk.member("Noor Lindqvist", "noor@studio.example.org").await;
    desk.fill("/owner/rooms", "/owner/rooms", &[("name", "Window chair")]).await;
    let product = format!("/owner/products/{}", desk.product("Lotion one", "lotion").await);
    desk.fill(&product, &format!("{product}/batches"), &[("number", "A-1")]).await;
    desk.service("lash_lift", &[("many-by", &noor)]).await;
    desk.fill("/owner/studio", "/owner/studio", &[("hold_minutes", "30")]).await;
    desk.fill(
        "/owner/days-off",
        "/owner/days-off",
        &[("who", &noor), ("from", "2026-04-01"), ("reason", "An operation")],
    )
    .await;
    let page = desk.owner.get("/owner/audit").await;
    for words in [
        "Mon 2 March 2026, 09:00 Runa Ostfeld Room added Window chair",
        "Product added Lotion one, lotion, no hours on the label",
        "Batch saved Lotion one, batch A-1",
        "Service added Soft lift",
        "Studio saved hold minutes: 20 → 30",
        "Days-off added Noor Lindqvist: 2026-04-01 to 2026-04-01",
        "Practitioner saved Noor Lindqvist, other hours",
        "Sign-in given Noor Lindqvist",
        "Noor Lindqvist Sign-in done",
    ] {
        assert!(page.main().contains(words), "{words}: {}", page.main());
    }
    assert!(!page.main().contains("operation"), "a reason may tell of somebody's health");
    let mut c = desk.app.app.db.read().await.unwrap();
    assert!(audit::verify(&mut c).await.unwrap().is_ok());
}

#[tokio::test]
async fn rows_come_on_pages_and_of_one_client() {
    let desk = Desk::new().await;
    let mia = client(&desk, "Mia Tannenau", 1).await;
    let zoe = client(&desk, "Zoë Birkholm", 2).await;
    let first = desk.owner.get("/owner/audit").await;
    assert_eq!(first.all("tbody tr").len(), 50);
    assert!(first.main().contains("Zoë Birkholm Answers given") && !first.main().contains("Mia"), "{}", first.main());
    let mut page = desk.owner.get(&first.link("Further back")).await;
    assert_eq!(page.all("tbody tr").len(), 50);
    page = desk.owner.get(&page.link("Further back")).await;
    assert!(page.all("tbody tr").len() < 50 && !page.main().contains("Further back"), "{}", page.main());
    assert!(page.main().contains("Owner created"), "{}", page.main());

    let hers = desk.owner.get(&first.link("Zoë Birkholm")).await;
    assert_eq!(first.link("Zoë Birkholm"), format!("/owner/audit?client={zoe}"));
    assert_eq!(hers.all("tbody tr").len(), 50);
    let rest = desk.owner.get(&hers.link("Further back")).await;
    assert_eq!(rest.all("tbody tr").len(), 10);
    assert!(!desk.owner.get(&format!("/owner/audit?client={mia}")).await.main().contains("Zoë"));
    assert_eq!(desk.owner.get("/owner/audit?before=x").await.status, 400);
    assert_eq!(desk.owner.get("/owner/audit?before=-1").await.all("tbody tr").len(), 0);
}
