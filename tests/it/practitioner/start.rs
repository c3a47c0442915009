//! The check before starting: every verdict, and what it lets her do.

use palpebra::domain::ids::VisitId;
use palpebra::domain::questionnaire::Answer;
use palpebra::domain::skin_test::TestResult;
use palpebra::store::treatments::Outcome;
use palpebra::store::visits::Purpose;
use palpebra::store::{treatments, visits};
use time::macros::date;
use time::{Duration, OffsetDateTime};

use super::{changes, log};
use crate::support::app::NOW;
use crate::support::chair::start;
use crate::support::studio::{LIV, MIA, NOOR};
use crate::support::{Html, Person, Studio, TestApp};

/// An hour from now.
const SOON: OffsetDateTime = time::macros::datetime!(2026-03-02 09:00 UTC);

async fn state(app: &TestApp, id: &VisitId) -> &'static str {
    let mut c = app.app.db.read().await.unwrap();
    visits::get(&mut c, id).await.unwrap().unwrap().state.as_str()
}

async fn arrived(liv: &Person, id: &VisitId) -> Html {
    let path = format!("/desk/visits/{id}");
    let page = liv.get(&path).await;
    assert_eq!(page.status, 200, "{}", page.text());
    let here = liv.submit(&page, &format!("{path}/arrive"), &[]).await;
    assert_eq!(here.status, 303, "{}", here.text());
    liv.follow(here).await
}

/// Posts the start with the token of another form of the page, as somebody would who forges the button.
async fn forge(liv: &Person, page: &Html, id: &VisitId, reason: &str) -> Html {
    let (_, mut fields) = page.form("/team/sign-out");
    fields.push(("reason".to_owned(), reason.to_owned()));
    fields.push(("notes_read".to_owned(), "yes".to_owned()));
    liv.post(&format!("/desk/visits/{id}/start"), &fields).await
}

async fn lift(studio: &Studio) -> VisitId {
    studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, SOON).await
}

#[tokio::test]
async fn a_clear_visit_starts_without_a_word() {
    let (app, studio) = TestApp::with_studio().await;
    studio.consent(&studio.mia, &studio.lift).await;
    let id = lift(&studio).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let page = arrived(&liv, &id).await;
    assert!(page.main().contains("Clear to start"), "{}", page.main());
    assert!(page.all("textarea").is_empty(), "no reason is asked for");
    let started = start(&liv, id.as_str(), &[]).await;
    assert_eq!(started.status, 303, "{}", started.text());
    assert_eq!(state(&app, &id).await, "in_treatment");
    let mut c = app.app.db.read().await.unwrap();
    let begun = treatments::start(&mut c, &id).await.unwrap().unwrap();
    assert_eq!(
        (begun.verdict.as_str(), begun.reason.as_str(), begun.started_by.as_str()),
        ("clear", "", "Liv Tannhauer")
    );
    assert_eq!(changes(&app).await[..2], ["treatment.started", "visit.arrived"]);
    let again = forge(&liv, &page, &id, "").await;
    assert_eq!(again.status, 409);
}

#[tokio::test]
async fn an_ask_starts_only_with_a_written_reason_that_is_kept() {
    let (app, studio) = TestApp::with_studio().await;
    studio.answer(&studio.mia, &[("rosacea_seb", Answer::Yes), ("atopy", Answer::Yes)]).await;
    studio.consent(&studio.mia, &studio.lift).await;
    let id = lift(&studio).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let page = arrived(&liv, &id).await;
    for words in
        ["Ask before starting", "What clears it: a talk", "only with a written reason", "common practice, no source"]
    {
        assert!(page.main().contains(words), "{words}: {}", page.main());
    }
    let bare = start(&liv, id.as_str(), &[("notes_read", "yes")]).await;
    assert_eq!(bare.status, 422);
    assert_eq!(bare.all("#reason-error"), ["Write down why you start against the verdict."]);
    let unread = start(&liv, id.as_str(), &[("reason", "She is calm today, and knows the risk.")]).await;
    assert_eq!(unread.status, 422);
    assert_eq!(unread.all("#notes_read-error").len(), 1);
    assert_eq!(unread.all("#reason"), ["She is calm today, and knows the risk."], "what was typed is kept");
    assert_eq!(state(&app, &id).await, "arrived");
    let done = liv.submit(&unread, &format!("/desk/visits/{id}/start"), &[("notes_read", "yes")]).await;
    assert_eq!(done.status, 303, "{}", done.text());
    let shown = liv.get(&format!("/desk/visits/{id}")).await;
    assert!(shown.main().contains("Started against the verdict"), "{}", shown.main());
    assert!(shown.main().contains("She is calm today"), "{}", shown.main());
    let mut c = app.app.db.read().await.unwrap();
    let begun = treatments::start(&mut c, &id).await.unwrap().unwrap();
    assert_eq!(begun.verdict, "ask");
    assert!(begun.readiness.contains("rosacea_seb"), "the reasons are kept as they stood");
    let entry = log(&app).await.into_iter().find(|entry| entry.action == "treatment.started").unwrap();
    assert_eq!(
        (entry.detail.as_str(), entry.actor_name.as_str()),
        ("against the verdict, with a written reason", "Liv Tannhauer")
    );
}

#[tokio::test]
async fn nobody_starts_on_a_known_allergy_an_infection_a_reaction_or_a_child() {
    let (app, studio) = TestApp::with_studio().await;
    let liv = app.member(LIV.0, LIV.1).await;
    let allergic = studio.client("Ada Nilsen", "ada@clients.example.org", date!(1988 - 02 - 01)).await;
    studio.answer(&allergic, &[("dye_reaction", Answer::Yes)]).await;
    let infected = studio.client("Bea Nilsen", "bea@clients.example.org", date!(1988 - 02 - 01)).await;
    studio.answer(&infected, &[("conjunctivitis", Answer::Yes)]).await;
    let reacted = studio.client("Cleo Nilsen", "cleo@clients.example.org", date!(1988 - 02 - 01)).await;
    let before = NOW - Duration::days(100);
    studio.treated(&reacted, &studio.lift_and_tint, before, Outcome::Reaction, &[&studio.tint]).await;
    let child = studio.client("Dora Nilsen", "dora@clients.example.org", date!(2010 - 03 - 03)).await;
    for (minutes, (client, words)) in (0..).step_by(80).zip([
        (allergic, "ever had itching, a rash or swelling after colouring"),
        (infected, "red, sticky, gritty or weeping eye"),
        (reacted, "You reacted to this product before"),
        (child, "not meant for anyone under 16"),
    ]) {
        studio.consent(&client, &studio.lift_and_tint).await;
        let at = SOON + Duration::minutes(minutes);
        let id = studio.visit(Purpose::Treatment, &client, &studio.lift_and_tint, &studio.liv, at).await;
        let page = arrived(&liv, &id).await;
        let main = page.main();
        assert!(main.contains("Do not treat") && main.contains(words), "{words}: {main}");
        assert!(main.contains("This treatment may not start"), "{main}");
        assert!(page.attributes("form", "action").iter().all(|action| !action.ends_with("/start")), "no button");
        let forged = forge(&liv, &page, &id, "She insists, and signs for it.").await;
        assert_eq!(forged.status, 409, "{}", forged.text());
        assert_eq!(state(&app, &id).await, "arrived");
    }
    let owner = app.owner().await;
    let ids: Vec<String> = owner.get("/desk").await.attributes("a.visit-who", "href");
    let id = VisitId::parse(ids[0].rsplit('/').next().unwrap()).unwrap();
    let page = owner.get(&ids[0]).await;
    assert_eq!(forge(&owner, &page, &id, "I own the place.").await.status, 409, "not even the owner");
}

#[tokio::test]
async fn wait_letter_and_note_are_told_with_what_clears_them() {
    let (app, studio) = TestApp::with_studio().await;
    let liv = app.member(LIV.0, LIV.1).await;
    studio.answer(&studio.mia, &[("stye", Answer::Yes)]).await;
    studio.consent(&studio.mia, &studio.lift).await;
    let waits = lift(&studio).await;
    let page = liv.get(&format!("/desk/visits/{waits}")).await;
    assert!(page.main().contains("Wait until Monday 16 March 2026"), "14 days from 2 March: {}", page.main());
    assert!(page.main().contains("waiting until Monday 16 March 2026"), "{}", page.main());
    let later = studio.client("Eva Nilsen", "eva@clients.example.org", date!(1988 - 02 - 01)).await;
    studio.answer(&later, &[("recent_op", Answer::Yes)]).await;
    studio.consent(&later, &studio.lift).await;
    let at = SOON + Duration::hours(2);
    let id = studio.visit(Purpose::Treatment, &later, &studio.lift, &studio.liv, at).await;
    let page = liv.get(&format!("/desk/visits/{id}")).await;
    assert!(page.main().contains("Letter or guardian needed"), "{}", page.main());
    assert!(page.main().contains("a letter from a clinician"), "{}", page.main());
    studio.answer(&later, &[("atopy", Answer::Yes)]).await;
    app.app.clock.advance(Duration::minutes(1));
    studio.consent(&later, &studio.lift).await;
    let page = liv.get(&format!("/desk/visits/{id}")).await;
    assert!(page.main().contains("Clear to start, with notes to read"), "{}", page.main());
}

#[tokio::test]
async fn the_day_shows_her_own_visits_with_their_verdicts() {
    let (app, studio) = TestApp::with_studio().await;
    studio.answer(&studio.mia, &[("rosacea_seb", Answer::Yes)]).await;
    lift(&studio).await;
    let other = studio.client("Fay Nilsen", "fay@clients.example.org", date!(1988 - 02 - 01)).await;
    studio.visit(Purpose::Treatment, &other, &studio.lift, &studio.noor, SOON + Duration::hours(3)).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let page = liv.get("/desk").await;
    assert_eq!(page.all(".visit-who"), ["Mia Sandgren"]);
    assert_eq!(page.all(".visit-time"), ["10:00 to 11:00"]);
    assert!(page.main().contains("Ask before starting"), "{}", page.main());
    assert!(page.main().contains("Consent, 1 health answer"), "{}", page.main());
    assert!(!page.main().contains("osacea"), "no answer is named where others may look: {}", page.main());
    let seen = log(&app).await.into_iter().find(|entry| entry.action == "day.seen").unwrap();
    assert_eq!(seen.detail, "2026-03-02, clients: 1");
    assert_eq!(app.owner().await.get("/desk").await.all(".visit-who"), ["Mia Sandgren", "Fay Nilsen"]);
    assert_eq!(liv.get("/desk?day=2026-03-03").await.all(".visit-who").len(), 0);
    assert_eq!(liv.visit(&liv.get("/desk").await.link("Day after")).await.all("h1"), ["Tuesday 3 March 2026"]);
    let odd = liv.get("/desk?day=2026-02-30").await;
    assert!(odd.main().contains("isn’t a day"), "{}", odd.main());
}

#[tokio::test]
async fn another_practitioners_clients_are_not_there() {
    let (app, studio) = TestApp::with_studio().await;
    studio.consent(&studio.mia, &studio.lift).await;
    let id = lift(&studio).await;
    let noor = app.member(NOOR.0, NOOR.1).await;
    let own = noor.get("/desk").await;
    let (_, token) = own.form("/team/sign-out");
    for path in [format!("/desk/visits/{id}"), format!("/desk/clients/{}", studio.mia)] {
        assert_eq!(noor.get(&path).await.status, 404, "{path}");
    }
    for change in ["arrive", "start", "no-show", "cancel", "treatment", "skin-test"] {
        let answer = noor.post(&format!("/desk/visits/{id}/{change}"), &token).await;
        assert_eq!(answer.status, 404, "{change}");
    }
    assert_eq!(state(&app, &id).await, "booked");
    assert!(!noor.get("/desk/clients?q=Mia").await.main().contains("Sandgren"));
    let gone =
        studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.noor, SOON + Duration::days(9)).await;
    assert_eq!(noor.get(&format!("/desk/clients/{}", studio.mia)).await.status, 200, "she treats her now");
    let page = noor.get(&format!("/desk/visits/{gone}")).await;
    noor.submit(&page, &format!("/desk/visits/{gone}/cancel"), &[]).await;
    assert_eq!(noor.get(&format!("/desk/clients/{}", studio.mia)).await.status, 404, "and no longer");
    let seen = noor.get(&format!("/desk/visits/{gone}")).await;
    assert_eq!(seen.location().unwrap(), format!("/desk/visits/{gone}/arrange"), "the appointment, and no record");
    assert_eq!(noor.get(&format!("/desk/visits/{gone}/photos")).await.status, 404);
    let seen = noor.visit(&format!("/desk/visits/{gone}")).await;
    assert_eq!(seen.attributes("main a.back", "href"), ["/desk"]);
    assert!(
        seen.main().contains("Mia Sandgren") && seen.all("dt").iter().all(|it| !it.ends_with('?')),
        "{}",
        seen.main()
    );
    let client = app.client(MIA).await;
    assert_eq!(client.get("/desk").await.location().as_deref(), Some("/team/sign-in"));
}

#[tokio::test]
async fn private_answers_are_shown_to_whoever_treats_and_to_the_owner_alone() {
    let (app, studio) = TestApp::with_studio().await;
    studio
        .answer(&studio.mia, &[("pregnant", Answer::Yes), ("pregnant_weeks", Answer::Choice("later".to_owned()))])
        .await;
    let id = lift(&studio).await;
    // Noor treated her once, so she may see her record, but this visit is Liv's.
    let before = NOW - Duration::days(60);
    let past = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.noor, before).await;
    assert_ne!(past, id);
    let path = format!("/desk/visits/{id}");
    let answers = |page: &Html| page.all("dt").join(" ");
    assert!(answers(&app.member(LIV.0, LIV.1).await.get(&path).await).contains("pregnant"));
    assert!(answers(&app.owner().await.get(&path).await).contains("pregnant"));
    let noor = app.member(NOOR.0, NOOR.1).await.get(&path).await;
    assert_eq!(noor.status, 200);
    assert!(!answers(&noor).contains("pregnant"), "{}", noor.main());
}

#[tokio::test]
async fn a_no_show_waits_for_its_time_and_a_cancelled_visit_is_mailed() {
    let (app, studio) = TestApp::with_studio().await;
    let id = lift(&studio).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let path = format!("/desk/visits/{id}");
    let page = liv.get(&path).await;
    let (_, token) = page.form("/team/sign-out");
    assert_eq!(liv.post(&format!("{path}/no-show"), &token).await.status, 409);
    let cancelled = liv.submit(&page, &format!("{path}/cancel"), &[]).await;
    assert_eq!(cancelled.status, 303, "{}", cancelled.text());
    assert_eq!(state(&app, &id).await, "cancelled_by_studio");
    assert!(app.mail_to(MIA).await.0.letter.text.contains("2 March"), "she is told");
    let missed = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, NOW - Duration::HOUR).await;
    let path = format!("/desk/visits/{missed}");
    let page = liv.get(&path).await;
    assert_eq!(liv.submit(&page, &format!("{path}/no-show"), &[]).await.status, 303);
    assert_eq!(state(&app, &missed).await, "no_show");
    let tomorrow =
        studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, SOON + Duration::days(1)).await;
    let early = liv.post(&format!("/desk/visits/{tomorrow}/arrive"), &token).await;
    assert_eq!(early.status, 409);
    assert!(early.main().contains("is on Tuesday 3 March 2026"), "{}", early.main());
}

#[tokio::test]
async fn a_test_that_still_runs_is_waited_for() {
    let (app, studio) = TestApp::with_studio().await;
    studio.consent(&studio.mia, &studio.lift_and_tint).await;
    let applied = SOON - Duration::hours(47);
    studio.tested(&studio.mia, applied, Some((TestResult::NoVisibleChange, NOW - Duration::HOUR))).await;
    let id = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift_and_tint, &studio.liv, SOON).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let page = liv.get(&format!("/desk/visits/{id}")).await;
    assert!(page.main().contains("Wait until Monday 2 March 2026, 11:00"), "{}", page.main());
    assert!(page.main().contains("reading the skin test"), "{}", page.main());
}

#[tokio::test]
async fn a_visit_that_was_left_open_overnight_is_not_started_on_another_day() {
    let (app, studio) = TestApp::with_studio().await;
    studio.consent(&studio.mia, &studio.lift).await;
    let id = lift(&studio).await;
    arrived(&app.member(LIV.0, LIV.1).await, &id).await;
    app.app.clock.advance(Duration::days(1));
    let refused = start(&app.member(LIV.0, LIV.1).await, id.as_str(), &[]).await;
    assert_eq!(refused.status, 409, "{}", refused.main());
    assert!(refused.main().contains("is on Monday 2 March 2026, not today"), "{}", refused.main());
    assert_eq!(state(&app, &id).await, "arrived");
}
