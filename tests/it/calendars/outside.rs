//! A practitioner's other calendar: set, read, out of reach, and what it does to the times on offer.

use palpebra::actions::feeds as changes;
use palpebra::domain::role::{Member, Role};
use palpebra::jobs::outside::{self, Access};
use palpebra::store::{accounts, feeds};
use time::Duration;
use time::macros::datetime;

use crate::support::app::OWNER;
use crate::support::studio::{LIV, Studio};
use crate::support::{Person, TestApp};

/// The times on offer with Liv on Tuesday 10 March.
async fn with_liv(app: &TestApp, studio: &Studio) -> Vec<String> {
    let page = app.visitor().get(&format!("/services/{}?from=2026-03-10", studio.lift)).await;
    let slots = page.attributes("[aria-labelledby=day-2026-03-10] button.slot", "value");
    slots.into_iter().filter(|slot| slot.ends_with(studio.liv.as_str())).collect()
}

async fn set(liv: &Person, url: &str) -> u16 {
    let page = liv.get("/desk/feed").await;
    // The second of the two forms, the first of which takes the calendar away.
    liv.submit(&page, "/desk/feed/outside", &[("url", url)]).await.status
}

#[tokio::test]
async fn busy_times_elsewhere_count_stay_when_it_fails_and_go_when_it_goes() {
    let (app, studio) = TestApp::with_studio().await;
    let liv = app.member(LIV.0, LIV.1).await;
    assert_eq!(set(&liv, "http://cal.example.org/a.ics").await, 422);
    assert_eq!(set(&liv, "webcal://127.0.0.1:9/secret.ics").await, 303);
    let page = liv.get("/desk/feed").await;
    assert!(page.main().contains("127.0.0.1:9") && !page.main().contains("secret.ics"), "{}", page.main());

    let calendar = feeds::outside_of(&mut app.app.db.read().await.unwrap(), &studio.liv).await.unwrap().unwrap();
    let busy = [(datetime!(2026-03-10 08:00 UTC).unix_timestamp(), datetime!(2026-03-10 16:00 UTC).unix_timestamp())];
    let before = with_liv(&app, &studio).await;
    changes::outside_was_tried(&app.app, &calendar, Ok(&busy)).await.unwrap();
    let after = with_liv(&app, &studio).await;
    assert!(before.len() > 10 && after.is_empty(), "{before:?} {after:?}");
    let day = liv.get("/desk/calendar?day=2026-03-10").await;
    assert!(day.all(".plan li").contains(&"09:00 to 17:00 Busy elsewhere".to_owned()), "{}", day.main());
    let choice = &before[0];
    let visitor = app.visitor();
    let page = visitor.get(&format!("/services/{}?from=2026-03-10", studio.lift)).await;
    assert_eq!(visitor.submit(&page, "/services/", &[("time", choice)]).await.status, 409, "nor by a forged form");

    assert!(!outside::step(&app.app, Access::Public).await.unwrap(), "it is fresh");
    app.app.clock.advance(Duration::minutes(15));
    assert!(outside::step(&app.app, Access::Public).await.unwrap());
    assert!(!outside::step(&app.app, Access::Public).await.unwrap(), "not again at once");
    assert!(with_liv(&app, &studio).await.is_empty(), "what was read last still counts");
    let owner = app.member(OWNER.0, OWNER.1).await;
    let home = owner.get("/owner").await.main();
    assert!(
        home.contains("Liv Tannhauer’s other calendar could not be read")
            && home.contains("Its host is on a local network")
            && home.contains("what was read on Monday 2 March 2026, 09:00 still counts"),
        "{home}"
    );
    let stored = feeds::outside_of(&mut app.app.db.read().await.unwrap(), &studio.liv).await.unwrap().unwrap();
    assert_eq!(stored.failures, 1);

    let page = liv.get("/desk/feed").await;
    assert!(page.main().contains("It could not be read"), "{}", page.main());
    assert_eq!(liv.submit(&page, "/desk/feed/outside", &[("remove", "yes")]).await.status, 303);
    assert_eq!(with_liv(&app, &studio).await, before);
    assert!(!owner.get("/owner").await.main().contains("other calendar"));
}

#[tokio::test]
async fn a_reading_that_comes_after_another_address_was_set_is_forgotten() {
    let (app, studio) = TestApp::with_studio().await;
    let account = accounts::of_practitioner(&mut app.app.db.read().await.unwrap(), &studio.liv).await.unwrap().unwrap();
    let liv: Member = account.member;
    assert_eq!(liv.role, Role::Practitioner);
    let set = |url| changes::set_outside(&app.app, &liv, &studio.liv, Some(url));
    set("https://one.example.org/").await.unwrap();
    let first = feeds::outside_of(&mut app.app.db.read().await.unwrap(), &studio.liv).await.unwrap().unwrap();
    set("https://two.example.org/").await.unwrap();
    let busy = [(datetime!(2026-03-10 08:00 UTC).unix_timestamp(), datetime!(2026-03-10 16:00 UTC).unix_timestamp())];
    changes::outside_was_tried(&app.app, &first, Ok(&busy)).await.unwrap();
    assert!(!with_liv(&app, &studio).await.is_empty());
    let cells = app.dump().await.join("\n");
    assert!(!cells.contains("one.example.org"), "the address before is forgotten");
}
