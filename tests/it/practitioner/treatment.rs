//! The treatment record and its corrections.

use palpebra::domain::ids::VisitId;
use palpebra::store::visits::Purpose;
use palpebra::store::{treatments, visits};
use time::Duration;

use super::changes;
use crate::support::app::NOW;
use crate::support::chair::start;
use crate::support::studio::{GOOD_BATCH, LIV, NOOR, OLD_BATCH};
use crate::support::{Html, Person, Studio, TestApp};

pub(super) async fn under_way(app: &TestApp, studio: &Studio) -> (Person, VisitId) {
    studio.consent(&studio.mia, &studio.lift).await;
    let id = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, NOW).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let page = liv.get(&format!("/desk/visits/{id}")).await;
    let here = liv.submit(&page, &format!("/desk/visits/{id}/arrive"), &[]).await;
    assert_eq!(here.status, 303, "{}", here.text());
    let begun = start(&liv, id.as_str(), &[]).await;
    assert_eq!(begun.status, 303, "{}", begun.text());
    app.app.clock.advance(Duration::minutes(29));
    assert_eq!(liv.get("/desk").await.status, 200);
    app.app.clock.advance(Duration::minutes(26));
    (liv, id)
}

fn error(page: &Html, field: &str) -> String {
    assert_eq!(page.status, 422, "{}", page.text());
    page.all(&format!("#{field}-error")).join(" ")
}

#[tokio::test]
async fn a_batch_that_may_not_be_used_is_recorded_with_why_it_was() {
    let (app, studio) = TestApp::with_studio().await;
    let (liv, id) = under_way(&app, &studio).await;
    let path = format!("/desk/visits/{id}/treatment");
    let page = liv.get(&path).await;
    let lotion = format!("batch_{}", studio.lotion);
    let mut fields =
        vec![(lotion.as_str(), OLD_BATCH), ("outcome", "as_wished"), ("aftercare", "yes"), ("notes", "A calm visit.")];
    assert!(!page.main().contains("used all the same"), "it is asked only where it has to be");
    let refused = liv.submit(&page, &path, &fields).await;
    assert!(error(&refused, &lotion).contains("may not be used"), "{}", refused.main());
    assert!(error(&refused, "used_although").contains("the record has to be true"), "{}", refused.main());
    fields.push(("used_although", " \u{a0} "));
    assert!(error(&liv.submit(&refused, &path, &fields).await, "used_although").contains("write why"));
    fields.push(("used_although", "Read the year wrongly."));
    let done = liv.submit(&refused, &path, &fields).await;
    assert_eq!(done.status, 303, "{}", done.text());
    let record = treatments::of_visit(&mut app.app.db.read().await.unwrap(), &id).await.unwrap().unwrap();
    let version = record.current().unwrap();
    assert_eq!(version.products, [(studio.lotion.clone(), OLD_BATCH.to_owned())]);
    let noted = format!(
        "A calm visit.\nBow Lotion, {OLD_BATCH}: the batch had ended on 2025-12-31. Used all the same: Read the year wrongly."
    );
    assert_eq!(version.notes, noted);
    let path = format!("/desk/treatments/{}/correction", record.id);
    let page = liv.get(&path).await;
    let done = liv.submit(&page, &path, &[("reason", "A word was missing."), ("shield", "S")]).await;
    assert_eq!(done.status, 303, "what was explained once is not asked again: {}", done.text());
}

#[tokio::test]
async fn a_record_is_written_once_and_corrected_by_versions() {
    let (app, studio) = TestApp::with_studio().await;
    let (liv, id) = under_way(&app, &studio).await;
    let path = format!("/desk/visits/{id}/treatment");
    let page = liv.get(&path).await;
    assert_eq!(page.status, 200, "{}", page.text());
    assert!(page.main().contains("product’s label") && page.main().contains("at least 20 minutes"), "{}", page.main());
    let value = |name: &str| page.form(&path).1.iter().find(|(key, _)| key == name).map(|(_, value)| value.clone());
    assert_eq!((value("started").as_deref(), value("ended").as_deref()), (Some("09:00"), Some("09:55")));
    let lotion = format!("batch_{}", studio.lotion);
    let good = [
        (lotion.as_str(), GOOD_BATCH),
        ("shield", "medium"),
        ("lotion_one", "6"),
        ("lotion_two", "5"),
        ("counted", "40"),
        ("still_lifted", "9"),
        ("outcome", "as_wished"),
        ("aftercare", "yes"),
        ("notes", "Lashes fine, shorter time next visit."),
    ];
    let but = |change: (&'static str, &'static str)| {
        let mut fields = good.to_vec();
        fields.push(change);
        fields
    };
    let mut expired = good.to_vec();
    expired.push((&lotion, OLD_BATCH));
    let refused = liv.submit(&page, &path, &expired).await;
    assert!(error(&refused, &lotion).contains("ended on Wednesday 31 December 2025"), "{}", refused.main());
    expired.push((&lotion, "never-heard-of"));
    assert!(error(&liv.submit(&page, &path, &expired).await, &lotion).contains("doesn’t know this batch"));
    expired.push((&lotion, ""));
    assert!(error(&liv.submit(&page, &path, &expired).await, "products").contains("at least one product"));
    assert!(error(&liv.submit(&page, &path, &but(("ended", "8:59"))).await, "ended").contains("before the start"));
    assert!(error(&liv.submit(&page, &path, &but(("ended", "9:56"))).await, "ended").contains("still to come"));
    assert!(error(&liv.submit(&page, &path, &but(("lotion_one", "61"))).await, "lotion_one").contains("0 to 60"));
    assert!(error(&liv.submit(&page, &path, &but(("lotion_one", "-1"))).await, "lotion_one").contains("0 to 60"));
    assert!(error(&liv.submit(&page, &path, &but(("still_lifted", "41"))).await, "still_lifted").contains("more than"));
    assert!(error(&liv.submit(&page, &path, &but(("still_lifted", ""))).await, "still_lifted").contains("neither"));
    let refused = liv.submit(&page, &path, &but(("outcome", ""))).await;
    assert!(error(&refused, "outcome").contains("choose"));
    let kept = refused.form(&path).1;
    for (name, typed) in good.iter().filter(|(name, _)| *name != "outcome") {
        assert!(kept.iter().any(|(key, value)| key == name && value == typed), "{name} is kept: {kept:?}");
    }
    let done = liv.submit(&page, &path, &good).await;
    assert_eq!(done.status, 303, "{}", done.text());
    assert_eq!(liv.submit(&page, &path, &good).await.status, 303, "pressed twice, it leads back");
    let mut c = app.app.db.read().await.unwrap();
    assert_eq!(visits::get(&mut c, &id).await.unwrap().unwrap().state.as_str(), "done");
    let record = treatments::of_visit(&mut c, &id).await.unwrap().unwrap();
    assert_eq!(record.versions.len(), 1);
    drop(c);

    let path = format!("/desk/treatments/{}/correction", record.id);
    let page = liv.get(&path).await;
    let mut fields = vec![("lotion_two", "7"), ("reason", " ")];
    assert!(error(&liv.submit(&page, &path, &fields).await, "reason").contains("fill this in"));
    fields.push(("reason", "The second lotion was on for 7 minutes."));
    let done = liv.submit(&page, &path, &fields).await;
    let shown = liv.follow(done).await;
    assert!(!shown.main().contains("Late entry"), "{}", shown.main());
    for words in
        ["Version 2, the one that counts", "Version 1", "7 minutes", "5 minutes", "Corrected: The second lotion"]
    {
        assert!(shown.main().contains(words), "{words}: {}", shown.main());
    }
    let mut c = app.app.db.read().await.unwrap();
    let record = treatments::get(&mut c, &record.id).await.unwrap().unwrap();
    let twos: Vec<_> = record.versions.iter().map(|v| (v.version, v.lotion_two_minutes, v.count)).collect();
    assert_eq!(twos, [(2, Some(7), Some((40, 9))), (1, Some(5), Some((40, 9)))]);
    assert_eq!(record.versions[0].products, [(studio.lotion.clone(), GOOD_BATCH.to_owned())]);
    drop(c);
    assert_eq!(changes(&app).await[..3], ["treatment.corrected", "treatment.recorded", "treatment.started"]);
    let noor = app.member(NOOR.0, NOOR.1).await;
    assert_eq!(noor.get(&path).await.status, 404);
    let (_, token) = noor.get("/desk").await.form("/team/sign-out");
    assert_eq!(noor.post(&path, &token).await.status, 404);
}

#[tokio::test]
async fn a_reaction_in_the_record_is_shown_with_what_to_do() {
    let (app, studio) = TestApp::with_studio().await;
    let (liv, id) = under_way(&app, &studio).await;
    let path = format!("/desk/visits/{id}/treatment");
    let page = liv.get(&path).await;
    let lotion = format!("batch_{}", studio.lotion);
    let done = liv.submit(&page, &path, &[(&lotion, GOOD_BATCH), ("outcome", "reaction")]).await;
    let report = liv.follow(done).await;
    assert!(report.main().starts_with("Report a reaction"), "{}", report.main());
    assert_eq!(report.attributes("select#treatment option[selected]", "value"), [id.to_string()]);
    let shown = liv.get(&format!("/desk/visits/{id}")).await;
    assert!(shown.main().contains("rinse at once") && shown.main().contains("With a reaction"), "{}", shown.main());
}

#[tokio::test]
async fn nothing_is_recorded_before_the_start() {
    let (app, studio) = TestApp::with_studio().await;
    let id = studio.visit(Purpose::Treatment, &studio.mia, &studio.lift, &studio.liv, NOW).await;
    let liv = app.member(LIV.0, LIV.1).await;
    let path = format!("/desk/visits/{id}/treatment");
    assert_eq!(liv.get(&path).await.location(), Some(format!("/desk/visits/{id}")));
    let (_, token) = liv.get("/desk").await.form("/team/sign-out");
    assert_eq!(liv.post(&path, &token).await.status, 303);
    let mut c = app.app.db.read().await.unwrap();
    assert!(treatments::of_visit(&mut c, &id).await.unwrap().is_none());
}

#[tokio::test]
async fn the_record_closes_at_the_end_of_the_day_and_what_is_added_then_is_marked_late() {
    let (app, studio) = TestApp::with_studio().await;
    let (liv, id) = under_way(&app, &studio).await;
    let path = format!("/desk/visits/{id}/treatment");
    let page = liv.get(&path).await;
    let lotion = format!("batch_{}", studio.lotion);
    assert_eq!(liv.submit(&page, &path, &[(&lotion, GOOD_BATCH), ("outcome", "as_wished")]).await.status, 303);
    let record = treatments::of_visit(&mut app.app.db.read().await.unwrap(), &id).await.unwrap().unwrap().id;
    // 09:55 by now: a minute before midnight in the studio, and a minute after.
    for (wait, late) in [(Duration::minutes(14 * 60 + 4), 0), (Duration::minutes(2), 1)] {
        app.app.clock.advance(wait);
        let liv = app.member(LIV.0, LIV.1).await;
        let path = format!("/desk/treatments/{record}/correction");
        let page = liv.get(&path).await;
        let done = liv.submit(&page, &path, &[("notes", "Called her."), ("reason", "The call was missing.")]).await;
        assert_eq!(done.status, 303, "{}", done.text());
        let shown = liv.get(&format!("/desk/visits/{id}")).await.main();
        assert_eq!(shown.matches("Late entry").count(), late, "{shown}");
    }
}
