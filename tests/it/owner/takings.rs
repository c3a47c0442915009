//! The price that was taken at the end of a visit, a day's takings, and the list for the accountant.

use std::collections::BTreeMap;

use palpebra::domain::ids::ClientId;
use palpebra::domain::role::Actor;
use palpebra::domain::visit::VisitState;
use palpebra::store::deposits::How;
use palpebra::store::erasure::{self, Ground, Part};
use palpebra::store::takings::{Price, Taking};
use palpebra::store::visits::{self, Purpose};
use palpebra::store::{audit, deposits, takings};
use rand::rngs::StdRng;
use rand::{RngExt, SeedableRng};
use time::macros::{date, datetime};
use time::{Date, Duration, OffsetDateTime};

use crate::support::studio::{LIV, NOOR};
use crate::support::{Person, Studio, TestApp};

const AT: OffsetDateTime = datetime!(2026-03-02 10:00 UTC);
const PAGE: &str = "/owner/takings";

/// A visit of Mia's with Liv that is done.
async fn done(app: &TestApp, studio: &Studio, at: OffsetDateTime) -> String {
    done_by(app, studio, &studio.mia, at).await
}

async fn done_by(app: &TestApp, studio: &Studio, client: &ClientId, at: OffsetDateTime) -> String {
    let id = studio.visit(Purpose::Treatment, client, &studio.lift, &studio.liv, at).await;
    let mut tx = app.app.db.write().await.unwrap();
    let mut visit = visits::get(&mut tx, &id).await.unwrap().unwrap();
    visit.state = VisitState::Done;
    visits::update(&mut tx, &visit, at).await.unwrap();
    tx.commit().await.unwrap();
    format!("/desk/visits/{id}")
}

async fn note(person: &Person, visit: &str, fields: &[(&str, &str)]) -> u16 {
    let page = person.get(&format!("{visit}/price")).await;
    person.submit(&page, &format!("{visit}/price"), fields).await.status
}

#[tokio::test]
async fn a_price_is_noted_and_stands_among_the_day_s_takings() {
    let (app, studio) = TestApp::with_studio().await;
    let liv = app.member(LIV.0, LIV.1).await;
    let (one, two) = (done(&app, &studio, AT).await, done(&app, &studio, AT + Duration::hours(3)).await);
    let page = liv.get(&format!("{one}/price")).await;
    let (_, fields) = page.form(&format!("{one}/price"));
    assert!(
        fields.contains(&("price".to_owned(), "55.00".to_owned())),
        "the price of the booking stands there: {fields:?}"
    );
    assert_eq!(note(&liv, &one, &[("price", "50"), ("how", "cash")]).await, 303);
    assert_eq!(note(&liv, &two, &[("price", "55.00"), ("how", "card")]).await, 303);
    assert_eq!(note(&liv, &one, &[("price", "52.50"), ("how", "cash")]).await, 303, "it can be set right");
    for (price, how) in [("", "cash"), ("-5", "cash"), ("52.505", "cash"), ("50", ""), ("50", "shells")] {
        assert_eq!(note(&liv, &one, &[("price", price), ("how", how)]).await, 422, "{price} {how}");
    }
    let owner = app.owner().await;
    let page = owner.get(PAGE).await;
    assert_eq!(page.all("dl.facts dd"), ["55.00 EUR", "52.50 EUR", "107.50 EUR"], "{}", page.main());
    assert!(page.main().contains("takes no payments and is no cash register"));
    assert_eq!(page.all("tbody tr").len(), 2);
    let none = owner.get(&format!("{PAGE}?from=2026-03-01&to=2026-03-01")).await;
    assert!(none.main().contains("Nothing was noted."));
    let csv = owner.get(&format!("{PAGE}/list.csv?from=2026-03-02&to=2026-03-02")).await.source();
    let line = csv.lines().nth(1).unwrap();
    assert!(line.starts_with("2026-03-02,") && line.ends_with(",EUR,52.50,0.00,52.50,cash,Liv Tannhauer"), "{csv}");
    assert!(!csv.contains("Sandgren"), "an accountant needs no names of clients");
    let log = audit::list(&mut app.app.db.read().await.unwrap(), Some(&studio.mia), None, 50).await.unwrap();
    assert_eq!(log.iter().filter(|entry| entry.action == "price.noted").count(), 3);
    assert_eq!(liv.get(PAGE).await.status, 403);
}

#[tokio::test]
async fn a_deposit_is_counted_in_once_and_can_be_taken_out_again() {
    let (app, studio) = TestApp::with_studio().await;
    let liv = app.member(LIV.0, LIV.1).await;
    let visit = done(&app, &studio, AT).await;
    let arrange = liv.get(&format!("{visit}/arrange")).await;
    let deposit = [("amount", "20"), ("how", "transfer"), ("fate", "held")];
    assert_eq!(liv.submit(&arrange, &format!("{visit}/deposit"), &deposit).await.status, 303);
    assert_eq!(
        note(&liv, &visit, &[("price", "15"), ("how", "cash"), ("counts", "yes")]).await,
        422,
        "it is more than that"
    );
    assert_eq!(note(&liv, &visit, &[("price", "55"), ("how", "cash"), ("counts", "yes")]).await, 303);
    let id = palpebra::domain::ids::VisitId::parse(visit.rsplit('/').next().unwrap()).unwrap();
    let stand = async || {
        let mut c = app.app.db.read().await.unwrap();
        let taking = takings::of_visit(&mut c, &id).await.unwrap().unwrap();
        (taking.price.paid_minor(), deposits::of_visit(&mut c, &id).await.unwrap().unwrap().fate)
    };
    assert_eq!(stand().await, (3500, deposits::Fate::Counted));
    let path = format!("{visit}/deposit");
    for change in [("fate", "returned"), ("amount", "30"), ("how", "cash")] {
        let refused = liv.submit(&arrange, &path, &[&deposit[..], &[("fate", "counted"), change]].concat()).await;
        assert_eq!(refused.status, 409, "the page was opened before");
        assert_eq!(
            refused.all("#fate-error"),
            ["What is counted towards the price is changed on the page of the price."]
        );
        assert!(refused.form(&path).1.contains(&(change.0.to_owned(), change.1.to_owned())), "it is kept");
    }
    assert_eq!(stand().await, (3500, deposits::Fate::Counted));
    assert_eq!(note(&liv, &visit, &[("price", "55"), ("how", "cash"), ("counts", "")]).await, 303);
    assert_eq!(stand().await, (5500, deposits::Fate::Held));
    let counted = liv.submit(&arrange, &path, &[&deposit[..], &[("fate", "counted")]].concat()).await;
    assert_eq!(counted.status, 409, "no price counts it");
    assert_eq!(liv.submit(&arrange, &path, &[&deposit[..], &[("fate", "returned")]].concat()).await.status, 303);
}

#[tokio::test]
async fn no_price_for_what_never_began_and_none_by_somebody_else() {
    let (app, studio) = TestApp::with_studio().await;
    let booked = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, AT).await;
    let path = format!("/desk/visits/{booked}/price");
    let liv = app.member(LIV.0, LIV.1).await;
    assert!(liv.get(&path).await.main().contains("It can be noted once the client is here."));
    let token =
        liv.get(&format!("/desk/visits/{booked}/arrange")).await.form(&format!("/desk/visits/{booked}/deposit")).1;
    let token = token.into_iter().find(|(name, _)| name == "csrf").unwrap();
    let forged = [token, ("price".to_owned(), "5".to_owned()), ("how".to_owned(), "cash".to_owned())];
    assert_eq!(liv.post(&path, &forged).await.status, 422);
    assert_eq!(app.member(NOOR.0, NOOR.1).await.get(&path).await.status, 404);
}

/// She and everything of hers leaves.
async fn leaves(app: &TestApp, client: &ClientId) {
    let ground = Ground { actor: &Actor::Program, object: "", detail: "" };
    let mut tx = app.app.db.write().await.unwrap();
    erasure::erase(&mut tx, client, Part::Record, &ground, AT + Duration::days(400)).await.unwrap();
    tx.commit().await.unwrap();
}

#[tokio::test]
async fn the_money_of_a_client_who_has_left_stays_on_its_day_without_her() {
    let (app, studio) = TestApp::with_studio().await;
    let zoe = studio.client("Zoë Birkholm", "zoe@clients.example.org", date!(1988 - 02 - 03)).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let (hers, other) = (done_by(&app, &studio, &zoe, AT).await, done(&app, &studio, AT + Duration::hours(3)).await);
    let arrange = liv.get(&format!("{hers}/arrange")).await;
    let deposit = [("amount", "20"), ("how", "transfer"), ("fate", "held")];
    assert_eq!(liv.submit(&arrange, &format!("{hers}/deposit"), &deposit).await.status, 303);
    assert_eq!(note(&liv, &hers, &[("price", "55"), ("how", "cash"), ("counts", "yes")]).await, 303);
    assert_eq!(note(&liv, &other, &[("price", "50"), ("how", "card")]).await, 303);
    let owner = app.owner().await;
    let before = owner.get(PAGE).await;
    assert_eq!(before.all("dl.facts dd"), ["50.00 EUR", "35.00 EUR", "85.00 EUR"], "{}", before.main());
    leaves(&app, &zoe).await;
    let after = owner.get(PAGE).await;
    assert_eq!(after.all("dl.facts dd"), before.all("dl.facts dd"));
    assert_eq!(after.all("tbody tr").len(), 2);
    assert!(after.all("tbody tr")[1].contains("The client has left"), "{}", after.main());
    let csv = owner.get(&format!("{PAGE}/list.csv?from=2026-03-02&to=2026-03-02")).await.source();
    assert_eq!(csv.lines().nth(2), Some("2026-03-02,,,,,EUR,55.00,20.00,35.00,cash,"), "{csv}");
    let day_after = owner.get(&format!("{PAGE}?from=2026-03-03&to=2026-03-03")).await;
    assert!(day_after.main().contains("Nothing was noted."));
}

type Sums = BTreeMap<(Date, String, &'static str), u64>;

async fn sums(app: &TestApp) -> (Sums, usize) {
    let mut c = app.app.db.read().await.unwrap();
    let lines = takings::between(&mut c, date!(2026 - 03 - 01), date!(2026 - 03 - 31)).await.unwrap();
    let mut sums = Sums::new();
    for line in &lines {
        let one = &line.price;
        *sums.entry((one.day, one.currency.clone(), one.how.as_str())).or_default() += u64::from(one.paid_minor());
    }
    (sums, lines.len())
}

#[tokio::test]
async fn a_day_s_sum_is_the_same_before_and_after_anybody_leaves() {
    let mut random = StdRng::seed_from_u64(20_260_302);
    let (app, studio) = TestApp::with_studio().await;
    let mut clients = vec![studio.mia.clone()];
    for number in 1..8 {
        let mail = format!("c{number}@clients.example.org");
        clients.push(studio.client(&format!("Client Number {number}"), &mail, date!(1990 - 01 - 02)).await);
    }
    for hour in 0..40 {
        let client = &clients[random.random_range(0..clients.len())];
        let at = AT + Duration::hours(hour * 2);
        let id = studio.visit(Purpose::Treatment, client, &studio.lift, &studio.liv, at).await;
        let whole_minor = random.random_range(0..=12_000);
        let price = Price {
            whole_minor,
            counted_minor: random.random_range(0..=whole_minor),
            currency: ["EUR", "SEK"][random.random_range(0..2)].to_owned(),
            how: [How::Cash, How::Card, How::Transfer][random.random_range(0..3)],
            day: date!(2026 - 03 - 01) + Duration::days(random.random_range(0..4)),
        };
        let mut tx = app.app.db.write().await.unwrap();
        let mut visit = visits::get(&mut tx, &id).await.unwrap().unwrap();
        visit.state = VisitState::Done;
        visits::update(&mut tx, &visit, at).await.unwrap();
        takings::put(&mut tx, &id, &Taking { price, noted_by: "Liv".to_owned(), noted_at: at }).await.unwrap();
        tx.commit().await.unwrap();
    }
    let before = sums(&app).await;
    assert!(before.0.len() > 10 && before.1 == 40, "{before:?}");
    while !clients.is_empty() {
        leaves(&app, &clients.swap_remove(random.random_range(0..clients.len()))).await;
        assert_eq!(sums(&app).await, before, "{} are left", clients.len());
    }
    let owner = app.owner().await;
    let page = owner.get(&format!("{PAGE}?from=2026-03-01&to=2026-03-31")).await;
    assert_eq!(page.all("tbody tr").iter().filter(|row| row.contains("The client has left")).count(), 40);
}
