//! How far a package is that takes long.

use palpebra::actions::export::{self, Order, Place, Why};
use palpebra::documents::record::Scope;
use palpebra::domain::role::Actor;
use time::macros::date;

use super::exports::WHY;
use crate::support::TestApp;
use crate::support::studio::LIV;

const CLIENTS: usize = 40;

#[tokio::test]
async fn the_page_counts_the_clients_of_what_is_being_made_until_it_is() {
    let (app, _) = TestApp::with_studio().await;
    let owner = app.owner().await;
    let now = async || {
        let page = owner.get("/owner/exports").await;
        (page.all("main li"), page.main())
    };
    assert!(!now().await.1.contains("Being made now"));
    let large = app.app.exports.begin("Runa Ostfeld", app.app.clock.now());
    let own = app.app.exports.begin(export::BY_HERSELF, app.app.clock.now());
    large.starts(1904);
    (0..312).for_each(|_| large.step());
    let (lines, main) = now().await;
    assert_eq!(
        lines[..2],
        [
            "312 of 1,904 clients. For Runa Ostfeld, begun Monday 2 March 2026, 09:00.".to_owned(),
            "Waits until the one before it is made. For the client herself, begun Monday 2 March 2026, 09:00."
                .to_owned()
        ],
        "{main}"
    );
    // No page of ours loads itself anew: whoever reads it slowly would lose her place (WCAG 2.2.1, failure F41).
    let page = owner.get("/owner/exports").await;
    assert!(page.attributes("meta[http-equiv=refresh]", "content").is_empty());
    let anew = page.link("See how far it is now");
    assert_eq!(anew, "/owner/exports");
    large.step();
    assert!(owner.get(&anew).await.main().contains("313 of 1,904 clients"));
    (313..1904).for_each(|_| large.step());
    assert!(now().await.1.contains("All 1,904 clients are in it"));
    drop(large);
    own.starts(1);
    assert_eq!(now().await.0[0], "1 client. For the client herself, begun Monday 2 March 2026, 09:00.");
    drop(own);
    assert!(!now().await.1.contains("Being made now"));
    assert_eq!(app.member(LIV.0, LIV.1).await.get("/owner/exports").await.status, 403);
}

#[tokio::test]
async fn the_count_goes_up_client_by_client_and_ends_with_the_work() {
    let (app, studio) = TestApp::with_studio().await;
    for number in 1..CLIENTS {
        studio
            .client(
                &format!("Client Number {number}"),
                &format!("c{number}@clients.example.org"),
                date!(1990 - 01 - 02),
            )
            .await;
    }
    let file = app.folder().join("all.zip");
    let order = |place| Order {
        scope: Scope::Everyone,
        why: Why::parse(WHY).unwrap(),
        place: Place::At(place),
        passphrase: None,
    };
    let (at, mut seen) = (app.app.clone(), Vec::new());
    let first = order(file.clone());
    let work = tokio::spawn(async move { export::make(&at, &Actor::Command, first).await.map(|made| made.clients) });
    while !work.is_finished() {
        seen.extend(app.app.exports.list().into_iter().filter_map(|work| work.clients));
        tokio::task::yield_now().await;
    }
    assert_eq!(work.await.unwrap().unwrap(), u64::try_from(CLIENTS).unwrap());
    seen.dedup();
    assert!(seen.is_sorted() && seen.iter().all(|(done, of)| done <= of && *of == CLIENTS), "{seen:?}");
    assert!(seen.iter().any(|(done, _)| 0 < *done && *done < CLIENTS), "it is seen on its way: {seen:?}");
    assert!(app.app.exports.list().is_empty());
    // What fails is under way no more either: the file is there already.
    assert!(export::make(&app.app, &Actor::Command, order(file)).await.is_err());
    assert!(app.app.exports.list().is_empty());
}
