//! Health answers that the team takes down at the desk.

use palpebra::domain::ids::ClientId;
use palpebra::domain::questionnaire::{Answer, Taken, Told};
use palpebra::domain::skin_test::TestResult;
use palpebra::store::health;
use palpebra::store::health::StoredAnswers;
use palpebra::store::treatments::Outcome;
use palpebra::store::visits::{self, Purpose};
use time::Duration;
use time::macros::date;

use super::{changes, log};
use crate::support::app::NOW;
use crate::support::studio::{GOOD_BATCH, LIV, MIA, NOOR};
use crate::support::{Html, Person, Studio, TestApp};

const DESK: &str = "/desk/clients/";
const TEST: [(&str, &str); 3] = [("batch", GOOD_BATCH), ("site", "behind the left ear"), ("time", "8:55")];
const PHONE: (&str, &str) = ("told-by", "client_phone");
const STANDS: (&str, &str) = ("others-stand", "yes");

async fn answers(app: &TestApp, studio: &Studio) -> Vec<StoredAnswers> {
    health::answers(&mut app.app.db.read().await.unwrap(), &studio.mia).await.unwrap()
}

async fn tint_visit(studio: &Studio, purpose: Purpose, at: time::OffsetDateTime) -> String {
    studio.visit(purpose, &studio.mia, &studio.lift_and_tint, &studio.liv, at).await.to_string()
}

fn asked(page: &Html) -> Vec<String> {
    page.attributes("form[action^='/desk/clients/'] fieldset.answer", "id")
}

async fn desk(liv: &Person, visit: &str) -> Html {
    let page = liv.get(&format!("/desk/visits/{visit}")).await;
    liv.get(&page.link("Answers at the desk")).await
}

#[tokio::test]
async fn a_talk_is_settled_on_the_phone_and_then_the_test_may_be_applied() {
    let (app, studio) = TestApp::with_studio().await;
    studio.answer(&studio.mia, &[("dye_reaction", Answer::PreferToTalk), ("contacts", Answer::Yes)]).await;
    studio.consent(&studio.mia, &studio.lift_and_tint).await;
    let test = tint_visit(&studio, Purpose::SkinTest, NOW + Duration::minutes(30)).await;
    app.app.clock.advance(Duration::minutes(5));
    let liv = app.member(LIV.0, LIV.1).await;
    let visit = liv.get(&format!("/desk/visits/{test}")).await;
    assert!(visit.main().contains("Talk first, then test"), "{}", visit.main());
    assert!(liv.get("/desk").await.main().contains("Talk first, then test"));
    for path in [format!("/desk/visits/{test}/skin-test"), format!("/desk/clients/{}/skin-test", studio.mia)] {
        let page = liv.get(&path).await;
        let refused = liv.submit(&page, &path, &TEST).await;
        assert_eq!(refused.status, 422, "{}", refused.main());
        assert!(refused.all("#product-error").join(" ").contains("is open, or the answers"), "{}", refused.main());
    }
    assert!(changes(&app).await.iter().all(|action| action != "skin-test.applied"));

    let page = desk(&liv, &test).await;
    assert_eq!(asked(&page), ["dye_reaction"], "only what is open");
    for words in ["These are the questions that are open", "Do you wear contact lenses?", "Still to be talked about"] {
        assert!(page.main().contains(words), "{words}: {}", page.main());
    }
    let no = ("dye_reaction", "no");
    for (fields, field) in [(&[no, STANDS][..], "told-by"), (&[no, PHONE], "others-stand")] {
        let refused = liv.submit(&page, DESK, fields).await;
        assert_eq!(refused.status, 422);
        assert_eq!(refused.attributes(".summary a", "href"), [format!("#{field}")]);
        assert_eq!(refused.attributes("#dye_reaction input[checked]", "value"), ["no"], "what was typed stays");
    }
    assert_eq!(answers(&app, &studio).await.len(), 2, "nothing is stored");
    let done = liv.submit(&page, DESK, &[no, PHONE, STANDS]).await;
    assert_eq!(done.location(), Some(format!("/desk/visits/{test}")), "{}", done.main());
    assert_eq!(liv.submit(&page, DESK, &[no, PHONE, STANDS]).await.location(), done.location(), "pressed twice");

    let sets = answers(&app, &studio).await;
    assert_eq!(sets.len(), 3, "pressed twice, it is one");
    let taken = Taken { by: "Liv Tannhauer".to_owned(), told: Told::ClientPhone };
    assert_eq!((sets[0].taken.as_ref(), sets[1].taken.as_ref()), (Some(&taken), None));
    assert_eq!((sets[0].set.given_on, sets[0].set.returning), (date!(2026 - 03 - 02), false));
    let said = |at: usize, key: &str| sets[at].set.answers.get(key).cloned();
    assert_eq!((said(0, "dye_reaction"), said(0, "contacts")), (Some(Answer::No), Some(Answer::Yes)));
    assert_eq!(said(1, "dye_reaction"), Some(Answer::PreferToTalk), "what was said before stays as it was");
    let entry = log(&app).await.into_iter().find(|entry| entry.action == "answers.taken-down").unwrap();
    assert_eq!((entry.actor_name.as_str(), entry.detail.as_str()), ("Liv Tannhauer", "client, phone"));

    let record = liv.get(&format!("/desk/clients/{}", studio.mia)).await;
    assert!(
        record.main().contains("by Liv Tannhauer, as the client said it on the phone"),
        "who took it down: {}",
        record.main()
    );
    let visit = liv.get(&format!("/desk/visits/{test}")).await;
    assert!(visit.main().contains("Skin test may be applied"), "{}", visit.main());
    let path = format!("/desk/visits/{test}/skin-test");
    let page = liv.get(&path).await;
    assert_eq!(liv.submit(&page, &path, &TEST).await.status, 303);

    // The consent was signed on other answers.
    let treatment = tint_visit(&studio, Purpose::Treatment, NOW + Duration::days(3)).await;
    let verdict = liv.get(&format!("/desk/visits/{treatment}")).await;
    assert!(verdict.main().contains("Signed before the answers changed"), "{}", verdict.main());
}

#[tokio::test]
async fn an_allergy_that_comes_out_in_the_talk_forbids_the_test() {
    let (app, studio) = TestApp::with_studio().await;
    let clear = (TestResult::NoVisibleChange, NOW - Duration::days(2));
    studio.tested(&studio.mia, NOW - Duration::days(5), Some(clear)).await;
    studio.answer(&studio.mia, &[("dye_reaction", Answer::PreferToTalk)]).await;
    app.app.clock.advance(Duration::minutes(5));
    let test = tint_visit(&studio, Purpose::SkinTest, NOW + Duration::HOUR).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let page = desk(&liv, &test).await;
    let done = liv.submit(&page, DESK, &[("dye_reaction", "yes"), ("told-by", "client_here"), STANDS]).await;
    assert_eq!(done.status, 303, "{}", done.main());
    let visit = liv.get(&format!("/desk/visits/{test}")).await;
    assert!(visit.main().contains("No skin test"), "{}", visit.main());
    let page = liv.get(&format!("/desk/visits/{test}/skin-test")).await;
    let refused = liv.submit(&page, "/desk/visits/", &TEST).await;
    assert!(refused.all("#product-error").join(" ").contains("answers forbid a skin test"), "{}", refused.main());
}

#[tokio::test]
async fn all_questions_are_asked_of_whoever_never_answered_and_once_answers_are_old() {
    let (app, studio) = TestApp::with_studio().await;
    let liv = app.member(LIV.0, LIV.1).await;
    let visit = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, NOW + Duration::HOUR).await;
    let page = desk(&liv, visit.as_str()).await;
    let lift = asked(&page);
    assert!(lift.len() > 40, "nothing is open, so all are asked: {lift:?}");
    assert!(lift.contains(&"last_lash_lift".to_owned()) && !lift.contains(&"last_lash_tint".to_owned()), "{lift:?}");
    assert!(!page.main().contains("These are the questions that are open"));
    assert!(!lift.contains(&"changes".to_owned()), "the answers themselves are asked");
    let everything = liv.get(&format!("/desk/clients/{}/answers", studio.mia)).await;
    assert!(asked(&everything).contains(&"last_lash_tint".to_owned()), "of every service on offer");

    let nora = ClientId::from_random([7; 16]);
    studio.add_client(&nora, "Nora Alving", "nora@clients.example.org", date!(1990 - 01 - 02)).await;
    let hers = studio.visit(Purpose::Treatment, &nora, &studio.lift, &studio.liv, NOW + Duration::hours(3)).await;
    let page = desk(&liv, hers.as_str()).await;
    let empty = liv.submit(&page, DESK, &[PHONE]).await;
    assert_eq!(empty.status, 422, "a blank is no answer");
    assert!(empty.main().contains("Take an answer down, or choose “Still to be talked about”"), "{}", empty.main());
    let mut fields: Vec<(String, &str)> = asked(&page).into_iter().map(|key| (key, "no")).collect();
    fields.retain(|(key, _)| page.source().contains(&format!("id=\"{key}-no\"")));
    let fields: Vec<(&str, &str)> =
        fields.iter().map(|(key, value)| (key.as_str(), *value)).chain([("told-by", "guardian_here")]).collect();
    let done = liv.submit(&page, DESK, &fields).await;
    assert_eq!(done.status, 303, "{}", done.main());
    let sets = health::answers(&mut app.app.db.read().await.unwrap(), &nora).await.unwrap();
    assert_eq!(sets[0].taken.as_ref().map(|taken| taken.told), Some(Told::GuardianHere));
    assert!(!liv.get(&format!("/desk/visits/{hers}")).await.main().contains("Please answer the health questions"));

    app.app.clock.advance(Duration::days(190));
    let liv = app.member(LIV.0, LIV.1).await;
    let page = liv.get(&format!("/desk/clients/{}/answers", studio.mia)).await;
    assert!(asked(&page).len() > 40, "old answers are asked anew, all of them");
    let path = format!("/desk/clients/{}/skin-test", studio.mia);
    let refused = liv.submit(&liv.get(&path).await, &path, &TEST).await;
    let said = refused.all("#product-error").join(" ");
    assert!(said.contains("more than six months old"), "{said}");
}

#[tokio::test]
async fn what_changed_meanwhile_is_shown_and_nothing_that_was_taken_down_is_lost() {
    let (app, studio) = TestApp::with_studio().await;
    studio.answer(&studio.mia, &[("stye", Answer::PreferToTalk)]).await;
    app.app.clock.advance(Duration::minutes(5));
    let visit = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, NOW + Duration::HOUR).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let page = desk(&liv, visit.as_str()).await;
    assert_eq!(asked(&page), ["stye"]);
    // She books on her phone in the same minute, with a new allergy.
    studio.answer(&studio.mia, &[("adhesive_reaction", Answer::Yes)]).await;
    let stale = liv.submit(&page, DESK, &[("stye", "yes"), PHONE, STANDS]).await;
    assert_eq!(stale.status, 409, "{}", stale.main());
    assert!(stale.main().contains("Something has changed in the meantime"), "{}", stale.main());
    assert_eq!(stale.attributes("#stye input[checked]", "value"), ["yes"], "kept");
    assert_eq!(stale.attributes("#adhesive_reaction input[checked]", "value"), ["yes"], "and what is new is shown");
    assert_eq!(stale.attributes("#told-by input[checked]", "value"), ["client_phone"]);
    assert_eq!(answers(&app, &studio).await.len(), 3);
    let done = liv.submit(&stale, DESK, &[STANDS]).await;
    assert_eq!(done.status, 303, "{}", done.main());
    let newest = answers(&app, &studio).await.remove(0).set.answers;
    assert_eq!((newest.get("stye"), newest.get("adhesive_reaction")), (Some(&Answer::Yes), Some(&Answer::Yes)));
    assert_eq!(newest.get("dye_reaction"), Some(&Answer::No), "asked for another service, and still there");
}

#[tokio::test]
async fn only_those_who_may_see_her_record_take_her_answers_down() {
    let (app, studio) = TestApp::with_studio().await;
    let visit = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, NOW + Duration::HOUR).await;
    let path = format!("/desk/clients/{}/answers", studio.mia);
    let (noor, mia, nobody) = (app.member(NOOR.0, NOOR.1).await, app.client(MIA).await, app.visitor());
    assert_eq!(noor.get(&path).await.status, 404, "another practitioner's client");
    for person in [&mia, &nobody] {
        assert_eq!(person.get(&path).await.location().as_deref(), Some("/team/sign-in"));
    }
    let liv = app.member(LIV.0, LIV.1).await;
    let page = liv.get(&path).await;
    let (target, mut fields) = page.form(DESK);
    fields.retain(|(name, _)| name != "csrf" && name != "told-by");
    fields.extend([("told-by".to_owned(), "client_here".to_owned())]);
    fields.push(("csrf".to_owned(), noor.get("/desk/clients").await.attributes("input[name=csrf]", "value").remove(0)));
    assert_eq!(noor.post(&target, &fields).await.status, 404);
    assert_eq!(answers(&app, &studio).await.len(), 1);
    let other = studio.client("Noa Brandvold", "noa@clients.example.org", date!(1990 - 01 - 02)).await;
    let crossed = format!("/desk/clients/{other}/answers?visit={visit}");
    let owner = app.owner().await;
    assert_eq!(owner.get(&crossed).await.status, 404, "a visit of somebody else");
    assert_eq!(owner.get(&path).await.status, 200);
}

#[tokio::test]
async fn an_allergy_that_she_takes_back_herself_is_asked_about_before_anything_is_used_on_her() {
    let (app, studio) = TestApp::with_studio().await;
    let treatment = tint_visit(&studio, Purpose::Treatment, NOW + Duration::days(3)).await;
    let test = tint_visit(&studio, Purpose::SkinTest, NOW + Duration::minutes(30)).await;
    let liv = app.member(LIV.0, LIV.1).await;
    for (key, step) in [("dye_reaction", 1), ("anaphylaxis", 3)] {
        for (minutes, answer) in [(step, Answer::Yes), (step + 1, Answer::No)] {
            app.app.clock.advance(NOW + Duration::minutes(minutes) - app.app.clock.now());
            studio.answer(&studio.mia, &[(key, answer)]).await;
        }
        let visit = liv.get(&format!("/desk/visits/{treatment}")).await;
        assert!(visit.main().contains("An allergy doesn’t pass"), "{key}: {}", visit.main());
        let visit = liv.get(&format!("/desk/visits/{test}")).await;
        assert!(visit.main().contains("Talk first, then test"), "{key}: {}", visit.main());
    }
    // A lotion holds no dye, but the whole body's reaction is asked about before everything.
    let lift = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, NOW + Duration::days(9)).await;
    let visit = liv.get(&format!("/desk/visits/{lift}")).await;
    assert_eq!(visit.main().matches("An allergy doesn’t pass").count(), 1, "{}", visit.main());
    let page = desk(&liv, &test).await;
    assert_eq!(asked(&page).first().map(String::as_str), Some("dye_reaction"), "{:?}", asked(&page));
    let no = [("dye_reaction", "no"), ("anaphylaxis", "no"), PHONE, STANDS];
    assert_eq!(liv.submit(&page, DESK, &no).await.status, 303);
    for (visit, words) in [(treatment, "An allergy doesn’t pass"), (test, "Talk first, then test")] {
        let visit = liv.get(&format!("/desk/visits/{visit}")).await;
        assert!(!visit.main().contains(words), "somebody has asked her: {}", visit.main());
    }
}

#[tokio::test]
async fn how_old_her_answers_are_is_said_for_the_day_of_the_visit_also_when_that_is_long_over() {
    let (app, studio) = TestApp::with_studio().await;
    let mut pages = Vec::new();
    for days in [5, -3] {
        let at = NOW + Duration::days(days);
        studio.treated(&studio.mia, &studio.lift, at, Outcome::AsWished, &[&studio.lotion]).await;
        let all = visits::of_client(&mut app.app.db.read().await.unwrap(), &studio.mia).await.unwrap();
        let visit = all.into_iter().find(|visit| visit.starts_at == at).unwrap();
        pages.push(format!("/desk/visits/{}", visit.id));
    }
    app.app.clock.advance(Duration::days(105));
    let liv = app.member(LIV.0, LIV.1).await;
    let said = [liv.get(&pages[0]).await.main(), liv.get(&pages[1]).await.main()];
    assert!(said[0].contains("5 days old on the day of the visit"), "{}", said[0]);
    assert!(said[1].contains("after the day of the visit"), "{}", said[1]);
}
