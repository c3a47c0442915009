//! When she may come again.

use palpebra::actions::case::Known;
use palpebra::domain::questionnaire::Answer;
use palpebra::store::catalogue;
use palpebra::store::treatments::Outcome;
use palpebra::store::visits::Purpose;
use palpebra::when;
use time::Duration;
use time::macros::datetime;

use crate::support::TestApp;
use crate::support::studio::MIA;

#[tokio::test]
async fn she_reads_when_to_come_and_why_in_plain_words() {
    let (app, studio) = TestApp::with_studio().await;
    let me = app.client(MIA).await;
    let page = me.get(&me.get("/me").await.link("When to come again")).await;
    assert!(page.main().contains("Nothing to come back for yet"), "{}", page.main());
    for lifted in [datetime!(2025-12-15 09:00 UTC), datetime!(2026-02-02 09:00 UTC)] {
        studio.treated(&studio.mia, &studio.lift, lifted, Outcome::AsWished, &[&studio.lotion]).await;
    }
    let page = me.get("/me/return").await;
    let mut c = app.app.db.read().await.unwrap();
    let row = palpebra::store::studio::get(&mut c).await.unwrap().unwrap();
    let known = Known::load(&mut c, &row, Some(&studio.mia), &studio.lift).await.unwrap();
    let window = known.window(app.app.clock.now(), &[]).unwrap();
    drop(c);
    let text = page.main();
    assert!(text.contains(&format!("You can come again from {}.", when::day(window.opens()))), "{text}");
    assert!(text.contains(&format!("A good time is from {} to", when::day(window.due()))), "{text}");
    assert!(text.contains("too many of yours would be lifted a"), "{text}");
    assert!(text.contains("You had it last on Monday 2 February 2026."), "{text}");
    for word in ["%", "share", "cycle", "median", "window", "binding"] {
        assert!(!text.contains(word), "{word} in {text}");
    }
    assert_eq!(page.link("See free times"), format!("/services/{}", studio.lift));
}

#[tokio::test]
async fn a_booked_visit_a_word_first_and_an_end_of_the_offer_take_the_place_of_booking() {
    let (app, studio) = TestApp::with_studio().await;
    let lifted = datetime!(2026-02-02 09:00 UTC);
    studio.treated(&studio.mia, &studio.lift, lifted, Outcome::AsWished, &[&studio.lotion]).await;
    let me = app.client(MIA).await;
    let text = || async { me.get("/me/return").await.main() };
    let said = "a word with you first";
    assert!(!text().await.contains(said));
    app.app.clock.advance(Duration::MINUTE);
    studio.answer(&studio.mia, &[("perm_reaction", Answer::Yes)]).await;
    let stopped = text().await;
    assert!(stopped.contains(said) && !stopped.contains("See free times"), "{stopped}");
    app.app.clock.advance(Duration::MINUTE);
    studio.answer(&studio.mia, &[]).await;
    let mut tx = app.app.db.write().await.unwrap();
    let mut service = catalogue::service(&mut tx, &studio.lift).await.unwrap().unwrap();
    service.active = false;
    catalogue::save_service(&mut tx, &service, &[], &[]).await.unwrap();
    tx.commit().await.unwrap();
    let ended = text().await;
    assert!(!ended.contains(said) && !ended.contains("See free times"), "{ended}");
    let next = datetime!(2026-03-30 09:00 UTC);
    studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, next).await;
    assert!(text().await.contains("You are booked for Monday 30 March 2026, 11:00."), "{}", text().await);
}

#[tokio::test]
async fn a_wait_from_an_answer_comes_on_top() {
    let (app, studio) = TestApp::with_studio().await;
    let lifted = datetime!(2026-02-02 09:00 UTC);
    studio.treated(&studio.mia, &studio.lift, lifted, Outcome::AsWished, &[&studio.lotion]).await;
    app.app.clock.advance(Duration::days(10));
    studio.answer(&studio.mia, &[("stye", Answer::Yes)]).await;
    let me = app.client(MIA).await;
    let text = me.get("/me/return").await.main();
    // 14 days from 12 March, later than the 20 March of the lift alone.
    assert!(text.contains("You can come again from Thursday 26 March 2026."), "{text}");
    assert!(text.contains("One of your health answers asks us to wait until then."), "{text}");
}
