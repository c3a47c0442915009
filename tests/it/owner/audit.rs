//! Who did what.

use palpebra::actions::audit as nightly;
use palpebra::domain::ids::ClientId;
use palpebra::domain::person::{BirthDate, HomeDial, Mail, PersonName, Phone};
use palpebra::domain::role::Actor;
use palpebra::store::audit::{self, Event, Found};
use palpebra::store::clients::{self, Client};
use palpebra::store::restriction;
use palpebra::store::visits::Purpose;
use time::macros::date;

use super::Desk;
use crate::support::TestApp;
use crate::support::studio::LIV;

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

#[tokio::test]
async fn the_log_is_searched_by_client_person_and_day() {
    let desk = Desk::new().await;
    let mia = client(&desk, "Mia Tannenau", 1).await;
    client(&desk, "Zoë Birkholm", 2).await;
    desk.member("Noor Lindqvist", "noor@studio.example.org").await;
    desk.app.app.clock.advance(time::Duration::days(2));
    let owner = desk.app.owner().await;
    owner.get(&format!("/desk/clients/{mia}")).await;
    let page = owner.get("/owner/audit?q=tannen").await;
    assert!(page.main().contains("Who did what: Mia Tannenau"), "{}", page.main());
    assert!(page.main().contains("Client seen") && !page.main().contains("Zoë"), "{}", page.main());
    // Both have it in their mail, so she chooses.
    let both = owner.get("/owner/audit?q=clients.example&by=program").await;
    let chosen = both.link("Mia Tannenau");
    assert_eq!(chosen, format!("/owner/audit?client={mia}&by=program"));
    assert_eq!(owner.get(&chosen).await.all("tbody tr").len(), 0);
    assert!(owner.get("/owner/audit?q=nobody").await.main().contains("No client has this"));
    let runa = both.attributes("select#by option", "value")[2].clone();
    let hers = owner.get(&format!("/owner/audit?client={mia}&by={runa}")).await;
    assert_eq!(hers.all("tbody tr").len(), 1, "{}", hers.main());
    let noor = both.attributes("select#by option", "value")[1].clone();
    let rows = owner.get(&format!("/owner/audit?by={noor}")).await;
    assert!(rows.main().contains("Noor Lindqvist Sign-in done") && !rows.main().contains("Runa Ostfeld Sign-in"));
    let before = owner.get(&format!("/owner/audit?client={mia}&to=2026-03-02")).await;
    assert!(!before.main().contains("Client seen"), "{}", before.main());
    let older = before.link("Further back");
    assert!(older.starts_with(&format!("/owner/audit?client={mia}&to=2026-03-02&before=")), "{older}");
    let page = owner.get("/owner/audit?to=soon&by=%22%3E&q=%3Cb%3E").await;
    assert!(page.main().contains("Choose a day"), "{}", page.main());
}

#[tokio::test]
async fn the_chain_is_looked_at_each_night_and_what_is_wrong_is_said_loudly() {
    let desk = Desk::new().await;
    let app = &desk.app.app;
    nightly::nightly(app).await.unwrap();
    nightly::nightly(app).await.unwrap();
    let mut c = app.db.read().await.unwrap();
    let looks: i64 = sqlx::query_scalar("SELECT count(*) FROM audit_check").fetch_one(&mut *c).await.unwrap();
    assert_eq!(looks, 1, "once a night");
    drop(c);
    let page = desk.owner.get("/owner/audit").await;
    assert!(page.main().contains("rows stand as they were written"), "{}", page.main());
    assert!(!desk.owner.get("/owner").await.main().contains("behind the program"));
    let mut c = app.db.read().await.unwrap();
    let rows = audit::verify(&mut c).await.unwrap().unwrap();
    assert_eq!(audit::check(&mut c, None).await.unwrap(), Found::Holds(rows));
    drop(c);

    // Its end is cut off: the chain alone can't show that, the look of the night before can.
    let mut tx = app.db.write().await.unwrap();
    for sql in ["DROP TRIGGER audit_is_kept", "DELETE FROM audit WHERE seq > 1"] {
        sqlx::query(sql).execute(&mut *tx).await.unwrap();
    }
    assert!(audit::verify(&mut tx).await.unwrap().is_ok());
    tx.commit().await.unwrap();
    app.clock.advance(time::Duration::DAY);
    nightly::nightly(app).await.unwrap();
    let owner = desk.app.owner().await;
    let page = owner.get("/owner").await;
    assert!(page.main().contains("The log was changed behind the program’s back"), "{}", page.main());
    let mut tx = app.db.write().await.unwrap();
    for sql in ["DROP TRIGGER audit_stays", "UPDATE audit SET detail = 'x' WHERE seq = 1"] {
        sqlx::query(sql).execute(&mut *tx).await.unwrap();
    }
    tx.commit().await.unwrap();
    app.clock.advance(time::Duration::DAY);
    nightly::nightly(app).await.unwrap();
    let last = audit::last_check(&mut app.db.read().await.unwrap()).await.unwrap().unwrap();
    assert_eq!(last.found, Found::Breaks(1));
    let page = desk.app.owner().await.get("/owner/audit").await;
    assert!(page.main().contains("row 1 is not as it was written"), "{}", page.main());
}

#[tokio::test]
async fn who_saw_a_record_that_is_locked_away_is_shown_to_whoever_asks_for_it() {
    let (app, studio) = TestApp::with_studio().await;
    let liv = app.member(LIV.0, LIV.1).await;
    studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, app.app.clock.now()).await;
    assert_eq!(liv.get(&format!("/desk/clients/{}", studio.mia)).await.status, 200);
    let mut tx = app.app.db.write().await.unwrap();
    restriction::restrict(&mut tx, &studio.mia, app.app.clock.now()).await.unwrap();
    tx.commit().await.unwrap();
    let owner = app.owner().await;
    let record = owner.get(&format!("/owner/clients/{}/data", studio.mia)).await;
    let seen = owner.get(&record.link("Who saw or changed it")).await;
    assert_eq!(seen.status, 200, "{}", seen.main());
    assert!(seen.main().contains("Who did what: Mia Sandgren") && seen.main().contains("Liv Tannhauer"));
    assert!(!owner.get("/owner/audit").await.main().contains("Mia"), "in the rows of everybody she has no name");
}
