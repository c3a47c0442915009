//! What did her harm, what was not tested on her and what the service doesn't use stays in its bottle.

use palpebra::domain::catalogue::Chemistry;
use palpebra::domain::ids::VisitId;
use palpebra::domain::reaction::{Level, State};
use palpebra::domain::skin_test::TestResult;
use palpebra::store::treatments::Outcome;
use palpebra::store::visits::Purpose;
use palpebra::store::{chair, harm, treatments};
use time::Duration;

use super::treatment::under_way;
use crate::support::app::NOW;
use crate::support::chair::start;
use crate::support::studio::{GOOD_BATCH, LIV};
use crate::support::{Html, Person, Studio, TestApp};

async fn take(liv: &Person, id: &VisitId, number: &str) -> Html {
    let page = liv.get(&format!("/desk/visits/{id}/chair")).await;
    liv.submit(&page, &format!("/desk/visits/{id}/chair/batch"), &[("batch", number)]).await
}

fn refused(page: &Html) -> String {
    assert_eq!(page.status, 422, "{}", page.main());
    page.all("#batch-error").join(" ")
}

async fn record(liv: &Person, id: &VisitId, fields: &[(&str, &str)]) -> Html {
    let path = format!("/desk/visits/{id}/treatment");
    let page = liv.get(&path).await;
    let all: Vec<_> =
        [("outcome", "as_wished"), ("aftercare", "yes")].into_iter().chain(fields.iter().copied()).collect();
    liv.submit(&page, &path, &all).await
}

async fn report(liv: &Person, studio: &Studio, id: &VisitId, sign: &str) -> String {
    let path = format!("/desk/clients/{}/reaction", studio.mia);
    let open = liv.get(&format!("{path}?visit={id}")).await;
    let sent = liv.submit(&open, &path, &[("many-sign", sign)]).await;
    assert_eq!(sent.status, 303, "{}", sent.main());
    sent.location().unwrap()
}

async fn harmed(app: &TestApp, studio: &Studio) -> usize {
    harm::of(&mut app.app.db.read().await.unwrap(), &[&studio.mia]).await.unwrap().len()
}

#[tokio::test]
async fn a_product_that_harmed_her_is_refused_and_recorded_only_with_why() {
    let (app, studio) = TestApp::with_studio().await;
    studio.product("Mild Lotion", Chemistry::Lotion, None, "M-1").await;
    studio.reacted(&studio.mia, (Level::Serious, State::Reported), None, &[&studio.lotion]).await;
    studio.consent(&studio.mia, &studio.lift).await;
    let id = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, NOW).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let page = liv.get(&format!("/desk/visits/{id}")).await;
    let main = page.main();
    for words in
        ["Ask before starting", "Reaction to Bow Lotion", "You reacted to this product before", "Open reaction"]
    {
        assert!(main.contains(words), "{words}: {main}");
    }
    liv.submit(&page, &format!("/desk/visits/{id}/arrive"), &[]).await;
    assert_eq!(start(&liv, id.as_str(), &[]).await.status, 422, "it wants a reason");
    let begun = start(&liv, id.as_str(), &[("reason", "The other lotion, after a talk.")]).await;
    assert_eq!(begun.status, 303, "{}", begun.main());
    let words = refused(&take(&liv, &id, GOOD_BATCH).await);
    assert!(words.contains("Bow Lotion: don’t use it") && words.contains("She reacted to it"), "{words}");
    assert_eq!(take(&liv, &id, "m-1").await.status, 303);
    let lotion = format!("batch_{}", studio.lotion);
    let page = record(&liv, &id, &[(&lotion, GOOD_BATCH)]).await;
    assert_eq!(page.status, 422);
    assert!(page.all(&format!("#{lotion}-error")).join(" ").contains("She reacted to it"), "{}", page.main());
    let done = record(&liv, &id, &[(&lotion, GOOD_BATCH), ("used_although", "Took the wrong one.")]).await;
    assert_eq!(done.status, 303, "{}", done.main());
    let stored = treatments::of_visit(&mut app.app.db.read().await.unwrap(), &id).await.unwrap().unwrap();
    assert!(stored.current().unwrap().notes.contains("Used all the same: Took the wrong one."));
}

#[tokio::test]
async fn what_is_used_before_a_reaction_is_recorded_without_a_word_and_blocked_from_then_on() {
    let (app, studio) = TestApp::with_studio().await;
    let (liv, id) = under_way(&app, &studio).await;
    let page = report(&liv, &studio, &id, "lid_swelling").await;
    let nothing = "No product is known yet, so nothing is blocked for her";
    let main = liv.get(&page).await.main();
    assert!(main.contains(nothing) && !main.contains("Products blocked for her"), "{main}");
    assert_eq!(harmed(&app, &studio).await, 0);
    assert_eq!(take(&liv, &id, GOOD_BATCH).await.status, 303, "it says what was used");
    assert_eq!(harmed(&app, &studio).await, 1);
    let main = liv.get(&page).await.main();
    assert!(main.contains("Products blocked for her") && main.contains("Bow Lotion, batch A-2031"), "{main}");
    assert!(!main.contains(nothing), "{main}");
    let words = refused(&take(&liv, &id, GOOD_BATCH).await);
    assert!(words.contains("She reacted to it"), "no more of it: {words}");
    let other = studio.product("Mild Lotion", Chemistry::Lotion, None, "M-1").await;
    let (wrong, right) = (format!("batch_{}", studio.lotion), format!("batch_{other}"));
    let done = record(&liv, &id, &[(&wrong, ""), (&right, "M-1"), ("outcome", "stopped")]).await;
    assert_eq!(done.status, 303, "{}", done.main());
    let found = harm::of(&mut app.app.db.read().await.unwrap(), &[&studio.mia]).await.unwrap();
    assert_eq!(found.into_iter().map(|one| one.product).collect::<Vec<_>>(), [other], "the record knows better");
}

#[tokio::test]
async fn a_reaction_in_the_first_minute_is_taken_and_one_before_it_is_not() {
    let (app, studio) = TestApp::with_studio().await;
    app.app.clock.advance(Duration::seconds(40));
    studio.consent(&studio.mia, &studio.lift).await;
    let id = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, NOW).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let page = liv.get(&format!("/desk/visits/{id}")).await;
    liv.submit(&page, &format!("/desk/visits/{id}/arrive"), &[]).await;
    assert_eq!(start(&liv, id.as_str(), &[]).await.status, 303);
    let path = format!("/desk/clients/{}/reaction", studio.mia);
    let open = liv.get(&format!("{path}?visit={id}")).await;
    let early = liv.submit(&open, &path, &[("many-sign", "short_breath"), ("time", "08:59")]).await;
    assert!(early.all("#day-error").join(" ").contains("before the treatment"), "{}", early.main());
    report(&liv, &studio, &id, "short_breath").await;
}

#[tokio::test]
async fn a_tint_that_was_not_tested_on_her_and_a_product_of_another_kind_are_refused() {
    let (app, studio) = TestApp::with_studio().await;
    let day_tint = studio.product("Day Tint", Chemistry::Tint, None, "D-1").await;
    studio.product("Strong Lotion", Chemistry::Lotion, Some(24), "S-1").await;
    studio.product("Firm Glue", Chemistry::Adhesive, None, "G-1").await;
    let applied = NOW - Duration::days(5);
    studio.tested(&studio.mia, applied, Some((TestResult::NoVisibleChange, applied + Duration::hours(50)))).await;
    studio.consent(&studio.mia, &studio.lift_and_tint).await;
    let id = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift_and_tint, &studio.liv, NOW).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let page = liv.get(&format!("/desk/visits/{id}")).await;
    liv.submit(&page, &format!("/desk/visits/{id}/arrive"), &[]).await;
    let begun = start(&liv, id.as_str(), &[]).await;
    assert_eq!(begun.status, 303, "{}", begun.main());
    for number in ["D-1", "S-1"] {
        let words = refused(&take(&liv, &id, number).await);
        assert!(words.contains("No skin test of it on her counts"), "{number}: {words}");
    }
    assert_eq!(take(&liv, &id, "G-1").await.status, 303, "its label asks for no test");
    app.app.clock.advance(Duration::minutes(20));
    let (tested, untested) = (format!("batch_{}", studio.tint), format!("batch_{day_tint}"));
    report(&liv, &studio, &id, "lid_swelling").await;
    let page = record(&liv, &id, &[(&tested, GOOD_BATCH), (&untested, "D-1")]).await;
    assert_eq!(page.status, 422);
    assert!(page.all(&format!("#{untested}-error")).join(" ").contains("No skin test"), "{}", page.main());
    assert!(page.all(&format!("#{tested}-error")).is_empty(), "its test counted when she began: {}", page.main());
    let done = record(&liv, &id, &[(&tested, GOOD_BATCH)]).await;
    assert_eq!(done.status, 303, "{}", done.main());
}

#[tokio::test]
async fn a_tint_is_not_used_in_a_lift() {
    let (app, studio) = TestApp::with_studio().await;
    studio.product("Day Tint", Chemistry::Tint, None, "D-1").await;
    let (liv, id) = under_way(&app, &studio).await;
    let words = refused(&take(&liv, &id, "D-1").await);
    assert!(words.contains("doesn’t use a product of its kind"), "{words}");
    assert!(chair::bottles(&mut app.app.db.read().await.unwrap(), &id).await.unwrap().is_empty());
    let tint = format!("batch_{}", studio.tint);
    let page = record(&liv, &id, &[(&tint, GOOD_BATCH)]).await;
    assert!(
        page.all(&format!("#{tint}-error")).join(" ").contains("doesn’t use a product of its kind"),
        "{}",
        page.main()
    );
}

#[tokio::test]
async fn a_reaction_at_an_earlier_visit_blocks_what_its_record_names() {
    let (app, studio) = TestApp::with_studio().await;
    let then = NOW - Duration::days(60);
    let before = studio.treated(&studio.mia, &studio.lift, then, Outcome::AsWished, &[&studio.lotion]).await;
    let visit = treatments::get(&mut app.app.db.read().await.unwrap(), &before).await.unwrap().unwrap().visit;
    studio.reacted(&studio.mia, (Level::Moderate, State::Settled), Some(&visit), &[]).await;
    studio.product("Mild Lotion", Chemistry::Lotion, None, "M-1").await;
    assert_eq!(harmed(&app, &studio).await, 1);
}

/// Nobody lifts a block in passing: the report is settled first, and why the test says nothing stands in the record.
#[tokio::test]
async fn a_failed_test_stops_counting_only_with_a_settled_report_and_a_written_reason() {
    let (app, studio) = TestApp::with_studio().await;
    studio.treated(&studio.mia, &studio.lift, NOW - Duration::days(90), Outcome::AsWished, &[]).await;
    let test = studio.tested(&studio.mia, NOW - Duration::hours(50), None).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let (reading, path) = (format!("/desk/skin-tests/{test}/reading"), format!("/desk/skin-tests/{test}/void"));
    let early = liv.get(&reading).await;
    assert_eq!(liv.submit(&early, &reading, &[("result", TestResult::ItchOrRaised.as_str())]).await.status, 303);
    let shown = liv.get(&reading).await;
    assert!(shown.main().contains("its reaction report is open"), "{}", shown.main());
    assert!(shown.attributes("form", "action").iter().all(|action| *action != path), "no button");
    let forged = liv.submit(&early, &path, &[("cause", "mistake"), ("why", "It was Ada’s.")]).await;
    assert_eq!(forged.status, 409, "{}", forged.main());
    assert_eq!(harmed(&app, &studio).await, 1);

    let report = shown.attributes("main a", "href").into_iter().find(|href| href.contains("/reactions/")).unwrap();
    for (add, fields) in
        [("follow_up", [("note", "Gone"), ("care", "")]), ("settled", [("outcome", "Gone"), ("corrective", "None")])]
    {
        let page = liv.get(&report).await;
        let fields = [("add", add), fields[0], fields[1]];
        let sent = liv.submit(&page, &format!("{report}/add"), &fields).await;
        assert_eq!(sent.status, 303, "{}", sent.main());
    }
    let page = liv.get(&reading).await;
    let blank = liv.submit(&page, &path, &[("cause", "mistake"), ("why", " ")]).await;
    assert_eq!(blank.status, 422, "{}", blank.main());
    assert!(blank.all("#why-error").join(" ").contains("write why"), "{}", blank.main());
    assert_eq!(harmed(&app, &studio).await, 1);
    let done = liv.submit(&blank, &path, &[("cause", "mistake"), ("why", "It was Ada’s test.")]).await;
    assert_eq!(done.status, 303, "{}", done.main());
    assert_eq!(harmed(&app, &studio).await, 0);
    let main = liv.get(&format!("/desk/clients/{}", studio.mia)).await.main();
    assert!(main.contains("It no longer counts. It was Ada’s test. Monday 2 March 2026"), "{main}");
    assert!(main.contains("by Liv Tannhauer"), "{main}");
    let entry = super::log(&app).await.into_iter().find(|entry| entry.action == "skin-test.voided").unwrap();
    assert_eq!((entry.object_id.as_str(), entry.detail.as_str()), (test.as_str(), "with a written reason"));
}

/// The page of the client and her papers say of a test what the rules say.
#[tokio::test]
async fn a_test_that_a_later_reaction_voids_is_shown_as_void() {
    let (app, studio) = TestApp::with_studio().await;
    let applied = NOW - Duration::days(5);
    studio.tested(&studio.mia, applied, Some((TestResult::NoVisibleChange, applied + Duration::hours(50)))).await;
    let page = format!("/desk/clients/{}", studio.mia);
    let owner = app.owner().await;
    assert!(!owner.get(&page).await.main().contains("It no longer counts"));
    studio.reacted(&studio.mia, (Level::Moderate, State::Settled), None, &[&studio.lotion]).await;
    assert!(owner.get(&page).await.main().contains("It no longer counts"));
}

/// An unclear look is not wiped in passing: why it says nothing stands in the record, and only a mistake lifts it.
#[tokio::test]
async fn an_unclear_test_is_voided_with_a_written_reason_and_clears_nobody() {
    let (app, studio) = TestApp::with_studio().await;
    let clear = Some((TestResult::NoVisibleChange, NOW - Duration::days(20)));
    studio.tested(&studio.mia, NOW - Duration::days(23), clear).await;
    studio.consent(&studio.mia, &studio.lift_and_tint).await;
    let faint = Some((TestResult::FaintPink, NOW - Duration::HOUR));
    let test = studio.tested(&studio.mia, NOW - Duration::hours(50), faint).await;
    let at = NOW + Duration::HOUR;
    let id = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift_and_tint, &studio.liv, at).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let (reading, path) = (format!("/desk/skin-tests/{test}/reading"), format!("/desk/skin-tests/{test}/void"));
    let page = liv.get(&reading).await;
    let blank = liv.submit(&page, &path, &[("cause", "new_product"), ("why", " ")]).await;
    assert_eq!(blank.status, 422, "{}", blank.main());
    assert!(blank.all("#why-error").join(" ").contains("write why"), "{}", blank.main());
    let done = liv.submit(&blank, &path, &[("cause", "new_product"), ("why", "Another shade.")]).await;
    assert_eq!(done.status, 303, "{}", done.main());
    let verdict = liv.get(&format!("/desk/visits/{id}")).await.main();
    assert!(verdict.contains("faint mark") && !verdict.contains("Clear to start"), "{verdict}");
    let client = liv.get(&format!("/desk/clients/{}", studio.mia)).await.main();
    assert!(client.contains("It no longer counts. Another shade."), "{client}");
}
