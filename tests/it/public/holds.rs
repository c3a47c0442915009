//! How much of a calendar one address can hold, and for how long.

use palpebra::actions::book::{self, Booked, Complete};
use palpebra::actions::booking::{self, Beginner, Choice, Held, NotHeld, Terms, Wanted};
use palpebra::actions::diary::Between;
use palpebra::store::treatments::Outcome;
use palpebra::store::{catalogue, drafts, health, visits};
use time::Duration;

use crate::support::booking::{DETAILS, SIGNED, fill, first_slot, take_first};
use crate::support::studio::MIA;
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
    let said = refused.main();
    assert!(said.contains("No more times can be kept from here just now") && said.contains("after 09:20"), "{said}");
    assert!(!refused.attributes("button.slot", "value").is_empty(), "she needs no other page to try again");
    assert_eq!(app.dump().await.iter().filter(|cell| *cell == "held").count(), 6);

    // A client who is signed in is counted alone, whatever network she shares.
    let mia = app.client(MIA).await;
    let page = mia.visit(&format!("/services/{lift}")).await;
    let held = mia.submit(&page, "/services/", &[("time", &first_slot(&page))]).await;
    assert_eq!(held.status, 303, "{}", held.main());

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
    let (chosen, other) = (&slots[slots.len() - 1], &slots[slots.len() - 12]);
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
    // What can't be had from here is on no list of hers; a stranger elsewhere sees all of it.
    let listed = times.attributes("button.slot", "value");
    let spent = Choice::parse(chosen).unwrap();
    let near = |slot: &String| {
        let slot = Choice::parse(slot).unwrap();
        slot.practitioner == spent.practitioner && (slot.starts_at - spent.starts_at).abs() < Duration::HOUR
    };
    assert!(!listed.is_empty() && !listed.iter().any(near), "{listed:?}");
    let anew = slow.get(&format!("/services/{}", studio.lift)).await.attributes("button.slot", "value");
    assert!(!anew.contains(chosen), "{anew:?}");
    let spent = slow.submit(&times, "/book/", &[("time", chosen)]).await;
    assert_eq!(spent.status, 429, "others have their turn");
    assert!(spent.main().contains("That time was kept for as long as it may be"), "{}", spent.main());
    assert!(spent.main().contains("after 13:00"), "{}", spent.main());
    assert_eq!(slow.submit(&times, "/book/", &[("more_time", "1"), ("time", other)]).await.status, 303);
    let sign = slow.get(&times.form("/book/").0.replace("/time", "/sign")).await;
    let done = slow.submit(&sign, "/book/", &SIGNED).await;
    assert!(slow.follow(done).await.main().contains("Booked"));
}

#[tokio::test]
async fn nothing_is_held_or_booked_that_has_begun() {
    let (app, studio) = TestApp::with_studio().await;
    let slow = app.visitor();
    let details = take_first(&slow, studio.lift.as_str()).await;
    let mut sign = fill(&slow, &details, &DETAILS, &[]).await;
    // Two hours ahead, as the studio asks for.
    for _ in 0..7 {
        app.app.clock.advance(Duration::minutes(17));
        let more = slow.submit(&sign, "/book/", &[("more_time", "1")]).await;
        sign = slow.follow(more).await;
    }
    assert!(sign.main().contains("held for you until 11:00"), "{}", sign.main());
    app.app.clock.advance(Duration::minutes(2));
    let late = slow.submit(&sign, "/book/", &SIGNED).await;
    assert!(late.location().unwrap().ends_with("/time"), "{:?}", late.location());
    assert!(!app.dump().await.iter().any(|cell| cell == "booked"));
}

#[tokio::test]
async fn from_another_address_no_more_is_renewed_than_can_be_held_there() {
    let (app, studio) = TestApp::with_studio().await;
    let mut c = app.app.db.read().await.unwrap();
    let row = palpebra::store::studio::get(&mut c).await.unwrap().unwrap();
    let service = catalogue::service(&mut c, &studio.lift).await.unwrap().unwrap();
    drop(c);
    let from = |from| Terms { studio: &row, service: &service, between: Between::default(), from };
    let first = async |whose: &str, terms: Terms<'_>| {
        let person = app.visitor();
        let page = person.get(&format!("/services/{}", studio.lift)).await;
        let wanted = Wanted { test: None, treatment: Choice::parse(&first_slot(&page)).unwrap() };
        booking::begin(&app.app, &terms, Beginner { owner_hash: whose, client: None }, &wanted).await.unwrap()
    };
    let mut begun = Vec::new();
    for n in 0..6 {
        begun.push(first(&n.to_string(), from("a")).await.unwrap());
        first(&format!("b{n}"), from("b")).await.unwrap();
    }
    let end = app.app.clock.now() + Duration::minutes(20);
    app.app.clock.advance(Duration::minutes(10));
    for draft in &begun {
        assert_eq!(booking::keep(&app.app, &from("b"), draft).await.unwrap(), Held::Until(end), "b has six of its own");
    }
    for (draft, renewed) in begun.iter().zip([10, 10, 10, 10, 10, 10]) {
        let held = booking::keep(&app.app, &from("c"), draft).await.unwrap();
        assert_eq!(held, Held::Until(end + Duration::minutes(renewed)), "c has none");
    }
    // They count where they were begun, and where they were renewed.
    assert!(matches!(first("x", from("a")).await, Err(NotHeld::Enough(_))));
    assert!(matches!(first("y", from("c")).await, Err(NotHeld::Enough(_))));
    assert!(first("z", from("d")).await.is_ok());
}

#[tokio::test]
async fn what_is_held_is_renewed_and_what_is_not_is_taken_again_only_as_far_as_her_window_goes() {
    let (app, studio) = TestApp::with_studio().await;
    let mia = app.client(MIA).await;
    let page = take_first(&mia, studio.lift.as_str()).await;
    let lifted = app.app.clock.now() - Duration::DAY;
    studio.treated(&studio.mia, &studio.lift, lifted, Outcome::AsWished, &[&studio.lotion]).await;
    app.app.clock.advance(Duration::minutes(10));
    let renewed = mia.submit(&page, "/book/", &[("more_time", "1")]).await;
    assert!(renewed.location().unwrap().ends_with("/answers"), "{:?}", renewed.location());
    let page = mia.follow(renewed).await;
    app.app.clock.advance(Duration::minutes(21));
    let again = mia.submit(&page, "/book/", &[("more_time", "1")]).await;
    assert!(again.location().unwrap().ends_with("/time"), "{:?}", again.location());
}

#[tokio::test]
async fn what_is_not_held_is_not_booked() {
    let (app, studio) = TestApp::with_studio().await;
    let mut c = app.app.db.read().await.unwrap();
    let row = palpebra::store::studio::get(&mut c).await.unwrap().unwrap();
    let service = catalogue::service(&mut c, &studio.lift).await.unwrap().unwrap();
    let in_force = health::in_force(&mut c).await.unwrap();
    drop(c);
    let page = app.visitor().get(&format!("/services/{}", studio.lift)).await;
    let wanted = Wanted { test: None, treatment: Choice::parse(&first_slot(&page)).unwrap() };
    let terms = Terms { studio: &row, service: &service, between: Between::default(), from: "a" };
    let who = Beginner { owner_hash: "x", client: Some(&studio.mia) };
    let id = booking::begin(&app.app, &terms, who, &wanted).await.unwrap().unwrap();
    app.app.clock.advance(Duration::minutes(21));
    let mut tx = app.app.db.write().await.unwrap();
    visits::expire_holds(&mut tx, app.app.clock.now()).await.unwrap();
    tx.commit().await.unwrap();
    let by = drafts::By::Browser("x", Some(&studio.mia));
    let draft = drafts::get(&mut app.app.db.read().await.unwrap(), &id, by).await.unwrap().unwrap();
    let complete = Complete {
        person: book::Person::Known(studio.mia.clone()),
        answers: studio.answers(&[]).await,
        signed: None,
        text_version: in_force.consent.version(),
    };
    let before = app.fingerprint().await;
    assert_eq!(book::book(&app.app, &row, &draft, complete).await.unwrap(), Booked::TimeGone);
    assert_eq!(app.fingerprint().await, before);
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
