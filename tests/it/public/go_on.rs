//! A booking is left, and gone on with from the link in her mail.

use palpebra::actions::booking;
use palpebra::actions::going_on::{self, Browser};
use palpebra::store::types::sha256_hex;
use palpebra::store::{clients, drafts, health, visits};
use palpebra::web::limits::Limits;
use time::Duration;

use crate::support::booking::{DETAILS, SIGNED, answer_all, answer_page, fill, first_slot, take_first};
use crate::support::studio::{MIA, Studio};
use crate::support::{Html, Person, TestApp};

const MAIL: &str = "ottilie@clients.example.org";
const BORN: [(&str, &str); 3] = [("born_day", "3"), ("born_month", "7"), ("born_year", "1988")];

/// She fills the first page of questions, answers one of the second, and leaves.
async fn leaves(app: &TestApp, studio: &Studio) -> (Person, String) {
    let person = app.visitor();
    let details = take_first(&person, studio.lift.as_str()).await;
    let next = person.submit(&details, "/book/", &DETAILS).await;
    let first = person.follow(next).await;
    let next = answer_page(&person, &first, &[("atopy", "yes")]).await;
    let second = person.follow(next).await;
    let later = person.submit(&second, "/book/", &[("stye", "no"), ("later", "1")]).await;
    let later = person.follow(later).await;
    assert!(later.main().contains(MAIL) && later.main().contains("held until 09:20"), "{}", later.main());
    let link = app.mail_to(MAIL).await.link("/go-on/");
    (person, link)
}

fn ticked(page: &Html) -> Vec<String> {
    page.attributes("input[type=radio][checked]", "id")
}

#[tokio::test]
async fn the_link_opens_the_booking_where_it_was_left_once_and_in_one_browser() {
    let (app, studio) = TestApp::with_studio().await;
    let (left, link) = leaves(&app, &studio).await;
    let letter = app.mail_to(MAIL).await.0.letter;
    assert!(!letter.text.contains("lift") && !letter.text.contains("stye"), "{}", letter.text);
    let other = app.visitor();
    let before = app.fingerprint().await;
    let page = other.get(&link).await;
    assert!(page.main().contains("date of birth"), "{}", page.main());
    assert_eq!(app.fingerprint().await, before, "a look uses nothing up: mail programs open links by themselves");
    let opened = other.submit(&page, "/go-on/", &BORN).await;
    assert_eq!(opened.status, 303, "{}", opened.main());
    let questions = other.follow(opened).await;
    assert!(questions.main().contains("Your eyes and skin today"), "{}", questions.main());
    assert_eq!(ticked(&questions), ["stye-no"], "what she answered before she left");
    let back = other.submit(&questions, "/book/", &[("conjunctivitis", "no"), ("back", "1")]).await;
    let first = other.follow(back).await;
    assert!(ticked(&first).contains(&"atopy-yes".to_owned()), "{:?}", ticked(&first));
    let again = answer_page(&other, &first, &[("atopy", "yes")]).await;
    let second = other.follow(again).await;
    assert_eq!(ticked(&second), ["conjunctivitis-no", "stye-no"], "back loses nothing");
    let mine = left.get("/").await;
    assert_eq!(mine.status, 200);
    let path = second.form("/book/").0;
    assert_eq!(left.get(&path).await.status, 404, "it is in the other browser now");
    let used = app.visitor().get(&link).await;
    assert_eq!(used.status, 410, "{}", used.main());
}

#[tokio::test]
async fn a_used_link_sends_another_to_the_same_mail_and_tells_nothing() {
    let (app, studio) = TestApp::with_studio().await;
    let (_, link) = leaves(&app, &studio).await;
    let first = app.visitor();
    let page = first.get(&link).await;
    first.submit(&page, "/go-on/", &BORN).await;
    let again = app.visitor();
    let ended = again.get(&link).await;
    let sent = again.submit(&ended, "/go-on/", &[("send", "again")]).await;
    assert!(sent.main().contains("new link is on its way") && !sent.text().contains(MAIL), "{}", sent.text());
    let new = app.mail_to(MAIL).await.link("/go-on/");
    assert_ne!(new, link);
    let page = again.get(&new).await;
    assert_eq!(again.submit(&page, "/go-on/", &BORN).await.status, 303);
    let stored = app.dump().await;
    for link in [link, new] {
        let token = link.rsplit('/').next().unwrap();
        assert!(!stored.iter().any(|cell| cell.contains(token)), "a token is stored nowhere");
    }
}

#[tokio::test]
async fn a_wrong_date_of_birth_opens_nothing_and_five_end_the_link() {
    let (app, studio) = TestApp::with_studio().await;
    let (_, link) = leaves(&app, &studio).await;
    let stranger = app.visitor();
    let page = stranger.get(&link).await;
    for (day, month, year, words) in [
        ("", "", "", "day, month and year"),
        ("31", "2", "1988", "isn't in the calendar"),
        ("3", "7", "2090", "still to come"),
        ("3", "7", "1880", "120 years"),
    ] {
        let fields = [("born_day", day), ("born_month", month), ("born_year", year)];
        let refused = stranger.submit(&page, "/go-on/", &fields).await;
        assert_eq!(refused.status, 422);
        assert!(refused.main().contains(words), "{}", refused.main());
    }
    for wrong in 1..=5 {
        let day = wrong.to_string();
        let fields = [("born_day", day.as_str()), ("born_month", "8"), ("born_year", "1988")];
        let refused = stranger.submit(&page, "/go-on/", &fields).await;
        assert_eq!(refused.status, if wrong < 5 { 422 } else { 410 }, "{wrong}: {}", refused.main());
    }
    assert_eq!(stranger.submit(&page, "/go-on/", &BORN).await.status, 410, "not even the right one now");
    let page = stranger.get(&link).await;
    assert!(page.main().contains("wrong date of birth is given too often"), "{}", page.main());
    assert!(!page.main().contains("new link"), "a new one would begin to count anew: {}", page.main());
}

#[tokio::test]
async fn wrong_dates_count_for_all_links_of_a_booking() {
    let (app, studio) = TestApp::with_studio().await;
    let (_, link) = leaves(&app, &studio).await;
    let stranger = app.visitor();
    let page = stranger.get(&link).await;
    let wrong = [("born_day", "4"), ("born_month", "7"), ("born_year", "1988")];
    for _ in 0..3 {
        assert_eq!(stranger.submit(&page, "/go-on/", &wrong).await.status, 422);
    }
    assert_eq!(stranger.submit(&page, "/go-on/", &[("send", "again")]).await.status, 200);
    let link = app.mail_to(MAIL).await.link("/go-on/");
    let page = stranger.get(&link).await;
    assert_eq!(stranger.submit(&page, "/go-on/", &wrong).await.status, 422);
    assert_eq!(stranger.submit(&page, "/go-on/", &wrong).await.status, 410);
    assert_eq!(stranger.submit(&page, "/go-on/", &BORN).await.status, 410);
    let sent = app.mails().await.len();
    assert_eq!(stranger.submit(&page, "/go-on/", &[("send", "again")]).await.status, 410);
    assert_eq!(app.mails().await.len(), sent);
}

/// As when many dates are tried at the same moment, all of them looked at before the first was counted.
#[tokio::test]
async fn a_right_date_that_was_looked_at_before_the_wrong_ones_were_counted_opens_nothing() {
    let (app, studio) = TestApp::with_studio().await;
    let (_, link) = leaves(&app, &studio).await;
    let token = link.rsplit('/').next().unwrap();
    let mut c = app.app.db.read().await.unwrap();
    let draft = drafts::link(&mut c, &sha256_hex(token)).await.unwrap().unwrap().draft;
    drop(c);
    for _ in 0..5 {
        going_on::wrong(&app.app, token, &draft).await.unwrap();
    }
    let browser = Browser { token: "somewhere", signed_in: false };
    assert!(going_on::open(&app.app, token, &draft, browser).await.unwrap().is_none());
}

/// Ottilie's booking, with an answer, in a browser in which Mia signs in.
#[tokio::test]
async fn a_booking_for_somebody_else_is_not_taken_over_by_whoever_signs_in() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    let details = take_first(&person, studio.lift.as_str()).await;
    let next = person.submit(&details, "/book/", &DETAILS).await;
    let first = person.follow(next).await;
    let next = answer_page(&person, &first, &[("atopy", "yes")]).await;
    let second = person.follow(next).await;
    app.signs_in(&person, MIA).await;
    let hers = person.get("/me").await;
    assert!(hers.all("[href^='/book/'], [action^='/book/']").is_empty(), "{}", hers.main());
    let path = second.form("/book/").0;
    let page = person.get(&path).await;
    assert_eq!(page.status, 200, "she may go on with it for Ottilie: {}", page.main());
    let sign = answer_all(&person, page, &[]).await;
    let done = person.submit(&sign, "/book/", &SIGNED).await;
    assert!(person.follow(done).await.main().contains("Booked"));
    let mut c = app.app.db.read().await.unwrap();
    assert!(visits::of_client(&mut c, &studio.mia).await.unwrap().is_empty());
    let ottilie = clients::search(&mut c, "Ottilie", 5).await.unwrap();
    assert_eq!(visits::of_client(&mut c, &ottilie[0].id).await.unwrap().len(), 1);
    assert_eq!(health::answers(&mut c, &studio.mia).await.unwrap().len(), 1, "those that she has given herself");
}

#[tokio::test]
async fn a_booking_that_she_began_herself_is_hers_once_she_signs_in() {
    let (app, studio) = TestApp::with_studio().await;
    for (name, year, is_hers) in [("mia  sandgren", "1991", true), ("Mia Sandgren", "1992", false)] {
        let person = app.visitor();
        let details = take_first(&person, studio.lift.as_str()).await;
        let mut hers = DETAILS;
        (hers[0].1, hers[3].1, hers[4].1, hers[5].1) = (name, "14", "06", year);
        assert_eq!(person.submit(&details, "/book/", &hers).await.status, 303);
        app.signs_in(&person, MIA).await;
        let draft = details.form("/book/").0.split('/').nth(2).unwrap().to_owned();
        let listed = person.get("/me").await.source().contains(&draft);
        assert_eq!(listed, is_hers, "{name} {year}: {}", person.get("/me").await.main());
    }
}

#[tokio::test]
async fn a_lapsed_time_is_taken_again_or_the_nearest_ones_are_offered_and_answers_stay() {
    let (app, studio) = TestApp::with_studio_and(Limits::off()).await;
    let (_, link) = leaves(&app, &studio).await;
    app.app.clock.advance(Duration::minutes(30));
    let slot = first_slot(&app.visitor().get(&format!("/services/{}", studio.lift)).await);
    let when = slot.split('.').next().unwrap().to_owned();
    for who in [&studio.liv, &studio.noor] {
        let quick = app.visitor();
        let page = quick.get(&format!("/services/{}", studio.lift)).await;
        let held = quick.submit(&page, "/services/", &[("time", &format!("{when}.{who}"))]).await;
        assert_eq!(held.status, 303);
    }
    let person = app.visitor();
    let page = person.get(&link).await;
    let opened = person.submit(&page, "/go-on/", &BORN).await;
    let times = person.follow(opened).await;
    assert!(times.main().contains("Everything you filled in is kept"), "{}", times.main());
    let chosen = person.submit(&times, "/book/", &[("time", &first_slot(&times))]).await;
    let questions = person.follow(chosen).await;
    assert_eq!(ticked(&questions), ["stye-no"]);
}

#[tokio::test]
async fn a_booking_with_a_skin_test_keeps_it_however_late_she_comes_back() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    let path = format!("/services/{}", studio.lift_and_tint);
    let test = first_slot(&person.get(&path).await);
    let treatments = person.get(&format!("{path}?test={test}")).await;
    let held = person.submit(&treatments, "/services/", &[("time", &first_slot(&treatments))]).await;
    let details = person.follow(held).await;
    let mut fields = DETAILS.to_vec();
    fields.push(("later", "1"));
    assert_eq!(person.submit(&details, "/book/", &fields).await.status, 303);
    let link = app.mail_to(MAIL).await.link("/go-on/");
    // Its skin test has passed by then, and holds that ran out are swept.
    for _ in 0..4 {
        app.app.clock.advance(Duration::hours(11));
        palpebra::jobs::housekeeping::sweep(&app.app).await.unwrap();
    }
    let page = person.get(&link).await;
    let opened = person.submit(&page, "/go-on/", &BORN).await;
    let times = person.follow(opened).await;
    assert!(times.main().contains("First choose a time for the skin test"), "{}", times.main());
    let draft = palpebra::domain::ids::DraftId::parse(details.form("/book/").0.split('/').nth(2).unwrap()).unwrap();
    let mut c = app.app.db.read().await.unwrap();
    let wanted = booking::last_wanted(&mut c, &draft).await.unwrap().expect("what was held");
    assert!(wanted.test.is_some());
}

#[tokio::test]
async fn a_signed_in_client_finds_her_booking_among_her_visits_in_every_browser() {
    let (app, studio) = TestApp::with_studio().await;
    let mia = app.client(MIA).await;
    let answers = take_first(&mia, studio.lift.as_str()).await;
    let later = mia.submit(&answers, "/book/", &[("later", "1")]).await;
    let later = mia.follow(later).await;
    assert!(later.main().contains(MIA), "{}", later.main());
    let letter = app.mail_to(MIA).await.0.letter.text;
    assert!(letter.contains("/me\n") && !letter.contains("/go-on/"), "{letter}");
    let elsewhere = app.client(MIA).await;
    let visits = elsewhere.get("/me").await;
    let on = elsewhere.submit(&visits, "/book/", &[]).await;
    assert!(elsewhere.follow(on).await.main().contains("Is this still right?"));
}

#[tokio::test]
async fn leaving_wants_a_mail_to_write_to() {
    let (app, studio) = TestApp::with_studio().await;
    let person = app.visitor();
    let details = take_first(&person, studio.lift.as_str()).await;
    let refused = person.submit(&details, "/book/", &[("name", "Ottilie"), ("later", "1")]).await;
    assert_eq!(refused.status, 422, "{}", refused.main());
    assert!(refused.main().contains("Please write the mail address"), "{}", refused.main());
    assert!(app.mails().await.is_empty());
    for link in ["/go-on/x", "/go-on/aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa"] {
        assert_eq!(person.get(link).await.status, 410, "{link}");
    }
}

#[tokio::test]
async fn a_finished_booking_is_opened_by_no_link() {
    let (app, studio) = TestApp::with_studio().await;
    let (left, link) = leaves(&app, &studio).await;
    let sign = {
        let page = left.visit("/").await;
        drop(page);
        let details = take_first(&left, studio.lift.as_str()).await;
        fill(&left, &details, &DETAILS, &[]).await
    };
    let done = left.submit(&sign, "/book/", &SIGNED).await;
    assert_eq!(done.status, 303, "{}", done.main());
    assert_eq!(app.visitor().get(&link).await.status, 200, "another booking's end changes nothing here");
    app.app.clock.advance(Duration::hours(49));
    palpebra::jobs::housekeeping::sweep(&app.app).await.unwrap();
    let gone = app.visitor().get(&link).await;
    assert_eq!(gone.status, 410);
    assert!(gone.main().contains("deleted"), "{}", gone.main());
}
