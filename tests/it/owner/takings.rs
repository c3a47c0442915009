//! The price that was taken at the end of a visit, a day's takings, and the list for the accountant.

use palpebra::domain::visit::VisitState;
use palpebra::store::visits::{self, Purpose};
use palpebra::store::{audit, deposits, takings};
use time::macros::datetime;
use time::{Duration, OffsetDateTime};

use crate::support::studio::{LIV, NOOR};
use crate::support::{Person, Studio, TestApp};

const AT: OffsetDateTime = datetime!(2026-03-02 10:00 UTC);
const PAGE: &str = "/owner/takings";

/// A visit of Mia's with Liv that is done.
async fn done(app: &TestApp, studio: &Studio, at: OffsetDateTime) -> String {
    let id = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, at).await;
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
        (taking.paid_minor(), deposits::of_visit(&mut c, &id).await.unwrap().unwrap().fate)
    };
    assert_eq!(stand().await, (3500, deposits::Fate::Counted));
    assert_eq!(note(&liv, &visit, &[("price", "55"), ("how", "cash"), ("counts", "")]).await, 303);
    assert_eq!(stand().await, (5500, deposits::Fate::Held));
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
