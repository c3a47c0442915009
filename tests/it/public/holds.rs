//! How much of a calendar one address can hold, and for how long.

use time::Duration;

use crate::support::booking::{DETAILS, SIGNED, fill, first_slot, take_first};
use crate::support::{Html, Person, TestApp};

/// Asks for the first free time of a service.
async fn asks(person: &Person, service: &str) -> Html {
    let page = person.get(&format!("/services/{service}")).await;
    person.submit(&page, "/services/", &[("time", &first_slot(&page))]).await
}

#[tokio::test]
async fn one_address_holds_six_bookings_times_at_once_however_many_browsers_it_says_to_be() {
    let (app, studio) = TestApp::with_studio().await;
    let lift = studio.lift.as_str();
    let first = app.visitor();
    let details = take_first(&first, lift).await;
    for _ in 0..5 {
        assert_eq!(asks(&app.visitor(), lift).await.status, 303);
    }
    let refused = asks(&app.visitor(), lift).await;
    assert_eq!((refused.status, refused.headers["retry-after"].to_str().unwrap()), (429, "1200"));
    assert_eq!(app.dump().await.iter().filter(|cell| *cell == "held").count(), 6);

    // What is booked makes room.
    let sign = fill(&first, &details, &DETAILS, &[]).await;
    let done = first.submit(&sign, "/book/", &SIGNED).await;
    assert!(first.follow(done).await.main().contains("Booked"));
    let seventh = app.visitor();
    let details = take_first(&seventh, lift).await;
    assert_eq!(asks(&app.visitor(), lift).await.status, 429);

    // A hold that lapsed is not taken again beyond that, and what was typed is kept.
    app.app.clock.advance(Duration::minutes(21));
    for _ in 0..6 {
        assert_eq!(asks(&app.visitor(), lift).await.status, 303);
    }
    let kept = seventh.submit(&details, "/book/", &DETAILS).await;
    assert!(kept.location().unwrap().ends_with("/time"), "{:?}", kept.location());
    let times = seventh.follow(kept).await;
    assert!(times.main().contains("Everything you filled in is kept"), "{}", times.main());
    assert_eq!(seventh.submit(&times, "/book/", &[("time", &first_slot(&times))]).await.status, 429);
    app.app.clock.advance(Duration::minutes(21));
    let again = seventh.submit(&times, "/book/", &[("time", &first_slot(&times))]).await;
    assert!(again.location().unwrap().ends_with("/health/1"), "{:?}", again.location());
}

#[tokio::test]
async fn a_hold_is_renewed_ten_times_then_another_time_is_chosen_and_nothing_typed_is_lost() {
    let (app, studio) = TestApp::with_studio().await;
    let slow = app.visitor();
    let page = slow.get(&format!("/services/{}", studio.lift)).await;
    let slots = page.attributes("button.slot", "value");
    let [.., other, chosen] = &slots[..] else { unreachable!("two times") };
    let held = slow.submit(&page, "/services/", &[("time", chosen)]).await;
    let details = slow.follow(held).await;
    let mut sign = fill(&slow, &details, &DETAILS, &[]).await;
    for _ in 0..11 {
        app.app.clock.advance(Duration::minutes(19));
        let more = slow.submit(&sign, "/book/", &[("more_time", "1")]).await;
        sign = slow.follow(more).await;
        assert!(sign.main().contains("Check and sign"), "{}", sign.main());
    }
    assert!(sign.main().contains("held for you until 12:40"), "{}", sign.main());
    app.app.clock.advance(Duration::minutes(12));
    let booked = slow.submit(&sign, "/book/", &SIGNED).await;
    assert!(booked.location().unwrap().ends_with("/time"), "{:?}", booked.location());
    let times = slow.follow(booked).await;
    assert_eq!(slow.submit(&times, "/book/", &[("time", chosen)]).await.status, 429, "others have their turn");
    assert_eq!(slow.submit(&times, "/book/", &[("more_time", "1"), ("time", other)]).await.status, 303);
    let sign = slow.get(&times.form("/book/").0.replace("/time", "/sign")).await;
    let done = slow.submit(&sign, "/book/", &SIGNED).await;
    assert!(slow.follow(done).await.main().contains("Booked"));
}

#[tokio::test]
async fn other_times_and_renewals_are_counted_too() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    let details = take_first(&person, studio.lift.as_str()).await;
    let (path, fields) = details.form("/book/");
    let booking = path.trim_end_matches("/details");
    let token: Vec<_> = fields.into_iter().filter(|(name, _)| name == "csrf").collect();
    for _ in 0..60 {
        assert_eq!(person.post(booking, &token).await.status, 303);
    }
    assert_eq!(person.post(booking, &token).await.status, 429);
    let times = person.get(&format!("{booking}/time")).await;
    let choice = first_slot(&times);
    for _ in 0..9 {
        assert_eq!(person.submit(&times, "/book/", &[("time", &choice)]).await.status, 303);
    }
    assert_eq!(person.submit(&times, "/book/", &[("time", &choice)]).await.status, 429);
}
